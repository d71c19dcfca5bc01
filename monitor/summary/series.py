"""
Figures of one series over a week.

The value runs straight from one reading to the next where they are no further apart
than the gap; elsewhere it is missing, and never counts as in band.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta

import msgspec
import numpy as np
from numpy.typing import NDArray

from monitor.clock import from_us, to_us
from monitor.science.degree_days import Times, Values
from monitor.summary.timeline import BandSpan

_MICROSECOND = timedelta(microseconds=1)
SECOND_US = 1e6


class SeriesWeek(msgspec.Struct, frozen=True):
    """
    What a series was like.

    Attributes:
        n: Readings.
        lowest: The lowest reading; None without one.
        mean: Over the measured time; None where none is measured.
        highest: The highest reading.
        measured_s: Time that readings bridge. [s]
        watched_s: Measured time during which anybody depended on the series. [s]
        in_band_s: Of that, the time in the tolerated band of all who did. [s]
    """

    n: int
    lowest: float | None
    mean: float | None
    highest: float | None
    measured_s: float
    watched_s: float
    in_band_s: float


class Silence(msgspec.Struct, frozen=True):
    """
    The longest time without a reading.

    Attributes:
        readings: How many there were.
        since: When it began. UTC.
        seconds: How long it was. [s]
    """

    readings: int
    since: datetime
    seconds: float


def series_week(
    times_us: Times,
    values: Values,
    *,
    since: datetime,
    until: datetime,
    gap: timedelta,
    bands: Sequence[BandSpan],
) -> SeriesWeek:
    """
    Sum up a series between two instants.

    A pair of readings across either instant counts with its part between them.

    Args:
        times_us: Strictly rising; may reach beyond the instants. [us since 1970 UTC]
        values: One finite value for each time.
        since: The beginning. UTC.
        until: The end. UTC.
        gap: A pair further apart is missing.
        bands: In order of time, without overlap.
    """
    first, last = to_us(since), to_us(until)
    here = values[np.searchsorted(times_us, first) : np.searchsorted(times_us, last)]
    lowest = float(here.min()) if here.size else None
    highest = float(here.max()) if here.size else None
    if times_us.size == 0:
        return SeriesWeek(0, None, None, None, 0.0, 0.0, 0.0)
    cuts = [to_us(t) for band in bands for t in (band.since, band.until)]
    knots = knots_of(times_us, cuts, first, last)
    # from the first reading on, so that microseconds stay exact in a float
    origin = int(times_us[0])
    at = np.interp(knots - origin, times_us - origin, values)
    widths = np.where(bridged(times_us, knots, gap // _MICROSECOND), np.diff(knots), 0)
    measured = float(widths.sum())
    mean = float(widths @ (at[:-1] + at[1:])) / 2 / measured if measured else None
    low, high, watched = limits_at(knots, bands)
    inside = _share_inside(at[:-1], at[1:], low, high)
    return SeriesWeek(
        n=int(here.size),
        lowest=lowest,
        mean=mean,
        highest=highest,
        measured_s=measured / SECOND_US,
        watched_s=float(widths[watched].sum()) / SECOND_US,
        in_band_s=float(widths[watched] @ inside[watched]) / SECOND_US,
    )


def longest_silence(times_us: Times, *, since: datetime, until: datetime) -> Silence:
    """
    Find the longest time without a reading between two instants.

    Args:
        times_us: Strictly rising. [us since 1970 UTC]
        since: The beginning. UTC.
        until: The end. UTC.
    """
    first, last = to_us(since), to_us(until)
    inside = times_us[(times_us >= first) & (times_us < last)]
    edges = np.concatenate(([first], inside, [last]))
    lengths = np.diff(edges)
    longest = int(lengths.argmax())
    seconds = float(lengths[longest]) / SECOND_US
    return Silence(int(inside.size), from_us(int(edges[longest])), seconds)


def knots_of(times_us: Times, cuts: list[int], first: int, last: int) -> Times:
    """Every instant between the ends at which the line or the band may turn."""
    ends = np.array([first, last], np.int64)
    every = np.concatenate((times_us, np.array(cuts, np.int64), ends))
    return np.unique(np.clip(every, first, last))


def bridged(times_us: Times, knots: Times, gap_us: int) -> NDArray[np.bool_]:
    """Whether each piece between knots lies within a pair that is close enough."""
    right = np.searchsorted(times_us, knots[:-1], side="right")
    known = (right > 0) & (right < times_us.size)
    right = np.where(known, right, 1 if times_us.size > 1 else 0)
    apart = times_us[right] - times_us[right - 1]
    return np.asarray(known & (apart <= gap_us))


def limits_at(
    knots: Times, bands: Sequence[BandSpan]
) -> tuple[Values, Values, NDArray[np.bool_]]:
    """The band of each piece between knots, and whether it has one."""
    if not bands:
        none = np.zeros(knots.size - 1)
        return none, none, none.astype(np.bool_)
    begins = np.array([to_us(b.since) for b in bands], np.int64)
    ends = np.array([to_us(b.until) for b in bands], np.int64)
    lows, highs = (np.array(limit) for limit in zip(*_pairs(bands), strict=True))
    index = np.searchsorted(begins, knots[:-1], side="right") - 1
    watched = (index >= 0) & (knots[:-1] < ends[index])
    return lows[index], highs[index], np.asarray(watched)


def _pairs(bands: Sequence[BandSpan]) -> list[tuple[float, float]]:
    return [(band.low, band.high) for band in bands]


def _share_inside(left: Values, right: Values, low: Values, high: Values) -> Values:
    """The share of each straight piece that lies between its limits, both inside."""
    bottom, top = np.minimum(left, right), np.maximum(left, right)
    span = top - bottom
    within = np.minimum(top, high) - np.maximum(bottom, low)
    flat = (bottom >= low) & (bottom <= high)
    share = np.clip(within, 0, None) / np.where(span > 0, span, 1)
    return np.where(span > 0, share, flat)
