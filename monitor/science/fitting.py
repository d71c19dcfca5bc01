"""
Lower threshold and required degree-days from durations at constant temperatures.

A stage that needs K degree-days above the threshold L takes D = K / (T - L) days
at the constant temperature T. Three straight lines say the same and weigh the rows
differently, so that a constant must be stored with its method:

- ``ols_rate``: rate 1/D = a + b T by ordinary least squares; L = -a/b, K = 1/b.
- ``ikemoto_ols``: D T = K + L D by ordinary least squares of D T on D.
- ``ikemoto_rma``: the same line by reduced major axis regression.

Rows of one temperature are used as they are, not averaged: their scatter belongs to
the standard errors. These treat the ordinate as scattered and the abscissa as known;
in the Ikemoto-Takai line D stands on both axes, so that its standard errors are
nominal (as they are in the papers that print them): right where durations scatter by
a share of themselves, half the true ones where rates scatter equally (simulated).

References:
    Campbell, Frazer, Gilbert, Gutierrez & Mackauer (1974) J Applied Ecology
    11:431-438: rate line and the standard errors of L and K (from memory; they are
    the delta method, and are checked against a bootstrap).
    Ikemoto & Takai (2000) Environ Entomol 29:671-682: the line D T = K + L D and its
    reduced major axis (formulas by a Japanese summary; volume from memory).
    Warton, Wright, Falster & Westoby (2006) Biol Rev 81:259-291: standard errors of
    slope and intercept of a reduced (standardised) major axis, read in a public
    implementation that cites the paper.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]

Counted = Literal["animals", "means"]
"""What ``n`` counts: equal animals, or animals behind a mean."""

FEWEST_TEMPERATURES = 3
"""Two make any line fit; Campbell et al. (1974) advise 3-4 with 50 animals each."""


@dataclass(frozen=True, slots=True)
class Durations:
    """
    What was seen at constant temperatures.

    Attributes:
        temperatures_c: One per row. [degC]
        days: Duration of the stage. [d]
        weights: How much a row counts.
        size: How many independent observations the rows are, for the degrees of
            freedom.
        counted: What ``n`` was taken for; None where no ``n`` was given.
    """

    temperatures_c: Values
    days: Values
    weights: Values
    size: int
    counted: Counted | None = None

    @property
    def rates(self) -> Values:
        """Rates of development. [1/d]."""
        return 1 / self.days

    @property
    def distinct(self) -> Values:
        """The different temperatures, rising. [degC]."""
        return np.unique(self.temperatures_c)


@dataclass(frozen=True, slots=True)
class Constants:
    """
    Threshold and requirement by one method.

    Attributes:
        lower_threshold: No development at or below it. [degC]
        lower_threshold_se: Its standard error. [degC]
        required_degree_days: Above the threshold, for the whole stage. [degC d]
        required_degree_days_se: Its standard error. [degC d]
        r_squared: Of the method's own line; not comparable between the methods.
    """

    lower_threshold: float
    lower_threshold_se: float
    required_degree_days: float
    required_degree_days_se: float
    r_squared: float


@dataclass(frozen=True, slots=True)
class Methods:
    """The same rows by three methods; None where the line makes no sense (a note)."""

    ols_rate: Constants
    ikemoto_ols: Constants | None
    ikemoto_rma: Constants | None


@dataclass(frozen=True, slots=True)
class LinearFit:
    """The three lines and what a reader must know about them."""

    methods: Methods
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Line:
    """A straight line through weighted points."""

    slope: float
    slope_se: float
    intercept: float
    intercept_se: float
    mean_x: float
    total: float
    variance: float
    r_squared: float


def durations(
    temperatures_c: Values,
    days: Values,
    n: Values | None = None,
    *,
    counted: Counted | None = None,
) -> Durations:
    """
    Rows of a table with what they weigh.

    ``n`` counts equal *animals* where a temperature has several rows (a table of
    individuals: a row of n = 3 is three equal rows), and the animals behind a *mean*
    where each temperature has one row: then a row weighs n, but is one observation,
    for the scatter between animals is not in the table.

    Args:
        temperatures_c: Constant temperatures. [degC]
        days: Durations at them. [d]
        n: Animals of each row, at least 1.
        counted: What ``n`` counts, where the rule above is wrong.

    Raises:
        ValueError: If arrays differ in length, a value is not finite, a duration or
            ``n`` is not above zero, or fewer than three temperatures are left.
    """
    columns = [temperatures_c, days, *([] if n is None else [n])]
    if len({column.shape for column in columns}) != 1 or temperatures_c.ndim != 1:
        raise ValueError("temperatures, durations and n must be equally long")
    if not all(np.isfinite(column).all() for column in columns):
        raise ValueError("temperatures, durations and n must be finite")
    if not all((column > 0).all() for column in columns[1:]):
        raise ValueError("durations and n must be above zero")
    distinct = np.unique(temperatures_c)
    if distinct.size < FEWEST_TEMPERATURES:
        found = ", ".join(f"{value:g}" for value in distinct) or "none"
        raise ValueError(
            f"a fit needs durations at {FEWEST_TEMPERATURES} or more different"
            f" temperatures, found {distinct.size} ({found})"
        )
    if n is None:
        return Durations(temperatures_c, days, np.ones_like(days), days.size)
    if counted is None:
        counted = "animals" if distinct.size < days.size else "means"
    size = round(float(n.sum())) if counted == "animals" else days.size
    return Durations(temperatures_c, days, n, size, counted)


def fit_lines(rows: Durations) -> LinearFit:
    """
    Threshold and required degree-days by the three methods of this module.

    Args:
        rows: Durations within the range where the rate is a straight line.

    Raises:
        ValueError: If development does not get faster with temperature.
    """
    freedom = rows.size - 2
    if freedom < 1:
        raise ValueError("three or more observations are needed for standard errors")
    rate = _line(rows.temperatures_c, rows.rates, rows.weights, freedom)
    if not rate.slope > 0:
        raise ValueError(
            "development does not get faster with temperature (rate changes by"
            f" {rate.slope:.3g} per day and °C): no threshold follows; leave out rows"
            " beyond the straight part with --from and --to, and look for swapped"
            " columns"
        )
    heat = rows.days * rows.temperatures_c
    takai = {
        "ikemoto_ols": _line(rows.days, heat, rows.weights, freedom),
        "ikemoto_rma": _line(
            rows.days, heat, rows.weights, freedom, reduced_major_axis=True
        ),
    }
    methods = Methods(
        _from_rate(rate),
        *(_from_heat(line) if line.intercept > 0 else None for line in takai.values()),
    )
    return LinearFit(methods, tuple(_notes(rows, methods)))


def _line(
    x: Values,
    y: Values,
    weights: Values,
    freedom: int,
    *,
    reduced_major_axis: bool = False,
) -> _Line:
    """Weighted regression of y on x; a factor common to all weights cancels."""
    total = float(weights.sum())
    mean_x, mean_y = float(weights @ x) / total, float(weights @ y) / total
    dx, dy = x - mean_x, y - mean_y
    sxx, sxy, syy = (float(weights @ v) for v in (dx * dx, dx * dy, dy * dy))
    least = sxy / sxx
    # the reduced major axis has the sign of the correlation (Warton et al. 2006)
    slope = math.copysign(math.sqrt(syy / sxx), sxy) if reduced_major_axis else least
    unexplained = float(weights @ (dy - least * dx) ** 2)
    variance = float(weights @ (dy - slope * dx) ** 2) / freedom
    slope_se = math.sqrt(unexplained / freedom / sxx)
    return _Line(
        slope=slope,
        slope_se=slope_se,
        intercept=mean_y - slope * mean_x,
        intercept_se=math.hypot(math.sqrt(variance / total), mean_x * slope_se),
        mean_x=mean_x,
        total=total,
        variance=variance,
        r_squared=1 - unexplained / syy if syy else 0.0,
    )


def _from_rate(line: _Line) -> Constants:
    """The delta method, with mean and slope uncorrelated as least squares has them."""
    threshold = -line.intercept / line.slope
    return Constants(
        lower_threshold=threshold,
        lower_threshold_se=math.hypot(
            math.sqrt(line.variance / line.total) / line.slope,
            (line.mean_x - threshold) * line.slope_se / line.slope,
        ),
        required_degree_days=1 / line.slope,
        required_degree_days_se=line.slope_se / line.slope**2,
        r_squared=line.r_squared,
    )


def _from_heat(line: _Line) -> Constants:
    return Constants(
        lower_threshold=line.slope,
        lower_threshold_se=line.slope_se,
        required_degree_days=line.intercept,
        required_degree_days_se=line.intercept_se,
        r_squared=line.r_squared,
    )


def _notes(rows: Durations, methods: Methods) -> list[str]:
    """What does not refuse the fit, but speaks against it."""
    notes = []
    coldest, hottest = float(rows.distinct[0]), float(rows.distinct[-1])
    fastest = float(rows.temperatures_c[np.argmax(_mean_rates(rows))])
    if fastest < hottest:
        notes.append(
            f"development is fastest at {fastest:g} °C, not at the hottest {hottest:g}"
            " °C: rows beyond the straight part bend the lines; leave them out with"
            " --to"
        )
    for name in ("ols_rate", "ikemoto_ols", "ikemoto_rma"):
        found: Constants | None = getattr(methods, name)
        if found is None:
            notes.append(
                f"{name}: no constants, its line gives no positive degree-days: the"
                " rows do not lie on one straight line"
            )
        elif found.lower_threshold >= coldest:
            notes.append(
                f"{name}: the threshold {found.lower_threshold:.2f} °C is not below"
                f" {coldest:g} °C, where animals developed: the rows do not lie on one"
                " straight line"
            )
    return notes


def _mean_rates(rows: Durations) -> Values:
    """For each row the weighted mean rate of its temperature. [1/d]."""
    at = np.searchsorted(rows.distinct, rows.temperatures_c)
    total = np.bincount(at, rows.weights * rows.rates)
    mean: Values = total / np.bincount(at, rows.weights)
    return mean[at]
