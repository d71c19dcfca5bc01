"""
How many of some animals will be there: counts from what they share and what not.

Animals of one tub share its weather and more, so their numbers do not average out as
coins do. All that several animals share is an *unknown*, a grid of equally likely
values: on which day of the record the future begins, how many survive, and so on. There
are far too many combinations to take them all; a fixed number of *scenarios* takes
every value of every unknown equally often and sets the unknowns against each other by
arithmetic, without random numbers, so that whoever asks twice gets one answer. Within a
scenario animals are independent, and numbers are sums of binomial ones.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np
from numpy.typing import NDArray

from monitor.science.requirement import Array, normal_grid

Indices = NDArray[np.int64]

SCENARIOS = 1009
"""
So many scenarios; a prime, so that every number but 0 has an inverse.

A share that they tell is within about 0.01 of that of all combinations.
"""

SHARES = 15
"""An uncertain share is written as so many equally likely values."""

COMMON = 15
"""What a cohort's own requirement is about the mean has so many values."""

COMMON_PART = 0.5
"""
Part of a requirement's variance that a cohort has in common: own choice.

Nobody published how much of it lies among cohorts and how much within them. Learning
sees a cohort as one observation, published spreads are of animals: half and half.
"""

EXACT_TO = 20
"""So many animals are counted exactly within a scenario, more by their moments."""

NORMAL_FROM = 4.0
"""A number of more variance than this within a scenario is taken as all but normal."""

_FINER = 21
_GOLDEN = (5**0.5 - 1) / 2
_ROOT = 11
"""Its powers give every number below `SCENARIOS` but 0: a primitive root."""
_SMALLEST = 1e-9
"""A variance below this is that of a number that is certain."""


