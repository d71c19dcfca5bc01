"""The log-normal distribution, and what an amount that is not exactly known says."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_NARROW = 1e-4
"""An interval narrower than this share of sigma counts with the density."""


@dataclass(frozen=True, slots=True)
class Amount:
    """
    Between what and what a cohort needed, in degC d or d.

    Attributes:
        low: At least this much; 0 where nothing is known.
        high: At most this much; infinite for a stage that was not seen to end. Equal
            to *low* where the amount is exactly known.

    Raises:
        ValueError: If the ends are swapped, negative or not a number.
    """

    low: float
    high: float

    def __post_init__(self) -> None:
        if not (0 <= self.low < math.inf and self.low <= self.high and self.high > 0):
            raise ValueError(f"no amount lies between {self.low} and {self.high}")


def log_moments(mean: float, sd: float) -> tuple[float, float]:
    """
    Turn mean and sd into mu and sigma of the logarithm.

    Source: sigma^2 = ln(1 + (sd / mean)^2), mu = ln(mean) - sigma^2 / 2 (from the
    moments of the log-normal distribution).

    Raises:
        ValueError: If one is not positive and finite.
    """
    if not (0 < mean < math.inf and 0 < sd < math.inf):
        raise ValueError(f"mean and sd must be above 0, got {mean} and {sd}")
    variance = math.log1p((sd / mean) ** 2)
    return math.log(mean) - variance / 2, math.sqrt(variance)


def moments(mu: float, sigma: float) -> tuple[float, float]:
    """Turn mu and sigma of the logarithm into mean and sd."""
    mean = math.exp(min(mu + sigma**2 / 2, 700.0))
    return mean, mean * math.sqrt(math.expm1(min(sigma**2, 700.0)))


def quantile(mean: float, sd: float, share: float) -> float:
    """The amount below which a share of a log-normal lies."""
    from scipy.special import ndtri  # noqa: PLC0415

    mu, sigma = log_moments(mean, sd)
    return math.exp(mu + sigma * float(ndtri(share)))


def log_mass(left: Array, right: Array) -> Array:
    """
    The logarithm of the standard normal's mass between two points.

    Without cancellation in either tail; by the density where they are close.
    """
    from scipy.special import log_ndtr  # noqa: PLC0415

    # in the upper tail both are near 1: look from the other side
    flip = left > 0
    lower, upper = np.where(flip, -right, left), np.where(flip, -left, right)
    most, least = log_ndtr(upper), log_ndtr(lower)
    width = upper - lower
    narrow = width < _NARROW
    with np.errstate(divide="ignore", invalid="ignore"):
        wide = most + np.log(-np.expm1(least - most))
        middle = np.where(narrow, (upper + lower) / 2, 0.0)
        thin = -(middle**2) / 2 + np.log(width) - math.log(2 * math.pi) / 2
    return np.asarray(np.where(narrow, thin, wide), np.float64)


def of_quantiles(q10: float, q90: float) -> tuple[float, float]:
    """Give mu and sigma of the log-normal with these 10 and 90 % points."""
    from scipy.special import ndtri  # noqa: PLC0415

    low, high = math.log(q10), math.log(q90)
    return (low + high) / 2, (high - low) / (2 * float(ndtri(0.9)))
