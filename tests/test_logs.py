"""One line of key=value per record, and repeats that are counted."""

import json
import logging
import subprocess
import sys

import pytest

from monitor.errors import ConfigError
from monitor.logs import KEPT_KEYS, Counted, KeyValue, setup

log = logging.getLogger("monitor.test")


def line(message="sensor silent", level=logging.WARNING, exc_info=None, **extra):
    record = log.makeRecord(
        "monitor.test", level, "f.py", 1, message, (), exc_info, extra=extra
    )
    return KeyValue().format(record)


def test_a_record_is_one_line_of_key_and_value():
    """Time, level, origin and event come first, then the fields as given."""
    got = line(sensor="warm-room-a-air", last=24.5)

    time, rest = got.split(" ", 1)
    assert time.startswith("time=2")
    assert time.endswith("Z")
    assert rest == (
        'level=warning from=monitor.test event="sensor silent"'
        " sensor=warm-room-a-air last=24.5"
    )


@pytest.mark.parametrize(
    "value", ["two words", 'a "quote"', "line\nbreak", "", "a=b", "\x1b[31m", "\\"]
)
def test_a_value_never_breaks_the_line(value):
    """What comes from outside, such as a topic, can neither end nor forge a field."""
    got = line(topic=value)

    assert len(got.splitlines()) == 1
    assert json.loads(got.split("topic=", 1)[1]) == value


def test_a_traceback_stays_on_its_line():
    """The journal keeps one record together."""
    try:
        float("bad row")
    except ValueError:
        got = line(exc_info=sys.exc_info())

    assert "\n" not in got
    assert "Traceback" in got
    assert "ValueError: could not convert string" in got


def test_a_wrong_level_is_refused_in_words():
    """The setting is named with its value and what would do."""
    with pytest.raises(ConfigError, match="REARING_LOG: 'loud' is no level"):
        setup("loud")


def test_s10_a_crash_of_the_interpreter_leaves_its_stacks_on_stderr(tmp_path):
    """Logs and crashes are written to stderr, unbuffered."""
    code = (
        "import logging, os; from monitor.logs import setup; setup('info');"
        "logging.getLogger('x').info('last words'); os.abort()"
    )
    ended = subprocess.run(
        [sys.executable, "-c", code],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )

    assert ended.returncode == -6
    assert ended.stdout == ""
    assert 'event="last words"' in ended.stderr
    assert "Fatal Python error: Aborted" in ended.stderr


def test_s11_an_hour_of_the_same_error_is_a_few_lines(caplog):
    """Each second for an hour: logged at 1, 10, 100, 1000, and once when over."""
    caplog.set_level(logging.INFO)
    counted = Counted(log)
    for _ in range(3600):
        counted.again("broker gone", host="127.0.0.1")
    counted.over("broker gone")
    counted.over("broker gone")

    assert [r.times for r in caplog.records] == [1, 10, 100, 1000, 3600]
    assert caplog.messages[-1] == "over: broker gone"


def test_errors_with_other_keys_are_counted_apart(caplog):
    """The first refusal of each keeper is worth a line."""
    counted = Counted(log)
    counted.again("mail refused", key="ines")
    counted.again("mail refused", key="ines")
    counted.again("mail refused", key="tom")

    assert [r.times for r in caplog.records] == [1, 1]


def test_a_flood_of_keys_is_bounded():
    """Keys that an attacker or a fault makes up fill no memory."""
    counted = Counted(log, logging.DEBUG)
    for number in range(2 * KEPT_KEYS):
        counted.again("unknown topic", key=str(number))

    assert len(counted._times) <= KEPT_KEYS + 1


def test_a_field_that_logging_knows_is_no_crash(caplog):
    """A field called name or thread would make logging raise KeyError."""
    Counted(log).again("thread slow", name="x", thread="y")

    assert (caplog.records[0].name_, caplog.records[0].thread_) == ("x", "y")
