"""Which days of which accounts must be made anew: late readings, back-dated entries."""

from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime, time

import msgspec

from monitor.accounts.bounded import HeatRule
from monitor.accounts.degree_days import DayHeat, fingerprint, heat_rule
from monitor.accounts.feeding import DAY, FedSpan, on_day
from monitor.accounts.instruments import Instruments
from monitor.site.house import Cohort, House
from monitor.site.species_file import Library
from monitor.site.words import Quantity
from monitor.store.rows import AccountDay, StaleDay, StaleSeries

_encode = msgspec.json.encode
_decoder = msgspec.json.Decoder(DayHeat)


class DayPlan(msgspec.Struct, frozen=True):
    """
    A day of a cohort's stage and all that its account rests on except readings.

    Attributes:
        cohort: The cohort's id.
        stage: The stage.
        day: The UTC day.
        spans: What fed the cohort in the stage, shared by all its days.
        rule: Thresholds and cutoff.
        fingerprint: Of spans and rule.
    """

    cohort: int
    stage: str
    day: date
    spans: tuple[FedSpan, ...]
    rule: HeatRule
    fingerprint: str

    @property
    def parts(self) -> tuple[FedSpan, ...]:
        """What fed the cohort on the day."""
        return on_day(self.spans, self.day)


Key = tuple[str, date]
"""A stage and a day of one cohort."""


def plan_cohort(
    house: House,
    cohort: Cohort,
    library: Library,
    instruments: Instruments,
    *,
    now: datetime,
) -> dict[Key, DayPlan]:
    """
    List every day, to that of *now*, on which warmth counted for a cohort.

    Args:
        house: With all that the journal moved.
        cohort: The animals.
        library: The species.
        instruments: By what the house measures.
        now: The instant of the account. UTC.
    """
    plans: dict[Key, DayPlan] = {}
    for name in dict.fromkeys(stay.what for stay in cohort.stages):
        stage = library.stage(cohort.species, name)
        rule = heat_rule(stage.development) if stage is not None else None
        if stage is None or rule is None:
            continue
        spans = instruments.spans(house, cohort, stage)
        for day in _days(spans, now):
            rests_on = fingerprint(day, on_day(spans, day), rule, instruments)
            plans[name, day] = DayPlan(cohort.id, name, day, spans, rule, rests_on)
    return plans


def stale(
    plans: Mapping[Key, DayPlan],
    cached: Mapping[Key, DayHeat],
    *,
    touched: frozenset[tuple[str, str, date]] = frozenset(),
    marked_from: date | None = None,
) -> set[Key]:
    """
    Tell which days of a cohort must be computed.

    Those never computed, those not complete (today always), those whose feed or
    rule changed, those that a late reading touches, and those marked.

    Args:
        plans: Every day of the cohort, as `plan_cohort` lists them.
        cached: What was computed before.
        touched: Sensor, quantity and day of late readings, as `touched_by` spreads
            them.
        marked_from: A mark on the cohort: every day from this one on.
    """
    found: set[Key] = set()
    for key, plan in plans.items():
        known = cached.get(key)
        if (
            known is None
            or not known.complete
            or known.fingerprint != plan.fingerprint
            or (marked_from is not None and plan.day >= marked_from)
            or (touched and _is_touched(plan, touched))
        ):
            found.add(key)
    return found


def touched_by(
    marks: Iterable[StaleSeries], instruments: Instruments
) -> frozenset[tuple[str, str, date]]:
    """
    Spread late readings over the days that their pairs may reach into.

    A reading closes pairs with its neighbours, which may lie in the day before and
    after, or, for a thermometer read once a day, two days off.
    """
    found: set[tuple[str, str, date]] = set()
    for mark in marks:
        begin = datetime.combine(mark.day, time(), UTC)
        before, after = instruments.reach(mark.sensor, Quantity(mark.quantity))
        day, last = (begin - before).date(), (begin + DAY + after).date()
        while day <= last:
            found.add((mark.sensor, mark.quantity, day))
            day += DAY
    return frozenset(found)


def marked_from(marks: Iterable[StaleDay]) -> dict[int, date]:
    """The earliest marked day of each cohort."""
    found: dict[int, date] = {}
    for mark in marks:
        found[mark.cohort] = min(mark.day, found.get(mark.cohort, mark.day))
    return found


def obsolete_from(
    plans: Mapping[Key, DayPlan], cached: Mapping[Key, DayHeat]
) -> date | None:
    """The earliest cached day that no longer belongs to its stage; None if all do."""
    return min((key[1] for key in cached if key not in plans), default=None)


def packed(plan: DayPlan, heat: DayHeat) -> AccountDay:
    """The row of the store for a computed day."""
    return AccountDay(plan.cohort, plan.stage, plan.day, _encode(heat))


def unpacked(rows: Iterable[AccountDay]) -> tuple[dict[Key, DayHeat], bool]:
    """
    Read the rows of a cohort.

    Returns:
        The days that this program can read, and whether there were others: those
        of another version are computed anew.
    """
    days: dict[Key, DayHeat] = {}
    foreign = False
    for row in rows:
        try:
            days[row.stage, row.day] = _decoder.decode(row.body)
        except (msgspec.DecodeError, msgspec.ValidationError):
            foreign = True
    return days, foreign


def _days(spans: Iterable[FedSpan], now: datetime) -> Iterable[date]:
    # the whole of today, whose plan then holds until midnight
    horizon = datetime.combine(now.date(), time(), UTC) + DAY
    found: dict[date, None] = {}
    for span in spans:
        until = min(span.until or horizon, horizon)
        day = span.since.date()
        while datetime.combine(day, time(), UTC) < until:
            found[day] = None
            day += DAY
    return found


def _is_touched(plan: DayPlan, touched: frozenset[tuple[str, str, date]]) -> bool:
    return any(
        (sensor, span.quantity.value, plan.day) in touched
        for span in plan.parts
        for sensor in span.sensors
    )
