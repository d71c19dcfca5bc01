"""
The curve that readings draw, straight from each reading to the next.

What every sum over readings needs: arrays checked, a curve cut to a span, and its
pairs in pieces that stay in the processor's cache.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

PIECE = 32_768
"""
Readings worked on at a time.

Few enough that a piece of 256 kB stays in the processor's second cache, and enough
that the calls upon it cost little beside the work: 8,192 take twice as long each.
"""

DAY_US = 86_400_000_000
"""Microseconds of a day."""

MICROSECOND = timedelta(microseconds=1)

Times = NDArray[np.int64]
Values = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Piece:
    """
    Some pairs of neighbouring readings.

    Attributes:
        values: The readings, one more than pairs. [degC]
        spans: Time of each pair; 0 where it is too long to be bridged. [us]
        coldest: Lowest of the values. [degC]
        warmest: Highest of the values. [degC]
    """

    values: Values
    spans: Times
    coldest: float
    warmest: float


@dataclass(frozen=True, slots=True)
class Estimate:
    """
    A sum with its missing time allowed for, in the sum's own unit.

    Attributes:
        estimate: Missing time at the measured mean rate; None where nothing was
            measured.
        low: Missing time at no rate at all.
        high: Missing time at the highest rate; None where that has no limit.
        coverage: Measured share of the time. [fraction]
    """

    estimate: float | None
    low: float
    high: float | None
    coverage: float


def allow_for_missing(
    total: float,
    measured: timedelta,
    missing: timedelta,
    *,
    highest: float | None,
) -> Estimate:
    """
    Bound a sum over time of which a part is missing.

    Args:
        total: Sum over the measured time. [unit]
        measured: The measured time.
        missing: The missing time.
        highest: The highest rate that the missing time may have had; the lowest is
            0. None where it has no limit. [unit/d]
    """
    whole = measured + missing
    coverage = measured / whole if whole else 1.0
    days = missing / timedelta(days=1)
    return Estimate(
        total / coverage if measured else None,
        total,
        None if highest is None else total + days * highest,
        coverage,
    )


def gap_of(max_gap: timedelta) -> int:
    """
    Give the longest time that two readings may bridge. [us].

    Raises:
        ValueError: If it is not above zero.
    """
    gap_us = max_gap // MICROSECOND
    if gap_us <= 0:
        raise ValueError(f"max_gap must be above zero, got {max_gap}")
    return gap_us


def pieces(times_us: Times, temperatures_c: Values, gap_us: int) -> Iterator[Piece]:
    """
    Give all pairs of readings, piece by piece.

    Raises:
        ValueError: If times do not rise or a value is not finite; only when its
            piece is reached.
    """
    # neighbouring pieces share a reading, so that no pair is lost between them
    for start in range(0, times_us.shape[0] - 1, PIECE):
        times = times_us[start : start + PIECE + 1]
        values = temperatures_c[start : start + PIECE + 1]
        coldest, warmest = float(values.min()), float(values.max())
        # both are NaN where any value is
        if not (math.isfinite(coldest) and math.isfinite(warmest)):
            bad = int(np.flatnonzero(~np.isfinite(values))[0])
            raise ValueError(_not_finite(temperatures_c, start + bad))
        spans = times[1:] - times[:-1]
        if spans.min() <= 0:
            raise ValueError(_not_rising(times_us, start + int(spans.argmin()) + 1))
        if spans.max() > gap_us:
            spans[spans > gap_us] = 0
        yield Piece(values, spans, coldest, warmest)


def same_length(times_us: Times, temperatures_c: Values) -> int:
    """
    Give how many readings two arrays hold.

    Raises:
        ValueError: If they have not one dimension and one length.
    """
    if times_us.ndim != 1 or times_us.shape != temperatures_c.shape:
        raise ValueError(
            "times and temperatures must be one-dimensional and of one length, got"
            f" {times_us.shape} and {temperatures_c.shape}"
        )
    return int(times_us.shape[0])


def cut(
    times_us: Times, temperatures_c: Values, since_us: int, until_us: int, gap_us: int
) -> tuple[Times, Values]:
    """
    Cut the curve between two instants: readings inside, interpolated ends.

    Raises:
        ValueError: If the pair that an end lies in does not rise or is not finite.
    """
    begin = int(np.searchsorted(times_us, since_us, side="left"))
    end = int(np.searchsorted(times_us, until_us, side="right"))
    # an end between two readings belongs to their pair, so the pair's own length
    # decides whether it is bridged, not that of the piece inside the span
    head = _between(times_us, temperatures_c, begin, since_us, gap_us)
    tail = _between(times_us, temperatures_c, end, until_us, gap_us)
    inside = max(begin, end)
    times, values = times_us[begin:inside], temperatures_c[begin:inside]
    if head is not None and (not times.size or times[0] != since_us):
        times = np.concatenate((np.array([since_us], np.int64), times))
        values = np.concatenate((np.array([head]), values))
    if tail is not None and (not times.size or times[-1] != until_us):
        times = np.concatenate((times, np.array([until_us], np.int64)))
        values = np.concatenate((values, np.array([tail])))
    return times, values


def _between(
    times_us: Times, temperatures_c: Values, index: int, at_us: int, gap_us: int
) -> float | None:
    """The temperature at an instant between readings index - 1 and index."""
    if not 0 < index < times_us.shape[0]:
        return None
    left, right = int(times_us[index - 1]), int(times_us[index])
    if not left < right:
        raise ValueError(_not_rising(times_us, index))
    if right - left > gap_us:
        return None
    cold, warm = float(temperatures_c[index - 1]), float(temperatures_c[index])
    if not (math.isfinite(cold) and math.isfinite(warm)):
        bad = index - 1 if not math.isfinite(cold) else index
        raise ValueError(_not_finite(temperatures_c, bad))
    return cold + (warm - cold) * ((at_us - left) / (right - left))


def _not_rising(times_us: Times, index: int) -> str:
    return (
        f"times must rise strictly: index {index} holds {times_us[index]} us after"
        f" {times_us[index - 1]} us"
    )


def _not_finite(temperatures_c: Values, index: int) -> str:
    return f"temperatures must be finite: index {index} holds {temperatures_c[index]}"
