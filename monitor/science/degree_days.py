"""
Degree-days: the exact integral of the rate of development over readings.

Temperature is taken to run straight from one reading to the next, and the rate
is integrated over that line, crossings of the thresholds included. The trapezoid
on rates at the readings alone is too high where a line crosses the lower
threshold and too low where it crosses the upper one: at a kink with distances
p and q to either side it is off by ``p * q / (2 * (p + q))`` of the pair's time.
The sum here is that trapezoid with exactly this correction, so two nearly equal
readings cause no cancellation and need no case of their own.

Rates, with lower threshold L and upper threshold U (definitions of the cutoffs:
Zalom et al. 1983, as UC IPM computes them from daily extremes):

- horizontal: T - L between the thresholds, U - L above U.
- vertical: T - L up to U inclusive, 0 above U.
- intermediate, **pointwise**: T - L up to U, max(0, 2 U - T - L) above U. The
  published once-a-day rule subtracts the area above U twice and caps the day's
  loss at the vertical cutoff's; the two agree on days that stay below 2 U - L and
  differ on hotter ones. A requirement fitted with the daily rule belongs to it.
"""

import math
from dataclasses import dataclass
from datetime import timedelta
from typing import Literal, get_args

import numpy as np

from monitor.science.curve import (
    DAY_US,
    MICROSECOND,
    PIECE,
    Estimate,
    Times,
    Values,
    allow_for_missing,
    cut,
    gap_of,
    pieces,
    same_length,
)

__all__ = [
    "DAY_US",
    "PIECE",
    "Cutoff",
    "Estimate",
    "HeatSum",
    "Times",
    "Values",
    "check_thresholds",
    "integrate",
    "integrate_between",
    "rate",
    "rate_bounds",
    "with_missing",
]

Cutoff = Literal["horizontal", "intermediate", "vertical"]
"""What happens above the upper threshold."""


@dataclass(frozen=True, slots=True)
class HeatSum:
    """
    Degree-days of the measured time, and how much time was not measured.

    Attributes:
        degree_days: Of the measured part. [degC d]
        measured: Time bridged by pairs of readings.
        missing: Time between first and last that was not.
        first_us: Where the sum begins. [us since 1970-01-01 UTC]
        last_us: Where it ends. [us since 1970-01-01 UTC]
    """

    degree_days: float
    measured: timedelta
    missing: timedelta
    first_us: int
    last_us: int


@dataclass(frozen=True, slots=True)
class _Rule:
    """Thresholds, cutoff and permitted gap, checked."""

    lower_c: float
    upper_c: float | None
    cutoff: Cutoff
    gap_us: int


@dataclass(frozen=True, slots=True)
class _Kink:
    """At this temperature the rate's slope, and perhaps the rate itself, changes."""

    at_c: float
    slope: float
    jump: float = 0.0


def rate(
    temperature_c: float,
    *,
    lower_c: float,
    upper_c: float | None = None,
    cutoff: Cutoff = "horizontal",
) -> float:
    """
    Tell the rate of development at one temperature.

    Args:
        temperature_c: Any finite temperature. [degC]
        lower_c: No development at or below it. [degC]
        upper_c: The cutoff applies above it; None for no cutoff. [degC]
        cutoff: See the module.

    Returns:
        Degree-days per day; never negative. [degC d/d]

    Raises:
        ValueError: If the temperature is not finite or the thresholds are wrong.
    """
    rule = _rule(lower_c, upper_c, cutoff, timedelta(days=1))
    if not math.isfinite(temperature_c):
        raise ValueError(f"temperature_c must be finite, got {temperature_c}")
    return float(_rates(np.array([temperature_c], dtype=np.float64), rule)[0])


