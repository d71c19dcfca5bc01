"""
Readings in unbroken stretches, and what moves with time along them.

A check that looks back must not look across what nobody saw: a missing value and a gap
each begin a new stretch. All in real time, so that irregular readings are as good as
regular ones, and without a loop over readings.
"""

from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from monitor.science.curve import MICROSECOND, Times, Values

Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Stretches:
    """
    A series, ready to be judged.

    Attributes:
        times_us: Strictly rising. [us]
        values: 0 where not usable.
        usable: Whether the value is a finite number.
        start: Index of the first reading of the stretch that each belongs to.
        bridge: Readings further apart than this are not compared by any check; None
            where a check may compare any two.
    """

    times_us: Times
    values: Values
    usable: Bools
    start: Indices
    bridge: timedelta | None = None

    @property
    def index(self) -> Indices:
        """The index of each reading."""
        return np.arange(self.values.shape[0], dtype=np.intp)

    @property
    def joined(self) -> Bools:
        """Whether each belongs to the stretch of the reading before it."""
        return self.start < self.index

    @property
    def bridged(self) -> Bools:
        """Whether each but the first may be compared with the reading before it."""
        apart = self.times_us[1:] - self.times_us[:-1]
        if self.bridge is None:
            return np.ones(apart.shape, np.bool_)
        return apart <= self.bridge // MICROSECOND

    def since(self, span: timedelta) -> Indices:
        """The last reading that is at least *span* older than each; -1 if none."""
        ends = self.times_us - span // MICROSECOND
        return np.searchsorted(self.times_us, ends, side="right") - 1


def stretches(
    times_us: Times,
    values: Values,
    gap: timedelta | None,
    *,
    bridge: timedelta | None = None,
) -> Stretches:
    """
    Find the unbroken stretches of a series.

    Args:
        times_us: Strictly rising. [us since 1970-01-01 UTC]
        values: One per time; NaN is missing.
        gap: Readings further apart than this are not of one stretch; None where only
            a missing value ends one.
        bridge: Ends a stretch like *gap*; no check compares two readings further
            apart than this.

    Raises:
        ValueError: If the arrays are not one-dimensional and of one length, or times
            do not rise strictly.
    """
    if times_us.ndim != 1 or times_us.shape != values.shape:
        raise ValueError(
            "times and values must be one-dimensional and of one length, got"
            f" {times_us.shape} and {values.shape}"
        )
    apart = times_us[1:] - times_us[:-1]
    if apart.size and apart.min() <= 0:
        at = int(apart.argmin()) + 1
        raise ValueError(
            f"times must rise strictly: index {at} holds {times_us[at]} us after"
            f" {times_us[at - 1]} us: sort them and keep one reading of each time"
        )
    usable = np.isfinite(values)
    first = ~usable
    first[1:] |= ~usable[:-1]
    for longest in (gap, bridge):
        if longest is not None:
            first[1:] |= apart > longest // MICROSECOND
    index = np.arange(values.shape[0], dtype=np.intp)
    start = np.maximum.accumulate(np.where(first, index, 0))
    return Stretches(times_us, np.where(usable, values, 0.0), usable, start, bridge)


def extremes(values: Values, first: Indices) -> tuple[Values, Values]:
    """
    Give the lowest and highest value of a window that ends at each reading.

    Every window is the union of two whose length is a power of two, and these are
    made of shorter ones level by level: n log(longest window) steps.

    Args:
        values: None is NaN.
        first: Where the window of each begins, at most at the reading itself.
    """
    lowest, highest = values.copy(), values.copy()
    if not values.size:
        return lowest, highest
    length = np.arange(1, values.shape[0] + 1) - first
    level = np.frexp(length.astype(np.float64))[1] - 1
    low = high = values
    for power in range(int(level.max()) + 1):
        width = 1 << power
        at = np.flatnonzero(level == power)
        left, right = first[at], at - width + 1
        lowest[at] = np.minimum(low[left], low[right])
        highest[at] = np.maximum(high[left], high[right])
        low = np.minimum(low[:-width], low[width:])
        high = np.maximum(high[:-width], high[width:])
    return lowest, highest
