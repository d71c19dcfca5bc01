"""
The posterior of mu and sigma of a log-normal requirement, summed over a grid.

Prior and reasons: `monitor.science.learning`.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.science.log_normal import Amount, log_mass, moments

Array = NDArray[np.float64]

_AT_ONCE = 32
_DEPTH = 22.0
"""Grid points below exp(-_DEPTH) of the highest are left out."""
_SAME = 1e-6
"""
Ends that differ by less of the amount count as one: far below any spread, and the mass
of a narrower interval has no digits left.
"""


@dataclass(frozen=True, slots=True)
class Prior:
    """
    What is believed before a cohort was seen.

    Attributes:
        log_median: Centre of mu. [ln of the unit]
        weight: How many exactly seen cohorts the centre is worth.
        shape: Of the inverse gamma of sigma^2.
        scale: Of the same.
    """

    log_median: float
    weight: float
    shape: float
    scale: float

    @property
    def log_spread(self) -> float:
        """Of the cohorts that it counts like: see `Posterior`. [ln]."""
        return 0.5 * math.log(self.scale / self.shape)

    @property
    def mean(self) -> float:
        """Mean of the requirement, in its unit."""
        return moments(self.log_median, math.exp(self.log_spread))[0]

    @property
    def sd(self) -> float:
        """Spread of the requirement among cohorts, in its unit."""
        return moments(self.log_median, math.exp(self.log_spread))[1]


@dataclass(frozen=True, slots=True)
class Posterior:
    """
    What is believed after the cohorts were seen.

    Attributes:
        mean: Mean requirement. [the unit]
        sd: Spread of the requirement among cohorts. [the unit]
        mean_low: The mean lies above this with 95 %. [the unit]
        mean_high: And below this with 95 %. [the unit]
        q10: A next cohort needs less with 10 %, the rest of the doubt about mean and
            spread included. [the unit]
        q50: With 50 %. [the unit]
        q90: With 90 %. [the unit]
        effective: How many exactly seen cohorts the observations were worth.
        log_median: Expected mu. [ln of the unit]
        log_spread: ln of the sigma whose 1 / sigma^2 is the expected one. For exactly
            seen amounts that is the mean square of the cohorts, those that the prior
            counts like included, and the scale of the predicted Student distribution.
    """

    mean: float
    sd: float
    mean_low: float
    mean_high: float
    q10: float
    q50: float
    q90: float
    effective: float
    log_median: float
    log_spread: float


def posterior(prior: Prior, amounts: Sequence[Amount]) -> Posterior:
    """
    Update a prior by amounts, in the order given.

    Args:
        prior: What was believed.
        amounts: One for each cohort; may be empty.
    """
    target = _Target(prior, amounts)
    ends = [math.log(a.low) for a in amounts if a.low > 0]
    ends += [math.log(a.high) for a in amounts if a.high < math.inf]
    ends.append(prior.log_median)
    return _Grid(target, *target.mode(min(ends), max(ends))).figures(prior)


class _Target:
    """The logarithm of prior times likelihood, but for a constant."""

    def __init__(self, prior: Prior, amounts: Sequence[Amount]) -> None:
        self.prior, self.count = prior, len(amounts)
        seen = np.log([(a.low + a.high) / 2 for a in amounts if _is_exact(a)])
        self._exact = seen.size
        self._middle = float(seen.mean()) if seen.size else 0.0
        self._squares = float(((seen - self._middle) ** 2).sum())
        ends = [(a.low, a.high) for a in amounts if not _is_exact(a)]
        with np.errstate(divide="ignore"):
            self._ends = np.log(np.array(ends, np.float64).reshape(-1, 2))

    def __call__(self, mu: Array, tau: Array) -> Array:
        """At mu and tau = ln sigma, which broadcast."""
        prior = self.prior
        sigma = np.exp(tau)
        squares = prior.weight * (mu - prior.log_median) ** 2 / 2
        squares = squares + self._exact * (mu - self._middle) ** 2 / 2
        squares = squares + self._squares / 2 + prior.scale
        logs = -(2 * prior.shape + 1 + self._exact) * tau - squares / sigma**2
        for at in range(0, self._ends.shape[0], _AT_ONCE):
            block = self._ends[at : at + _AT_ONCE].reshape(-1, 2, *[1] * logs.ndim)
            left, right = (block[:, 0] - mu) / sigma, (block[:, 1] - mu) / sigma
            logs = logs + log_mass(left, right).sum(axis=0)
        return np.nan_to_num(np.asarray(logs, np.float64), nan=-np.inf)

    def mode(self, least: float, most: float) -> tuple[float, float]:
        """Where it is highest: a box that follows the highest point and shrinks."""
        centre = (least + most) / 2, self.prior.log_spread
        half = (most - least) / 2 + 1.0, 5.0
        steps = np.linspace(-1.0, 1.0, 17)
        for _ in range(80):
            mu, tau = centre[0] + half[0] * steps, centre[1] + half[1] * steps
            at = np.unravel_index(
                np.argmax(self(mu[None, :], tau[:, None])), (steps.size, steps.size)
            )
            centre = float(mu[at[1]]), float(tau[at[0]])
            if not {int(at[0]), int(at[1])} & {0, steps.size - 1}:
                half = half[0] * 0.4, half[1] * 0.4
            if half[1] < 1e-4:  # noqa: PLR2004 - far below the width of any posterior
                break
        return centre


def _is_exact(amount: Amount) -> bool:
    """Whether the ends tell the same amount, but for rounding."""
    return amount.high - amount.low <= _SAME * amount.low


class _Grid:
    """
    The posterior on a grid over u = (mu - centre) / sigma and tau = ln sigma.

    For exactly seen amounts the two are independent, and in general nearly so: the
    sum over equal steps is then exact to many digits.
    """

    def __init__(self, target: _Target, centre: float, tau: float) -> None:
        self._target, self._centre = target, centre
        box = self._box(tau)
        u, self.tau = (np.linspace(low, high, n) for low, high, n in box)
        logs = self._logs(u[None, :], self.tau[:, None])
        weights = np.exp(logs - logs.max())
        self.weights = weights / weights.sum()
        self.u = u
        self.mu = centre + u[None, :] * np.exp(self.tau[:, None])

    def figures(self, prior: Prior) -> Posterior:
        """All figures."""
        weights = self.weights
        log_median = float((weights * self.mu).sum())
        rows = weights.sum(axis=1)
        log_spread = self._log_spread(rows)
        mean, sd = moments(log_median, math.exp(log_spread))
        low, high = self._mean_quantile(0.05), self._mean_quantile(0.95)
        q10, q50, q90 = (self._predicted(share) for share in (0.1, 0.5, 0.9))
        safe = np.where(rows > 0, rows, 1.0)
        middle = (weights * self.u).sum(axis=1) / safe
        off = (self.u[None, :] - middle[:, None]) ** 2
        effective = 1 / float((weights * off).sum()) - prior.weight
        return Posterior(
            mean=mean,
            sd=sd,
            mean_low=low,
            mean_high=high,
            q10=q10,
            q50=q50,
            q90=q90,
            effective=max(effective, 0.0),
            log_median=log_median,
            log_spread=log_spread,
        )

    def _log_spread(self, rows: Array) -> float:
        least = float(self.tau[rows > 0].min())
        # relative to the smallest, so that no square overflows
        precision = float((rows * np.exp(2 * (least - self.tau))).sum())
        return least - 0.5 * math.log(precision)

    def _logs(self, u: Array, tau: Array) -> Array:
        # the step from mu to u has the Jacobian sigma
        return self._target(self._centre + u * np.exp(tau), tau) + tau

    def _box(self, tau: float) -> tuple[tuple[float, float, int], ...]:
        """Ends and points of both axes: as far as there is anything."""
        scales = self._scale(tau, 0), self._scale(tau, 1)
        ends = np.array(
            [
                [-6 * scales[0], 6 * scales[0]],
                [tau - 6 * scales[1], tau + 6 * scales[1]],
            ]
        )
        for _ in range(60):
            u, taus = np.linspace(ends[:, 0], ends[:, 1], 33, axis=1)
            top = float(self._logs(u[None, :], taus[:, None]).max()) - _DEPTH
            widths = (ends[:, 1] - ends[:, 0]) / 4
            grown = False
            for axis, side in ((0, 0), (0, 1), (1, 0), (1, 1)):
                edge = ends[axis, side : side + 1]
                at = (edge, taus) if axis == 0 else (u, edge)
                if float(self._logs(*at).max()) > top:
                    ends[axis, side] += (2 * side - 1) * widths[axis]
                    grown = True
            if not grown:
                break
        return tuple(
            (float(low), float(high), int(np.clip((high - low) / (0.4 * s), 40, 160)))
            for (low, high), s in zip(ends, scales, strict=True)
        )

    def _scale(self, tau: float, axis: int) -> float:
        """Width of the peak along an axis, from its curvature."""
        count = self._target.prior.weight + self._target.count
        step = 0.1 / math.sqrt(1 + count)
        offs = np.array([-step, 0.0, step])
        zero = np.zeros(3)
        at = (offs, zero + tau) if axis == 0 else (zero, tau + offs)
        left, top, right = self._logs(*at)
        bend = (2 * top - left - right) / step**2
        widest = 1 / math.sqrt(self._target.prior.weight), 1.0
        if not bend > 0:
            return widest[axis]
        return min(1 / math.sqrt(bend), widest[axis])

    def _mean_quantile(self, share: float) -> float:
        """The amount below which the mean requirement lies with a probability."""
        sigma, step = np.exp(self.tau), float(self.u[1] - self.u[0])
        rows = np.arange(self.tau.size)
        # the posterior is even within a cell of the grid: edges half a step off
        below = np.cumsum(self.weights, axis=1)
        below = np.concatenate((np.zeros((self.tau.size, 1)), below), axis=1)
        logs = self.mu + sigma[:, None] ** 2 / 2
        low, high = float(logs.min()), float(logs.max())
        for _ in range(50):
            middle = (low + high) / 2
            u = (middle - sigma**2 / 2 - self._centre) / sigma
            at = np.clip((u - self.u[0]) / step + 0.5, 0, self.u.size - 1e-9)
            cell = at.astype(np.int64)
            mass = below[rows, cell] + (at - cell) * self.weights[rows, cell]
            if float(mass.sum()) < share:
                low = middle
            else:
                high = middle
        return math.exp(min((low + high) / 2, 700.0))

    def _predicted(self, share: float) -> float:
        """The amount below which a next cohort stays with a probability."""
        from scipy.special import ndtr  # noqa: PLC0415

        kept = self.weights > self.weights.max() * 1e-10
        weights = self.weights[kept] / self.weights[kept].sum()
        sigma = np.broadcast_to(np.exp(self.tau)[:, None], self.mu.shape)[kept]
        mu = self.mu[kept]
        low, high = float((mu - 9 * sigma).min()), float((mu + 9 * sigma).max())
        for _ in range(60):
            middle = (low + high) / 2
            if float(weights @ ndtr((middle - mu) / sigma)) < share:
                low = middle
            else:
                high = middle
        return math.exp(min((low + high) / 2, 700.0))