def rate_bounds(
    coldest_c: float,
    warmest_c: float,
    *,
    lower_c: float,
    upper_c: float | None = None,
    cutoff: Cutoff = "horizontal",
) -> tuple[float, float]:
    """
    Tell the least and the most rate between two temperatures.

    The rate never falls below the upper threshold and never rises above it.

    Args:
        coldest_c: [degC]
        warmest_c: Not below the coldest. [degC]
        lower_c: As the other limits, see `rate`. [degC]
        upper_c: [degC]
        cutoff: See the module.

    Returns:
        Degree-days per day; never negative. [degC d/d]

    Raises:
        ValueError: As `rate`, or if the two temperatures are swapped.
    """
    if coldest_c > warmest_c:
        raise ValueError(f"coldest {coldest_c:g} is above warmest {warmest_c:g}")

    def at(temperature_c: float) -> float:
        return rate(temperature_c, lower_c=lower_c, upper_c=upper_c, cutoff=cutoff)

    best_c = warmest_c if upper_c is None else min(max(upper_c, coldest_c), warmest_c)
    return min(at(coldest_c), at(warmest_c)), at(best_c)


def integrate(
    times_us: Times,
    temperatures_c: Values,
    *,
    lower_c: float,
    upper_c: float | None = None,
    cutoff: Cutoff = "horizontal",
    max_gap: timedelta,
) -> HeatSum:
    """
    Sum degree-days from the first to the last reading.

    A pair further apart than *max_gap* is missing: never zero, never carried
    forward.

    Args:
        times_us: Strictly rising, at least two. [us since 1970-01-01 UTC]
        temperatures_c: One finite value for each time. [degC]
        lower_c: No development at or below it. [degC]
        upper_c: The cutoff applies above it; None for no cutoff. [degC]
        cutoff: See the module.
        max_gap: The longest time that two readings may bridge.

    Raises:
        ValueError: If times do not rise, a value is not finite, the arrays differ
            in length or hold fewer than two readings, or the limits are wrong.
    """
    rule = _rule(lower_c, upper_c, cutoff, max_gap)
    count = same_length(times_us, temperatures_c)
    if count < 2:  # noqa: PLR2004 - a pair
        raise ValueError(f"at least two readings are needed, got {count}")
    return _sum(times_us, temperatures_c, rule, int(times_us[0]), int(times_us[-1]))


def integrate_between(
    times_us: Times,
    temperatures_c: Values,
    *,
    since_us: int,
    until_us: int,
    lower_c: float,
    upper_c: float | None = None,
    cutoff: Cutoff = "horizontal",
    max_gap: timedelta,
) -> HeatSum:
    """
    Sum degree-days between two instants.

    Readings beyond the instants give the temperature at them, by the straight
    line, so that sums of adjoining spans add up to the sum of the whole. Time
    before the first or after the last reading is missing.

    Args:
        times_us: Strictly rising; may be empty. [us since 1970-01-01 UTC]
        temperatures_c: One finite value for each time. [degC]
        since_us: Beginning of the span. [us since 1970-01-01 UTC]
        until_us: End of the span, not before the beginning.
        lower_c: As the other limits, see `integrate`. [degC]
        upper_c: [degC]
        cutoff: See the module.
        max_gap: A pair further apart is missing.

    Raises:
        ValueError: As `integrate`, save that any number of readings will do; and
            if the span ends before it begins.
    """
    rule = _rule(lower_c, upper_c, cutoff, max_gap)
    same_length(times_us, temperatures_c)
    if until_us < since_us:
        raise ValueError(f"the span ends at {until_us} us, before {since_us} us")
    times, values = cut(times_us, temperatures_c, since_us, until_us, rule.gap_us)
    return _sum(times, values, rule, since_us, until_us)


def with_missing(
    heat: HeatSum, *, lower_c: float, upper_c: float | None = None
) -> Estimate:
    """
    Allow for the missing time of a sum.

    The highest rate is upper minus lower threshold under every cutoff.

    Args:
        heat: The sum.
        lower_c: As it was summed with. [degC]
        upper_c: As it was summed with. [degC]
    """
    check_thresholds(lower_c, upper_c, "horizontal")
    highest = None if upper_c is None else upper_c - lower_c
    return allow_for_missing(
        heat.degree_days, heat.measured, heat.missing, highest=highest
    )


