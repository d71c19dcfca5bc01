"""
How many of some animals will be there: exact counts from uncertain lives.

Each animal survives and arrives independently of the others, so a group's number is
binomial, and numbers of several groups add up by convolution. What a whole species
shares (how many survive) is a grid of equally likely values.
"""

import math
from collections.abc import Iterable, Sequence

import numpy as np

from monitor.science.requirement import Array, normal_grid

SHARES = 9
"""An uncertain share is written as so many equally likely values."""


def share_present(starts: Array, lives: Array | None, times: Sequence[float]) -> Array:
    """
    Tell which share of animals has arrived and is still alive at some times.

    Args:
        starts: Equally likely arrivals, any shape. [d from the present]
        lives: Equally likely lengths of life after it; None where no end is known. [d]
        times: [d from the present]

    Returns:
        One share for each time. [fraction]
    """
    at = np.asarray(times, np.float64)
    arrived = _share_before(starts.ravel(), at)
    if lives is None:
        return arrived
    gone = (starts.ravel()[:, np.newaxis] + lives).ravel()
    return np.asarray(arrived - _share_before(gone, at))


def share_grid(mean: float, sd: float, *, power: float = 1.0) -> Array:
    """
    Give equally likely values of an uncertain share, kept within 0 and 1.

    Args:
        mean: [fraction]
        sd: Its standard deviation. [fraction]
        power: The part of the way to which the share belongs that is still ahead: a
            share s of a whole way is ``s ** power`` of a part, each equal part of the
            way costing the same.
    """
    grid = np.clip(mean + sd * normal_grid(SHARES if sd else 1), 0.0, 1.0)
    return np.asarray(grid**power)


def number_present(animals: int, present: Array, survival: Array) -> Array:
    """
    Tell how probable each number of animals is.

    Args:
        animals: How many there are now.
        present: Share of those that survive which is there, one for each time.
        survival: Equally likely shares that survive.

    Returns:
        Probabilities, (times, animals + 1).

    Raises:
        ValueError: If there is a negative number of animals.
    """
    if animals < 0:
        raise ValueError(f"animals must not be negative, got {animals}")
    p = np.clip(present[:, np.newaxis] * survival, 0.0, 1.0)[:, :, np.newaxis]
    k = np.arange(animals + 1)
    logs = np.array([math.lgamma(n + 1) for n in range(animals + 1)])
    ways = logs[animals] - logs - logs[::-1]
    with np.errstate(divide="ignore", invalid="ignore"):
        # 0 * log 0 is 0 here: nobody is certain to be absent, or to be present
        yes = np.where(k > 0, k * np.log(p), 0.0)
        no = np.where(k < animals, (animals - k) * np.log1p(-p), 0.0)
    return np.asarray(np.exp(ways + yes + no).mean(axis=1))


def added(numbers: Iterable[Array], times: int) -> Array:
    """
    Add the numbers of independent groups.

    Args:
        numbers: Of each group, (times, its animals + 1).
        times: How many times there are, for no group at all.
    """
    total = np.ones((times, 1))
    for group in numbers:
        rows = [np.convolve(a, b) for a, b in zip(total, group, strict=True)]
        total = np.array(rows)
    return total


def number_quantiles(
    numbers: Array, probabilities: Sequence[float]
) -> list[tuple[int, ...]]:
    """
    Give, for each time, the least number that is reached with each probability.

    Args:
        numbers: Probabilities, (times, most + 1).
        probabilities: Each above 0 and below 1.
    """
    sums = np.cumsum(numbers, axis=1)
    most = numbers.shape[1] - 1
    return [
        # rounding may leave the last sum a trifle below one
        tuple(min(int(np.searchsorted(row, p - 1e-12)), most) for p in probabilities)
        for row in sums
    ]


def _share_before(samples: Array, at: Array) -> Array:
    ordered = np.sort(samples)
    before = np.searchsorted(ordered, at, side="right")
    return np.asarray(before / ordered.size, dtype=np.float64)
