"""
Numbers of adults of one species, from cohorts that share weather, tub and luck.

What animals share is an unknown of its own, set against the others in scenarios
(`monitor.science.presence`):

- the day of the record on which the future begins is one for the whole house. A place
  that measured fewer days goes through them at the same pace, so its weather is some
  days off that of the others at most;
- how far the animals are from the probe is one for each place, and each place's own;
- half the variance of requirements is common to a cohort (`COMMON_PART`: own choice);
  what a gap in its account may have hidden goes with it;
- the species' share of survivors is one for all. Each cohort has its own about it, with
  the correlation of fates that learning takes too (`BROOD_WORTH`: own choice);
- how many "about" means is each cohort's own.

Each animal has its own rest of the requirement, survival, sex and length of life.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.science.presence import (
    SCENARIOS,
    Indices,
    Numbers,
    brood_shares,
    drawn_up,
    share_grid,
    share_present,
)
from monitor.science.requirement import Array, lognormal_grid
from monitor.site.figures import BROOD_WORTH
from monitor.site.journal import Count
from monitor.site.words import CountKind

SHARED_FATE = 1 / BROOD_WORTH
"""Correlation of the fates within a cohort."""

ABOUT = 0.2
"""
Standard deviation of a count of "about" so many, as a share of it.

Common practice, no source: larvae that are counted through a tub's wall.
"""

ABOUT_VALUES = 9

PROBABILITIES = (0.1, 0.5, 0.9)

AT_ONCE = 64
"""So many times are computed at once: what bounds the memory."""


@dataclass(frozen=True, slots=True, eq=False)
class Coming:
    """
    Animals of one sex that will be adults, or are.

    Attributes:
        cohort: Its id.
        place: Where it lives.
        count: Of the whole cohort.
        starts: When they are adult, (futures, values): for each day on which a future
            can begin every pace. [d from the present]
        days: On how many days a future can begin.
        of_sex: Which share of the cohort is of the sex.
        ahead: The part of the way from the egg that is still before them.
        lives: Equally likely lengths of life as an adult; None if not known. [d]
    """

    cohort: int
    place: str
    count: Count
    starts: Array
    days: int
    of_sex: float
    ahead: float
    lives: Array | None


class Points(NamedTuple):
    """
    The number of animals at one time.

    Attributes:
        points: The 10, 50 and 90 % points, or those that were asked for.
        at_least: There may be more.
        about: Someone was counted as about so many.
    """

    points: tuple[int, ...]
    at_least: bool
    about: bool


class Crowd:
    """
    Cohorts of one species, to be counted at some times.

    Args:
        times: In rising order. [d from the present]
        survival: Share of eggs that become adults, as mean and standard deviation;
            None to count every animal.
    """

    def __init__(
        self, times: Sequence[float], survival: tuple[float, float] | None
    ) -> None:
        self._times = np.asarray(times, np.float64)
        self._shares = np.ones((1, 1))
        if survival is not None:
            self._shares = brood_shares(share_grid(*survival), SHARED_FATE)
        self._coming: list[Coming] = []

    def add(self, coming: Coming) -> None:
        """Count some animals in; those whose number nobody knows cannot be."""
        if coming.count.number is None:
            raise ValueError(f"cohort {coming.cohort} has no number")
        self._coming.append(coming)

    def points(self, probabilities: Sequence[float] = PROBABILITIES) -> list[Points]:
        """
        Tell the number at each time, whatever the order in which cohorts came.

        Args:
            probabilities: Of the points; each above 0 and below 1.
        """
        rows = sorted(self._coming, key=lambda c: c.cohort)
        # what all share has the first numbers
        names: list[object] = ["start", "survival"]
        for row in rows:
            names += [("pace", row.place), ("need", row.cohort)]
            names += [("luck", row.cohort), ("count", row.cohort)]
        unknowns = {name: n for n, name in enumerate(dict.fromkeys(names))}
        return [
            point
            for begin in range(0, self._times.size, AT_ONCE)
            for point in _points(self._counted(rows, unknowns, begin), probabilities)
        ]

    def _counted(
        self, rows: Sequence[Coming], unknowns: Mapping[object, int], begin: int
    ) -> "_Counted":
        times = self._times[begin : begin + AT_ONCE]
        made = _Counted(
            Numbers(times.size),
            {kind: np.zeros(times.size, bool) for kind in CountKind},
        )
        for row in rows:
            drawn = _Drawn(row, unknowns)
            presence = share_present(row.starts, row.lives, times)
            present = drawn.present(presence.shares)
            present *= row.of_sex * drawn.surviving(self._shares)[:, np.newaxis]
            made.numbers.add(drawn.animals(), present, presence.begin)
            seen = present.max(axis=0) > 0
            end = presence.begin + seen.size
            made.seen[row.count.kind][presence.begin : end] |= seen
            made.seen[row.count.kind][end:] |= seen[-1]
        return made


class _Counted(NamedTuple):
    """Numbers, and at which times somebody of each kind of count may be among them."""

    numbers: Numbers
    seen: Mapping[CountKind, NDArray[np.bool_]]


def _points(made: _Counted, probabilities: Sequence[float]) -> Iterator[Points]:
    at_least = made.seen[CountKind.AT_LEAST]
    about = made.seen[CountKind.ESTIMATE] | made.seen[CountKind.UNKNOWN]
    found = made.numbers.quantiles(probabilities)
    for points, more, roughly in zip(found, at_least, about, strict=True):
        yield Points(points, bool(more), bool(roughly))


class _Drawn:
    """What the unknowns of one cohort are in each scenario."""

    def __init__(self, row: Coming, unknowns: Mapping[object, int]) -> None:
        self._row, self._unknowns = row, unknowns

    def present(self, shares: Array) -> Array:
        """Who is adult and lives, of those that come through, (scenarios, times)."""
        row, (common, futures, _) = self._row, shares.shape
        paces = futures // row.days
        future = self._of("start", row.days) * paces
        future += self._of(("pace", row.place), paces)
        need = self._of(("need", row.cohort), common)
        return np.asarray(shares[need, future])

    def surviving(self, shares: Array) -> Array:
        """Who comes through; each equal part of the way costs the same."""
        species, luck = shares.shape
        of_species = self._of("survival", species)
        of_luck = self._of(("luck", self._row.cohort), luck)
        return np.asarray(shares[of_species, of_luck] ** self._row.ahead)

    def animals(self) -> Array:
        """How many there are now."""
        count, number = self._row.count, float(self._row.count.number or 0)
        if not number or count.kind in (CountKind.COUNTED, CountKind.AT_LEAST):
            return np.full(SCENARIOS, number)
        grid = np.rint(lognormal_grid(number, ABOUT * number, ABOUT_VALUES))
        return np.asarray(grid[self._of(("count", self._row.cohort), ABOUT_VALUES)])

    def _of(self, name: object, count: int) -> Indices:
        return drawn_up(self._unknowns[name], count)
