"""
Development by any rate model: the integral of its rate over readings.

Temperature is taken to run straight from one reading to the next. The time that a
pair spends in a range of temperature is then in proportion to that range, so the
pair's mean rate is the mean of the rate over the temperatures that it runs through,
which Gauss and Legendre's nodes give. A rate model's curve is cut into cells that the
nodes are good for: at its own corners, and where whole and halves disagree, in halves,
which cuts finest where a curve falls steeply to its upper threshold.

The mean rate of a pair is right to `ACCURACY` times the model's highest rate, so a sum
is to that times the highest rate and the measured time, plus rounding; one exception:
both readings within a millionth of a degree of a corner, where it may be 1e-4 of it.
This is what the tests show against SciPy's adaptive quadrature for published fits; it
is no proof for a curve that changes within less than a tenth of a degree.
"""

from dataclasses import dataclass
from datetime import timedelta
from functools import lru_cache

import numpy as np

from monitor.science.curve import (
    DAY_US,
    MICROSECOND,
    Estimate,
    Times,
    Values,
    allow_for_missing,
    gap_of,
    pieces,
    same_length,
)
from monitor.science.rate_models import FittedRate

ACCURACY = 1e-9
"""Error of a pair's mean rate as a part of the model's highest rate."""

NODES, WEIGHTS = np.polynomial.legendre.leggauss(8)
WEIGHTS = WEIGHTS / 2

_DISAGREE = 1e-11
"""A cell is halved while whole and halves differ by more of the highest rate."""
_COARSEST_C = 5.0
_FINEST_C = 1e-10
_REACH_C = 100.0
"""Cells are made for multiples of this, so that few calls make them anew."""


@dataclass(frozen=True, slots=True)
class Development:
    """
    How far the measured time brought a stage, and how much was not measured.

    Attributes:
        fraction: Of the stage, in the measured time; 1 is the whole stage.
        measured: Time bridged by pairs of readings.
        missing: Time between first and last that was not.
        first_us: Where the sum begins. [us since 1970-01-01 UTC]
        last_us: Where it ends. [us since 1970-01-01 UTC]
    """

    fraction: float
    measured: timedelta
    missing: timedelta
    first_us: int
    last_us: int


def develop(
    times_us: Times,
    temperatures_c: Values,
    rate: FittedRate,
    *,
    max_gap: timedelta,
) -> Development:
    """
    Add up development from the first to the last reading.

    A pair further apart than *max_gap* is missing: never zero, never carried forward.

    Args:
        times_us: Strictly rising, at least two. [us since 1970-01-01 UTC]
        temperatures_c: One finite value for each time. [degC]
        rate: A model with its parameters.
        max_gap: The longest time that two readings may bridge.

    Raises:
        ValueError: If times do not rise, a value is not finite, the arrays differ in
            length or hold fewer than two readings, or the gap is not above zero.
    """
    gap_us = gap_of(max_gap)
    count = same_length(times_us, temperatures_c)
    if count < 2:  # noqa: PLR2004 - a pair
        raise ValueError(f"at least two readings are needed, got {count}")
    total, measured_us = 0.0, 0
    for piece in pieces(times_us, temperatures_c, gap_us):
        measured_us += int(piece.spans.sum())
        means = mean_rates(piece.values[:-1], piece.values[1:], rate)
        total += float(np.dot(piece.spans.astype(np.float64), means))
    measured = measured_us * MICROSECOND
    first_us, last_us = int(times_us[0]), int(times_us[-1])
    missing = (last_us - first_us) * MICROSECOND - measured
    return Development(total / DAY_US, measured, missing, first_us, last_us)


def with_missing(development: Development, rate: FittedRate) -> Estimate:
    """
    Allow for the missing time: at no rate, at the mean, at the model's highest.

    Args:
        development: The sum.
        rate: As it was summed with.
    """
    return allow_for_missing(
        development.fraction,
        development.measured,
        development.missing,
        highest=rate.peak,
    )


def mean_rates(from_c: Values, to_c: Values, rate: FittedRate) -> Values:
    """
    Tell the mean rate of each straight change of temperature. [1/d].

    Args:
        from_c: Finite temperatures, in one dimension. [degC]
        to_c: As many. [degC]
        rate: A model with its parameters.
    """
    low, high = np.minimum(from_c, to_c), np.maximum(from_c, to_c)
    width = high - low
    steady = width == 0
    means = np.where(steady, rate.rates(low), 0.0)
    if not low.size:
        return means
    coldest, warmest = float(low.min()), float(high.max())
    edges = _cells(
        rate,
        int(np.floor(min(coldest, -_REACH_C) / _REACH_C)),
        int(np.ceil(max(warmest, _REACH_C) / _REACH_C)),
    )
    width[steady] = 1.0
    begin = max(int(np.searchsorted(edges, coldest, side="right")) - 1, 0)
    end = int(np.searchsorted(edges, warmest, side="left"))
    for left, right in zip(edges[begin:end], edges[begin + 1 : end + 1], strict=True):
        inside = np.flatnonzero((low < right) & (high > left) & ~steady)
        if inside.size:
            bottom = np.maximum(low[inside], left)
            half = (np.minimum(high[inside], right) - bottom) / 2
            nodes = (bottom + half)[:, None] + half[:, None] * NODES
            means[inside] += rate.rates(nodes) @ WEIGHTS * (2 * half / width[inside])
    return means


@lru_cache(maxsize=64)
def _cells(rate: FittedRate, lowest: int, highest: int) -> Values:
    """Edges of the cells, from *lowest* to *highest* times the reach."""
    bottom, top = lowest * _REACH_C, highest * _REACH_C
    best = rate.form.optimum_c
    own = [*rate.form.corners_c, *([] if best is None else [best])]
    marks = np.arange(bottom, top + _COARSEST_C / 2, _COARSEST_C)
    marks = np.unique([*marks, *(at for at in own if bottom < at < top)])
    scale = rate.peak or float(rate.rates(marks).max())
    todo = list(zip(marks[-2::-1], marks[:0:-1], strict=True))
    edges = [bottom]
    while todo:
        left, right = todo.pop()
        middle = (left + right) / 2
        if right - left > _FINEST_C and _differs(rate, left, middle, right, scale):
            todo += [(middle, right), (left, middle)]
        else:
            edges.append(right)
    return np.array(edges)


def _differs(
    rate: FittedRate, left: float, middle: float, right: float, scale: float
) -> bool:
    halves = (_mean(rate, left, middle) + _mean(rate, middle, right)) / 2
    return abs(_mean(rate, left, right) - halves) > _DISAGREE * scale


def _mean(rate: FittedRate, left: float, right: float) -> float:
    half = (right - left) / 2
    return float(rate.rates(left + half + half * NODES) @ WEIGHTS)
