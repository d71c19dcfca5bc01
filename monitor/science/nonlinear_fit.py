"""
Fit a rate model to durations: least squares on rate from starts that the data give.

Starts are a small grid of curve shapes about what the rows show (where the straight
line meets zero, the fastest and the hottest temperature, the Arrhenius slope). A
parameter that only scales or shifts the curve is solved for each shape. The best
shape of each width or sharpness is refined, and the lowest residual sum wins; so the
result hangs on no guess of the keeper and on no random number.

Refinement works in the coordinates of `monitor.science.fit_starts`; standard errors
are those of the parameters themselves.

References:
    AICc: Hurvich & Tsai (1989) Biometrika 76:297-307 (from memory), with the error
    variance counted as a parameter and the constant n (ln(2 pi) + 1) left out, so
    that only fits to the same rows compare.
    Standard errors: s^2 (J'J)^-1, as `scipy.optimize.curve_fit` has them.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from monitor.science.fit_starts import WAYS, Range, Way, look
from monitor.science.fitting import Durations
from monitor.science.rate_formulas import Numbers
from monitor.science.rate_models import RateModel, model

Values = NDArray[np.float64]

WORST_CONDITION = 1e8
"""Beyond it the rows do not tell two parameters apart."""

ENTANGLED = 0.1
"""A parameter with this share of the undecided direction is named."""


NEAR_LIMIT = 1e-5
"""So near a limit, in its unit, a search is held by it."""


@dataclass(frozen=True, slots=True)
class FittedParameter:
    """A parameter; its standard error is None where the rows do not decide it."""

    name: str
    unit: str
    value: float
    standard_error: float | None


@dataclass(frozen=True, slots=True)
class CurveFit:
    """
    A rate model fitted to rows.

    Attributes:
        model: Name of the model.
        converged: Whether the parameters are a minimum that the rows decide.
        parameters: In the order of the model.
        residual_sum: Weighted sum of squared residuals of the rate; weights sum to
            the number of observations. [1/d^2]
        aicc: Lower is better, among fits to the same rows; None for too few.
        rows: How many were fitted.
        observations: How many they count for.
        notes: What speaks against the fit, in words.
    """

    model: str
    converged: bool
    parameters: tuple[FittedParameter, ...]
    residual_sum: float
    aicc: float | None
    rows: int
    observations: int
    notes: tuple[str, ...]

    def rates(self, temperatures_c: Values) -> Values:
        """Rates along the curve. [1/d]."""
        values = tuple(p.value for p in self.parameters)
        return model(self.model).formula(temperatures_c, values)


@dataclass(frozen=True, slots=True)
class _Problem:
    """Residuals of one model on one table, scaled to the fastest rate."""

    kind: RateModel
    way: Way
    ranges: tuple[Range, ...]
    temperatures_c: Values
    rates: Values
    roots: Values

    def curve(self, coordinates: Numbers) -> Values:
        """Rates of the model. [1/d]."""
        return self.kind.formula(self.temperatures_c, self.way.parameters(coordinates))

    def residuals(self, coordinates: Values) -> Values:
        """Weighted, in units of the fastest rate, so that tolerances have a meaning."""
        curve = self.curve(tuple(coordinates.tolist()))
        found: Values = self.roots * (curve - self.rates) / self.rates.max()
        return found

    def starts(self) -> list[Values]:
        """The best shape of the grid for each width or sharpness that it holds."""
        # that coordinate comes last, and is what local minima lie apart in
        key = max(i for i, r in enumerate(self.ranges) if len(r.inside()) > 1)
        best: dict[float, tuple[float, Numbers]] = {}
        for shape in product(*(r.inside() for r in self.ranges)):
            at = self._solved(shape)
            if at is not None:
                residuals = self.residuals(np.array(at))
                found = float(residuals @ residuals), at
                best[shape[key]] = min(best.get(shape[key], found), found)
        return [np.array(at) for _, at in sorted(best.values())]

    def _solved(self, shape: Numbers) -> Numbers | None:
        """The shape with its best factor or shift; None where there is no curve."""
        weights, at = self.roots**2, list(shape)
        if self.way.factor is not None:
            curve = self.curve(shape)
            size = float(weights @ (curve * curve))
            # shapes that are flat zero or overflow are no start
            if not 0 < size < math.inf:
                return None
            at[self.way.factor] *= float(weights @ (curve * self.rates)) / size
        if self.way.shift is not None:
            at[self.way.shift] = 100.0  # high enough that nothing is cut off at zero
            unshifted = self.curve(tuple(at)) - 100.0
            at[self.way.shift] = float(
                weights @ (self.rates - unshifted) / weights.sum()
            )
        return tuple(at) if all(math.isfinite(value) for value in at) else None


def fit_curve(name: str, rows: Durations) -> CurveFit:
    """
    Fit a model of `monitor.science.rate_models` to rates by least squares.

    Args:
        name: Of the model.
        rows: All rows with a duration, the hot ones too.

    Raises:
        ValueError: If there is no such model, or too few rows for its parameters.
    """
    kind = model(name)
    count = len(kind.names)
    if rows.distinct.size < count or rows.size <= count:
        raise ValueError(
            f"{name} has {count} parameters ({', '.join(kind.names)}): it needs"
            f" durations at {count} or more different temperatures and"
            f" {count + 1} or more rows, found {rows.distinct.size} and {rows.size}"
        )
    way, seen = WAYS[name], look(rows)
    weights = rows.weights * (rows.size / rows.weights.sum())
    problem = _Problem(
        kind, way, way.ranges(seen), rows.temperatures_c, rows.rates, np.sqrt(weights)
    )
    values, faults = _refine(problem)
    residual_sum = float(weights @ (kind.formula(rows.temperatures_c, values)
                                    - rows.rates) ** 2)  # fmt: skip
    try:
        errors = _standard_errors(problem, values, residual_sum / (rows.size - count))
    except _EntangledError as error:
        errors = ()
        faults.append(str(error))
    try:
        kind.fitted(dict(zip(kind.names, values, strict=True)))
    except ValueError as error:
        faults.append(str(error))
    told = (None,) * count if faults else errors
    return CurveFit(
        model=name,
        converged=not faults,
        parameters=tuple(
            FittedParameter(p.name, p.unit, value, se)
            for p, value, se in zip(kind.parameters, values, told, strict=True)
        ),
        residual_sum=residual_sum,
        aicc=_aicc(residual_sum, rows.size, count + 1),
        rows=rows.days.size,
        observations=rows.size,
        notes=tuple(faults),
    )


def _refine(problem: _Problem) -> tuple[Numbers, list[str]]:
    """The parameters with the lowest residual sum, and why they are none to trust."""
    # SciPy takes longer to import than all else that the core needs
    from scipy.optimize import least_squares  # noqa: PLC0415

    bounds = [r.low for r in problem.ranges], [r.high for r in problem.ranges]
    found = [
        least_squares(
            problem.residuals, start, jac="3-point", bounds=bounds, x_scale="jac",
            ftol=1e-11, xtol=1e-11, gtol=1e-11, max_nfev=200,
        )
        for start in problem.starts()
    ]  # fmt: skip
    if not found:
        raise ValueError(f"{problem.kind.name}: no curve of this kind is near the rows")
    best = min(found, key=lambda result: result.cost)
    faults = list(_faults(problem, best.x, settled=best.status > 0))
    return problem.way.parameters(tuple(best.x.tolist())), faults


def _faults(problem: _Problem, at: Values, *, settled: bool) -> Iterator[str]:
    if not settled:
        yield "the search did not come to rest"
    for name, value, sought in zip(
        problem.kind.names, at.tolist(), problem.ranges, strict=True
    ):
        # a factor has no limit but zero, and no size of its own to come near it by
        width = min(1.0, sought.high - sought.low)
        near = min(value - sought.low, sought.high - value)
        if sought.high < math.inf and near < NEAR_LIMIT * width:
            yield f"{name} went to the limit of where it is sought"


class _EntangledError(Exception):
    """The rows do not decide every parameter; the text says which."""


def _standard_errors(
    problem: _Problem, values: Numbers, variance: float
) -> tuple[float, ...]:
    """From the curve's derivatives by the parameters."""
    names = problem.kind.names
    jacobian = _derivatives(problem, values)
    sizes = np.linalg.norm(jacobian, axis=0)
    idle = [name for name, size in zip(names, sizes, strict=True) if not size > 0]
    if idle:
        raise _EntangledError(f"the rows say nothing of {', '.join(idle)}")
    # columns of equal length: units must not decide what counts as entangled
    _, singular, turn = np.linalg.svd(jacobian / sizes, full_matrices=False)
    if not singular[-1] * WORST_CONDITION > singular[0]:
        shares = zip(names, np.abs(turn[-1]), strict=True)
        *mixed, last = [name for name, share in shares if share > ENTANGLED]
        raise _EntangledError(
            f"the rows do not tell {', '.join(mixed)} and {last} apart"
        )
    spread = np.linalg.norm(turn.T / singular, axis=1) / sizes
    return tuple((spread * math.sqrt(variance)).tolist())


def _derivatives(problem: _Problem, values: Numbers) -> Values:
    """Weighted central differences, a column for each parameter."""
    columns = []
    for number, value in enumerate(values):
        step = 6e-6 * max(abs(value), 1e-3)
        above, below = (
            problem.kind.formula(
                problem.temperatures_c,
                (*values[:number], value + side * step, *values[number + 1 :]),
            )
            for side in (1, -1)
        )
        columns.append(problem.roots * (above - below) / (2 * step))
    return np.array(columns).T


def _aicc(residual_sum: float, n: int, count: int) -> float | None:
    """Akaike's criterion for small samples; None where it is not defined."""
    if n - count - 1 < 1 or not residual_sum > 0:
        return None
    aic = n * math.log(residual_sum / n) + 2 * count
    return aic + 2 * count * (count + 1) / (n - count - 1)
