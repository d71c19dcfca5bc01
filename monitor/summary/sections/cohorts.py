"""Cohorts of the week: who they are, how long in their stage, how much warmth."""

from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from itertools import groupby

import msgspec

from monitor.accounts.cache import unpacked
from monitor.accounts.degree_days import Tally, total
from monitor.accounts.forecast_values import question
from monitor.alarms.rule import may_be, stages_of
from monitor.site.house import Cohort
from monitor.site.journal import Count
from monitor.site.words import TEMPERATURES
from monitor.summary.section import Section
from monitor.summary.view import WeekView
from monitor.summary.words import cut, folded, many, percent

NAMED = 10
"""So many cohorts of a species and stage are named that may be in an unseen one."""

_WEEK = timedelta(days=7)
_ROW = "  {:<31}{:>8}{:>8}{:>14}{:>9}"
_HEAD = _ROW.format("", "cohorts", "animals", "weeks", "measured")


class HeatFigures(msgspec.Struct, frozen=True, kw_only=True):
    """
    Warmth since the stage began.

    Attributes:
        degree_days: Measured part. [degC d]
        low: With missing time at no warmth. [degC d]
        high: With missing time at the most that the thresholds allow; None without an
            upper threshold. [degC d]
        coverage: Measured share of the time.
        required: Mean requirement of the stage, where there is one. [degC d]
        assumed_threshold: The lower threshold is an assumption, not published.
        up_to: The account holds to this instant: the last whole UTC day. UTC.
    """

    degree_days: float
    low: float
    high: float | None
    coverage: float
    required: float | None
    assumed_threshold: bool
    up_to: datetime


class CohortFigures(msgspec.Struct, frozen=True, kw_only=True):
    """
    One cohort at the end of what is told, or at its own end in the week.

    Attributes:
        name: Of the species.
        stage_since: When its stage began. UTC.
        weeks_in_stage: How long ago that was.
        count: How many animals, and how well that is known; None for a colony.
        ended_at: When it was no longer followed. UTC.
        ended_as: Why.
        perhaps: Later stages that it may be in, seen by nobody.
        unmeasured: It has a band of temperature, and no thermometer tells.
    """

    id: int
    species: str
    name: str
    provisional: bool
    stage: str
    place: str
    stage_since: datetime
    weeks_in_stage: float
    colony: bool
    count: Count | None
    ended_at: datetime | None
    ended_as: str | None
    heat: HeatFigures | None
    unmeasured: bool = False
    perhaps: tuple[str, ...] = ()


class Group(msgspec.Struct, frozen=True, kw_only=True):
    """
    Cohorts of one species and stage that are followed on, together.

    Attributes:
        cohorts: How many.
        animals: Those that were counted, somehow; colonies have no number.
        colonies: So many of the cohorts are colonies.
        youngest: Weeks in this stage of the cohort that is shortest in it.
        oldest: Of the one that is longest in it.
        covered: Measured share of their time in the stage, of the worst measured one;
            None where no account tells.
    """

    name: str
    provisional: bool
    stage: str
    cohorts: int
    animals: int
    colonies: int
    youngest: float
    oldest: float
    covered: float | None


class Figures(msgspec.Struct, frozen=True):
    """
    Every cohort that was followed in the week.

    Attributes:
        cohorts: By species, stage and id.
        groups: Those that are followed on, by species and stage.
    """

    cohorts: tuple[CohortFigures, ...]
    groups: tuple[Group, ...]


def figures(week: WeekView) -> Figures:
    """Tell every cohort of the week."""
    found = [
        _cohort(cohort, week)
        for cohort in week.house.cohorts.values()
        if cohort.ended_at is None or cohort.ended_at >= week.start
    ]
    cohorts = tuple(sorted(found, key=lambda c: _order(c, week)))
    return Figures(cohorts, tuple(_groups(cohorts)))


