"""
The degree-day account: warmth follows a cohort through every place that it lived in.

The account is kept per UTC day, so that a late reading or a back-dated entry costs a
day anew and no more.
"""

import hashlib
from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache

import msgspec
import numpy as np

from monitor.accounts.feeding import DAY, FedSpan, on_day
from monitor.accounts.heat import CohortHeat
from monitor.clock import to_us
from monitor.science import daily
from monitor.science.degree_days import Cutoff, HeatSum, Times, Values
from monitor.science.degree_days import integrate_between as integrate
from monitor.site.house import Cohort
from monitor.site.species_file import Development

VERSION = 2
"""Of the arithmetic; a new one makes every cached day stale."""

Series = Mapping[tuple[str, str], tuple[Times, Values]]
"""
Readings by (sensor, quantity): times [us], strictly rising, and values.

NaN where something was read by hand, but no value of that instant.
"""


class HeatRule(msgspec.Struct, frozen=True):
    """
    Thresholds and cutoff of a stage.

    Attributes:
        lower_c: Lower threshold. [degC]
        upper_c: Upper threshold, where there is one. [degC]
        cutoff: What happens above it.
        assumed: The lower threshold is an assumption, not published.
    """

    lower_c: float
    upper_c: float | None
    cutoff: Cutoff
    assumed: bool


class DayHeat(msgspec.Struct, frozen=True):
    """
    What one UTC day gave to a cohort in one stage.

    Attributes:
        day: The UTC day.
        degree_days: Measured part. [degC d]
        measured_s: Time that readings bridged. [s]
        missing_s: Time that they did not. [s]
        minutes: Measured minutes by source.
        up_to: The figures hold to this instant.
        complete: Nothing is still to come: the day is over and its last pair closed.
        fingerprint: Of all that the figures rest on except the readings.
    """

    day: date
    degree_days: float
    measured_s: float
    missing_s: float
    minutes: tuple[tuple[str, float], ...]
    up_to: datetime
    complete: bool
    fingerprint: str = ""


def heat_rule(development: Development | None) -> HeatRule | None:
    """Read how warmth counts in a stage; None where warmth does not count."""
    if development is None or development.driven_by == "time":
        return None
    lower, assumed = development.lower_threshold, False
    if lower is None:
        lower, assumed = development.assumed_lower_threshold, True
    if lower is None:
        return None
    cutoff = development.cutoff or "horizontal"
    return HeatRule(lower, development.upper_threshold, cutoff, assumed)


def requirement(development: Development, sex: str) -> float | None:
    """
    Tell the mean degree-days that a stage needs. [degC d].

    Of the cohort's sex, else of any, else the mean over the sexes given. A duration
    at a stated temperature stands for duration times the warmth at it; of several
    temperatures the mean counts.
    """
    needs: dict[str, list[float]] = {}
    for need in development.required_degree_days:
        needs.setdefault(need.sex, []).append(need.mean)
    assumed = development.assumed_lower_threshold
    if assumed is not None:
        for took in development.duration_days:
            needs.setdefault(took.sex, []).append(took.mean * (took.at - assumed))
    means = {sex: sum(found) / len(found) for sex, found in needs.items()}
    if sex in means or "any" in means:
        return means.get(sex, means.get("any"))
    return sum(means.values()) / len(means) if means else None


def day_heat(
    day: date,
    spans: Iterable[FedSpan],
    readings: Series,
    rule: HeatRule,
    max_gap: Callable[[str], timedelta],
    *,
    now: datetime,
) -> DayHeat:
    """
    Sum the warmth of one UTC day.

    Readings before and after the day close its first and last pair, so that a pair
    across midnight or across a change of stage counts exactly once. Where several
    sensors feed a place, the one that measured most of the piece speaks for it, the
    first of them in a tie. Time after the last reading is *open*, neither measured
    nor missing, as long as a next reading may still bridge it. A time whose extremes
    were read by hand is measured, at the rate of a single sine between them.

    Args:
        day: The day.
        spans: What fed the cohort, on that day and perhaps on others.
        readings: At least from the longest gap before the day to that after it.
        rule: Thresholds and cutoff.
        max_gap: The longest time that readings of a sensor may bridge.
        now: Nothing is counted beyond it. UTC.
    """
    parts = on_day(spans, day)
    degree_days = measured_s = missing_s = 0.0
    minutes: dict[str, float] = {}
    end = datetime.combine(day, time(), UTC) + DAY
    up_to = min(now, end)
    # today is never complete: the store marks late readings of past days only
    complete = now >= end
    for span in parts:
        until = min(span.until or end, now)
        if until <= span.since:
            break
        heat, up_to = _span_heat(
            span, until, readings=readings, rule=rule, max_gap=max_gap, now=now
        )
        complete = complete and up_to == until
        degree_days += heat.degree_days
        measured = heat.measured.total_seconds()
        measured_s += measured
        missing_s += heat.missing.total_seconds()
        if measured:
            minutes[span.source] = minutes.get(span.source, 0.0) + measured / 60
    return DayHeat(
        day,
        degree_days,
        measured_s,
        missing_s,
        tuple(sorted(minutes.items())),
        up_to,
        complete,
        fingerprint(day, parts, rule, max_gap),
    )


