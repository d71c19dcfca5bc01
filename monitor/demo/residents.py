"""
The journal of the months before the story: tubs, animals, buried probes, hand readings.

Invented, and the same for the same seed. Species and stages are those of the shipped
library; no number of the husbandry here is meant as advice.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from random import Random
from typing import Literal

from monitor.demo.plan import PROBE_OF_TUB, TUBS_ON, tub
from monitor.site.journal import (
    CohortAdvanced,
    CohortCounted,
    CohortEnded,
    CohortMoved,
    CohortStarted,
    Count,
    Entry,
    Fact,
    HandReading,
    PlaceCreated,
    PlaceMoved,
    PlaceScrapped,
    PlaceSurveyed,
    ProbeMoved,
)
from monitor.site.words import CountKind, PlaceKind, Quantity

KEEPERS = ("ines", "tadhg", "mirela")
"""Who enters things; their names stand in site.toml."""

TUBS = 120
"""Tubs in use."""

EMPTY = frozenset({98, 119, 120})
"""Tubs that stand washed and empty."""

SURVEYS = (
    (5, "warm-room-a", 0.3, 0.5),
    (12, "warm-room-a", -0.2, 0.6),
    (30, "warm-room-b", 0.2, 0.6),
    (90, "cool-room-a", -0.1, 0.4),
)
"""Tub, its shelf, by how much it was warmer than that, and give or take what [K]."""

HERCULES, TRIBOLIUM = "dynastes-hercules", "tribolium-castaneum"
DUNG_BEETLE = "aphodius-fimetarius"
LOWLAND, MONTANE = "lowland-scarab", "montane-scarab"

Sex = Literal["any", "female", "male"]

ONE = Count(CountKind.COUNTED, 1)
COLONY = Count(CountKind.UNKNOWN)


@dataclass(frozen=True, slots=True)
class Life:
    """
    How a cohort came to its tub.

    Attributes:
        species: Id in the library.
        steps: Stages with the days before the story at which each was found.
        count: How many.
        sex: Where it is known.
        colony: Mixed stages, no number.
        visit_days: Days between two visits, within which a change went unseen.
    """

    species: str
    steps: tuple[tuple[str, float], ...]
    count: Count
    sex: Sex = "any"
    colony: bool = False
    visit_days: float = 7.0


def life(number: int, rng: Random) -> Life | None:
    """Who lives in a tub, or None in an empty one."""
    if number in EMPTY:
        return None
    for low, high, kind in _KINDS:
        if low <= number <= high:
            return kind(rng)
    raise ValueError(f"there is no tub {number}")


def _estimate(rng: Random, low: int, high: int) -> Count:
    return Count(CountKind.ESTIMATE, rng.randrange(low, high, 5))


def _hercules_l3(rng: Random) -> Life:
    sex: Sex = rng.choice(("female", "male"))
    since = rng.uniform(20, 50)
    steps = (("L2", since + rng.uniform(50, 60)), ("L3", since))
    return Life(HERCULES, steps, ONE, sex)


def _hercules_l2(rng: Random) -> Life:
    return Life(HERCULES, (("L1", 75.0), ("L2", rng.uniform(8, 30))), ONE)


def _consignment(rng: Random) -> Life:
    """Came on a Thursday without a name: a template until somebody knows it."""
    return Life(LOWLAND, (("L2", 12.0),), Count(CountKind.AT_LEAST, rng.randint(3, 6)))


def _hercules_eggs(rng: Random) -> Life:
    return Life(HERCULES, (("egg", rng.uniform(3, 20)),), _estimate(rng, 15, 45))


def _hercules_prepupa(rng: Random) -> Life:
    since = rng.uniform(4, 18)
    steps = (("L3", since + 200), ("prepupa", since))
    return Life(HERCULES, steps, ONE, rng.choice(("female", "male")))


def _hercules_pupa(rng: Random) -> Life:
    since = rng.uniform(5, 30)
    steps = (("prepupa", since + 30), ("pupa", since))
    return Life(HERCULES, steps, ONE, rng.choice(("female", "male")))


def _flour_colony(rng: Random) -> Life:
    return Life(TRIBOLIUM, (("adult", rng.uniform(60, 200)),), COLONY, colony=True)


def _flour_larvae(rng: Random) -> Life:
    since = rng.uniform(5, 18)
    steps = (("egg", since + 5), ("larva", since))
    return Life(TRIBOLIUM, steps, _estimate(rng, 200, 600), visit_days=2.0)


def _dung_larvae(rng: Random) -> Life:
    since = rng.uniform(4, 25)
    steps = (("egg", since + 6), ("larva", since))
    count = Count(CountKind.AT_LEAST, rng.randint(8, 30))
    return Life(DUNG_BEETLE, steps, count, visit_days=3.0)


def _dung_adults(rng: Random) -> Life:
    count = Count(CountKind.COUNTED, rng.randint(6, 16))
    return Life(DUNG_BEETLE, (("adult", rng.uniform(10, 60)),), count)


def _montane_l3(rng: Random) -> Life:
    return Life(MONTANE, (("L3", rng.uniform(20, 80)),), ONE)


_KINDS = (
    (1, 24, _hercules_l3),
    (25, 38, _hercules_l2),
    (39, 44, _consignment),
    (45, 50, _hercules_eggs),
    (51, 54, _hercules_prepupa),
    (55, 60, _hercules_pupa),
    (61, 70, _flour_colony),
    (71, 76, _flour_larvae),
    (77, 92, _montane_l3),
    (93, 108, _dung_larvae),
    (109, 120, _dung_adults),
)
"""Which lives are led in which tubs."""


def journal(*, began_at: datetime, seed: int) -> list[Entry]:
    """
    The whole journal up to the story, in order of happening.

    Args:
        began_at: Beginning of the story. UTC.
        seed: Makes the same house each time.
    """
    return sorted(
        _Scribe(began_at, Random(seed)).all(),  # noqa: S311 - no secret
        key=lambda e: e.happened_at,
    )


class _Scribe:
    """Writes what happened, and numbers the cohorts."""

    def __init__(self, began_at: datetime, rng: Random) -> None:
        self._began_at, self._rng = began_at, rng
        self._cohorts = 0

    def all(self) -> Iterator[Entry]:
        """Every entry, tub by tub."""
        homes = {
            number: shelf
            for shelf, (first, last) in TUBS_ON.items()
            for number in range(first, last + 1)
        }
        for number in range(1, TUBS + 1):
            yield from self._tub(number, homes[number])
        yield from self._gone()
        yield from self._fixed_places()
        yield from self._by_hand()
        yield from self._surveyed()

    def _entry(
        self, days: float, fact: Fact, *, note: str = "", told_days_later: float = 0.0
    ) -> Entry:
        happened = self._began_at - timedelta(minutes=round(days * 1440))
        # on a working day, not to the microsecond
        entered = min(happened + timedelta(days=told_days_later), self._began_at)
        return Entry(happened, entered, self._rng.choice(KEEPERS), fact, note)

    def _tub(self, number: int, shelf: str) -> Iterator[Entry]:
        name, led = tub(number), life(number, self._rng)
        oldest = led.steps[0][1] if led else 3.0
        yield self._entry(oldest + 0.02, PlaceCreated(name, PlaceKind.REARING, shelf))
        if led is not None:
            yield from self._cohort(name, led)
        if name in PROBE_OF_TUB:
            # after the tub was there, and before the readings that are kept
            buried = min(oldest, 60.0)
            yield self._entry(buried, ProbeMoved(PROBE_OF_TUB[name], name))

    def _cohort(self, place: str, led: Life) -> Iterator[Entry]:
        self._cohorts += 1
        cohort = self._cohorts
        (first, since), *later = led.steps
        yield self._entry(
            since,
            CohortStarted(
                cohort, led.species, first, led.count, place, led.sex, led.colony
            ),
        )
        for stage, found in later:
            seen_before = found + self._rng.uniform(0.5, 1.0) * led.visit_days
            at = self._began_at - timedelta(minutes=round(seen_before * 1440))
            weekend = self._rng.random() < 0.3  # noqa: PLR2004 - told on Monday
            yield self._entry(
                found,
                CohortAdvanced(cohort, stage, not_before=at),
                told_days_later=2.0 if weekend else 0.0,
            )

    def _gone(self) -> Iterator[Entry]:
        """Cohorts that ended, and tubs that were emptied and taken away."""
        ends = (
            ("hatched out and shared among single tubs", HERCULES, "L1", 24),
            ("given to another house", TRIBOLIUM, "adult", 150),
            ("died of mould", DUNG_BEETLE, "larva", 9),
        )
        for n, (reason, species, stage, count) in enumerate(ends, start=TUBS + 1):
            name, since = tub(n), 95.0 - 3 * (n - TUBS)
            self._cohorts += 1
            yield self._entry(
                since + 0.02, PlaceCreated(name, PlaceKind.REARING, "cool-room-b")
            )
            yield self._entry(
                since,
                CohortStarted(
                    self._cohorts,
                    species,
                    stage,
                    Count(CountKind.ESTIMATE, count),
                    name,
                ),
            )
            yield self._entry(
                since - 6,
                CohortCounted(self._cohorts, Count(CountKind.COUNTED, count - 2)),
            )
            yield self._entry(since - 30, CohortEnded(self._cohorts, reason))
            yield self._entry(since - 30.1, PlaceScrapped(name))

    def _fixed_places(self) -> Iterator[Entry]:
        """The exhibit's pair, eggs in the incubator, and a tub that changed shelf."""
        self._cohorts += 1
        yield self._entry(70, PlaceCreated("tub-124", PlaceKind.REARING, "warm-room-a"))
        pair = Count(CountKind.COUNTED, 2)
        yield self._entry(
            69.9,
            CohortStarted(self._cohorts, HERCULES, "resting-adult", pair, "tub-124"),
        )
        yield self._entry(41, PlaceMoved("tub-124", "warm-room-b"))
        yield self._entry(
            22,
            CohortAdvanced(
                self._cohorts,
                "feeding-adult",
                not_before=self._began_at - timedelta(days=25),
            ),
        )
        yield self._entry(21.9, CohortMoved(self._cohorts, "exhibit-1"), note="on show")
        yield self._entry(21.8, PlaceScrapped("tub-124"))
        self._cohorts += 1
        yield self._entry(
            9,
            CohortStarted(
                self._cohorts,
                HERCULES,
                "egg",
                Count(CountKind.ESTIMATE, 30),
                "incubator-1",
            ),
        )

    def _surveyed(self) -> Iterator[Entry]:
        """A spare thermometer in a tub of some shelves; the others are assumed of."""
        for number, shelf, offset_k, spread_k in SURVEYS:
            yield self._entry(
                30.0 + number / 100,
                PlaceSurveyed(
                    tub(number),
                    Quantity.SUBSTRATE_TEMPERATURE,
                    shelf,
                    Quantity.AIR_TEMPERATURE,
                    offset_k,
                    spread_k,
                ),
                note="dial 3 beside the shelf's probe, four days",
            )

    def _by_hand(self) -> Iterator[Entry]:
        """What keepers read: dial thermometers of bins, extremes of the cool room."""
        for days, value in ((44, 31.5), (36, 30.0), (14, 29.5), (6, 32.0), (2, 31.0)):
            place = "bin-1" if days > 30 else "bin-2"  # noqa: PLR2004 - the newer pile
            yield self._entry(
                days + 0.03,
                HandReading(
                    place,
                    Quantity.SUBSTRATE_TEMPERATURE,
                    value=value,
                    thermometer="dial 2, 60 cm",
                ),
            )
        for week in range(1, 8):
            at = 7.0 * week + 0.04
            yield self._entry(
                at,
                HandReading(
                    "cool-room-a",
                    Quantity.AIR_TEMPERATURE,
                    minimum=17.0 + self._rng.randint(0, 4) / 10,
                    maximum=19.0 + self._rng.randint(0, 6) / 10,
                    since=self._began_at - timedelta(days=at + 7),
                    thermometer="min-max on the door post",
                ),
            )


def hand_values(
    entries: Sequence[Entry],
) -> list[tuple[str, Quantity, datetime, float]]:
    """
    The value that the store keeps of each hand reading, in order of time.

    The value where one was read, else the maximum.

    Args:
        entries: The journal.

    Returns:
        Place, quantity, instant and value.
    """
    return [
        (e.fact.place, e.fact.quantity, e.happened_at, value)
        for e in sorted(entries, key=lambda e: e.happened_at)
        if isinstance(e.fact, HandReading)
        and (value := e.fact.maximum if e.fact.value is None else e.fact.value)
        is not None
    ]
