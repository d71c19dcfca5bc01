"""
What is due: pure, asked every few seconds, idempotent on a key per period.

Each piece of work has a key such as "summary/2026-W09"; once the key is in the store
it is not due again, whatever the clock does. Only the newest period is due: after a
long absence one summary comes, not a row of old ones.
"""

from collections.abc import Container, Iterator
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import msgspec

from monitor.site.site_file import Site, Summary

LATE = timedelta(minutes=15)
"""Work that begins later than this after its time says so."""

BACKUP_TIME = time(4, 30)
"""Site time; outside the hours that a change of the clocks skips or repeats (A2)."""

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
WEEK = timedelta(weeks=1)


class Due(msgspec.Struct, frozen=True):
    """
    A piece of work whose time has come.

    Attributes:
        key: Kind and period; never done twice.
        kind: "summary" or "backup".
        period: "2026-W09" or "2026-03-02".
        at: When it should have begun. UTC.
        late: It begins clearly later than that.
    """

    key: str
    kind: str
    period: str
    at: datetime
    late: bool


def due(
    now: datetime, site: Site, *, done: Container[str], since: datetime
) -> tuple[Due, ...]:
    """
    Tell what must be done now.

    Args:
        now: The instant. UTC.
        site: Zone, and day and time of the summary.
        done: Keys of what was done.
        since: When the store was made: nothing is due of the time before.
    """
    found = []
    for kind, period, at in _newest(now, site):
        key = f"{kind}/{period}"
        if key not in done and since < at:
            found.append(Due(key, kind, period, at, late=now - at > LATE))
    return tuple(found)


def next_summary(now: datetime, site: Site) -> datetime | None:
    """When the next weekly summary is due; None where none is asked for."""
    if site.summary is None:
        return None
    at = _summary_before(now, site.summary, site.site.time_zone)
    zone = ZoneInfo(site.site.time_zone)
    following = at.astimezone(zone).date() + WEEK
    return _instant(following, _clock(site.summary.time), zone)


def reported_week(at: datetime, zone: str) -> str:
    """The ISO week that a summary of this instant reports: the one before."""
    year, week, _ = (at.astimezone(ZoneInfo(zone)).date() - WEEK).isocalendar()
    return f"{year}-W{week:02d}"


def _newest(now: datetime, site: Site) -> Iterator[tuple[str, str, datetime]]:
    zone = site.site.time_zone
    if site.summary is not None:
        at = _summary_before(now, site.summary, zone)
        yield "summary", reported_week(at, zone), at
    today = now.astimezone(ZoneInfo(zone)).date()
    at = _instant(today, BACKUP_TIME, ZoneInfo(zone))
    if at > now:
        today -= timedelta(days=1)
        at = _instant(today, BACKUP_TIME, ZoneInfo(zone))
    yield "backup", today.isoformat(), at


def _summary_before(now: datetime, summary: Summary, zone: str) -> datetime:
    """The newest time of a summary that is not later than *now*."""
    place = ZoneInfo(zone)
    today = now.astimezone(place).date()
    back = (today.weekday() - DAYS.index(summary.day)) % 7
    day = today - timedelta(days=back)
    at = _instant(day, _clock(summary.time), place)
    return at if at <= now else _instant(day - WEEK, _clock(summary.time), place)


def _clock(text: str) -> time:
    return time.fromisoformat(text)


def _instant(day: date, clock: time, zone: ZoneInfo) -> datetime:
    """
    The instant of a wall time: the first where it comes twice.

    One that the clocks skip is taken as much later as they were set forward.
    """
    return datetime.combine(day, clock, tzinfo=zone).astimezone(UTC)
