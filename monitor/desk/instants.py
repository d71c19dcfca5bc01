"""Instants as keepers write them: with an offset, or in the time of the site."""

import re
from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

from monitor.errors import UsageError

GRACE = timedelta(minutes=1)
"""A keeper's watch may run ahead of ours by so much."""
OLDEST = timedelta(days=3653)
"""What is said to have happened before this is a slip of the year."""
FORMS = '"2026-03-01 14:00", "14:00" (today), or "2026-03-01T14:00:00Z"'
_CLOCK = re.compile(r"^(\d{1,2}):(\d{2})(?::(\d{2}))?$")
_DATE = re.compile(r"^\d{4}-\d{2}-\d{2}$")


def parse_instant(text: str, *, zone: ZoneInfo, now: datetime) -> datetime:
    """
    Read an instant.

    A text without an offset is in the time of the site; a clock time alone is
    today's, a date alone its midnight.

    Args:
        text: What was written.
        zone: The zone of the site.
        now: The present, for "14:00".

    Returns:
        Aware UTC.

    Raises:
        UsageError: If it is no instant, or one that the clock of the site skips or
            shows twice.
    """
    clock = _CLOCK.match(text.strip())
    if clock:
        text = f"{now.astimezone(zone):%Y-%m-%d} {int(clock[1]):02d}:{clock[2]}" + (
            f":{clock[3]}" if clock[3] else ""
        )
    try:
        read = datetime.fromisoformat(text.strip())
        if read.tzinfo is not None:
            return read.astimezone(UTC)
        return _from_local(read, zone, text)
    except (ValueError, OverflowError):
        # overflow: an offset carries the first or last day out of the calendar
        raise UsageError(f"{text!r} is no time: write {FORMS}") from None


def is_date(text: str) -> bool:
    """Tell whether only a day is named."""
    return bool(_DATE.match(text.strip()))


def past_instant(text: str, *, zone: ZoneInfo, now: datetime) -> datetime:
    """
    Read an instant at which something has happened.

    Returns:
        Aware UTC, never later than *now*.

    Raises:
        UsageError: If it is no instant, a day without a time of day, in the future
            (one minute of grace), or more than ten years ago.
    """
    if is_date(text):
        raise UsageError(f"{text!r} is a day without a time: write {FORMS}")
    at = parse_instant(text, zone=zone, now=now)
    if at > now + GRACE:
        raise UsageError(
            f"{text!r} is {at:%Y-%m-%d %H:%M} UTC, which is still to come: it is"
            f" {now:%Y-%m-%d %H:%M} UTC; write the date too if you mean another day"
        )
    if at < now - OLDEST:
        raise UsageError(f"{text!r} is more than ten years ago: check the year")
    return min(at, now)


def _from_local(read: datetime, zone: ZoneInfo, text: str) -> datetime:
    early = read.replace(tzinfo=zone, fold=0).astimezone(UTC)
    late = read.replace(tzinfo=zone, fold=1).astimezone(UTC)
    if early == late:
        return early
    if early.astimezone(zone).replace(tzinfo=None) != read:
        raise UsageError(
            f"{text!r} did not exist: the clocks of {zone.key} went forward over it;"
            " give the time with an offset, such as +01:00"
        )
    first, second = (_offset(at, zone) for at in (early, late))
    raise UsageError(
        f"{text!r} came twice: the clocks of {zone.key} went back; give the time with"
        f" an offset: {first} for the first, {second} for the second"
    )


def _offset(at: datetime, zone: ZoneInfo) -> str:
    offset = at.astimezone(zone).utcoffset() or timedelta()
    return str(timezone(offset)).removeprefix("UTC") or "+00:00"
