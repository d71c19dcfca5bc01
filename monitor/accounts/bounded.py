"""Warmth over a time, with how far it may have been off: what one probe tells of it."""

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
        coldest: The coldest that it may have been while it was measured; None where
            nothing was. [degC]
        warmest: The warmest. [degC]
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
    def coldest(self) -> float | None: ...  # noqa: D102
    @property
    def warmest(self) -> float | None: ...  # noqa: D102


class Bounded(msgspec.Struct):
    """A sum of `Measured`, in any order; its attributes are those."""

    degree_days: float = 0.0
    least: float = 0.0
    most: float = 0.0
    measured_s: float = 0.0
    missing_s: float = 0.0
    coldest: float | None = None
    warmest: float | None = None

    def add(self, more: Measured) -> None:
        """Count another time."""
        self.degree_days += more.degree_days
        self.least += more.least
        self.most += more.most
        self.measured_s += more.measured_s
        self.missing_s += more.missing_s
        low, high = more.coldest, more.warmest
        if low is not None and high is not None:
            self.coldest = low if self.coldest is None else min(self.coldest, low)
            self.warmest = high if self.warmest is None else max(self.warmest, high)

    def bounds(self, rule: HeatRule, record: Measured) -> tuple[float, float | None]:
        """
        Allow for the missing time as thresholds and the place's own extremes do.

        Args:
            rule: Thresholds and cutoff.
            record: What is known of the places in question, at this time and others.

        Returns:
            The least and the most; None where nothing bounds it. [degC d]
        """
        if not self.missing_s:
            return self.least, self.most
        least, most = missing_rates(rule, record)
        days = self.missing_s / DAY.total_seconds()
        high = None if most is None else self.most + days * most
        return self.least + days * least, high


def missing_rates(rule: HeatRule, record: Measured) -> tuple[float, float | None]:
    """
    Tell the least and the most rate that a missing time may have had.

    Args:
        rule: Thresholds and cutoff.
        record: What is known of the place; too little of it tells nothing.

    Returns:
        Degree-days per day; None where nothing bounds them. [degC d/d]
    """
    coldest, warmest = record.coldest, record.warmest
    if record.measured_s < ENOUGH_S or coldest is None or warmest is None:
        return 0.0, None if rule.upper_c is None else rule.upper_c - rule.lower_c
    return rate_bounds(
        coldest,
        warmest,
        lower_c=rule.lower_c,
        upper_c=rule.upper_c,
        cutoff=rule.cutoff,
    )


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
        missing_s = (until - span.since).total_seconds()
        best = Spanned(Bounded(missing_s=missing_s), until, settled=True)
    return best


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
    days = (until - span.since) / DAY
    return Bounded(
        per_day * days,
        min(least, per_day) * days,
        max(most, per_day) * days,
        (until - span.since).total_seconds(),
        0.0,
        low,
        high,
    )


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
    sums = [heat.degree_days]
    if off:
        # without a fall above the upper threshold the ends are the extremes
        falls = rule.upper_c is not None and rule.cutoff != "horizontal"
        shifts = np.linspace(-off, off, SHIFTS if falls else 2)
        sums += [at(distance.offset_k + float(k)).degree_days for k in shifts]
    made = Bounded(
        heat.degree_days,
        min(sums),
        max(sums),
        heat.measured.total_seconds(),
        heat.missing.total_seconds(),
    )
    if heat.measured:
        low, high = _extremes(times, values, since_us, until_us)
        made.coldest = low + distance.offset_k - off
        made.warmest = high + distance.offset_k + off
    up_to = span.since + (until_us - since_us) * MICROSECOND
    return Spanned(made, up_to, settled)


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