def _groups(cohorts: Iterable[CohortFigures]) -> Iterator[Group]:
    followed = [c for c in cohorts if c.ended_as is None]
    for (name, stage), group in groupby(followed, key=lambda c: (c.name, c.stage)):
        members = list(group)
        weeks = [c.weeks_in_stage for c in members]
        covered = [c.heat.coverage for c in members if c.heat is not None]
        yield Group(
            name=name,
            provisional=members[0].provisional,
            stage=stage,
            cohorts=len(members),
            animals=sum(c.count.number or 0 for c in members if c.count is not None),
            colonies=sum(c.colony for c in members),
            youngest=min(weeks),
            oldest=max(weeks),
            covered=min(covered, default=None),
        )


def _order(cohort: CohortFigures, week: WeekView) -> tuple[str, int, str, int]:
    species = week.library.species.get(cohort.species)
    stages = [stage.id for stage in species.stages] if species else []
    number = stages.index(cohort.stage) if cohort.stage in stages else len(stages)
    return cohort.name, number, cohort.stage, cohort.id


def _cohort(cohort: Cohort, week: WeekView) -> CohortFigures:
    species = week.library.species.get(cohort.species)
    since = cohort.stages[-1].since
    return CohortFigures(
        id=cohort.id,
        species=cohort.species,
        name=species.species.name if species else cohort.species,
        provisional=cohort.species in week.library.provisional,
        stage=cohort.stage,
        place=cohort.place,
        stage_since=since,
        weeks_in_stage=((cohort.ended_at or week.until) - since) / _WEEK,
        colony=cohort.colony,
        count=None if cohort.colony else cohort.count,
        ended_at=cohort.ended_at,
        ended_as=cohort.end_reason,
        heat=_heat(cohort, week),
        unmeasured=cohort.ended_at is None and _is_unmeasured(cohort, week),
        perhaps=_perhaps(cohort, week),
    )


def _perhaps(cohort: Cohort, week: WeekView) -> tuple[str, ...]:
    if cohort.ended_at is not None:
        return ()
    return may_be(cohort, week.library, week.perhaps.get(cohort.id, ()))


def _is_unmeasured(cohort: Cohort, week: WeekView) -> bool:
    stages = stages_of(cohort, week.library, _perhaps(cohort, week))
    bands = [band for stage in stages for band in stage.bands]
    wanted = [band for band in bands if band.quantity in TEMPERATURES]
    return bool(wanted) and not any(
        week.house.feed(cohort.place, b.quantity, inside=b.of == "tub").sensors
        for b in wanted
    )


def _heat(cohort: Cohort, week: WeekView) -> HeatFigures | None:
    """The account from its whole days, where there are any."""
    stage = week.library.stage(cohort.species, cohort.stage)
    rows, _ = unpacked(week.account_days.get(cohort.id, ()))
    days = [
        day
        for (name, _), day in rows.items()
        if name == cohort.stage and day.up_to <= week.until
    ]
    if stage is None or stage.development is None or not days:
        return None
    known = Tally(day for day in rows.values() if day.up_to <= week.until).sum
    made = total(
        cohort,
        cohort.stage,
        Tally(days),
        stage.development,
        known=known,
        now=week.until,
    )
    if made is None:
        return None
    return HeatFigures(
        degree_days=made.degree_days,
        low=made.low,
        high=made.high,
        coverage=made.coverage,
        required=made.required,
        assumed_threshold=made.assumed_threshold,
        up_to=made.up_to,
    )


def text(told: Figures) -> list[str]:
    """Say it species by species, stage by stage."""
    if not told.cohorts:
        return ["No cohort is followed."]
    lines: list[str] = []
    for (name, stage), group in groupby(told.cohorts, key=lambda c: (c.name, c.stage)):
        cohorts = list(group)
        known = " (provisional)" if cohorts[0].provisional else ""
        lines.append(cut(f"{name}{known}, {stage}: {many(len(cohorts), 'cohort')}"))
        for cohort in cohorts:
            lines += _lines(cohort)
    return lines