def drawn_up(unknown: int, count: int) -> Indices:
    """
    Tell which of its values an unknown has in each scenario.

    The first two numbers are for the unknowns that all animals share: a lattice of the
    golden section sets one evenly against the other. The rest are inverses modulo a
    prime, each with a factor and from a place of its own (explicit inversive
    congruential sequences, whose sets are nearly independent: Eichenauer-Herrmann
    1993, from memory).

    Args:
        unknown: Its number, from 0.
        count: How many equally likely values it has.
    """
    return np.asarray(_ranks(unknown) * count // SCENARIOS)


@dataclass(frozen=True, slots=True, eq=False)
class Presence:
    """
    Which share of animals is there.

    Attributes:
        begin: Nobody is there before the time of this number.
        shares: For the times from it on, (common values, futures, times); the last one
            holds for all later times. Each common value is equally likely.
    """

    begin: int
    shares: Array


def share_present(starts: Array, lives: Array | None, times: Array) -> Presence:
    """
    Tell which share of animals has arrived and is still alive at some times.

    Within a future the scores of the animals' arrivals are normal with `COMMON_PART`
    of their variance in common (a one-factor Gaussian copula). That is exact for one
    log-normal requirement, and for several stages close.

    Args:
        starts: Equally likely arrivals, (futures, values). [d from the present]
        lives: Equally likely lengths of life after it; None where no end is known. [d]
        times: In rising order, at least one. [d from the present]
    """
    ordered = np.sort(starts, axis=1)
    futures, values = ordered.shape
    weights = _common_weights(values)
    last = ordered.max() + (0.0 if lives is None else lives.max())
    begin = min(int(np.searchsorted(times, ordered.min())), times.size - 1)
    end = min(int(np.searchsorted(times, last)), times.size - 1)
    age = times[begin : end + 1] - ordered.T[:, :, np.newaxis]
    there = (age >= 0).astype(np.float64)
    if lives is not None:
        gone = np.searchsorted(np.sort(lives), age, side="right")
        there *= 1 - gone / lives.size
    # one product of two matrices, not one for each future
    shares = weights.T @ there.reshape(values, -1)
    return Presence(begin, np.clip(shares, 0, 1).reshape(COMMON, futures, -1))


def share_grid(mean: float, sd: float) -> Array:
    """
    Give equally likely values of an uncertain share: quantiles of a beta distribution.

    The beta distribution is what learning has (`monitor.science.survival`). One of mean
    m has a standard deviation below ``sqrt(m (1 - m))``; a larger one is taken as
    that of the even beta distribution's sort, ``sqrt(m (1 - m) / 2)``, at most.

    Args:
        mean: From 0 to 1. [fraction]
        sd: Its standard deviation. [fraction]

    Raises:
        ValueError: If the mean is no share, or the deviation is negative.
    """
    if not (0 <= mean <= 1 and sd >= 0):
        raise ValueError(f"mean lies in 0 to 1 and sd is not negative: {mean}, {sd}")
    variance = min(sd**2, mean * (1 - mean) / 2)
    if not variance:
        return np.array([mean])
    return _beta_grid(mean, mean * (1 - mean) / variance - 1, SHARES)


def brood_shares(shares: Array, correlation: float) -> Array:
    """
    Give equally likely shares of one brood, whose animals share its luck.

    Args:
        shares: What the species may have.
        correlation: Of the fates within a brood, from 0 to below 1.

    Returns:
        (shares, values): beta distributions about each share.

    Raises:
        ValueError: If the correlation lies elsewhere.
    """
    if not 0 <= correlation < 1:
        raise ValueError(f"correlation lies in 0 to below 1, got {correlation}")
    if not correlation:
        return shares[:, np.newaxis]
    rows = [
        _beta_grid(float(share), 1 / correlation - 1, SHARES)
        if 0 < share < 1
        else np.full(SHARES, share)
        for share in shares
    ]
    return np.array(rows)


class Numbers:
    """
    The number of animals at some times, from groups that are added.

    In a scenario it is a sum of binomial numbers. Up to *exact_to* animals its
    distribution is computed. For more, its first three cumulants are those of a
    shifted binomial number with

        ``p = sum(n p^2 q) / sum(n p q)``, ``N = sum(n p q) / (p q)``,
        ``shift = sum(n p) - N p``

    which stands for it (translated binomial approximation: Röllin 2005, from memory);
    it is exact where all groups are alike, or certain. Above a variance of
    `NORMAL_FROM` a normal distribution does, corrected for skewness by the first term
    of the Edgeworth series. What it costs does not depend on how many there are.

    Args:
        times: How many times there are.
        exact_to: See above.
    """

    def __init__(self, times: int, *, exact_to: int = EXACT_TO) -> None:
        shape = SCENARIOS, times
        self._mean, self._variance = np.zeros(shape), np.zeros(shape)
        self._third = np.zeros(shape)
        self._most, self._exact_to = 0, exact_to
        # the first row is for nobody, and so on
        self._chances: Array | None = np.ones((1, *shape))

    def add(self, animals: Array, present: Array, begin: int = 0) -> None:
        """
        Add a group.

        Args:
            animals: How many there are in each scenario, (scenarios,): whole numbers.
            present: The chance that each of them is there, (scenarios, times); the
                last one holds for all later times.
            begin: Number of the first of these times; nobody is there before.

        Raises:
            ValueError: If there is a negative number of animals.
        """
        if not (animals >= 0).all():
            raise ValueError(f"animals must not be negative, got {animals.min()}")
        many, most = animals[:, np.newaxis], int(animals.max())
        end = begin + present.shape[1]
        expected = many * present
        for sums in (self._mean, self._variance, self._third):
            sums[:, begin:end] += expected
            sums[:, end:] += expected[:, -1:]
            expected *= present if sums is self._variance else 1 - present
        self._most += most
        if self._most > self._exact_to:
            self._chances = None
        if self._chances is not None:
            whole = np.zeros_like(self._mean)
            whole[:, begin:end], whole[:, end:] = present, present[:, -1:]
            self._chances = _one_by_one(self._chances, animals, most, whole)

    def quantiles(self, probabilities: Sequence[float]) -> list[tuple[int, ...]]:
        """
        Give, for each time, the least number that is reached with each probability.

        Args:
            probabilities: Each above 0 and below 1.
        """
        found = [self._quantile(p) for p in probabilities]
        return [tuple(int(n) for n in row) for row in zip(*found, strict=True)]

    def _quantile(self, probability: float) -> Array:
        """Halve the span in which it must lie until one number is left."""
        mean = self._mean.mean(axis=0)
        sd = np.sqrt(self._variance.mean(axis=0) + self._mean.var(axis=0))
        # no distribution has a quantile further from its mean (Cantelli's inequality)
        odds = max(probability, 1 - probability) / min(probability, 1 - probability)
        reach = odds**0.5 * sd + 2
        low = np.maximum(np.floor(mean - reach), -1)
        high = np.minimum(np.ceil(mean + reach), self._most)
        while (wide := np.flatnonzero(high - low > 1)).size:
            half = np.floor((low[wide] + high[wide]) / 2)
            # rounding may leave a sum a trifle below its probability
            enough = self.at_most(wide, half) >= probability - 1e-9
            high[wide] = np.where(enough, half, high[wide])
            low[wide] = np.where(enough, low[wide], half)
        return np.asarray(high)

    def at_most(self, times: Indices, number: Array) -> Array:
        """
        Tell how probable it is that there are no more animals than a number.

        Args:
            times: Which of the times are asked about, by their index.
            number: A whole number for each of them.
        """
        if self._chances is not None:
            chances = self._chances[:, :, times].mean(axis=1)
            rows = np.arange(len(chances))[:, np.newaxis]
            return np.asarray(np.where(rows <= number, chances, 0.0).sum(axis=0))
        return np.asarray(self._by_moments(times, number).mean(axis=0))

    def _by_moments(self, times: Indices, number: Array) -> Array:
        """In each scenario, (scenarios, times)."""
        from scipy.special import betainc, ndtr  # noqa: PLC0415

        mean, variance = self._mean[:, times], self._variance[:, times]
        number = np.broadcast_to(number, mean.shape)
        found = (number + 0.5 >= mean).astype(np.float64)
        # further off nothing is left to compute
        near = np.abs(number + 0.5 - mean) < 5 * np.sqrt(variance) + 3
        normal = near & (variance > NORMAL_FROM)
        sd, chance = np.sqrt(variance[normal]), self._third[:, times][normal]
        score = (number[normal] + 0.5 - mean[normal]) / sd
        skewness = (1 - 2 * chance / sd**2) / sd
        bend = skewness * (score**2 - 1) * np.exp(-(score**2) / 2)
        found[normal] = ndtr(score) - bend / (6 * math.sqrt(2 * math.pi))
        few = near & ~normal & (variance > _SMALLEST)
        p = np.clip(self._third[:, times][few] / variance[few], 1e-12, 1 - 1e-12)
        trials = variance[few] / (p * (1 - p))
        above = number[few] - (mean[few] - trials * p)
        inside = np.clip(above, -1 + 1e-12, trials * (1 - 1e-12))
        binomial = betainc(trials - inside, inside + 1, 1 - p)
        found[few] = np.where(above >= trials, 1.0, np.where(above > -1, binomial, 0.0))
        return found


def _one_by_one(chances: Array, animals: Array, most: int, present: Array) -> Array:
    """Add a group's animals to how probable each number is, (numbers, ...)."""
    after = np.zeros((len(chances) + most, *present.shape))
    after[: len(chances)] = chances
    for number in range(most):
        one = np.where(number < animals[:, np.newaxis], present, 0.0)
        came = after[:-1] * one
        after *= 1 - one
        after[1:] += came
    return after


@lru_cache(maxsize=4096)
def _ranks(unknown: int) -> Indices:
    """The order of the scenarios for one unknown: each rank from 0 once."""
    scenarios = np.arange(SCENARIOS)
    if unknown == 0:
        return scenarios
    if unknown == 1:
        return np.asarray(np.argsort(np.argsort(scenarios * _GOLDEN % 1.0)), np.int64)
    # a factor and a place of its own for each
    inverses = _inverses()[(scenarios + unknown) % SCENARIOS]
    return np.asarray(pow(_ROOT, unknown, SCENARIOS) * inverses % SCENARIOS)


@cache
def _inverses() -> Indices:
    """Modulo the number of scenarios; 0 for 0."""
    return np.array([0, *(pow(n, -1, SCENARIOS) for n in range(1, SCENARIOS))])


@lru_cache(maxsize=8)
def _common_weights(values: int) -> Array:
    """
    How likely each of the ranked values is, given what a cohort has in common.

    Returns:
        (values, common values): its columns sum to one, the mean of them is even.
    """
    from scipy.special import ndtr, ndtri  # noqa: PLC0415

    common = normal_grid(COMMON * _FINER) * COMMON_PART**0.5
    edges = ndtri(np.arange(values + 1) / values)[:, np.newaxis]
    below = ndtr((edges - common) / (1 - COMMON_PART) ** 0.5)
    finer = np.diff(below, axis=0).reshape(values, COMMON, _FINER)
    return np.asarray(finer.mean(axis=2))


def _beta_grid(mean: float, weight: float, count: int) -> Array:
    """Quantiles of a beta distribution at the middles of equal shares."""
    from scipy.special import betaincinv  # noqa: PLC0415

    middles = (np.arange(count) + 0.5) / count
    return np.asarray(betaincinv(mean * weight, (1 - mean) * weight, middles))
