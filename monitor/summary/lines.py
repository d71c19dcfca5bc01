"""
The week of each probe place as lines to draw: thinned, broken at gaps. Pure.

There are more readings than columns of pixels. Of each column the lowest and the
highest reading stay, so no spell disappears, however short it was.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby
from zoneinfo import ZoneInfo

import numpy as np

from monitor.clock import from_us, to_us
from monitor.science.degree_days import Times, Values
from monitor.site.words import Quantity
from monitor.summary.sections.conditions import Figures, ProbeFigures
from monitor.summary.spells import Spell
from monitor.summary.timeline import BandSpan, Held, held_against, nights
from monitor.summary.view import WeekView

COLUMNS = 600
"""Columns of pixels of a chart's plot."""

Span = tuple[datetime, datetime]
_DAY = timedelta(days=1)
_MICROSECOND = timedelta(microseconds=1)


@dataclass(frozen=True, slots=True)
class Line:
    """
    One probe's readings.

    Attributes:
        sensor: Whose.
        times_us: Rising. [us since 1970 UTC]
        values: As many; NaN breaks the line at a gap.
        gaps: Times without a reading that no pair bridges.
        spells: Out of range, the longest first.
    """

    sensor: str
    times_us: Times
    values: Values
    gaps: tuple[Span, ...]
    spells: tuple[Spell, ...]


@dataclass(frozen=True, slots=True)
class Panel:
    """
    A quantity at a place.

    Attributes:
        lines: One a probe.
        held: What the first of them was held against.
    """

    quantity: Quantity
    lines: tuple[Line, ...]
    held: Held


@dataclass(frozen=True, slots=True)
class PlaceChart:
    """
    All that is drawn of a place.

    Attributes:
        place: Its id.
        since: Left end. UTC.
        until: Right end. UTC.
        told_to: What is told ends here. UTC.
        days: Midnights of site time between the ends, each with the day that begins.
        dark: The nights.
        panels: From top to bottom.
    """

    place: str
    since: datetime
    until: datetime
    told_to: datetime
    days: tuple[tuple[datetime, str], ...]
    dark: tuple[Span, ...]
    panels: tuple[Panel, ...]


def place_charts(week: WeekView, told: Figures) -> tuple[PlaceChart, ...]:
    """Prepare a chart of each place that has a probe, in the order of the figures."""
    held = held_against(
        week.site, week.library, week.house, week.start, week.until, taken=week.taken
    )
    days = tuple(_days(week.start, week.end, week.zone))
    dark = tuple((a, b) for a, b, n in nights(week.start, week.end, week.zone) if n)
    places: dict[str, list[ProbeFigures]] = {}
    for probe in told.probes:
        places.setdefault(probe.place, []).append(probe)
    return tuple(
        PlaceChart(
            place=place,
            since=week.start,
            until=week.end,
            told_to=week.until,
            days=days,
            dark=dark,
            panels=tuple(_panels(probes, held, week)),
        )
        for place, probes in places.items()
    )


def _panels(
    probes: Sequence[ProbeFigures],
    held: dict[tuple[str, str], Held],
    week: WeekView,
) -> Iterator[Panel]:
    order = list(Quantity)
    there = sorted(probes, key=lambda p: (order.index(p.quantity), p.sensor))
    for quantity, group in groupby(there, key=lambda p: p.quantity):
        members = list(group)
        yield Panel(
            quantity=quantity,
            lines=tuple(_line(p, week) for p in members),
            held=held.get((members[0].sensor, quantity.value), Held()),
        )


def _line(probe: ProbeFigures, week: WeekView) -> Line:
    times, values = week.readings(probe.sensor, probe.quantity.value)
    gap = week.gap(probe.sensor)
    kept, drawn = thinned(times, values, since=week.start, until=week.end, gap=gap)
    return Line(
        sensor=probe.sensor,
        times_us=kept,
        values=drawn,
        gaps=gaps_of(times, since=week.start, until=week.until, gap=gap),
        spells=probe.spells,
    )


