"""Whole UTC days as the store counts them."""

from datetime import date, timedelta

DAY_US = 86_400_000_000
_EPOCH = date(1970, 1, 1)


def day_of(us: int) -> int:
    """Days since 1970-01-01 of an instant in microseconds."""
    return us // DAY_US


def to_day(day: date) -> int:
    """Days since 1970-01-01 of a date."""
    return (day - _EPOCH).days


def from_day(day: int) -> date:
    """The date of a count of days."""
    return _EPOCH + timedelta(days=day)
