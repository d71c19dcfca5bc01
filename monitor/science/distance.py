"""
How far a place is from the probe that speaks for it: offset and spread.

A place without a probe of its own is warmer or colder than the probe of its shelf or
room by a steady *offset*, and by a *spread* that comes and goes. Both are measured in
a survey (`monitor.science.survey`); what surveys say of places that were not surveyed
themselves is told here.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from statistics import fmean, variance

BEHIND_SHELF_K = 1.0
"""Spread assumed of a place behind its shelf's probe. Common practice, no source."""

BEHIND_ROOM_K = 2.0
"""Spread assumed of a place behind its room's probe. Common practice, no source."""

BETWEEN_TUBS_K = 0.7
"""
Spread assumed between the offsets of tubs, where one alone was surveyed.

Own choice: half of the variance that is assumed behind a shelf's probe.
"""


@dataclass(frozen=True, slots=True)
class Apart:
    """
    A place minus the probe that speaks for it.

    Attributes:
        offset_k: Mean difference, above zero where the place is warmer. [K]
        spread_k: Standard deviation of the difference. [K]

    Raises:
        ValueError: If either is not finite, or the spread is below zero.
    """

    offset_k: float
    spread_k: float

    def __post_init__(self) -> None:
        """Refuse what is no distance."""
        if not (math.isfinite(self.offset_k) and 0 <= self.spread_k < math.inf):
            raise ValueError(
                "offset_k must be finite and spread_k at least 0, got"
                f" {self.offset_k} and {self.spread_k}"
            )


def pooled(surveys: Iterable[Apart]) -> Apart:
    """
    Tell of a place that was not surveyed what surveys of its neighbours tell.

    The offset is their mean. The spread is of a single difference of a place taken
    at random: the mean of the variances within places plus the variance between
    their offsets (the law of total variance, with the unbiased variance between).

    Args:
        surveys: One of each neighbour, in any order.

    Raises:
        ValueError: If there is none.
    """
    found = list(surveys)
    if not found:
        raise ValueError("surveys must hold at least one, got none")
    within = fmean(each.spread_k**2 for each in found)
    offsets = [each.offset_k for each in found]
    between = variance(offsets) if len(found) > 1 else BETWEEN_TUBS_K**2
    return Apart(fmean(offsets), math.sqrt(within + between))
