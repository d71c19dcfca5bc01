"""What store and files know about an alarm, gathered for its chain of evidence."""

import logging
from datetime import timedelta
from pathlib import Path, PurePosixPath
from tempfile import TemporaryDirectory

import msgspec

from monitor.alarms.alarm import Alarm
from monitor.alarms.perhaps import perhaps_at
from monitor.clock import from_us
from monitor.errors import ConfigError, UsageError
from monitor.explain.evidence import (
    BEFORE,
    SLACK,
    Evidence,
    Point,
    answers,
    decisive,
    happened,
    told,
)
from monitor.explain.judged import judged_by
from monitor.site.house import fold
from monitor.site.load import Configuration, load
from monitor.store.queries import Queries
from monitor.store.reader import Reader
from monitor.store.rows import Configuration as Stored

log = logging.getLogger(__name__)

AFTER = timedelta(days=35)
"""A standing alarm is followed for no longer than this."""

_files = msgspec.json.Decoder(dict[str, str])


def gather(reader: Reader, present: Configuration, number: int) -> Evidence:
    """
    Gather the evidence of an alarm.

    Args:
        reader: The store.
        present: The configuration of now, where that of then is not to be had.
        number: Of the alarm.

    Raises:
        UsageError: If there is no such alarm.
    """
    with reader.snapshot() as store:
        alarm = store.alarm(number)
        if alarm is None:
            raise UsageError(_unknown(number, store.next_alarm_id() - 1))
        changes = store.alarm_changes(number)
        notices = store.notices(number)
        entries, taken = store.entries(), store.perhaps()
        points = _points(store, alarm)
        stored = store.configuration(alarm.configuration)
    raised = changes[0].alarm if changes else alarm
    then = _of_then(stored, present, alarm.configuration)
    configuration = then or present
    # what was typed later cannot have decided anything
    known = [e for e in entries if e.entered_at <= raised.raised_at]
    judged = judged_by(
        raised,
        configuration.site,
        configuration.library,
        fold(configuration.site, known, until=raised.raised_at),
        configuration.sources,
        perhaps=perhaps_at(taken, raised.raised_at),
    )
    end = alarm.over_at or (points[-1].time if points else alarm.raised_at)
    return Evidence(
        alarm,
        raised,
        decisive(alarm, raised, points, judged),
        sum(alarm.since <= p.time <= end for p in points),
        judged,
        alarm.configuration,
        stored.at if stored else None,
        "of then" if then else "of now",
        happened(changes),
        answers(changes),
        told(notices),
    )


def _unknown(number: int, last: int) -> str:
    known = f"the newest is {last}" if last else "no alarm was ever raised"
    return f"there is no alarm {number}: {known} (see `alarms list --all`)"


def _points(store: Queries, alarm: Alarm) -> tuple[Point, ...]:
    """Readings of the alarm's sensor from before it began until it was over."""
    if alarm.sensor is None or alarm.quantity is None:
        return ()
    end = alarm.over_at or alarm.since + AFTER
    times, values = store.readings(
        alarm.sensor,
        alarm.quantity.value,
        alarm.since - BEFORE,
        end + SLACK,
    )
    return tuple(
        Point(from_us(us), value)
        for us, value in zip(times.tolist(), values.tolist(), strict=True)
    )


def _of_then(
    stored: Stored | None, present: Configuration, digest: str
) -> Configuration | None:
    """
    Read the configuration that an alarm was judged by; None if it is not to be had.

    The store keeps the text of every file. A program of another version may refuse
    what was right then.
    """
    if digest == present.hash:
        return present
    if stored is None:
        return None
    try:
        files = _files.decode(stored.body)
        with TemporaryDirectory(prefix="rearing-monitor-") as directory:
            for name, text in files.items():
                _write(Path(directory), name, text)
            return load(Path(directory))
    except (msgspec.DecodeError, ConfigError, OSError) as error:
        log.warning("configuration unreadable", extra={"reason": str(error)})
        return None


def _write(directory: Path, name: str, text: str) -> None:
    path = PurePosixPath(name)
    if path.is_absolute() or ".." in path.parts:
        raise ConfigError(f"{name}: lies outside of a configuration")
    target = directory / path
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_text(text, encoding="utf-8", newline="")