def check_thresholds(lower_c: float, upper_c: float | None, cutoff: str) -> None:
    """
    Refuse thresholds that mean nothing.

    Raises:
        ValueError: If one is not finite, they are swapped or the cutoff is unknown.
    """
    if cutoff not in get_args(Cutoff):
        known = ", ".join(get_args(Cutoff))
        raise ValueError(f"cutoff must be one of {known}, got {cutoff!r}")
    if not math.isfinite(lower_c):
        raise ValueError(f"lower threshold must be finite, got {lower_c}")
    if upper_c is not None and not math.isfinite(upper_c):
        raise ValueError(f"upper threshold must be finite, got {upper_c}")
    if upper_c is not None and not lower_c < upper_c:
        raise ValueError(
            f"lower threshold {lower_c:g} is not below upper threshold {upper_c:g}"
            " (swap them?)"
        )


def _rule(
    lower_c: float, upper_c: float | None, cutoff: Cutoff, max_gap: timedelta
) -> _Rule:
    check_thresholds(lower_c, upper_c, cutoff)
    return _Rule(lower_c, upper_c, cutoff, gap_of(max_gap))


def _kinks(rule: _Rule) -> tuple[_Kink, ...]:
    lower_c, upper_c = rule.lower_c, rule.upper_c
    if upper_c is None:
        return (_Kink(lower_c, 1.0),)
    if rule.cutoff == "intermediate":
        zero_c = 2 * upper_c - lower_c
        return (_Kink(lower_c, 1.0), _Kink(upper_c, -2.0), _Kink(zero_c, 1.0))
    jump = lower_c - upper_c if rule.cutoff == "vertical" else 0.0
    return (_Kink(lower_c, 1.0), _Kink(upper_c, -1.0, jump))


def _rates(values: Values, rule: _Rule) -> Values:
    lower_c, upper_c = rule.lower_c, rule.upper_c
    if upper_c is None:
        rates = np.maximum(values, lower_c)
    elif rule.cutoff == "intermediate":
        rates = 2 * upper_c - values
        np.minimum(values, rates, out=rates)
        np.maximum(rates, lower_c, out=rates)
    else:
        rates = np.minimum(values, upper_c)
        np.maximum(rates, lower_c, out=rates)
        if rule.cutoff == "vertical":
            rates[values > upper_c] = lower_c
    rates -= lower_c
    return rates


def _sum(
    times_us: Times, temperatures_c: Values, rule: _Rule, first_us: int, last_us: int
) -> HeatSum:
    """Sum all pairs, piece by piece, as measured part of the time given."""
    kinks = _kinks(rule)
    sums: list[float] = []
    measured_us = 0
    for piece in pieces(times_us, temperatures_c, rule.gap_us):
        values = piece.values
        measured_us += int(piece.spans.sum())
        weights = piece.spans.astype(np.float64)
        rates = _rates(values, rule)
        sums.append(float(np.dot(weights, rates[1:] + rates[:-1])) / 2)
        sums.extend(
            _correction(weights, values, kink)
            for kink in kinks
            if piece.coldest <= kink.at_c < piece.warmest
        )
    measured = measured_us * MICROSECOND
    missing = (last_us - first_us) * MICROSECOND - measured
    degree_days = max(0.0, math.fsum(sums) / DAY_US)
    return HeatSum(degree_days, measured, missing, first_us, last_us)


def _correction(weights: Values, values: Values, kink: _Kink) -> float:
    """What the trapezoid lacks on the pairs that cross a kink."""
    above = values > kink.at_c
    crossing = np.flatnonzero(above[1:] != above[:-1])
    if not crossing.size:
        return 0.0
    left = values[crossing] - kink.at_c
    right = values[crossing + 1] - kink.at_c
    width = np.abs(right - left)
    lack = kink.slope * (left * right) / (2 * width)
    if kink.jump:
        lack += kink.jump * (np.maximum(left, right) / width - 0.5)
    return float(np.dot(weights[crossing], lack))
