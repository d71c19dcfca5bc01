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
from numpy.typing import NDArray

Cutoff = Literal["horizontal", "intermediate", "vertical"]
"""What happens above the upper threshold."""

PIECE = 8192
"""Readings worked on at a time; a piece stays in the processor's cache."""

DAY_US = 86_400_000_000
"""Microseconds of a day."""

_MICROSECOND = timedelta(microseconds=1)

Times = NDArray[np.int64]
Values = NDArray[np.float64]


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
class Estimate:
    """
    A sum with its missing time allowed for.

    Attributes:
        estimate: Missing time at the measured mean rate; None where nothing was
            measured. [degC d]
        low: Missing time at no warmth. [degC d]
        high: Missing time at the highest rate; None without an upper
            threshold. [degC d]
        coverage: Measured share of the time. [fraction]
    """

    estimate: float | None
    low: float
    high: float | None
    coverage: float


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
    count = _same_length(times_us, temperatures_c)
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
    _same_length(times_us, temperatures_c)
    if until_us < since_us:
        raise ValueError(f"the span ends at {until_us} us, before {since_us} us")
    times, values = _cut(times_us, temperatures_c, since_us, until_us, rule.gap_us)
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
    whole = heat.measured + heat.missing
    coverage = heat.measured / whole if whole else 1.0
    estimate = heat.degree_days / coverage if heat.measured else None
    missing_days = heat.missing / timedelta(days=1)
    high = None
    if upper_c is not None:
        high = heat.degree_days + missing_days * (upper_c - lower_c)
    return Estimate(estimate, heat.degree_days, high, coverage)


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
    gap_us = max_gap // _MICROSECOND
    if gap_us <= 0:
        raise ValueError(f"max_gap must be above zero, got {max_gap}")
    return _Rule(lower_c, upper_c, cutoff, gap_us)


def _same_length(times_us: Times, temperatures_c: Values) -> int:
    if times_us.ndim != 1 or times_us.shape != temperatures_c.shape:
        raise ValueError(
            "times and temperatures must be one-dimensional and of one length, got"
            f" {times_us.shape} and {temperatures_c.shape}"
        )
    return int(times_us.shape[0])


def _cut(
    times_us: Times, temperatures_c: Values, since_us: int, until_us: int, gap_us: int
) -> tuple[Times, Values]:
    """The curve between two instants: readings inside, interpolated ends."""
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
        if spans.max() > rule.gap_us:
            spans[spans > rule.gap_us] = 0
        measured_us += int(spans.sum())
        weights = spans.astype(np.float64)
        rates = _rates(values, rule)
        sums.append(float(np.dot(weights, rates[1:] + rates[:-1])) / 2)
        sums.extend(
            _correction(weights, values, kink)
            for kink in kinks
            if coldest <= kink.at_c < warmest
        )
    measured = measured_us * _MICROSECOND
    missing = (last_us - first_us) * _MICROSECOND - measured
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
