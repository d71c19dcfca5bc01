"""
When the stages of a cohort end: distributions made of grids, without random numbers.

What is not known is written as grids of equally likely values: parts of each
requirement; possible futures of the temperature, one for each day of the record on
which a future can begin, the days of the record following one another again and
again; the warmth that a gap may have hidden; how much warmer the animals are than the
probe. Every combination is computed and counts the same, so that whoever asks twice
gets one answer. Requirements of different stages are independent of each other, while
all stages of a cohort share each future.

Amounts are degree-days, or days where time alone drives a stage. Times are days from
the present, negative before it. Arrays of samples have the shape (futures, values).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monitor.science.requirement import Array, normal_grid

VALUES = 25
"""
A requirement has so many equally likely values, and so has a date within one future.

Against draws, the 10 to 90 % interval of seven stages is then within 1 %.
"""

FINE = 100
"""So many has the requirement of the stage that a cohort is in."""

LEAST_PACE = 0.05
"""No factor of the warmth is below it."""

MOST_ALIKE = 0.9
"""A correlation of one day with the next above it cannot be told from 28 days."""

PROBABILITIES = (0.1, 0.5, 0.9)


@dataclass(frozen=True, slots=True)
class Course:
    """
    How an amount grows day by day, before and after the present, in every future.

    Attributes:
        days: What each day of the record gave, in order; a future begins with any of
            them and goes round. [amount/d]
        past: What the days before the present gave, the last one last; before them
            they go round as well. [amount/d]
        pace: Factors by which the future may be faster, each equally likely.
        past_pace: The factors of the past that go with them, as many.
    """

    days: Array
    past: Array
    pace: Array
    past_pace: Array

    def __post_init__(self) -> None:
        """Refuse what is no course."""
        for name in ("days", "past", "pace", "past_pace"):
            values = getattr(self, name)
            if values.ndim != 1 or not values.size:
                raise ValueError(f"{name} must be a row of at least one number")
            if not (np.isfinite(values).all() and (values >= 0).all()):
                raise ValueError(f"{name} must be finite and never negative")
        if self.pace.shape != self.past_pace.shape:
            raise ValueError("pace and past_pace must go together")

    @classmethod
    def steady(cls, rate: float, *, pace: Array | None = None) -> "Course":
        """
        Make the course of one uncertain, constant rate: a stated set point.

        Args:
            rate: [amount/d]
            pace: Factors of the future; the past is taken as it is known.
        """
        factors = np.ones(1) if pace is None else pace
        row = np.array([rate], np.float64)
        return cls(row, row, factors, np.ones_like(factors))

    @property
    def futures(self) -> int:
        """How many futures there are."""
        return int(self.days.size * self.pace.size)

    @property
    def moves(self) -> bool:
        """Whether anything grows at all."""
        return bool(self.days.sum() > 0)

    def amount(self, times: Array) -> Array:
        """
        Tell what will have been gained since the present at some times.

        Args:
            times: Shape (futures, values). [d from the present]

        Returns:
            The same shape; negative before the present.
        """
        start, pace, past_pace = self._columns()
        ahead = _total(self.days, times + start) - _total(self.days, start)
        later = times > 0
        # mostly nothing is asked of the past
        if later.all():
            return np.asarray(ahead * pace)
        behind = _total(self.past, times)
        return np.asarray(np.where(later, ahead * pace, behind * past_pace))

    def time(self, amounts: Array) -> Array:
        """
        Tell when amounts will have been gained since the present.

        Args:
            amounts: Shape (futures, values); negative for before the present.

        Returns:
            The same shape; infinite where nothing grows. [d from the present]
        """
        start, pace, past_pace = self._columns()
        with np.errstate(divide="ignore", invalid="ignore"):
            wanted = amounts / pace + _total(self.days, start)
            ahead = _reached(self.days, wanted) - start
            later = amounts > 0
            if later.all():
                return np.asarray(ahead)
            behind = _reached(self.past, amounts / past_pace)
        return np.asarray(np.where(later, ahead, behind))

    def _columns(self) -> tuple[Array, Array, Array]:
        """First day, pace and past pace of every future, as columns."""
        start = np.repeat(np.arange(self.days.size, dtype=np.float64), self.pace.size)
        pace = np.tile(self.pace, self.days.size)
        past = np.tile(self.past_pace, self.days.size)
        return start[:, np.newaxis], pace[:, np.newaxis], past[:, np.newaxis]


def error_of_mean(days: Array) -> float:
    """
    Tell how far the mean of a record may be from what its place gives in the long run.

    Warm days follow warm days, so a record of n days is worth fewer: the variance of
    its mean is ``s**2 / n * (1 + r) / (1 - r)`` with r the correlation of each day
    with the next (own derivation: the sum of the correlations r, r**2, ... of a
    first-order autoregression, n large). A short record shows r too low by about
    ``(1 + 4 r) / n`` (Kendall 1954, from memory; the tests show by draws what it
    mends).

    Args:
        days: What each day of the record gave, in order. [amount/d]

    Returns:
        Standard deviation of the mean as a part of it; 0 for fewer than three days or
        a mean of nothing.
    """
    n, mean = days.size, float(days.mean())
    off = days - mean
    squares = float((off**2).sum())
    if n < 3 or not mean > 0 or not squares > 0:  # noqa: PLR2004 - r needs three
        return 0.0
    r = float((off[1:] * off[:-1]).sum()) / squares
    r = min(max(r + (1 + 4 * r) / n, 0.0), MOST_ALIKE)
    return math.sqrt(squares / (n - 1) / n * (1 + r) / (1 - r)) / mean


def paces(distance: float, record: float, count: int) -> tuple[Array, Array]:
    """
    Write what is not known of the mean warmth as equally likely factors.

    Args:
        distance: Standard deviation of what the animals feel about what measured, as a
            part of the mean rate. It was in the past, too.
        record: The same of the record's mean. It concerns the future alone.
        count: How many factors; 1 for none.

    Returns:
        Factors of the future, and those of the past that go with them.
    """
    both = math.hypot(distance, record)
    if count == 1 or not both:
        return np.ones(count), np.ones(count)
    grid = normal_grid(count)
    grid = grid / grid.std()
    # colder than the threshold is no less than no warmth, and must not be nothing
    pace = np.maximum(1 + both * grid, LEAST_PACE)
    # what is known of the past where the sum of both is known
    past_pace = np.maximum(1 + distance**2 / both * grid, LEAST_PACE)
    return pace, past_pace


def first_ends(course: Course, needs: Array, had: Array, *, age_days: float) -> Array:
    """
    Tell when the stage that a cohort is in ends.

    Nothing is concluded from nobody having seen it yet: most ends are under ground,
    and a date that has passed is how a keeper is told to look.

    Args:
        course: How its amount grows.
        needs: Equally likely requirements.
        had: Equally likely amounts so far.
        age_days: Since the stage began; it cannot have ended before. [d]

    Returns:
        Samples of the end, (futures, needs x had). [d from the present]
    """
    # whoever is warmer than the probe by now has had more than the account says
    past_pace = np.tile(course.past_pace, course.days.size)[:, np.newaxis, np.newaxis]
    left = needs[np.newaxis, :, np.newaxis] - past_pace * had
    left = left.reshape(course.futures, -1)
    return np.asarray(np.maximum(course.time(left), -age_days))


def next_ends(course: Course, starts: Array, needs: Array) -> Array:
    """
    Tell when a stage ends that begins at uncertain times.

    Args:
        course: How its amount grows.
        starts: Samples of its beginning, (futures, values). [d from the present]
        needs: Equally likely requirements, independent of its beginning.

    Returns:
        Samples of the end, (futures, values x needs). [d from the present]
    """
    gained = course.amount(starts)[:, :, np.newaxis] + needs
    return course.time(gained.reshape(course.futures, -1))


def condensed(samples: Array, count: int = VALUES) -> Array:
    """
    Write samples with fewer values: the means of neighbours, in each future.

    Args:
        samples: (futures, values), a whole multiple of *count* of them.
        count: How many are left.

    Raises:
        ValueError: If the values cannot be shared out evenly.
    """
    futures, values = samples.shape
    if values % count:
        raise ValueError(f"{values} values do not share out among {count}")
    ordered = np.sort(samples, axis=1)
    return np.asarray(ordered.reshape(futures, count, -1).mean(axis=2))


def quantiles(
    samples: Array, probabilities: Sequence[float] = PROBABILITIES
) -> tuple[float, ...]:
    """
    Read quantiles of equally likely samples; the i-th of n stands at (i - 1/2) / n.

    Args:
        samples: Any shape.
        probabilities: Each above 0 and below 1.
    """
    ordered = np.sort(samples, axis=None)
    at = np.asarray(probabilities) * ordered.size - 0.5
    found = np.interp(at, np.arange(ordered.size), ordered)
    return tuple(float(value) for value in found)


@dataclass(frozen=True, slots=True)
class Wait:
    """Time until an amount is reached: mean and standard deviation. [d]."""

    days: float
    sd_days: float


def constant_rate_wait(
    *, mean: float, sd: float, had: float, rate: float, rate_sd: float = 0.0
) -> Wait:
    """
    Tell how long one uncertain constant rate takes, to the first order.

    The wait is ``t = (K - A) / r``. With K and r independent, the first terms of
    its Taylor series about their means give ``dt/dK = 1 / r`` and
    ``dt/dr = -t / r``, so ``SD(t) = sqrt(sd_K**2 + t**2 * sd_r**2) / r``. That
    leaves out terms of the order of ``(sd_r / r)**2``: for K 600 +- 30, A 450 and
    r 12 +- 1 it gives 12.5 d and 2.71 d, where exact draws have 12.59 d and 2.75 d,
    and are skewed to the late side. Dates are therefore read from the grids.

    Args:
        mean: Of the requirement K. [amount]
        sd: Of the requirement. [amount]
        had: A, so far. [amount]
        rate: r, above zero. [amount/d]
        rate_sd: Of the rate. [amount/d]

    Raises:
        ValueError: If the rate is not above zero.
    """
    if not rate > 0:
        raise ValueError(f"rate must be above zero, got {rate}")
    days = (mean - had) / rate
    return Wait(days, math.hypot(sd, days * rate_sd) / rate)


def _total(days: Array, times: Array) -> Array:
    """What days that go round have given after some times, negative before them."""
    sums = np.concatenate(([0.0], np.cumsum(days)))
    turns = np.floor(times / days.size)
    within = np.interp(times - turns * days.size, np.arange(sums.size), sums)
    return np.asarray(turns * sums[-1] + within)


def _reached(days: Array, amounts: Array) -> Array:
    """When days that go round have given some amounts."""
    sums = np.concatenate(([0.0], np.cumsum(days)))
    if not sums[-1] > 0:
        return np.asarray(np.where(amounts > 0, np.inf, -np.inf))
    turns = np.floor(amounts / sums[-1])
    within = np.interp(amounts - turns * sums[-1], sums, np.arange(sums.size))
    return np.asarray(turns * days.size + within)
