"""The demo as a keeper runs it: the real daemon, a real broker, real mail."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest

from monitor.alarms.alarm import AlarmState
from monitor.clock import ScaledClock, from_us
from monitor.demo.desk import Desk, wait_for
from monitor.demo.plan import FAILING_SHELF
from monitor.demo.run import beginning
from monitor.demo.settings import make_directories
from monitor.demo.story import Scene, StoryError
from monitor.store.reader import Reader

TOLD_IN_ORDER = (
    "readings stored",
    f"the heater of {FAILING_SHELF} fails",
    "ALARM standing",
    "mail to ",
    "Short form",
    "alarms acknowledge 1 --by",
    "alarm 1 answered",
    "it warms again",
    "alarm 1 is over",
    "back to normal; mail to",
    "Look: mails",
)


def demo(*arguments, cwd):
    return subprocess.Popen(
        [sys.executable, "-m", "monitor", "demo", *arguments],
        cwd=cwd,
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def processes_of(directory):
    """Command lines of running processes that name a directory."""
    found = []
    for entry in Path("/proc").iterdir():
        try:
            line = (entry / "cmdline").read_bytes().replace(b"\0", b" ").decode()
        except (OSError, UnicodeDecodeError):
            continue
        if str(directory) in line and entry.name != str(os.getpid()):
            found.append(line)
    return found


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    """One whole story, told twice as fast as shipped, outside the checkout."""
    directory = tmp_path_factory.mktemp("d")
    state = directory / "demo"
    process = demo("--once", "--rate", "120", "--state", str(state), cwd=directory)
    try:
        out, err = process.communicate(timeout=150)
    finally:
        process.kill()
    return SimpleNamespace(out=out, err=err, code=process.returncode, state=state)


def test_the_story_is_told_in_order_and_ends_with_0(told):
    """Readings, failure, alarm, mail, answer, return, and where to look."""
    places = [told.out.find(text) for text in TOLD_IN_ORDER]

    assert told.code == 0, told.out + told.err
    assert -1 not in places, told.out
    assert places == sorted(places)
    assert told.out.rstrip().splitlines()[-1].startswith("Look: ")
    assert "Traceback" not in told.err


def test_the_alarm_was_real_and_the_only_one(told):
    """The store holds one alarm, closed, answered by who was mailed."""
    alarms = Reader.open(told.state / "store").alarms()

    assert [a.thing for a in alarms] == [FAILING_SHELF]
    assert alarms[0].state is AlarmState.NORMAL
    assert alarms[0].answered_by in {"ines", "tadhg"}
    assert alarms[0].at_risk
    on_delay = alarms[0].raised_at - alarms[0].since
    assert 19 * 60 <= on_delay.total_seconds() <= 24 * 60


def test_two_mails_were_caught_as_files(told):
    """The alarm and its end, to one keeper, as .eml files whose path was printed."""
    files = sorted((told.state / "mail").iterdir())

    assert [f.suffix for f in files] == [".eml", ".eml"]
    assert len({f.name.partition("-")[2] for f in files}) == 1
    assert all(str(f) in told.out for f in files)


def test_the_back_fill_is_in_the_store(told):
    """Eight weeks of five-minute readings of 37 series, and a progress bar."""
    reader = Reader.open(told.state / "store")
    house = {e.by for e in reader.entries()}

    assert house == {"ines", "tadhg", "mirela"}
    times, values = reader.readings(
        "warm-room-a-air", "air_temperature", from_us(0), from_us(2**52)
    )
    assert len(times) == len(values) > 0.99 * 56 * 288
    assert "56 days of readings: 100%" in told.err


def test_nothing_is_left_running(told):
    """Daemon, broker and house ended with the story."""
    assert processes_of(told.state) == []


@pytest.mark.parametrize("sent", [signal.SIGINT, signal.SIGTERM])
def test_ctrl_c_ends_everything_within_5_s(tmp_path, sent):
    """Exit 0, no traceback, no child left, and the line that says where to look."""
    state = tmp_path / "demo"
    process = demo("--state", str(state), cwd=tmp_path)
    try:
        seen = ""
        while "readings stored" not in seen:
            line = process.stdout.readline()
            assert line, process.stderr.read()
            seen += line
        running = processes_of(state)
        began = time.monotonic()
        process.send_signal(sent)
        out, err = process.communicate(timeout=15)
        took = time.monotonic() - began
    finally:
        process.kill()

    # daemon, broker, house, and the demo itself
    assert len(running) >= 4
    assert took < 5.0
    assert process.returncode == 0
    assert "Traceback" not in err
    assert out.rstrip().splitlines()[-1].startswith("Look: ")
    assert processes_of(state) == []


def test_json_is_refused(tmp_path):
    """A story has no JSON; the error is one line and exit code 2."""
    process = demo("--json", cwd=tmp_path)
    out, err = process.communicate(timeout=30)

    assert (process.returncode, out, err.count("\n")) == (2, "", 1)


def test_the_story_begins_at_ten_in_the_morning_of_the_house():
    """By day, whatever the hour of the real world: summer time included."""
    zone = ZoneInfo("Europe/Dublin")
    summer = beginning(from_us(1_784_000_000_000_000), zone)
    winter = beginning(from_us(1_797_000_000_000_000), zone)

    assert (summer.hour, summer.utcoffset().total_seconds()) == (9, 0)
    assert winter.hour == 10


def test_waiting_ends_with_the_time_or_when_nothing_can_come():
    """What is found is given, what is not is None, and soon where nobody lives."""
    looks = iter([None, None, "there"])

    found = wait_for(lambda: next(looks), seconds=5, alive=lambda: True)
    late = wait_for(lambda: None, seconds=0.01, alive=lambda: True)
    began = time.monotonic()
    dead = wait_for(lambda: None, seconds=30, alive=lambda: False)

    assert (found, late, dead) == ("there", None, None)
    assert time.monotonic() - began < 1


def test_what_does_not_come_is_said_with_the_log(tmp_path):
    """A daemon that ended makes one line with its exit code and the log file."""
    dirs = make_directories(tmp_path / "demo")
    scene = Scene(
        dirs,
        ScaledClock(rate=60, began_at=from_us(0), began_boot=0.0),
        ZoneInfo("Europe/Dublin"),
        daemon=SimpleNamespace(ended=78),
        house=SimpleNamespace(ended=None),
        desk=Desk(dirs.socket),
        post=None,
        keepers={},
    )

    with pytest.raises(StoryError) as caught:
        scene.need(lambda: None, within=scene.zone.utcoffset(from_us(0)), what="x")

    assert "the daemon ended with code 78" in str(caught.value)
    assert str(dirs.log) in str(caught.value)
    assert caught.value.exit_code == 1
