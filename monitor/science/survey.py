"""
A survey: a spare probe in a place against the probe that speaks for the place.

Both are read at instants of their own. The reference is interpolated straight between
its readings, as everywhere in this program, at the instants of the spare probe.
"""

from dataclasses import dataclass
from datetime import timedelta

import numpy as np

from monitor.science.curve import MICROSECOND, Times, Values, gap_of, same_length

LEAST_PAIRS = 2
"""A standard deviation needs so many."""


@dataclass(frozen=True, slots=True)
class Compared:
    """
    What a survey found, place minus reference.

    Attributes:
        offset_k: Mean of the differences. [K]
        spread_k: Their standard deviation, with n - 1. [K]
        pairs: How many differences there are.
        measured: Time between neighbouring pairs no further apart than the gap.
        first_us: Instant of the first pair. [us]
        last_us: Instant of the last pair. [us]
    """

    offset_k: float
    spread_k: float
    pairs: int
    measured: timedelta
    first_us: int
    last_us: int


def compare(
    times_us: Times,
    values: Values,
    reference_times_us: Times,
    reference_values: Values,
    *,
    max_gap: timedelta,
) -> Compared:
    """
    Compare a probe in a place with the one that speaks for the place.

    Every reading of the place's probe counts the same: a probe sends at an even
    interval, and mean and standard deviation are then of the same differences. Warmth
    follows day and night, so a survey over whole days tells most.

    Args:
        times_us: Instants of the probe in the place, strictly rising. [us]
        values: Its readings. [degC]
        reference_times_us: Instants of the reference, strictly rising. [us]
        reference_values: Its readings. [degC]
        max_gap: The reference is not interpolated over more than this, and longer
            times between pairs are not measured.

    Raises:
        ValueError: If there are fewer than two pairs, times do not rise strictly,
            a value is not finite, or *max_gap* is not above zero.
    """
    gap_us = gap_of(max_gap)
    _check("times_us", times_us, values)
    _check("reference_times_us", reference_times_us, reference_values)
    kept, beside = _interpolated(times_us, reference_times_us, reference_values, gap_us)
    differences = values[kept] - beside
    pairs = int(differences.size)
    if pairs < LEAST_PAIRS:
        raise ValueError(
            f"a survey needs {LEAST_PAIRS} readings that the reference covers, got"
            f" {pairs} of {times_us.size}"
        )
    instants = times_us[kept]
    spans = np.diff(instants)
    return Compared(
        float(differences.mean()),
        float(differences.std(ddof=1)),
        pairs,
        int(spans[spans <= gap_us].sum()) * MICROSECOND,
        int(instants[0]),
        int(instants[-1]),
    )


def _interpolated(
    times_us: Times, reference_us: Times, reference: Values, gap_us: int
) -> tuple[Times, Values]:
    """Which instants the reference covers, and what it was at them."""
    if not reference_us.size:
        return np.empty(0, np.int64), np.empty(0)
    after = np.searchsorted(reference_us, times_us, side="right")
    left = np.maximum(after - 1, 0)
    # at its last reading, and exactly at any other, the reference needs no next one
    met = reference_us[left] == times_us
    right = np.where(met, left, np.minimum(after, reference_us.size - 1))
    wide = reference_us[right] - reference_us[left]
    inside = (after > 0) & (after < reference_us.size) & (wide <= gap_us)
    kept = np.flatnonzero(met | inside)
    left, right, wide = left[kept], right[kept], wide[kept]
    share = (times_us[kept] - reference_us[left]) / np.maximum(wide, 1)
    return kept, reference[left] + share * (reference[right] - reference[left])


def _check(name: str, times_us: Times, values: Values) -> None:
    same_length(times_us, values)
    steps = np.diff(times_us)
    if steps.size and steps.min() <= 0:
        index = int(steps.argmin()) + 1
        raise ValueError(
            f"{name} must rise strictly: index {index} holds {times_us[index]} us"
            f" after {times_us[index - 1]} us"
        )
    if not np.isfinite(values).all():
        index = int(np.flatnonzero(~np.isfinite(values))[0])
        raise ValueError(f"the value at index {index} of {name} is {values[index]}")
