"""
What of the week asks for a look, the worst first: places, tubs, sensors.

Of the many tubs only those are named that are an exception. The choice of what counts
as one is our own and stands beside each rule.
"""

from collections.abc import Iterator

import msgspec

from monitor.alarms.alarm import Side
from monitor.alarms.defaults import ON_DELAY
from monitor.summary.sections.cohorts import COHORTS, CohortFigures
from monitor.summary.sections.conditions import CONDITIONS, ProbeFigures
from monitor.summary.sections.keeping import KEEPING, is_stale, sentences
from monitor.summary.sections.sensors import (
    SENSORS,
    SensorFigures,
    is_sparse,
    sparse,
    unheard_lines,
)
from monitor.summary.summary import Summary, part_of
from monitor.summary.words import brief, many, percent, span, with_unit

WELL_MEASURED = 0.8
"""A cohort of whose time in the stage less was measured is named."""
WELL_HEARD = 0.9
"""A sensor of which less was heard is named."""


class Finding(msgspec.Struct, frozen=True, kw_only=True):
    """
    One thing to look at.

    Attributes:
        rank: 0 for the worst kind.
        weight: Within the kind, the heavier first.
        place: Id of the place that it is about; "" where it is none.
        where: Its name.
        what: The matter in words.
    """

    rank: int
    weight: float
    place: str
    where: str
    what: str


def findings(summary: Summary, *, degree: str = "") -> tuple[Finding, ...]:
    """Everything that asks for a look, the worst first."""
    found = [*_places(summary, degree), *_tubs(summary), *_sensors(summary)]
    kept = part_of(summary, KEEPING)
    if kept is not None and is_stale(kept):
        what = sentences(kept)[-1]
        found.append(Finding(rank=5, weight=0, place="", where="Backups", what=what))
    return tuple(sorted(found, key=lambda f: (f.rank, -f.weight, f.where, f.what)))


def _places(summary: Summary, degree: str) -> Iterator[Finding]:
    told = part_of(summary, CONDITIONS)
    for probe in told.probes if told is not None else ():
        if nothing_suits(probe):
            yield _of(
                probe,
                rank=1,
                weight=probe.cohorts,
                what=f"{brief(probe.quantity)}: nothing suits all who depend on it",
            )
        elif is_exception(probe):
            yield _of(
                probe,
                rank=0 if any(s.danger for s in probe.spells) else 2,
                weight=probe.spells[0].seconds,
                what=f"{brief(probe.quantity)} {range_words(probe, degree)}",
            )


def _of(probe: ProbeFigures, *, rank: int, weight: float, what: str) -> Finding:
    return Finding(
        rank=rank, weight=weight, place=probe.place, where=probe.where, what=what
    )


def is_exception(probe: ProbeFigures) -> bool:
    """Out of range as long as makes an alarm by the usual delay, or past danger."""
    delay = ON_DELAY[probe.quantity].total_seconds()
    return any(s.danger or s.seconds >= delay for s in probe.spells)


def nothing_suits(probe: ProbeFigures) -> bool:
    """Whether those who depend on it now share no value that all tolerate."""
    return any(band and band[0] > band[1] for band in probe.tolerated.values())


def range_words(probe: ProbeFigures, degree: str = "") -> str:
    """How long a probe was out of range in all, and how far at worst."""
    worst = max(probe.spells, key=lambda s: (s.danger, s.beyond))
    to = "down to" if worst.side is Side.BELOW else "up to"
    danger = ", PAST THE DANGER LIMIT" if worst.danger else ""
    spells = many(probe.spell_count, "spell")
    longest = (
        f", the longest {span(probe.spells[0].seconds)}"
        if probe.spell_count > 1
        else ""
    )
    return (
        f"out of range for {span(probe.out_of_range_s)} in {spells}{longest}, {to} "
        f"{with_unit(worst.worst, probe.quantity, degree)} (limit "
        f"{with_unit(worst.limit, probe.quantity, degree)}){danger}"
    )


def _tubs(summary: Summary) -> Iterator[Finding]:
    told = part_of(summary, COHORTS)
    for cohort in told.cohorts if told is not None else ():
        if cohort.unmeasured:
            yield _tub(cohort, 3, 0, "no thermometer tells what they get")
        elif (
            cohort.ended_as is None
            and cohort.heat is not None
            and cohort.heat.coverage < WELL_MEASURED
        ):
            share = percent(cohort.heat.coverage)
            what = f"only {share} of their time in the stage was measured"
            yield _tub(cohort, 4, 1 - cohort.heat.coverage, what)


def _tub(cohort: CohortFigures, rank: int, weight: float, what: str) -> Finding:
    who = f"{cohort.name} {cohort.stage}, cohort {cohort.id}"
    return Finding(
        rank=rank,
        weight=weight,
        place=cohort.place,
        where=cohort.place,
        what=f"{who}: {what}",
    )


def _sensors(summary: Summary) -> Iterator[Finding]:
    told = part_of(summary, SENSORS)
    if told is None:
        return
    if told.unheard:
        longest = unheard_lines(told)[0]
        whole = sum(one.seconds for one in told.unheard)
        what = longest[0].lower() + longest[1:]
        if len(told.unheard) > 1:
            what += f" {len(told.unheard)} such times, {span(whole)} in all."
        yield Finding(rank=1, weight=whole, place="", where="Whole house", what=what)
    for sensor in told.sensors:
        share = sensor.own_coverage
        if share is not None and share < WELL_HEARD:
            yield Finding(
                rank=3 if sensor.n == 0 else 4,
                weight=1 - share,
                place=sensor.place,
                where=sensor.where,
                what=f"sensor {sensor.sensor} {heard_words(sensor)}",
            )


def heard_words(sensor: SensorFigures) -> str:
    """How badly a sensor was heard."""
    if sensor.n == 0:
        return "was never heard"
    heard = f"was heard {percent(sensor.coverage)} of the time"
    if is_sparse(sensor):
        return f"{heard}, {sparse(sensor)}"
    return f"{heard}, silent for {span(sensor.own_silence_s)} at the longest"