def fingerprint(
    day: date,
    parts: Iterable[FedSpan],
    rule: HeatRule,
    max_gap: Callable[[str], timedelta],
) -> str:
    """
    Tell apart what a day's figures rest on, readings excepted.

    Args:
        day: The day.
        parts: What fed the cohort on it, as `on_day` cuts it.
        rule: Thresholds and cutoff.
        max_gap: The longest time that readings of a sensor may bridge.
    """
    begin = datetime.combine(day, time(), UTC)
    return _hash(
        tuple(
            (
                (span.since - begin).total_seconds(),
                ((span.until or begin + DAY) - begin).total_seconds(),
                span.sensors,
                span.quantity.value,
                span.source,
                tuple(max_gap(s).total_seconds() for s in span.sensors),
                span.extremes,
            )
            for span in parts
        ),
        rule,
    )


class Tally:
    """Days of one stage of a cohort, added up in any order."""

    def __init__(self, days: Iterable[DayHeat] = ()) -> None:
        self.degree_days = self.measured_s = self.missing_s = 0.0
        self.minutes: dict[str, float] = {}
        self.up_to: datetime | None = None
        for day in days:
            self.add(day)

    def copy(self) -> "Tally":
        """Give a sum that can grow apart from this one."""
        other = Tally()
        other.degree_days, other.up_to = self.degree_days, self.up_to
        other.measured_s, other.missing_s = self.measured_s, self.missing_s
        other.minutes = dict(self.minutes)
        return other

    def add(self, day: DayHeat) -> None:
        """Count a day; each must come once."""
        self.degree_days += day.degree_days
        self.measured_s += day.measured_s
        self.missing_s += day.missing_s
        self.up_to = max(day.up_to, self.up_to or day.up_to)
        for source, more in day.minutes:
            self.minutes[source] = self.minutes.get(source, 0.0) + more


def total(
    cohort: Cohort,
    stage: str,
    days: Tally,
    development: Development,
    *,
    now: datetime,
) -> CohortHeat | None:
    """
    Make the account of a stage from its days; None where warmth does not drive it.

    Args:
        cohort: The animals.
        stage: The stage that *development* is of.
        days: All its days.
        development: How the species develops in it.
        now: The account's instant where there is no day yet. UTC.
    """
    rule = heat_rule(development)
    if rule is None:
        return None
    high = None
    if rule.upper_c is not None:
        most = days.missing_s / DAY.total_seconds() * (rule.upper_c - rule.lower_c)
        high = days.degree_days + most
    whole_s = days.measured_s + days.missing_s
    minutes = days.minutes
    return CohortHeat(
        cohort=cohort.id,
        stage=stage,
        degree_days=days.degree_days,
        low=days.degree_days,
        high=high,
        coverage=days.measured_s / whole_s if whole_s else 1.0,
        up_to=days.up_to or now,
        sources=tuple(sorted(minutes, key=lambda s: (-minutes[s], s))),
        required=requirement(development, cohort.sex),
        assumed_threshold=rule.assumed,
    )


def _span_heat(
    span: FedSpan,
    until: datetime,
    *,
    readings: Series,
    rule: HeatRule,
    max_gap: Callable[[str], timedelta],
    now: datetime,
) -> tuple[HeatSum, datetime]:
    """The sum of the sensor that measured most, and the instant that it holds to."""
    if span.extremes is not None:
        return _heat_between(span.extremes, span.since, until, rule), until
    best: tuple[HeatSum, datetime] | None = None
    for sensor in span.sensors:
        series = readings.get((sensor, span.quantity.value))
        if series is None or not series[0].size:
            continue
        heat, stop = _sensor_heat(
            span, until, series=series, rule=rule, gap=max_gap(sensor), now=now
        )
        if best is None or heat.measured > best[0].measured:
            best = heat, stop
    if best is None:
        since_us, until_us = to_us(span.since), to_us(until)
        best = (
            HeatSum(0.0, timedelta(0), until - span.since, since_us, until_us),
            until,
        )
    return best


def _heat_between(
    extremes: tuple[float, float], since: datetime, until: datetime, rule: HeatRule
) -> HeatSum:
    """Spread the day of a minimum and maximum evenly over the time that they are of."""
    low, high = extremes
    per_day = daily.degree_days(
        low,
        high,
        lower=rule.lower_c,
        upper=rule.upper_c,
        method="single-sine",
        cutoff=rule.cutoff,
    )
    span = until - since
    return HeatSum(
        per_day * (span / DAY), span, timedelta(0), to_us(since), to_us(until)
    )


def _sensor_heat(
    span: FedSpan,
    until: datetime,
    *,
    series: tuple[Times, Values],
    rule: HeatRule,
    gap: timedelta,
    now: datetime,
) -> tuple[HeatSum, datetime]:
    times, values = series
    since_us, until_us, last_us = to_us(span.since), to_us(until), int(times[-1])
    if last_us < until_us and to_us(now) - last_us <= gap // timedelta(microseconds=1):
        until_us = max(last_us, since_us)
    if span.source == "hand":
        read = ~np.isnan(values)
        times, values = times[read], values[read]
    heat = integrate(
        times,
        values,
        since_us=since_us,
        until_us=until_us,
        lower_c=rule.lower_c,
        upper_c=rule.upper_c,
        cutoff=rule.cutoff,
        max_gap=gap,
    )
    return heat, span.since + timedelta(microseconds=until_us - since_us)


@lru_cache(maxsize=4096)
def _hash(parts: tuple[object, ...], rule: HeatRule) -> str:
    said = msgspec.json.encode((VERSION, rule, parts))
    return hashlib.sha256(said).hexdigest()[:16]
