"""Site time: the wall clock of the house, and what is night there."""

from datetime import datetime, time
from zoneinfo import ZoneInfo

NIGHT_BEGINS = time(20)
NIGHT_ENDS = time(8)
"""Night where the journal of a place says nothing else: common practice, no source."""


def local(at: datetime, zone: str) -> datetime:
    """
    Tell an instant on the wall clock of the site.

    Args:
        at: An aware instant.
        zone: A name of the time zone database, as `[site] time_zone`.
    """
    return at.astimezone(ZoneInfo(zone))


def is_night(at: datetime, zone: str) -> bool:
    """Tell whether it is between 20:00 and 08:00 on the wall clock of the site."""
    wall = local(at, zone).time()
    return wall >= NIGHT_BEGINS or wall < NIGHT_ENDS
