"""
Where a fit of each rate model is sought, and where the search begins.

Coordinates are chosen so that every point is a lawful curve and curvature is mild:
logarithms, and for Logan and Lactin the logit of rho dT, which must lie between 0 and
1. Starts follow from what the rows show at a glance.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from monitor.science.fitting import Durations
from monitor.science.rate_formulas import GAS_CAL, KELVIN, Numbers

LOGIT = 14.0
"""rho dT is sought between its logits -14 and 14: a millionth from 0 and from 1."""


@dataclass(frozen=True, slots=True)
class Seen:
    """What the rows show at a glance. [degC, 1/d]."""

    coldest: float
    fastest: float
    hottest: float
    zero: float
    slope: float
    activation: float


@dataclass(frozen=True, slots=True)
class Range:
    """Where a coordinate is sought, and where the search begins."""

    low: float
    high: float
    starts: tuple[float, ...]

    def inside(self) -> tuple[float, ...]:
        """The starts that lie well inside."""
        margin = 1e-6 * min(1.0, self.high - self.low)
        return tuple(s for s in self.starts if self.low + margin < s < self.high)


@dataclass(frozen=True, slots=True)
class Way:
    """
    How a model is sought.

    Attributes:
        ranges: Of each coordinate, by what the rows show.
        parameters: From coordinates to the parameters of the model.
        factor: Coordinate that multiplies the curve, solved for each start.
        shift: Coordinate that is added to the curve, solved likewise.
    """

    ranges: Callable[[Seen], tuple[Range, ...]]
    parameters: Callable[[Numbers], Numbers] = lambda coordinates: coordinates
    factor: int | None = None
    shift: int | None = None


_FREE = Range(-math.inf, math.inf, (1.0,))
_POSITIVE = Range(0.0, math.inf, (1.0,))


def _near(seen: Seen, *steps: float) -> tuple[float, ...]:
    return tuple(seen.hottest + step for step in steps)


def _linear(seen: Seen) -> tuple[Range, ...]:
    lower = Range(seen.zero - 100, seen.hottest, (seen.zero, seen.zero - 5))
    return lower, Range(0.0, math.inf, (1 / seen.slope, 2 / seen.slope))


def _briere(seen: Seen) -> tuple[Range, ...]:
    # animals developed at the coldest and at the hottest: the curve is above zero there
    zero = min(max(seen.zero, seen.coldest - 30), seen.coldest)
    below = tuple(zero - step for step in (0.5, 2, 5, 10))
    return (
        _POSITIVE,
        Range(seen.coldest - 60, seen.coldest, below),
        Range(seen.hottest, seen.hottest + 40, _near(seen, 0.3, 1, 3, 8)),
    )


def _briere2(seen: Seen) -> tuple[Range, ...]:
    return *_briere(seen), Range(0.1, 100.0, (1.2, 2.0, 3.5, 7.0))


def _difference(seen: Seen) -> tuple[Range, ...]:
    """Coordinates rho, Tm and the logit of rho dT."""
    starts = sorted({0.6 * seen.slope, seen.slope, 0.05, 0.1, 0.15, 0.22})
    return (
        Range(1e-6, 3.0, tuple(starts)),
        Range(seen.fastest, seen.hottest + 60, _near(seen, 0.3, 1.5, 4, 9)),
        Range(-LOGIT, LOGIT, (-5.0, -3.7, -2.0, 0.0, 2.2, 3.5, 5.0, 6.5, 8.0)),
    )


def _width(coordinates: Numbers) -> Numbers:
    """Rho, Tm, dT from rho, Tm and the logit of rho dT."""
    rho, upper, logit = coordinates
    return rho, upper, 1 / (1 + math.exp(-logit)) / rho


def _schoolfield(seen: Seen) -> tuple[Range, ...]:
    half = seen.fastest + KELVIN
    activation = tuple(math.log(seen.activation * x) for x in (0.7, 1.0, 1.3, 2.0))
    inactivation = tuple(math.log(seen.activation * x) for x in (2, 4, 8, 20))
    return (
        _POSITIVE,
        Range(math.log(100), math.log(1e6), activation),
        Range(half - 25, half + 50, (half - 3, half, half + 2, half + 5)),
        Range(math.log(1000), math.log(1e7), inactivation),
    )


def _taylor(seen: Seen) -> tuple[Range, ...]:
    spread = max(seen.fastest - seen.zero, 1.0)
    return (
        _POSITIVE,
        Range(
            seen.coldest - 30,
            seen.hottest + 60,
            tuple(seen.fastest + step for step in (-1, 0.5, 3, 8, 20)),
        ),
        Range(0.1, 300.0, tuple(spread / x for x in (0.7, 1.2, 1.8, 2.5, 4))),
    )


WAYS: dict[str, Way] = {
    "linear": Way(_linear),
    "briere-1": Way(_briere, factor=0),
    "briere-2": Way(_briere2, factor=0),
    # for rho dT near 1 only phi (1 - rho dT) is seen: that is what is sought
    "logan-6": Way(
        lambda seen: (_POSITIVE, *_difference(seen)),
        lambda c: (c[0] * math.exp(c[3]), *_width(c[1:])),
        factor=0,
    ),
    "lactin-1": Way(_difference, _width),
    "lactin-2": Way(
        lambda seen: (*_difference(seen), _FREE),
        lambda c: (*_width(c[:3]), c[3]),
        shift=3,
    ),
    "sharpe-schoolfield-high": Way(
        _schoolfield,
        lambda c: (c[0], math.exp(c[1]), c[2], math.exp(c[3])),
        factor=0,
    ),
    "taylor": Way(_taylor, factor=0),
}
"""How each model of `rate_models` is sought; a test says that none is forgotten."""


def look(rows: Durations) -> Seen:
    """The line and the Arrhenius slope of the rows up to the fastest temperature."""
    t, rates = rows.temperatures_c, rows.rates
    fastest = float(t[np.argmax(rates)])
    rising = t <= fastest
    if np.unique(t[rising]).size < 2:  # noqa: PLR2004 - a line
        rising = np.ones_like(rising)
    slope, cut = np.polyfit(t[rising], rates[rising], 1)
    kelvin = t[rising] + KELVIN
    arrhenius = -np.polyfit(1 / kelvin, np.log(rates[rising] / kelvin), 1)[0] * GAS_CAL
    # rows that do not rise give no line: begin with a threshold 10 degC below
    lost = not slope > 0
    return Seen(
        coldest=float(t.min()),
        fastest=fastest,
        hottest=float(t.max()),
        zero=float(t.min()) - 10 if lost else float(-cut / slope),
        slope=float(rates.max()) / 20 if lost else float(slope),
        activation=max(float(arrhenius), 2000.0),
    )
