"""Warmth over a time, with how far it may have been off: what one probe tells of it."""

import math
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import NamedTuple, Protocol

import msgspec
import numpy as np

from monitor.accounts.feeding import DAY, FedSpan
from monitor.accounts.instruments import Instruments
from monitor.clock import to_us
from monitor.science import daily
from monitor.science.curve import MICROSECOND
from monitor.science.degree_days import (
    Cutoff,
    HeatSum,
    Times,
    Values,
    integrate_between,
    rate_bounds,
)

SPREADS = 2.0
"""
Bounds reach so many spreads to either side of what measured.

Of a normal distribution 95 in 100 lie inside.
"""

SHIFTS = 9
"""Where warmer may mean slower, bounds are looked for at so many distances."""

ENOUGH_S = 3 * DAY.total_seconds()
"""
Less of a record tells nothing of the extremes of a place: own choice.

The first reading after a power cut is part of the record, so that it knows how cold it
grew.
"""

Series = Mapping[tuple[str, str], tuple[Times, Values]]
"""
Readings by (sensor, quantity): times [us], strictly rising, and values.

NaN where something was read by hand, but no value of that instant.
"""


class HeatRule(msgspec.Struct, frozen=True):
    """
    Thresholds, cutoff and daily method of a stage.

    Attributes:
        lower_c: Lower threshold. [degC]
        upper_c: Upper threshold, where there is one. [degC]
        cutoff: What happens above it.
        assumed: The lower threshold is an assumption, not published.
        method: The form of a day of which only the extremes were read.
    """

    lower_c: float
    upper_c: float | None
    cutoff: Cutoff
    assumed: bool
    method: daily.Method = daily.DEFAULT_METHOD

    @property
    def looks_ahead(self) -> bool:
        """Whether a day of extremes takes its second half from the next minimum."""
        return self.method.startswith("double")


class Record(msgspec.Struct, frozen=True):
    """
    How long what speaks for a cohort did so, and between what it read.

    Attributes:
        measured_s: Time that its readings bridged. [s]
        missing_s: Time that they did not. [s]
        coldest: The coldest that the cohort may have been while it was measured; None
            where nothing was. [degC]
        warmest: The warmest. [degC]
    """

    measured_s: float = 0.0
    missing_s: float = 0.0
    coldest: float | None = None
    warmest: float | None = None

    def joined(self, more: "Record") -> "Record":
        """Add another time of the same."""
        lows = [t for t in (self.coldest, more.coldest) if t is not None]
        highs = [t for t in (self.warmest, more.warmest) if t is not None]
        return Record(
            self.measured_s + more.measured_s,
            self.missing_s + more.missing_s,
            min(lows, default=None),
            max(highs, default=None),
        )


class Measured(Protocol):
    """
    Warmth that was measured over some time.

    Attributes:
        degree_days: As measured. [degC d]
        least: As far as the cohort may have been colder than what measured, or most of
            the time as cold as the minimum that was read. [degC d]
        most: And warmer. [degC d]
        measured_s: Time that readings bridged. [s]
        missing_s: Time that they did not. [s]
        records: Both times by what spoke for the cohort; see `fed_by`.
    """

    @property
    def degree_days(self) -> float: ...  # noqa: D102 - described above, as all here
    @property
    def least(self) -> float: ...  # noqa: D102
    @property
    def most(self) -> float: ...  # noqa: D102
    @property
    def measured_s(self) -> float: ...  # noqa: D102
    @property
    def missing_s(self) -> float: ...  # noqa: D102
    @property
    def records(self) -> Mapping[str, Record]: ...  # noqa: D102


class Bounded(msgspec.Struct):
    """A sum of `Measured`, in any order; its attributes are those."""

    degree_days: float = 0.0
    least: float = 0.0
    most: float = 0.0
    measured_s: float = 0.0
    missing_s: float = 0.0
    records: dict[str, Record] = msgspec.field(default_factory=dict)

    def copy(self) -> "Bounded":
        """Give a sum that can grow apart from this one."""
        return msgspec.structs.replace(self, records=dict(self.records))

    def add(self, more: Measured) -> None:
        """Count another time."""
        self.degree_days += more.degree_days
        self.least += more.least
        self.most += more.most
        self.measured_s += more.measured_s
        self.missing_s += more.missing_s
        for key, record in more.records.items():
            known = self.records.get(key)
            self.records[key] = record if known is None else known.joined(record)

    def bounds(self, rule: HeatRule, known: Measured) -> tuple[float, float | None]:
        """
        Allow for the missing time as thresholds and a place's own extremes do.

        Args:
            rule: Thresholds and cutoff.
            known: The same places at this time and others.

        Returns:
            The least and the most; None where nothing bounds it. [degC d]
        """
        low, high = self.least, self.most
        for key, record in self.records.items():
            days = record.missing_s / DAY.total_seconds()
            if days:
                least, most = missing_rates(rule, known.records.get(key))
                low += days * least
                high += days * most
        return low, high if math.isfinite(high) else None


def missing_rates(rule: HeatRule, record: Record | None) -> tuple[float, float]:
    """
    Tell the least and the most rate that a missing time may have had.

    Args:
        rule: Thresholds and cutoff.
        record: What is known of the place; too little of it tells nothing, and of a
            place where nothing measures there is none.

    Returns:
        Degree-days per day; infinite where nothing bounds them. [degC d/d]
    """
    if (
        record is None
        or record.measured_s < ENOUGH_S
        or record.coldest is None
        or record.warmest is None
    ):
        return 0.0, math.inf if rule.upper_c is None else rule.upper_c - rule.lower_c
    return rate_bounds(
        record.coldest,
        record.warmest,
        lower_c=rule.lower_c,
        upper_c=rule.upper_c,
        cutoff=rule.cutoff,
    )


