"""
The degree-day account: warmth follows a cohort through every place that it lived in.

The account is kept per UTC day, so that a late reading or a back-dated entry costs a
day anew and no more.
"""

import hashlib
from collections.abc import Iterable
from datetime import UTC, date, datetime, time
from functools import lru_cache

import msgspec

from monitor.accounts.bounded import Bounded, HeatRule, Record, Series, measure
from monitor.accounts.feeding import DAY, FedSpan, on_day
from monitor.accounts.heat import CohortHeat
from monitor.accounts.instruments import Instruments
from monitor.science.daily import method_named
from monitor.site.house import Cohort
from monitor.site.species_file import Development

VERSION = 4
"""Of the arithmetic; a new one makes every cached day stale."""


class DayHeat(msgspec.Struct, frozen=True):
    """
    What one UTC day gave to a cohort in one stage.

    Attributes:
        day: The UTC day.
        degree_days: Measured part. [degC d]
        least: The same as far as the cohort may have been colder than what measured,
            or most of the time as cold as a minimum read by hand. [degC d]
        most: And warmer. [degC d]
        measured_s: Time that readings bridged. [s]
        missing_s: Time that they did not. [s]
        minutes: Measured minutes by source.
        up_to: The figures hold to this instant.
        complete: Nothing is still to come: the day is over, its last pair closed, and
            the reading that closed it is known to be trusted.
        fingerprint: Of all that the figures rest on except the readings.
        records: Measured and missing time by what spoke for the cohort.
    """

    day: date
    degree_days: float
    least: float
    most: float
    measured_s: float
    missing_s: float
    minutes: tuple[tuple[str, float], ...]
    up_to: datetime
    complete: bool
    fingerprint: str = ""
    records: dict[str, Record] = {}


def heat_rule(development: Development | None) -> HeatRule | None:
    """Read how warmth counts in a stage; None where warmth does not count."""
    if development is None or development.driven_by == "time":
        return None
    lower, assumed = development.lower_threshold, False
    if lower is None:
        lower, assumed = development.assumed_lower_threshold, True
    if lower is None:
        return None
    return HeatRule(
        lower,
        development.upper_threshold,
        development.cutoff or "horizontal",
        assumed,
        method_named(development.fitted_with),
    )


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
    instruments: Instruments,
    *,
    now: datetime,
) -> DayHeat:
    """
    Sum the warmth of one UTC day.

    Readings before and after the day close its first and last pair, so that a pair
    across midnight or across a change of stage counts exactly once. Time after the last
    reading is *open*, neither measured nor missing, as long as a next reading may still
    bridge it. A time whose extremes were read by hand is measured, at the rate of the
    rule's daily method between them.

    Args:
        day: The day.
        spans: What fed the cohort, on that day and perhaps on others.
        readings: At least from the longest gap before the day to that after it.
        rule: Thresholds and cutoff.
        instruments: By what the house measures.
        now: Nothing is counted beyond it. UTC.
    """
    parts = on_day(spans, day)
    found = Bounded()
    minutes: dict[str, float] = {}
    end = datetime.combine(day, time(), UTC) + DAY
    up_to = min(now, end)
    # today is never complete: the store marks late readings of past days only
    complete = now >= end
    for span in parts:
        until = min(span.until or end, now)
        if until <= span.since:
            break
        told = measure(
            span, until, readings=readings, rule=rule, instruments=instruments, now=now
        )
        up_to = told.up_to
        complete = complete and up_to == until and told.settled
        found.add(told.sum)
        if told.sum.measured_s:
            more = told.sum.measured_s / 60
            minutes[span.source] = minutes.get(span.source, 0.0) + more
    return DayHeat(
        day=day,
        degree_days=found.degree_days,
        least=found.least,
        most=found.most,
        measured_s=found.measured_s,
        missing_s=found.missing_s,
        minutes=tuple(sorted(minutes.items())),
        up_to=up_to,
        complete=complete,
        fingerprint=fingerprint(day, parts, rule, instruments),
        records=found.records,
    )


def fingerprint(
    day: date,
    parts: Iterable[FedSpan],
    rule: HeatRule,
    instruments: Instruments,
) -> str:
    """
    Tell apart what a day's figures rest on, readings excepted.

    Args:
        day: The day.
        parts: What fed the cohort on it, as `on_day` cuts it.
        rule: Thresholds and cutoff.
        instruments: By what the house measures.
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
                tuple(instruments.mark(s, span.quantity) for s in span.sensors),
                span.extremes,
                span.next_lowest if rule.looks_ahead else None,
                (span.distance.offset_k, span.distance.spread_k),
            )
            for span in parts
        ),
        rule,
    )


class Tally:
    """Days of one stage of a cohort, added up in any order."""

    def __init__(self, days: Iterable[DayHeat] = ()) -> None:
        self.sum = Bounded()
        self.minutes: dict[str, float] = {}
        self.up_to: datetime | None = None
        for day in days:
            self.add(day)

    def copy(self) -> "Tally":
        """Give a sum that can grow apart from this one."""
        other = Tally()
        other.sum, other.up_to = self.sum.copy(), self.up_to
        other.minutes = dict(self.minutes)
        return other

    def add(self, day: DayHeat) -> None:
        """Count a day; each must come once."""
        self.sum.add(day)
        self.up_to = max(day.up_to, self.up_to or day.up_to)
        for source, more in day.minutes:
            self.minutes[source] = self.minutes.get(source, 0.0) + more


def total(
    cohort: Cohort,
    stage: str,
    days: Tally,
    development: Development,
    *,
    known: Bounded | None = None,
    now: datetime,
) -> CohortHeat | None:
    """
    Make the account of a stage from its days; None where warmth does not drive it.

    Args:
        cohort: The animals.
        stage: The stage that *development* is of.
        days: All its days.
        development: How the species develops in it.
        known: The cohort's days in all stages, as far as they are known, which tell
            how cold and warm its places can be; None for those of this one.
        now: The account's instant where there is no day yet. UTC.
    """
    rule = heat_rule(development)
    if rule is None:
        return None
    found, minutes = days.sum, days.minutes
    low, high = found.bounds(rule, known or found)
    whole_s = found.measured_s + found.missing_s
    return CohortHeat(
        cohort=cohort.id,
        stage=stage,
        degree_days=found.degree_days,
        low=low,
        high=high,
        coverage=found.measured_s / whole_s if whole_s else 1.0,
        up_to=days.up_to or now,
        sources=tuple(sorted(minutes, key=lambda s: (-minutes[s], s))),
        required=requirement(development, cohort.sex),
        assumed_threshold=rule.assumed,
    )


@lru_cache(maxsize=4096)
def _hash(parts: tuple[object, ...], rule: HeatRule) -> str:
    said = msgspec.json.encode((VERSION, rule, parts))
    return hashlib.sha256(said).hexdigest()[:16]
