"""
What a stage needs before it ends: one value that code cannot take apart.

A sum of degree-days means nothing without the thresholds, the cutoff and the method
that it was fitted with. A `HeatRequirement` therefore shows its mean and spread, but
gives its thresholds only to what sums warmth for it, and can be given another mean
only in degree-days of the same thresholds.

Needs are log-normal: never negative, skewed to the late side as emergence curves are,
and what learning from censored stage changes fits. A spread that nobody published is
taken as a tenth of the mean, and the value says that it was assumed. That is our own
choice; the five young stages of *Oryctes agamemnon* have 8 to 13 %
(config/sources.toml, soltani-2008).
"""

import math
from collections.abc import Callable
from functools import lru_cache
from statistics import NormalDist
from typing import Literal, NoReturn, Self, TypeVar

import msgspec
import numpy as np
from numpy.typing import NDArray

from monitor.science.daily import Method, method_named
from monitor.science.degree_days import Cutoff, check_thresholds, rate

Array = NDArray[np.float64]
Sex = Literal["any", "female", "male"]
T = TypeVar("T")

ASSUMED_SPREAD = 0.10
"""Standard deviation over mean where no spread is known: see the module."""


class Facts(msgspec.Struct, frozen=True, kw_only=True):
    """
    A requirement as it is told to people and programs; nothing computes with it.

    Attributes:
        sex: Whose it is.
        unit: Of mean and spread: "degC d" or "d".
        mean: What is needed.
        sd: Its spread; None where nobody published one.
        assumed_sd: What is taken instead; None where the spread is known.
        lower_threshold: [degC]
        assumed_threshold: The lower threshold is an assumption, not published.
        upper_threshold: [degC]
        cutoff: What happens above it.
        fitted_with: The method that the sum was fitted with.
        observed: Durations that it rests on, as (d, degC).
        source: Where it is from.
    """

    sex: Sex
    unit: str
    mean: float
    sd: float | None
    assumed_sd: float | None
    lower_threshold: float | None = None
    assumed_threshold: bool = False
    upper_threshold: float | None = None
    cutoff: Cutoff | None = None
    fitted_with: str | None = None
    observed: tuple[tuple[float, float], ...] = ()
    source: str


class _Frozen:
    """A value whose parts nobody replaces."""

    __slots__ = ("facts",)
    facts: Facts

    def __init__(self, facts: Facts) -> None:
        _check_need(facts.mean, facts.sd)
        object.__setattr__(self, "facts", facts)

    def __setattr__(self, name: str, value: object) -> NoReturn:
        raise AttributeError(f"{type(self).__name__} is one value: make another")

    def __delattr__(self, name: str) -> NoReturn:
        raise AttributeError(f"{type(self).__name__} is one value: make another")

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, _Frozen) or type(other) is not type(self):
            return False
        return self.facts == other.facts

    def __hash__(self) -> int:
        return hash((type(self).__name__, self.facts))

    def __copy__(self) -> Self:
        return self

    def __deepcopy__(self, _memo: object) -> Self:
        return self

    def __repr__(self) -> str:
        return f"{type(self).__name__}({self.facts})"

    @property
    def mean(self) -> float:
        """What is needed on average."""
        return self.facts.mean

    @property
    def spread(self) -> float:
        """Its standard deviation, known or assumed."""
        facts = self.facts
        return facts.sd if facts.sd is not None else ASSUMED_SPREAD * facts.mean

    def needs(self, count: int) -> Array:
        """Equally likely needs, as `lognormal_grid` gives them."""
        return lognormal_grid(self.mean, self.spread, count)


