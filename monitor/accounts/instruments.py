"""By what a house measures warmth, and what of it is to be trusted."""

from collections.abc import Callable, Iterable, Mapping
from datetime import datetime, timedelta
from typing import Protocol

import numpy as np

from monitor.accounts.by_hand import HandLogs, hand_logs, without_extremes
from monitor.accounts.feeding import (
    FedSpan,
    fed_spans,
    longest_gap,
    prefers_substrate,
)
from monitor.clock import to_us
from monitor.science.curve import MICROSECOND, Times, Values
from monitor.science.quality import Checks, flag
from monitor.science.quality_flags import FAIL, PASS, SUSPECT, FlagArray
from monitor.site.checks_file import checks_for
from monitor.site.house import HAND, Cohort, House
from monitor.site.journal import Entry
from monitor.site.site_file import Site
from monitor.site.species_file import Library, Stage
from monitor.site.words import Quantity

Readings = Callable[[str, str, datetime, datetime], tuple[Times, Values]]
"""Sensor, quantity, first instant and the one after the last, to times and values."""


class Declared(Protocol):
    """What accounts need of a configuration."""

    @property
    def site(self) -> Site:
        """The declared house."""

    @property
    def library(self) -> Library:
        """Species and templates."""

    @property
    def checks(self) -> Mapping[Quantity, Checks]:
        """What is checked of the readings of each quantity."""


class Instruments:
    """
    The probes and thermometers of a house, as every account reads them.

    Suspect and failed readings are missing, those by hand never judged: a person
    looked. What a thermometer by hand keeps of extremes is no value of its instant.

    Args:
        site: The declared house; None where nobody knows it.
        entries: The journal, in any order.
        checks: What is checked of each quantity beside known failure values.
    """

    def __init__(
        self,
        site: Site | None,
        entries: Iterable[Entry] = (),
        checks: Mapping[Quantity, Checks] | None = None,
    ) -> None:
        self.gap = longest_gap(site)
        self.by_hand: HandLogs = hand_logs(entries)
        every = {each: checks_for(checks or {}, each) for each in Quantity}
        self._checks = {each: found for each, found in every.items() if found.given}
        self._told = {quantity: repr(each) for quantity, each in self._checks.items()}

    def spans(self, house: House, cohort: Cohort, stage: Stage) -> tuple[FedSpan, ...]:
        """What fed a cohort during a stage: see `fed_spans`."""
        return fed_spans(
            house,
            cohort,
            stage.id,
            prefer_substrate=prefers_substrate(stage),
            by_hand=self.by_hand,
        )

    def reach(self, sensor: str, quantity: Quantity) -> tuple[timedelta, timedelta]:
        """How long before and after a reading it may change sums."""
        gap, checks = self.gap(sensor), self._judged(sensor, quantity)
        if checks is None:
            return gap, gap
        # a reading decides of those that come within the checks' time and a gap, and of
        # the one before it; each of these closes pairs across a gap
        return 2 * gap, 2 * gap + checks.lookback

    def read(
        self,
        readings: Readings,
        sensor: str,
        quantity: Quantity,
        since: datetime,
        until: datetime,
    ) -> tuple[Times, Values]:
        """
        Read what is trusted of a series, with the pairs that close across both ends.

        Args:
            readings: Asks the store.
            sensor: The series.
            quantity: What it measures.
            since: Beginning of what is asked about. UTC.
            until: Its end. UTC.

        Returns:
            Times [us] and values; NaN where a person read something, but no value
            of that instant.
        """
        reach = self.gap(sensor)
        before, after = since - reach, until + reach + MICROSECOND
        times, values, flags = self.flagged(readings, sensor, quantity, before, after)
        kept = (flags != SUSPECT) & (flags != FAIL)
        if not kept.all():
            times, values = times[kept], values[kept]
        told = without_extremes(sensor, quantity.value, times, values, self.by_hand)
        return times, told

    def flagged(
        self,
        readings: Readings,
        sensor: str,
        quantity: Quantity,
        since: datetime,
        until: datetime,
    ) -> tuple[Times, Values, FlagArray]:
        """
        Read a series with the flags of its readings.

        Args:
            readings: Asks the store.
            sensor: The series.
            quantity: What it measures.
            since: The first instant. UTC.
            until: The one after the last. UTC.

        Returns:
            Times [us], values and flags 1, 2, 3, 4 or 9, the worst of all checks.
        """
        checks, reach = self._judged(sensor, quantity), self.gap(sensor)
        if checks is None:
            times, values = readings(sensor, quantity.value, since, until)
            return times, values, np.full(times.shape, PASS, np.int8)
        # flags look back, and one reading ahead; none across more than a gap, so that
        # what is read is enough for them
        begin, end = since - checks.lookback - reach, until + reach
        times, values = readings(sensor, quantity.value, begin, end)
        flags = flag(times, values, checks, bridge=reach).aggregate
        asked = slice(*np.searchsorted(times, (to_us(since), to_us(until))))
        return times[asked], values[asked], flags[asked]

    def mark(self, sensor: str, quantity: Quantity) -> object:
        """What a day's figures rest on beside readings: gap and checks."""
        gap = self.gap(sensor).total_seconds()
        return gap, None if sensor.startswith(HAND) else self._told.get(quantity)

    def _judged(self, sensor: str, quantity: Quantity) -> Checks | None:
        return None if sensor.startswith(HAND) else self._checks.get(quantity)
