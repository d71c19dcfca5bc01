"""Conditions of the week: what each probe measured, and for how much of it in band."""

from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from datetime import timedelta

import msgspec

from monitor.alarms.alarm import Dweller, Side
from monitor.alarms.plan import Plan, make_plan
from monitor.site.journal import HandReading
from monitor.site.site_file import Sensor
from monitor.site.words import Quantity
from monitor.summary.section import Section
from monitor.summary.series import series_week
from monitor.summary.spells import Spell, spells_of
from monitor.summary.timeline import (
    Held,
    Range,
    Series,
    common,
    common_danger,
    held_against,
)
from monitor.summary.view import WeekView
from monitor.summary.words import (
    SHORT,
    brief,
    cut,
    folded,
    instant,
    many,
    percent,
    span,
    value,
    where,
    with_unit,
)

SPELLS = 20
"""So many spells of a probe are told one by one, the longest first."""
SPELLS_IN_TEXT = 3
"""So many of them in plain text."""

_ROW = "  {:<15}{:>8}{:>8}{:>8}{:>9}{:>14}{:>8}"
_HEAD = _ROW.format("", "lowest", "mean", "highest", "in band", "outside", "heard")


class ProbeFigures(msgspec.Struct, frozen=True, kw_only=True):
    """
    What a probe measured; values in the canonical unit of its quantity.

    Attributes:
        place: Where it hung at the end of what is told.
        in_tub: It hangs in an enclosure that comes and goes.
        moved: It was hung elsewhere during the week.
        mean: Over the measured time.
        tolerated: At the end of what is told: what all who depended on the probe
            tolerated by day and by night; low above high where that was nothing, None
            where nobody named a band.
        danger: The narrowest danger limits, likewise.
        cohorts: So many depended on it then.
        perhaps: Stages that some of these may have been in, seen by nobody.
        watched_s: Measured time during which anybody depended on it. [s]
        in_band_s: Of that, the time in what all of them tolerated. [s]
        out_of_range_s: The rest of it. [s]
        in_band_share: In band by watched time; None where nothing was watched.
        spells: Continuous times out of range, the longest first; at most `SPELLS`.
        spell_count: How many there were.
        missing_s: Time that no two readings bridged. [s]
        n: Readings of the week.
        expected: As many as its interval would give.
        coverage: The one by the other, at most 1.
    """

    sensor: str
    quantity: Quantity
    place: str
    where: str
    in_tub: bool
    moved: bool
    lowest: float | None
    mean: float | None
    highest: float | None
    tolerated: Mapping[str, Range | None]
    danger: Mapping[str, Range | None]
    cohorts: int
    watched_s: float
    in_band_s: float
    out_of_range_s: float
    in_band_share: float | None
    spells: tuple[Spell, ...]
    spell_count: int
    missing_s: float
    n: int
    expected: int
    coverage: float | None
    perhaps: tuple[str, ...] = ()


class HandFigures(msgspec.Struct, frozen=True, kw_only=True):
    """What was read by hand at a place; extremes have no time, so there is no mean."""

    place: str
    where: str
    quantity: Quantity
    n: int
    lowest: float
    highest: float


class Figures(msgspec.Struct, frozen=True):
    """Every probe that measures more than on and off, and every reading by hand."""

    time_zone: str
    probes: tuple[ProbeFigures, ...]
    by_hand: tuple[HandFigures, ...]


def figures(week: WeekView) -> Figures:
    """Work out the week of every probe, one series at a time."""
    held = held_against(
        week.site, week.library, week.house, week.start, week.until, taken=week.taken
    )
    plan = make_plan(week.site, week.library, week.house, perhaps=week.perhaps)
    probes = [
        _probe(sensor, held.get((sensor.id, sensor.quantity.value), Held()), plan, week)
        for sensor in week.site.sensors
        if sensor.quantity in SHORT
    ]
    return Figures(
        week.zone,
        tuple(sorted(probes, key=lambda p: (p.where, p.quantity, p.sensor))),
        tuple(_by_hand(week)),
    )


def _probe(sensor: Sensor, held: Held, plan: Plan, week: WeekView) -> ProbeFigures:
    times, values = week.readings(sensor.id, sensor.quantity.value)
    found = series_week(
        times,
        values,
        since=week.start,
        until=week.until,
        gap=week.gap(sensor.id),
        bands=held.tolerated,
    )
    spells = spells_of(
        times,
        values,
        since=week.start,
        until=week.until,
        gap=week.gap(sensor.id),
        bands=held.tolerated,
        danger=held.danger,
    )
    probe = week.house.probes[sensor.id]
    whole = week.until - week.start
    expected = expected_in(whole, sensor.interval)
    series = (sensor.id, sensor.quantity.value)
    return ProbeFigures(
        sensor=sensor.id,
        quantity=sensor.quantity,
        place=probe.place,
        where=where(week.house, probe.place),
        in_tub=probe.place in week.house.places
        and not week.house.places[probe.place].fixed,
        moved=any(week.start < stay.since < week.until for stay in probe.stays),
        lowest=found.lowest,
        mean=found.mean,
        highest=found.highest,
        tolerated=_by_day_and_night(plan, series, common),
        danger=_by_day_and_night(plan, series, common_danger),
        cohorts=len(_dwellers(plan, series)),
        watched_s=found.watched_s,
        in_band_s=found.in_band_s,
        out_of_range_s=found.watched_s - found.in_band_s,
        in_band_share=found.in_band_s / found.watched_s if found.watched_s else None,
        spells=tuple(sorted(spells, key=lambda s: (-s.seconds, s.since)))[:SPELLS],
        spell_count=len(spells),
        missing_s=whole.total_seconds() - found.measured_s,
        n=found.n,
        expected=expected,
        coverage=min(1.0, found.n / expected) if expected else None,
        perhaps=tuple(
            dict.fromkeys(s for d in _dwellers(plan, series) for s in d.perhaps)
        ),
    )


