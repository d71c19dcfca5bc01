"""
ISO weeks in site time: Monday 00:00 to Monday 00:00 on the wall clock of the house.

Weeks are numbered as in ISO 8601-1:2019, 4.3.2: week 1 holds the first Thursday.
"""

import re
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import msgspec

from monitor.errors import UsageError

FIRST_YEAR = 1970
_FORM = re.compile(r"(\d{4})-W(\d{2})", re.ASCII)
_SEVEN_DAYS = timedelta(days=7)


class Week(msgspec.Struct, frozen=True, order=True):
    """A week of the ISO calendar."""

    year: int
    number: int

    def __str__(self) -> str:
        """Write it as ISO 8601 does: 2026-W09."""
        return f"{self.year:04}-W{self.number:02}"

    @property
    def monday(self) -> date:
        """Its first day."""
        return date.fromisocalendar(self.year, self.number, 1)


def parse_week(text: str) -> Week:
    """
    Read "2026-W09".

    Raises:
        UsageError: If it has not that form, or its year has no such week.
    """
    found = _FORM.fullmatch(text)
    if found is None:
        raise UsageError(f"{text!r} is no week: write year and week, as 2026-W09")
    year, number = int(found[1]), int(found[2])
    if year < FIRST_YEAR:
        raise UsageError(f"{text!r} is before {FIRST_YEAR}: check the year")
    # 28 December lies in the last week of every ISO year
    last = date(year, 12, 28).isocalendar().week
    if not 1 <= number <= last:
        raise UsageError(
            f"{text!r} is no week: {year} has W01 to W{last}, write one of them"
        )
    return Week(year, number)


def week_of(at: datetime, zone: str) -> Week:
    """
    Tell the week of an instant.

    Args:
        at: An aware instant.
        zone: A name of the time zone database.
    """
    year, number, _ = at.astimezone(ZoneInfo(zone)).isocalendar()
    return Week(year, number)


def bounds(week: Week, zone: str) -> tuple[datetime, datetime]:
    """
    Tell the first instant of a week and that of the next one. UTC.

    They lie 168 h apart, or more or less where the clocks are set: 167 h or 169 h in
    most zones.
    """
    monday = week.monday
    return _midnight(monday, zone), _midnight(monday + _SEVEN_DAYS, zone)


def _midnight(day: date, zone: str) -> datetime:
    # fold=0: a midnight that comes twice counts the first time, and one that the
    # clocks jump over is the instant of the jump (PEP 495)
    return datetime.combine(day, time(), ZoneInfo(zone)).astimezone(UTC)


def week_asked(text: str | None, *, now: datetime, zone: str) -> Week:
    """
    Tell which week is meant: that of *text*, else the last whole one.

    Args:
        text: As "2026-W09", or None.
        now: The present. UTC.
        zone: A name of the time zone database.

    Raises:
        UsageError: If it is no week, or has not begun.
    """
    present = week_of(now, zone)
    if text is None:
        before = present.monday - _SEVEN_DAYS
        year, number, _ = before.isocalendar()
        return Week(year, number)
    week = parse_week(text)
    if week > present:
        raise UsageError(
            f"{text!r} has not begun: the present week is {present}, write that or an "
            "earlier one"
        )
    return week
