"""
Degree-days of a day from its minimum and maximum, and perhaps the next minimum.

For a threshold t let A(t) be the day's mean of max(0, T - t), and F(t) the fraction of
the day with T > t. Then, with lower threshold L and upper threshold U, a day has

- horizontal: A(L) - A(U)
- vertical: A(L) - A(U) - (U - L) F(U)
- intermediate: A(L) - A(U) - min(A(U), (U - L) F(U)): the area above U is taken off
  twice, but once a day the loss is capped at the vertical cutoff's. (From readings the
  intermediate cutoff is pointwise, see `monitor.science.degree_days`; they differ on
  days hotter than 2 U - L.)

so that a method is no more than the form of its day, and neither minimum = maximum nor
a value on a threshold is a case of its own:

- average: the mean (n + x) / 2 all day. McMaster & Wilhelm's method 1. With U it is
  **the mean that is capped**; that is not capping only days whose extremes both exceed
  U, nor clipping the extremes, and a requirement belongs to the one it was fitted with.
- clipped-average: half a day at n, half at x, which is the mean of the extremes clipped
  to [L, U]. McMaster & Wilhelm's method 2, the "86/50" of maize.
- single-sine (Baskerville & Emin 1969) and single-triangle: one wave through n and x.
- double-sine (Allen 1976) and double-triangle: half the day on the wave through n and
  x, half on that through x and the next day's minimum; where that is above x, as in a
  house that warms up, the two change places.

All numbers of a call are in one unit, and so is the result: degrees C or F times days.
Degree-days in F are 1.8 times those in C; thresholds convert as temperatures do.

References:
    McMaster & Wilhelm (1997) Agric For Meteorol 87:291-300.
    Zalom, Goodell, Wilson, Barnett & Bentley (1983) UC DANR Leaflet 21373, which gives
    sine and triangle case by case; A and F are the same integrals without cases, and
    are checked against the printed output of UC IPM, which caps as said above.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from monitor.science.degree_days import Cutoff, check_thresholds

Method = Literal[
    "average",
    "clipped-average",
    "single-sine",
    "double-sine",
    "single-triangle",
    "double-triangle",
]
"""The form that a day is given."""

DEFAULT_METHOD: Method = "single-sine"
"""Where nobody says which: the commonest one, which needs no other day."""

Unit = Literal["C", "F"]
"""The unit of temperatures, thresholds and degree-days."""

ABSOLUTE_ZERO: dict[Unit, float] = {"C": -273.15, "F": -459.67}

F_PER_C = 1.8
"""Degree-days in F are so many times those in C."""

Values = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class _Above:
    """
    What lies above a threshold.

    Attributes:
        area: A(t), the mean of max(0, T - t). [degrees]
        share: F(t), the fraction of the time. [fraction]
    """

    area: Values
    share: Values


_Form = Callable[[Values, Values, float], _Above]
"""What lies above a threshold, of days from n to x."""


def method_named(words: str | None) -> Method:
    """
    Tell which daily method a description of how a sum was fitted names.

    A hyphen is as good as a space, and what else is said is passed over, as in "daily
    single sine, horizontal cutoff". An average counts only as "daily average", "average
    method", or where it is the first thing said: papers average much else.

    Args:
        words: What a species file says; None where it says nothing.

    Returns:
        `DEFAULT_METHOD` where none is named, or more than one.
    """
    said = " ".join(re.sub(r"[-\s]+", " ", words or "").casefold().split())
    found = {method for method, named in _NAMED.items() if named.search(said)}
    return found.pop() if len(found) == 1 else DEFAULT_METHOD


def degree_days(
    minimum: float,
    maximum: float,
    *,
    lower: float,
    upper: float | None = None,
    method: Method,
    cutoff: Cutoff = "horizontal",
    next_minimum: float | None = None,
    unit: Unit = "C",
) -> float:
    """
    Tell the degree-days of one day.

    Args:
        minimum: Lowest temperature of the day. [unit]
        maximum: Highest temperature of the day. [unit]
        lower: No development at or below it. [unit]
        upper: The cutoff applies above it; None for no cutoff. [unit]
        method: See the module.
        cutoff: See the module; without *upper* it means nothing.
        next_minimum: Lowest temperature of the next day, for the double methods; None
            for that of the day itself. [unit]
        unit: Of every temperature given.

    Returns:
        Never negative. [unit d]

    Raises:
        ValueError: If a temperature is not finite or below absolute zero, the minimum
            is above the maximum, the thresholds are swapped, or a word is unknown.
    """
    many = degree_days_of_days(
        np.array([minimum], dtype=np.float64),
        np.array([maximum], dtype=np.float64),
        lower=lower,
        upper=upper,
        method=method,
        cutoff=cutoff,
        next_minima=None
        if next_minimum is None
        else np.array([next_minimum], dtype=np.float64),
        unit=unit,
    )
    return float(many[0])


def degree_days_of_days(
    minima: Values,
    maxima: Values,
    *,
    lower: float,
    upper: float | None = None,
    method: Method,
    cutoff: Cutoff = "horizontal",
    next_minima: Values | None = None,
    unit: Unit = "C",
) -> Values:
    """
    Tell the degree-days of many days, each for itself.

    Args:
        minima: Lowest temperature of each day, in one dimension. [unit]
        maxima: Highest temperature of each day. [unit]
        lower: As the others, see `degree_days`. [unit]
        upper: [unit]
        method: See the module.
        cutoff: See the module.
        next_minima: Lowest temperature of the day after each day. For days in a row
            it is the minima from the second on and the last one once more. [unit]
        unit: Of every temperature given.

    Returns:
        One figure a day. [unit d]

    Raises:
        ValueError: As `degree_days`, naming the day; or if the lengths differ.
    """
    check_thresholds(lower, upper, cutoff)
    form = _known(method, unit)
    ends = minima if next_minima is None else next_minima
    _check(minima, maxima, ends, unit)
    _check_limits(lower, upper, unit)

    def above(threshold: float) -> _Above:
        whole = form(minima, maxima, threshold)
        if next_minima is None or not method.startswith("double"):
            return whole
        # a warming house may be warmer the next night than at noon
        low, high = np.minimum(ends, maxima), np.maximum(ends, maxima)
        other = form(low, high, threshold)
        return _Above((whole.area + other.area) / 2, (whole.share + other.share) / 2)

    warm = above(lower).area
    if upper is not None:
        warm = warm - _loss(above(upper), upper - lower, cutoff)
    # rounding may leave a day of nothing some 1e-16 below it
    found: Values = np.maximum(warm, 0.0)
    return found


def _loss(hot: _Above, width: float, cutoff: Cutoff) -> Values:
    """What the time above the upper threshold takes away."""
    if cutoff == "horizontal":
        return hot.area
    most: Values = hot.area + width * hot.share
    if cutoff == "vertical":
        return most
    return np.minimum(2 * hot.area, most)


def _steady(level: Values, threshold: float) -> _Above:
    return _Above(
        np.maximum(level - threshold, 0.0), (level > threshold).astype(np.float64)
    )


def _mean(low: Values, high: Values, threshold: float) -> _Above:
    return _steady(low + (high - low) / 2, threshold)


def _square(low: Values, high: Values, threshold: float) -> _Above:
    cold, warm = _steady(low, threshold), _steady(high, threshold)
    return _Above((cold.area + warm.area) / 2, (cold.share + warm.share) / 2)


def _sine(low: Values, high: Values, threshold: float) -> _Above:
    mean, swing = low + (high - low) / 2, (high - low) / 2
    crosses = (low < threshold) & (threshold < high)
    # rounding may take the argument beyond 1 where an extreme is at the threshold
    sine = np.clip((threshold - mean) / np.where(crosses, swing, 1.0), -1.0, 1.0)
    angle = np.arccos(sine)
    part = ((mean - threshold) * angle + swing * np.sin(angle)) / np.pi
    return _split(low, high, threshold, _Above(part, angle / np.pi))


def _triangle(low: Values, high: Values, threshold: float) -> _Above:
    crosses = (low < threshold) & (threshold < high)
    share = (high - threshold) / np.where(crosses, high - low, 1.0)
    part = share * (high - threshold) / 2
    return _split(low, high, threshold, _Above(part, share))


def _split(low: Values, high: Values, threshold: float, part: _Above) -> _Above:
    """Days wholly below, wholly above, and those that cross, which have a *part*."""
    below, mean = high <= threshold, low + (high - low) / 2 - threshold
    over = ~below & (low >= threshold)
    area = np.where(below, 0.0, np.where(over, mean, np.maximum(part.area, 0.0)))
    return _Above(area, np.where(below, 0.0, np.where(over, 1.0, part.share)))


_FORMS: dict[str, _Form] = {
    "average": _mean,
    "clipped-average": _square,
    "single-sine": _sine,
    "double-sine": _sine,
    "single-triangle": _triangle,
    "double-triangle": _triangle,
}

_NAMED: dict[Method, re.Pattern[str]] = {
    "average": re.compile(
        r"(?<!clipped )\b(daily average|average method)\b|^average\s*(,|;|$)"
    ),
    "clipped-average": re.compile(r"\bclipped (daily )?average\b"),
    "single-sine": re.compile(r"\bsingle sine\b"),
    "double-sine": re.compile(r"\bdouble sine\b"),
    "single-triangle": re.compile(r"\bsingle triangle\b"),
    "double-triangle": re.compile(r"\bdouble triangle\b"),
}
"""How a description names a method, in small letters and without hyphens."""


def _known(method: str, unit: str) -> _Form:
    if method not in _FORMS:
        known = ", ".join(get_args(Method))
        raise ValueError(f"method must be one of {known}, got {method!r}")
    if unit not in ABSOLUTE_ZERO:
        raise ValueError(f"unit must be C or F, got {unit!r}")
    return _FORMS[method]


def _check(minima: Values, maxima: Values, ends: Values, unit: Unit) -> None:
    if minima.ndim != 1 or not minima.shape == maxima.shape == ends.shape:
        raise ValueError(
            "minima, maxima and next minima must be one-dimensional and of one length,"
            f" got {minima.shape}, {maxima.shape} and {ends.shape}"
        )
    coldest = ABSOLUTE_ZERO[unit]
    for name, values in (
        ("minimum", minima),
        ("maximum", maxima),
        ("next minimum", ends),
    ):
        # NaN is not above anything, so that it is refused too
        bad = np.flatnonzero(~((values >= coldest) & np.isfinite(values)))
        if bad.size:
            day = int(bad[0])
            raise ValueError(
                f"{name} must be finite and not below {coldest:g} {unit},"
                f" got {values[day]:g}{_of_day(day, minima.size)}"
            )
    bad = np.flatnonzero(minima > maxima)
    if bad.size:
        day = int(bad[0])
        raise ValueError(
            f"minimum {minima[day]:g} is above maximum {maxima[day]:g}"
            f"{_of_day(day, minima.size)} (swap them?)"
        )


def _check_limits(lower: float, upper: float | None, unit: Unit) -> None:
    coldest = ABSOLUTE_ZERO[unit]
    for name, limit in (("lower", lower), ("upper", upper)):
        if limit is not None and limit < coldest:
            raise ValueError(
                f"{name} threshold {limit:g} is below absolute zero, {coldest:g} {unit}"
            )


def _of_day(day: int, count: int) -> str:
    return "" if count == 1 else f" at index {day}"
