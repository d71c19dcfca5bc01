"""From the journal and the accounts to what each cohort needed in each stage."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import UTC, date, datetime, time, timedelta

import msgspec

from monitor.accounts.bounded import Bounded, HeatRule
from monitor.accounts.cache import unpacked
from monitor.accounts.degree_days import DayHeat, day_heat, fingerprint, heat_rule
from monitor.accounts.feeding import DAY, FedSpan, on_day
from monitor.accounts.instruments import Instruments, Readings
from monitor.accounts.sightings import StageSpan, by_cohort, spans_of
from monitor.science.degree_days import Times, Values
from monitor.science.log_normal import Amount
from monitor.site.house import Cohort, House
from monitor.site.journal import Entry
from monitor.site.species_file import Library, Stage
from monitor.site.stays import Stay
from monitor.store.rows import AccountDay

BLOCK = timedelta(days=31)
"""So many days of readings are in memory at once."""

replace = msgspec.structs.replace


class Observation(msgspec.Struct, frozen=True, kw_only=True):
    """
    What one cohort needed in one stage, as far as it is known.

    One cohort is one observation, however many animals it holds.

    Attributes:
        cohort: The cohort's id.
        species: Id of its species.
        stage: The stage.
        sex: Of the cohort.
        unit: Of the amounts: "degC d" or "d".
        low: At least this much.
        high: At most this much; None where the stage was not seen to end, or warmth
            without any measure may have been any.
        over: The stage was seen to be over.
        span: Between which instants it began and ended.
        coverage: Measured share of the time. [fraction]
        warmth_c: The steady temperature that gives the same warmth; None where time
            alone drives. [degC]
    """

    cohort: int
    species: str
    stage: str
    sex: str
    unit: str
    low: float
    high: float | None
    over: bool
    span: StageSpan
    coverage: float
    warmth_c: float | None

    @property
    def amount(self) -> Amount:
        """What is known of the amount."""
        return Amount(self.low, float("inf") if self.high is None else self.high)


class Observer:
    """
    Turns stages into amounts; what cohorts share is computed once.

    Whole days come from the accounts where these still hold, the rest is integrated
    from readings.

    Args:
        instruments: By what the house measures.
        library: The species.
        house: With all that the journal moved.
        readings: Asks the store.
        account_days: The cached account of a cohort.
        now: Nothing is counted beyond it. UTC.
    """

    def __init__(
        self,
        instruments: Instruments,
        library: Library,
        house: House,
        readings: Readings,
        account_days: Callable[[int], Sequence[AccountDay]],
        *,
        now: datetime,
    ) -> None:
        self._library, self._house, self._now = library, house, now
        self._readings, self._account_days = readings, account_days
        self._instruments = instruments
        self._made: dict[tuple[date, str], DayHeat] = {}

    def all(
        self, entries: Iterable[Entry], *, beat: Callable[[], None] = lambda: None
    ) -> tuple[Observation, ...]:
        """
        Observe every cohort of the house, the ended ones too.

        Args:
            entries: The journal, in any order.
            beat: Called at every cohort, to show that the thread lives.
        """
        told = by_cohort(entries)
        found: list[Observation] = []
        for cohort in sorted(self._house.cohorts.values(), key=lambda c: c.id):
            beat()
            species = self._library.species.get(cohort.species)
            if species is None:
                continue
            spans = spans_of(cohort, species, told.get(cohort.id, ()), now=self._now)
            if spans:
                found += self.cohort(cohort, spans)
        return tuple(found)

    def cohort(
        self, cohort: Cohort, spans: Iterable[StageSpan]
    ) -> Iterator[Observation]:
        """Observe one cohort; stages that tell nothing of their need are left out."""
        days: Mapping[tuple[str, date], DayHeat] | None = None
        for span in spans:
            stage = self._library.stage(cohort.species, span.stage)
            if stage is None or stage.development is None:
                continue
            rule = heat_rule(stage.development)
            if rule is None:
                made = _by_time(cohort, span)
            else:
                if days is None:
                    days = unpacked(self._account_days(cohort.id))[0]
                made = self._by_heat(cohort, stage, span, rule, days)
            if made.low > 0 or made.high is not None:
                yield made

    def _by_heat(
        self,
        cohort: Cohort,
        stage: Stage,
        span: StageSpan,
        rule: HeatRule,
        days: Mapping[tuple[str, date], DayHeat],
    ) -> Observation:
        def between(since: datetime, until: datetime) -> Bounded:
            return self._sum(cohort, stage, rule, days, since=since, until=until)

        until = span.ended_by or span.ended_after
        if span.begun_by < span.ended_after:
            sure = between(span.begun_by, span.ended_after)
            whole = Bounded()
            whole.add(sure)
            whole.add(between(span.begun_after, span.begun_by))
            whole.add(between(span.ended_after, until))
            low = sure.bounds(rule, whole)[0]
        else:
            low, whole = 0.0, between(span.begun_after, until)
            sure = whole
        high = None
        if span.ended_by is not None:
            high = whole.bounds(rule, whole)[1]
        time_s = whole.measured_s + whole.missing_s
        shown = sure if sure.measured_s else whole
        pace = shown.degree_days * DAY.total_seconds() / (shown.measured_s or 1.0)
        return _observation(
            cohort,
            span,
            unit="degC d",
            low=low,
            high=high,
            coverage=whole.measured_s / time_s if time_s else 1.0,
            warmth_c=rule.lower_c + pace if shown.measured_s else None,
        )

    def _sum(
        self,
        cohort: Cohort,
        stage: Stage,
        rule: HeatRule,
        days: Mapping[tuple[str, date], DayHeat],
        *,
        since: datetime,
        until: datetime,
    ) -> Bounded:
        """Warmth that a cohort had between two instants, by the rule of a stage."""
        found = Bounded()
        if not since < until:
            return found
        # as if it had been in the stage all that time, in the places where it was
        there = replace(cohort, stages=(Stay(stage.id, since, until),))
        spans = self._instruments.spans(self._house, there, stage)
        lacking: list[tuple[date, str]] = []
        for day in _days(since, until):
            print_ = fingerprint(day, on_day(spans, day), rule, self._instruments)
            held = days.get((stage.id, day))
            if held is None or not held.complete or held.fingerprint != print_:
                held = self._made.get((day, print_))
            if held is None:
                lacking.append((day, print_))
            else:
                found.add(held)
        for block in _blocks(lacking):
            series = self._load(spans, block[0][0], block[-1][0])
            for key in block:
                heat = day_heat(
                    key[0], spans, series, rule, self._instruments, now=self._now
                )
                self._made[key] = heat
                found.add(heat)
        return found

    def _load(
        self, spans: Iterable[FedSpan], first: date, last: date
    ) -> dict[tuple[str, str], tuple[Times, Values]]:
        begin, end = (datetime.combine(day, time(), UTC) for day in (first, last))
        found: dict[tuple[str, str], tuple[Times, Values]] = {}
        for span in spans:
            if span.since >= end + DAY or (span.until or end + DAY) <= begin:
                continue
            for sensor in span.sensors:
                key = sensor, span.quantity.value
                if key not in found:
                    found[key] = self._instruments.read(
                        self._readings, sensor, span.quantity, begin, end + DAY
                    )
        return found


def _by_time(cohort: Cohort, span: StageSpan) -> Observation:
    high = None
    if span.ended_by is not None:
        high = (span.ended_by - span.begun_after) / DAY
    low = max((span.ended_after - span.begun_by) / DAY, 0.0)
    return _observation(
        cohort, span, unit="d", low=low, high=high, coverage=1.0, warmth_c=None
    )


def _observation(
    cohort: Cohort,
    span: StageSpan,
    *,
    unit: str,
    low: float,
    high: float | None,
    coverage: float,
    warmth_c: float | None,
) -> Observation:
    return Observation(
        cohort=cohort.id,
        species=cohort.species,
        stage=span.stage,
        sex=cohort.sex,
        unit=unit,
        # sums of the same days in another order may differ in the last digit
        low=low if high is None else min(low, high),
        high=high,
        over=span.ended_by is not None,
        span=span,
        coverage=coverage,
        warmth_c=warmth_c,
    )


def _days(since: datetime, until: datetime) -> Iterator[date]:
    day = since.date()
    while datetime.combine(day, time(), UTC) < until:
        yield day
        day += DAY


def _blocks(keys: Sequence[tuple[date, str]]) -> Iterator[list[tuple[date, str]]]:
    block: list[tuple[date, str]] = []
    for key in keys:
        if block and key[0] - block[0][0] >= BLOCK:
            yield block
            block = []
        block.append(key)
    if block:
        yield block
