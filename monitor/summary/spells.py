"""
Out of range: each continuous time outside what all who depended on a probe tolerated.

The value runs straight from one reading to the next, as in `monitor.summary.series`,
so a spell begins and ends where that line crosses the limit. A gap ends a spell, since
nobody knows what was in it.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import NamedTuple

import msgspec
import numpy as np
from numpy.typing import NDArray

from monitor.alarms.alarm import Side
from monitor.clock import from_us, to_us
from monitor.science.degree_days import Times, Values
from monitor.summary.series import SECOND_US, bridged, knots_of, limits_at
from monitor.summary.timeline import BandSpan

_MICROSECOND = timedelta(microseconds=1)


class Spell(msgspec.Struct, frozen=True, kw_only=True):
    """
    A continuous time outside the tolerated band.

    Attributes:
        since: Its beginning. UTC.
        until: Its end, or that of what is told, or the beginning of a gap. UTC.
        seconds: How long it was. [s]
        worst: The value farthest beyond its limit. In the unit of the quantity.
        worst_at: When it was that far. UTC.
        limit: The limit that stood then.
        side: On which side of it the value lay.
        beyond: How far it was beyond the limit. In the unit of the quantity.
        danger: The danger limit was passed too.
    """

    since: datetime
    until: datetime
    seconds: float
    worst: float
    worst_at: datetime
    limit: float
    side: Side
    beyond: float
    danger: bool


class _Line(NamedTuple):
    """The value as a line of pieces between knots, and the limits of each piece."""

    knots: Times
    at: Values
    low: Values
    high: Values
    counts: NDArray[np.bool_]


def spells_of(
    times_us: Times,
    values: Values,
    *,
    since: datetime,
    until: datetime,
    gap: timedelta,
    bands: Sequence[BandSpan],
    danger: Sequence[BandSpan] = (),
) -> tuple[Spell, ...]:
    """
    Find every spell out of range between two instants, in order of time.

    Args:
        times_us: Strictly rising; may reach beyond the instants. [us since 1970 UTC]
        values: One finite value for each time.
        since: The beginning. UTC.
        until: The end. UTC.
        gap: A pair of readings further apart is missing time.
        bands: What was tolerated, in order of time, without overlap.
        danger: The danger limits, likewise.
    """
    if times_us.size == 0 or not bands:
        return ()
    line = _line((times_us, values), (to_us(since), to_us(until)), gap, bands)
    outside = line.counts & (_beyond(line, _middle(line)) > 0)
    found = _runs(outside)
    if not found:
        return ()
    ends = _limits_passed(line, danger)
    return tuple(_spell(line, first, last, ends) for first, last in found)


def _line(
    readings: tuple[Times, Values],
    ends: tuple[int, int],
    gap: timedelta,
    bands: Sequence[BandSpan],
) -> _Line:
    times_us, values = readings
    # from the first reading on, so that microseconds stay exact in a float
    origin = int(times_us[0])

    def line(knots: Times) -> tuple[Values, Values, Values, NDArray[np.bool_]]:
        at = np.interp(knots - origin, times_us - origin, values)
        return at, *limits_at(knots, bands)

    cuts = [to_us(t) for band in bands for t in (band.since, band.until)]
    knots = knots_of(times_us, cuts, *ends)
    at, low, high, _ = line(knots)
    crossed = [_crossings(knots, at, limit) for limit in (low, high)]
    # cut where the line crosses a limit, so that each piece lies on one side
    knots = np.unique(np.concatenate((knots, *crossed)))
    at, low, high, watched = line(knots)
    counts = watched & bridged(times_us, knots, gap // _MICROSECOND)
    return _Line(knots, at, low, high, counts)


def _crossings(knots: Times, at: Values, limit: Values) -> Times:
    """Instants inside the pieces at which the line passes a limit."""
    left, right = at[:-1] - limit, at[1:] - limit
    here = np.flatnonzero(left * right < 0)
    share = left[here] / (left[here] - right[here])
    widths = np.diff(knots)[here]
    crossed: Times = knots[:-1][here] + np.rint(share * widths).astype(np.int64)
    return crossed


def _middle(line: _Line) -> Values:
    return (line.at[:-1] + line.at[1:]) / 2


def _beyond(line: _Line, value: Values) -> Values:
    """How far values of the pieces lie beyond their limits; negative inside."""
    return np.maximum(line.low - value, value - line.high)


def _runs(outside: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and last piece of each unbroken run."""
    edges = np.diff(np.concatenate(([0], outside.astype(np.int8), [0])))
    starts, stops = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    return list(zip(starts.tolist(), (stops - 1).tolist(), strict=True))


def _limits_passed(line: _Line, danger: Sequence[BandSpan]) -> NDArray[np.bool_]:
    """Whether each piece reaches beyond the danger limits of its time."""
    low, high, stands = limits_at(line.knots, danger)
    bottom = np.minimum(line.at[:-1], line.at[1:])
    top = np.maximum(line.at[:-1], line.at[1:])
    return np.asarray(stands & ((bottom < low) | (top > high)))


def _spell(line: _Line, first: int, last: int, danger: NDArray[np.bool_]) -> Spell:
    pieces = slice(first, last + 1)
    low, high = line.low[pieces], line.high[pieces]
    # each piece is straight, so it is farthest out at one of its ends
    left, right = line.at[first : last + 1], line.at[first + 1 : last + 2]
    ends = np.concatenate((left, right))
    lows, highs = np.tile(low, 2), np.tile(high, 2)
    below, above = lows - ends, ends - highs
    far = np.maximum(below, above)
    worst = int(far.argmax())
    side = Side.BELOW if below[worst] >= above[worst] else Side.ABOVE
    knots = np.concatenate(
        (line.knots[first : last + 1], line.knots[first + 1 : last + 2])
    )
    begun, ended = int(line.knots[first]), int(line.knots[last + 1])
    return Spell(
        since=from_us(begun),
        until=from_us(ended),
        seconds=(ended - begun) / SECOND_US,
        worst=float(ends[worst]),
        worst_at=from_us(int(knots[worst])),
        limit=float(lows[worst] if side is Side.BELOW else highs[worst]),
        side=side,
        beyond=max(0.0, float(far[worst])),
        danger=bool(danger[pieces].any()),
    )