def expected_in(whole: timedelta, interval: timedelta) -> int:
    """How many readings a sensor of this interval gives in a time."""
    return round(whole / interval)


def _by_day_and_night(
    plan: Plan, series: Series, limits: Callable[..., Range | None]
) -> dict[str, Range | None]:
    rules = [r for watch in plan.watches.get(series, ()) for r in watch.rules]
    return {"day": limits(rules, night=False), "night": limits(rules, night=True)}


def _dwellers(plan: Plan, series: Series) -> tuple[Dweller, ...]:
    """One of each cohort that depends on a series."""
    found = {
        dweller.cohort: dweller
        for watch in plan.watches.get(series, ())
        for rule in watch.rules
        for dweller in rule.dwellers
    }
    return tuple(found.values())


def _by_hand(week: WeekView) -> Iterator[HandFigures]:
    read: dict[tuple[str, Quantity], list[list[float]]] = {}
    for entry in week.entries:
        fact = entry.fact
        if isinstance(fact, HandReading):
            said = (fact.value, fact.minimum, fact.maximum)
            values = [figure for figure in said if figure is not None]
            if values:
                read.setdefault((fact.place, fact.quantity), []).append(values)
    for (place, quantity), readings in sorted(read.items()):
        yield HandFigures(
            place=place,
            where=where(week.house, place),
            quantity=quantity,
            n=len(readings),
            lowest=min(map(min, readings)),
            highest=max(map(max, readings)),
        )


MEANING = (
    "In band: the share of the measured time in which the value was inside what all "
    "who depend on the probe tolerate. Heard: readings by those expected. Missing time "
    "counts as neither inside nor outside."
)
"""What the columns are."""


def text(told: Figures) -> list[str]:
    """Say it place by place."""
    lines = folded(MEANING)
    lines += ["", _HEAD] if told.probes else ["", "There is no probe."]
    place, seen = "", Counter((p.where, p.quantity) for p in told.probes)
    for probe in told.probes:
        if probe.where != place:
            place = probe.where
            lines += folded(place)
        lines.append(_row(probe))
        if seen[place, probe.quantity] > 1:
            lines.append(cut(f"    that is {probe.sensor}"))
        if probe.moved:
            lines.append("    hung elsewhere earlier in the week")
        for said in spell_lines(probe, told.time_zone, most=SPELLS_IN_TEXT):
            lines += folded(said, "    ")
    if told.by_hand:
        lines += ["", "By hand"]
    for hand in told.by_hand:
        low, high = (value(v, hand.quantity) for v in (hand.lowest, hand.highest))
        read = "once" if hand.n == 1 else f"{hand.n} times"
        said = f"{hand.where}: {_label(hand.quantity)}: {low} to {high}, read {read}"
        lines += folded(said, "  ")
    return lines


def spell_lines(
    probe: ProbeFigures, zone: str, *, most: int, degree: str = ""
) -> list[str]:
    """Say the longest spells out of range, and how many more there were."""
    said = [_spell(s, probe.quantity, zone, degree) for s in probe.spells[:most]]
    more = probe.spell_count - len(said)
    return [*said, f"and {many(more, 'shorter spell')}"] if more else said


def _spell(spell: Spell, quantity: Quantity, zone: str, degree: str) -> str:
    to = "down to" if spell.side is Side.BELOW else "up to"
    danger = ", PAST THE DANGER LIMIT" if spell.danger else ""
    return (
        f"{spell.side} {with_unit(spell.limit, quantity, degree)} for "
        f"{span(spell.seconds)}, {to} {with_unit(spell.worst, quantity, degree)}"
        f"{danger}: from {instant(spell.since, zone)}"
    )


def _label(quantity: Quantity) -> str:
    word = brief(quantity)
    return f"{word}, {SHORT[quantity][1]}" if quantity in SHORT else word


def _row(probe: ProbeFigures) -> str:
    values = (probe.lowest, probe.mean, probe.highest)
    watched = probe.in_band_share is not None
    return _ROW.format(
        _label(probe.quantity),
        *(value(v, probe.quantity) for v in values),
        percent(probe.in_band_share),
        span(probe.out_of_range_s) if watched else "-",
        percent(probe.coverage),
    )


CONDITIONS = Section("conditions", "Conditions", figures, text)