def fed_by(span: FedSpan) -> str:
    """Name what speaks for a cohort: the place of its probes and what they measure."""
    return f"{span.place} {span.quantity.value}" if span.sensors else ""


class Spanned(NamedTuple):
    """
    What was measured of a span of time.

    Attributes:
        sum: The warmth.
        up_to: The instant that it holds to. UTC.
        settled: No reading to come in its order can change it.
    """

    sum: Bounded
    up_to: datetime
    settled: bool


def measure(
    span: FedSpan,
    until: datetime,
    *,
    readings: Series,
    rule: HeatRule,
    instruments: Instruments,
    now: datetime,
) -> Spanned:
    """
    Sum a span by the sensor that measured most of it, the first in a tie.

    Args:
        span: A time in which the same sensors fed a cohort.
        until: Its end. UTC.
        readings: At least the trusted ones of the span and its closing pairs.
        rule: Thresholds and cutoff.
        instruments: By what the house measures.
        now: Nothing is counted beyond it. UTC.
    """
    if span.extremes is not None:
        made = _between(span, span.extremes, until, rule)
        return Spanned(made, until, settled=True)
    best: Spanned | None = None
    for sensor in span.sensors:
        series = readings.get((sensor, span.quantity.value))
        if series is None or not series[0].size:
            continue
        gap = instruments.gap(sensor)
        told = _by_sensor(span, until, series=series, rule=rule, gap=gap, now=now)
        if best is None or told.sum.measured_s > best.sum.measured_s:
            best = told
    if best is None:
        missing = Record(missing_s=(until - span.since).total_seconds())
        best = Spanned(_sum(span, missing), until, settled=True)
    return best


def _sum(
    span: FedSpan, record: Record, degree_days: float = 0.0, *others: float
) -> Bounded:
    """A sum of one span; *others* are what the degree-days may have been, too."""
    return Bounded(
        degree_days,
        min(degree_days, *others) if others else degree_days,
        max(degree_days, *others) if others else degree_days,
        record.measured_s,
        record.missing_s,
        {fed_by(span): record},
    )


def _between(
    span: FedSpan, extremes: tuple[float, float], until: datetime, rule: HeatRule
) -> Bounded:
    """
    Spread the day of a minimum and maximum evenly over the time that they are of.

    Two extremes do not tell how long it was how warm: a room may stand at its minimum
    but for one sunny hour. So the bounds are those of a time that was anything between
    the two. What the daily methods differ by is no bound: they all are guesses at a
    smooth day, and a piece of a day may lie whole in its night.
    """
    low, high = extremes
    per_day = daily.degree_days(
        low,
        high,
        lower=rule.lower_c,
        upper=rule.upper_c,
        method=rule.method,
        cutoff=rule.cutoff,
        next_minimum=span.next_lowest,
    )
    # the double methods go on to the next minimum, which is of another time
    least, most = rate_bounds(
        low, high, lower_c=rule.lower_c, upper_c=rule.upper_c, cutoff=rule.cutoff
    )
    record = Record((until - span.since).total_seconds(), 0.0, low, high)
    days = (until - span.since) / DAY
    return _sum(span, record, per_day * days, least * days, most * days)


def _by_sensor(
    span: FedSpan,
    until: datetime,
    *,
    series: tuple[Times, Values],
    rule: HeatRule,
    gap: timedelta,
    now: datetime,
) -> Spanned:
    times, values = series
    since_us, until_us, last_us = to_us(span.since), to_us(until), int(times[-1])
    # whether the last reading is trusted, the next one decides
    awaited = to_us(now) - last_us <= gap // MICROSECOND
    closing = times.size - int(np.searchsorted(times, until_us))
    settled = closing > 1 or not awaited
    if last_us < until_us and awaited:
        until_us = max(last_us, since_us)
    if span.source == "hand":
        read = ~np.isnan(values)
        times, values = times[read], values[read]

    def at(offset_k: float) -> HeatSum:
        return integrate_between(
            times,
            values + offset_k if offset_k else values,
            since_us=since_us,
            until_us=until_us,
            lower_c=rule.lower_c,
            upper_c=rule.upper_c,
            cutoff=rule.cutoff,
            max_gap=gap,
        )

    distance = span.distance
    heat, off = at(distance.offset_k), SPREADS * distance.spread_k
    others: list[float] = []
    if off:
        # without a fall above the upper threshold the ends are the extremes
        falls = rule.upper_c is not None and rule.cutoff != "horizontal"
        shifts = np.linspace(-off, off, SHIFTS if falls else 2)
        others = [at(distance.offset_k + float(k)).degree_days for k in shifts]
    measured_s, missing_s = heat.measured.total_seconds(), heat.missing.total_seconds()
    record = Record(measured_s, missing_s)
    if heat.measured:
        low, high = _extremes(times, values, since_us, until_us)
        record = Record(
            measured_s,
            missing_s,
            low + distance.offset_k - off,
            high + distance.offset_k + off,
        )
    up_to = span.since + (until_us - since_us) * MICROSECOND
    return Spanned(_sum(span, record, heat.degree_days, *others), up_to, settled)


def _extremes(
    times: Times, values: Values, since_us: int, until_us: int
) -> tuple[float, float]:
    """Of the readings of a span, else of those around it."""
    begin = int(np.searchsorted(times, since_us, side="left"))
    end = int(np.searchsorted(times, until_us, side="right"))
    if begin >= end:
        begin, end = max(begin - 1, 0), end + 1
    inside = values[begin:end]
    return float(inside.min()), float(inside.max())
