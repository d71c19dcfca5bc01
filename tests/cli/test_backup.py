"""``backup`` and ``restore`` as keepers call them, beside a real daemon and alone."""

import json
from pathlib import Path

import pytest

from monitor.cli.command import Context
from monitor.cli.main import build_parser
from monitor.errors import MonitorError, StoreBusyError, UnreachableError, UsageError
from monitor.store import Writer
from tests.service.support import daemon, payload, recent, stored
from tests.store.support import NOW, alarm, put, reading
from tests.support.brokers import free_port, publish_lines, wait_for


@pytest.fixture
def command(capsys):
    """Run a line of ours with a state directory; gives what was printed."""

    def run(state, *words):
        arguments = build_parser().parse_args(words)
        environment = {} if state is None else {"REARING_STATE": str(state)}
        code = arguments.run(arguments, Context(Path("nowhere"), environment))
        assert code == 0
        return capsys.readouterr().out

    return run


@pytest.fixture
def state(tmp_path):
    """A store of 40 readings."""
    with Writer.open(tmp_path / "state", now=NOW) as writer:
        put(writer, *(reading(m) for m in range(-100, -60)))
    return tmp_path / "state"


def add_sixty_and_an_alarm(state):
    with Writer.open(state, now=NOW) as writer:
        put(writer, *(reading(m) for m in range(-60, 0)))
        with writer.transaction():
            writer.save_alarm(alarm(), "raised", NOW)


def test_a_backup_is_told_in_words(state, command):
    """Where it is, how large, what it holds."""
    first, second = command(state, "backup").splitlines()

    assert Path(first).parent == state / "backups"
    assert Path(first).is_file()
    assert second.endswith(
        " MB: 40 readings, 0 alarms, 0 journal entries, "
        "newest reading 2026-03-10 10:59 UTC"
    )


def test_a_backup_is_told_to_programs(state, command):
    """One object with the same."""
    found = json.loads(command(state, "backup", "--json"))

    assert Path(found["path"]).stat().st_size == found["bytes"]
    assert (found["readings"], found["alarms"], found["entries"]) == (40, 0, 0)
    assert found["newest_reading"] == {
        "sensor": "shelf-a",
        "quantity": "air_temperature",
        "time": "2026-03-10T10:59:00Z",
    }
    assert found["removed"] == []


def test_what_is_removed_is_said(state, command):
    """With --keep 1 the one before goes."""
    first = json.loads(command(state, "backup", "--json"))["path"]

    said = command(state, "backup", "--keep", "1")

    assert f"removed {first}" in said
    assert not Path(first).exists()


def test_a_backup_goes_where_it_is_told_to(state, command, tmp_path, monkeypatch):
    """A relative path is meant from where the caller stands; nothing is removed."""
    monkeypatch.chdir(tmp_path)
    command(state, "backup", "--to", "one.sqlite3")

    assert (tmp_path / "one.sqlite3").is_file()
    assert not (state / "backups").exists()


@pytest.mark.parametrize(
    ("words", "error"),
    [
        (("backup", "--keep", "0"), "at least 1"),
        (("backup", "--keep", "3", "--to", "x"), "nothing is taken away"),
        (("restore", "no-such-file"), "there is no such file"),
    ],
)
def test_wrong_usage_is_said(state, command, words, error):
    """In one line with the mend."""
    with pytest.raises(UsageError, match=error):
        command(state, *words)


@pytest.mark.parametrize("words", [("backup",), ("restore", "x")], ids=lambda w: w[0])
def test_without_a_state_directory_there_is_no_store(command, words):
    """The setting to make is named."""
    with pytest.raises(UnreachableError, match="REARING_STATE"):
        command(None, *words)


def test_without_a_store_there_is_no_backup(command, tmp_path):
    """Nothing is made where nothing is."""
    with pytest.raises(UnreachableError, match="there is no store here"):
        command(tmp_path, "backup")

    assert list(tmp_path.iterdir()) == []


def test_a_restore_says_what_is_lost(state, command):
    """What each holds, where the old one lies, and from when to when."""
    made = json.loads(command(state, "backup", "--json"))["path"]
    add_sixty_and_an_alarm(state)

    lines = command(state, "restore", made).splitlines()

    assert lines[:2] == [f"restored {state / 'rearing.sqlite3'}", f"  from {made}"]
    assert lines[2].startswith("  now:    40 readings, 0 alarms")
    assert lines[3].startswith("  before: 100 readings, 1 alarm,")
    assert lines[4].startswith("The store that was there is kept: ")
    assert Path(lines[4].split(": ")[1]).is_file()
    assert lines[5] == (
        "Lost: what came after 2026-03-10 10:59 UTC, to 2026-03-10 11:59 UTC, "
        "entries of keepers included."
    )


def test_a_restore_of_the_newest_loses_no_reading(state, command):
    """And that is said too."""
    made = json.loads(command(state, "backup", "--json"))["path"]

    assert "No reading is lost" in command(state, "restore", made)


def test_a_restore_is_told_to_programs(state, command):
    """Both stores in figures."""
    made = json.loads(command(state, "backup", "--json"))["path"]
    add_sixty_and_an_alarm(state)

    found = json.loads(command(state, "restore", made, "--json"))

    assert (found["path"], found["from"]) == (str(state / "rearing.sqlite3"), made)
    assert (found["now"]["readings"], found["before"]["readings"]) == (40, 100)
    assert (found["now"]["alarms"], found["before"]["alarms"]) == (0, 1)
    assert found["before"]["newest_reading"]["time"] == "2026-03-10T11:59:00Z"
    assert found["unreadable"] is None
    assert Path(found["aside"]).is_file()


@pytest.mark.mosquitto
def test_q5_backup_under_load_beside_a_daemon_then_restore(tmp_path, command):
    """
    A backup is made while messages flow, and is what the store is after a restore.

    While the daemon runs a restore is refused, and nothing of it is disturbed.
    """
    port, topic = free_port(), "rearing/warm-room/air_temperature"
    times = recent(3000)
    lines = [payload(at, 20 + n / 1000) for n, at in enumerate(times)]
    broker = f'embedded = true\nlisten = "127.0.0.1:{port}"'
    with daemon(tmp_path / "house", broker=broker) as made:
        state = made.folder / "state"

        def committed():
            return made.ask("now")["daemon"]["committed"]

        publish_lines(port, topic, lines[:1500])
        wait_for(lambda: committed() >= 500, 30)
        copied = json.loads(command(state, "backup", "--json"))
        with pytest.raises(StoreBusyError, match=f"process {made.running.pid} "):
            command(state, "restore", copied["path"])
        publish_lines(port, topic, lines[1500:])
        wait_for(lambda: committed() == 3000, 30)
        assert made.end() == 0

        done = json.loads(command(state, "restore", copied["path"], "--json"))
        rows = stored(made)

        assert done["now"] == {
            key: copied[key]
            for key in ("readings", "alarms", "entries", "newest_reading")
        }
        assert done["before"]["readings"] == 3000
        assert 500 <= copied["readings"] == len(rows) <= 1500
        assert rows[-1][0] == copied["newest_reading"]["time"]
        assert [value for _, value in rows] == [
            20 + n / 1000 for n in range(copied["readings"])
        ]


def test_errors_are_ours():
    """Whatever is refused above ends as one line and an exit code."""
    assert issubclass(StoreBusyError, MonitorError)
    assert (UsageError.exit_code, StoreBusyError.exit_code) == (2, 69)
