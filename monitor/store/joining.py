"""Readings of one series from several sources as one rising row. Pure."""

from collections.abc import Sequence

import numpy as np

from monitor.store.piece import Times, Values

Run = tuple[Times, Values]
"""Times [µs since 1970 UTC] and as many values."""


def empty() -> Run:
    """No readings."""
    return np.empty(0, np.int64), np.empty(0, np.float64)


def join(runs: Sequence[Run]) -> Run:
    """
    Put runs together in order of time, each instant once.

    Of two values of one instant that of the earlier run, or the earlier place in a
    run, stays.
    """
    if not runs:
        return empty()
    times = np.concatenate([times for times, _ in runs])
    values = np.concatenate([values for _, values in runs])
    if len(times) < 2 or bool(np.all(times[1:] > times[:-1])):  # noqa: PLR2004 (a pair)
        return times, values
    times, first = np.unique(times, return_index=True)
    return times, values[first]


def between(run: Run, first: int, end: int) -> Run:
    """The part of a rising run from *first* to before *end*."""
    times, values = run
    low, high = np.searchsorted(times, (first, end))
    return times[low:high], values[low:high]