class HeatRequirement(_Frozen):
    """
    Degree-days that a stage needs, with all that they mean.

    Args:
        lower_c: No development at or below it. [degC]
        upper_c: The cutoff applies above it; None for no cutoff. [degC]
        cutoff: What happens above it.
        mean: [degC d]
        sd: Spread among animals; None where nobody published one. [degC d]
        source: Where all of it is from.
        fitted_with: The method that the sum was fitted with.
        sex: Whose it is.
        assumed_threshold: *lower_c* is an assumption, not published.
        observed: Durations that it rests on, as (d, degC).

    Raises:
        ValueError: If thresholds, mean or spread mean nothing.
    """

    __slots__ = ("_bounds",)
    _bounds: tuple[float, float | None, Cutoff, bool, Method]

    def __init__(
        self,
        *,
        lower_c: float,
        upper_c: float | None = None,
        cutoff: Cutoff = "horizontal",
        mean: float,
        sd: float | None,
        source: str,
        fitted_with: str | None = None,
        sex: Sex = "any",
        assumed_threshold: bool = False,
        observed: tuple[tuple[float, float], ...] = (),
    ) -> None:
        check_thresholds(lower_c, upper_c, cutoff)
        super().__init__(
            Facts(
                sex=sex,
                unit="degC d",
                mean=mean,
                sd=sd,
                assumed_sd=ASSUMED_SPREAD * mean if sd is None else None,
                lower_threshold=lower_c,
                assumed_threshold=assumed_threshold,
                upper_threshold=upper_c,
                cutoff=None if upper_c is None else cutoff,
                fitted_with=fitted_with,
                observed=observed,
                source=source,
            )
        )
        method = method_named(fitted_with)
        bounds = (lower_c, upper_c, cutoff, assumed_threshold, method)
        object.__setattr__(self, "_bounds", bounds)

    def rate(self, temperature_c: float) -> float:
        """
        Tell how fast it is met at one temperature. [degC d/d].

        Raises:
            ValueError: If the temperature is not finite.
        """
        lower_c, upper_c, cutoff, *_ = self._bounds
        return rate(temperature_c, lower_c=lower_c, upper_c=upper_c, cutoff=cutoff)

    def summed_by(
        self, make: Callable[[float, float | None, Cutoff, bool, Method], T]
    ) -> T:
        """
        Make what sums warmth for this requirement.

        Args:
            make: Takes lower and upper threshold [degC], cutoff, whether the lower
                threshold is assumed, and the daily method.
        """
        return make(*self._bounds)

    def counts_like(self, other: "HeatRequirement") -> bool:
        """Whether degree-days of one are degree-days of the other."""
        return self.summed_by(_as_key) == other.summed_by(_as_key)

    def learned(
        self, *, mean: float, sd: float | None, source: str
    ) -> "HeatRequirement":
        """
        Tell what was learned, in degree-days of the same thresholds and method.

        Raises:
            ValueError: If mean or spread mean nothing.
        """
        lower_c, upper_c, cutoff, assumed, _ = self._bounds
        return HeatRequirement(
            lower_c=lower_c,
            upper_c=upper_c,
            cutoff=cutoff,
            mean=mean,
            sd=sd,
            source=source,
            fitted_with=self.facts.fitted_with,
            sex=self.facts.sex,
            assumed_threshold=assumed,
        )


class TimeRequirement(_Frozen):
    """
    Days that a stage lasts where time alone drives it.

    Args:
        mean: [d]
        sd: Spread among animals; None where nobody published one. [d]
        source: Where it is from.
        sex: Whose it is.
        observed: Durations that it rests on, as (d, degC).

    Raises:
        ValueError: If mean or spread mean nothing.
    """

    __slots__ = ()

    def __init__(
        self,
        *,
        mean: float,
        sd: float | None,
        source: str,
        sex: Sex = "any",
        observed: tuple[tuple[float, float], ...] = (),
    ) -> None:
        super().__init__(
            Facts(
                sex=sex,
                unit="d",
                mean=mean,
                sd=sd,
                assumed_sd=ASSUMED_SPREAD * mean if sd is None else None,
                observed=observed,
                source=source,
            )
        )


def lognormal_grid(mean: float, sd: float, count: int) -> Array:
    """
    Divide a log-normal amount into equally likely parts, and give each one's mean.

    With mean m and standard deviation s, the logarithm has variance
    ``v = log(1 + s**2 / m**2)`` and mean ``log(m) - v / 2``; below its quantile at
    the normal score z lies the share ``F(z - sqrt(v))`` of the mean, F being the
    normal distribution (partial expectation of the log-normal, a standard result).
    Means of parts keep the mean exactly and lose little of the spread.

    Args:
        mean: Above zero.
        sd: Not negative; zero gives the mean alone.
        count: How many, at least one.

    Raises:
        ValueError: If mean or spread mean nothing, or there is nothing to give.
    """
    _check_need(mean, sd)
    _check_count(count)
    return mean * _parts(math.sqrt(math.log1p((sd / mean) ** 2)), count)


@lru_cache(maxsize=1024)
def _parts(sigma: float, count: int) -> Array:
    normal = NormalDist()
    scores = (normal.inv_cdf(i / count) for i in range(1, count))
    shares = np.array([0.0, *(normal.cdf(z - sigma) for z in scores), 1.0])
    parts = count * np.diff(shares)
    parts.setflags(write=False)
    return np.asarray(parts)


@lru_cache(maxsize=32)
def normal_grid(count: int) -> Array:
    """
    Give standard normal quantiles at the middles of *count* equal shares.

    Raises:
        ValueError: If there is nothing to give.
    """
    _check_count(count)
    normal = NormalDist()
    grid = np.array([normal.inv_cdf((i + 0.5) / count) for i in range(count)])
    grid.setflags(write=False)
    return grid


def _as_key(
    lower_c: float, upper_c: float | None, cutoff: Cutoff, *_: object
) -> tuple[object, ...]:
    return (lower_c, upper_c, None if upper_c is None else cutoff)


def _check_need(mean: float, sd: float | None) -> None:
    if not 0 < mean < math.inf:
        raise ValueError(f"mean must be above zero and finite, got {mean}")
    if sd is not None and not 0 <= sd < math.inf:
        raise ValueError(f"sd must be finite and not negative, got {sd}")


def _check_count(count: int) -> None:
    if count < 1:
        raise ValueError(f"count must be at least 1, got {count}")