def gaps_of(
    times_us: Times, *, since: datetime, until: datetime, gap: timedelta
) -> tuple[Span, ...]:
    """
    Tell the times between two instants that no two readings bridge.

    Args:
        times_us: Strictly rising; may reach beyond the instants. [us since 1970 UTC]
        since: The beginning. UTC.
        until: The end. UTC.
        gap: A pair further apart is a gap.
    """
    first, last = to_us(since), to_us(until)
    if times_us.size == 0:
        return ((since, until),)
    apart = np.flatnonzero(np.diff(times_us) > gap // _MICROSECOND)
    ends = [(int(times_us[i]), int(times_us[i + 1])) for i in apart]
    ends = [(first, int(times_us[0])), *ends, (int(times_us[-1]), last)]
    clipped = [(max(a, first), min(b, last)) for a, b in ends]
    return tuple((from_us(a), from_us(b)) for a, b in clipped if a < b)


def thinned(
    times_us: Times,
    values: Values,
    *,
    since: datetime,
    until: datetime,
    gap: timedelta,
    columns: int = COLUMNS,
) -> tuple[Times, Values]:
    """
    Keep what a picture of so many columns can show.

    Of each column the lowest and the highest reading stay, and the readings beside a
    gap. A NaN stands in each gap, so that a line through the rest breaks there.

    Args:
        times_us: Strictly rising; may reach beyond the instants. [us since 1970 UTC]
        values: One finite value for each time.
        since: The left end. UTC.
        until: The right end. UTC.
        gap: A pair of readings further apart is a gap.
        columns: Of the picture.
    """
    first, last = to_us(since), to_us(until)
    if times_us.size == 0:
        return times_us, values
    column = (times_us - first) * columns // (last - first)
    starts = np.flatnonzero(np.diff(column, prepend=column[0] - 1))
    counts = np.diff(np.append(starts, times_us.size))
    broken = np.flatnonzero(np.diff(times_us) > gap // _MICROSECOND)
    kept = np.unique(
        np.concatenate(
            (
                _first_of(values == np.repeat(_least(values, starts), counts), column),
                _first_of(values == np.repeat(_most(values, starts), counts), column),
                broken,
                broken + 1,
                np.array([0, times_us.size - 1]),
            )
        )
    )
    breaks = np.searchsorted(kept, broken) + 1
    middles = times_us[broken] + np.diff(times_us)[broken] // 2
    return (
        np.insert(times_us[kept], breaks, middles),
        np.insert(values[kept], breaks, np.nan),
    )


def _least(values: Values, starts: Times) -> Values:
    return np.minimum.reduceat(values, starts)


def _most(values: Values, starts: Times) -> Values:
    return np.maximum.reduceat(values, starts)


def _first_of(chosen: np.ndarray, column: Times) -> Times:
    """The first chosen reading of each column."""
    here = np.flatnonzero(chosen)
    _, index = np.unique(column[here], return_index=True)
    return here[index]


def limit_steps(spans: Sequence[BandSpan]) -> Iterator[Sequence[BandSpan]]:
    """Spans that follow each other without a break, together."""
    row: list[BandSpan] = []
    for one in spans:
        if row and row[-1].until != one.since:
            yield row
            row = []
        row.append(one)
    if row:
        yield row


def _days(
    since: datetime, until: datetime, zone: str
) -> Iterator[tuple[datetime, str]]:
    """Each midnight of the site, and the day that begins: "Mon 23"."""
    clock = ZoneInfo(zone)
    day = since.astimezone(clock).date()
    while True:
        midnight = datetime.combine(day, datetime.min.time(), clock)
        at = max(since, midnight.astimezone(since.tzinfo))
        if at >= until:
            return
        yield at, f"{day:%a} {day.day}"
        day += _DAY
