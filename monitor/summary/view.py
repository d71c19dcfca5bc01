"""What a week is told from: everything that its sections may ask."""

from collections.abc import Callable, Mapping
from datetime import datetime, timedelta

import msgspec

from monitor.accounts.scoring import Scored
from monitor.alarms.perhaps import PerhapsSince, perhaps_at
from monitor.alarms.plan import Perhaps
from monitor.heart.events import AlarmChanged
from monitor.science.degree_days import Times, Values
from monitor.site.house import House
from monitor.site.journal import Entry
from monitor.site.site_file import Site
from monitor.site.species_file import Library
from monitor.store.rows import AccountDay
from monitor.summary.week import Week

Readings = Callable[[str, str], tuple[Times, Values]]
"""Sensor and quantity to times [us], strictly rising, and values."""


class Refused(msgspec.Struct, frozen=True):
    """
    Messages of the week that were no readings.

    Attributes:
        topics: Topic of each that is still kept.
        complete: None of the week has been dropped to make room for newer ones.
    """

    topics: tuple[str, ...] = ()
    complete: bool = True


class Copy(msgspec.Struct, frozen=True):
    """
    A backup of the store.

    Attributes:
        made_at: By the file; UTC.
        size: Of its file. [bytes]
    """

    made_at: datetime
    size: int


class Kept(msgspec.Struct, frozen=True):
    """
    How the store itself stands at the present.

    Attributes:
        size: Of its file and the log beside it. [bytes]
        free_share: Share of its disk that is free; None where nobody knows.
        backups: The copies in the directory of backups, the newest first.
    """

    size: int
    free_share: float | None
    backups: tuple[Copy, ...]


class WeekView(msgspec.Struct, frozen=True):
    """
    A week of the house, as it looked at its end, or looks now if it is not over.

    Attributes:
        start: The first instant. UTC.
        end: The first instant of the next week. UTC.
        until: What is told ends here: the end, or the present before it. UTC.
        house: Where everything and everybody was at *until*, and all that moved.
        entries: What the journal says to have happened in the week.
        readings: Those of a series, in the week and, at least as far as a gap may be
            bridged, before and after it.
        gap: How far apart two readings of a sensor may be and still bridge the time.
        alarms: The changes, none later than *until*, of each alarm that was raised or
            live in the week, in order.
        account_days: The degree-day account of each cohort of the week.
        refused: Messages that were no readings.
        now: The present. UTC.
        kept: The store itself; None where the week is told from elsewhere.
        taken: What cohorts were taken to be perhaps in, in the order of taking.
        scores: Forecasts that came to an end in the year before *until*.
    """

    week: Week
    start: datetime
    end: datetime
    until: datetime
    site: Site
    library: Library
    house: House
    readings: Readings
    gap: Callable[[str], timedelta]
    entries: tuple[Entry, ...] = ()
    alarms: tuple[tuple[AlarmChanged, ...], ...] = ()
    account_days: Mapping[int, tuple[AccountDay, ...]] = {}
    refused: Refused = Refused()
    now: datetime | None = None
    kept: Kept | None = None
    taken: tuple[PerhapsSince, ...] = ()
    scores: tuple[Scored, ...] = ()

    @property
    def zone(self) -> str:
        """The time zone of the site."""
        return self.site.site.time_zone

    @property
    def perhaps(self) -> Perhaps:
        """What cohorts are taken to be perhaps in at the end of what is told."""
        return perhaps_at(self.taken, self.until)