def _lines(cohort: CohortFigures) -> Iterator[str]:
    count = "colony" if cohort.count is None else str(cohort.count)
    yield cut(
        f"  {cohort.id:>5}  {cut(cohort.place, 20):<20}"
        f"{cohort.weeks_in_stage:>7.1f} weeks  {count}"
    )
    if cohort.ended_as is not None:
        yield cut(f"         no longer followed: {cohort.ended_as}")
    if cohort.perhaps:
        yield cut(f"         {perhaps_words(cohort.perhaps)}")
    heat = cohort.heat
    # an assumed threshold makes a sum that only looks exact: keepers see weeks
    if heat is not None and not heat.assumed_threshold:
        need = "" if heat.required is None else f" of {heat.required:.0f}"
        yield (
            f"         {heat.degree_days:.0f}{need} degree-days, "
            f"{percent(heat.coverage)} of the time measured"
        )


def brief(told: Figures) -> list[str]:
    """Say it in a line for each species and stage; tubs only where animals left."""
    if not told.groups:
        lines = ["No cohort is followed."]
    else:
        lines = [*folded(stock(told)), "", _HEAD, *map(_grouped, told.groups)]
    for said in unseen(told):
        lines += folded(said, "  ")
    for cohort in told.cohorts:
        if cohort.ended_as is not None:
            lines += folded(left(cohort), "  ")
    return lines


def perhaps_words(stages: Iterable[str]) -> str:
    """Say what a cohort may be in, and what to look for."""
    named = tuple(stages)
    return f"perhaps already {' or '.join(named)}: {question(named)}"


def unseen(told: Figures) -> Iterator[str]:
    """Say of each species and stage which cohorts may be in a stage nobody sees."""
    found: dict[tuple[str, str, tuple[str, ...]], list[int]] = {}
    for cohort in told.cohorts:
        if cohort.perhaps:
            key = (cohort.name, cohort.stage, cohort.perhaps)
            found.setdefault(key, []).append(cohort.id)
    for (name, stage, stages), ids in found.items():
        shown = ", ".join(str(number) for number in ids[:NAMED])
        more = f" and {len(ids) - NAMED} more" if len(ids) > NAMED else ""
        cohorts = "cohort" if len(ids) == 1 else "cohorts"
        yield f"{name} {stage}, {cohorts} {shown}{more}: {perhaps_words(stages)}"


def stock(told: Figures) -> str:
    """The whole stock in one sentence."""
    animals = sum(group.animals for group in told.groups)
    colonies = sum(group.colonies for group in told.groups)
    cohorts = sum(group.cohorts for group in told.groups)
    species = len({group.name for group in told.groups})
    also = f" and {many(colonies, 'colony', 'colonies')}" if colonies else ""
    return (
        f"{many(cohorts, 'cohort')} of {many(species, 'species', 'species')}, "
        f"{animals} animals by the last counts{also}."
    )


def left(cohort: CohortFigures) -> str:
    """Say who is no longer followed, and why."""
    return (
        f"No longer followed: {cohort.name} {cohort.stage}, cohort {cohort.id} in "
        f"{cohort.place}: {cohort.ended_as}"
    )


def weeks_of(group: Group) -> str:
    """How long they have been in their stage: "1.1 to 6.4 weeks"."""
    low, high = f"{group.youngest:.1f}", f"{group.oldest:.1f}"
    return f"{low} weeks" if low == high else f"{low} to {high} weeks"


def _grouped(group: Group) -> str:
    known = " (provisional)" if group.provisional else ""
    animals = f"{group.animals}" if group.animals else "-"
    weeks = weeks_of(group).removesuffix(" weeks")
    name = cut(f"{group.name}{known}, {group.stage}", 31)
    return _ROW.format(name, group.cohorts, animals, weeks, percent(group.covered))


COHORTS = Section("cohorts", "Cohorts", figures, text, brief)
