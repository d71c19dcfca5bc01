"""What surveys say: how far each place is from the probe that speaks for it."""

from bisect import bisect_right
from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Literal

import msgspec

from monitor.science.distance import BEHIND_ROOM_K, BEHIND_SHELF_K, Apart, pooled
from monitor.site.journal import PlaceSurveyed
from monitor.site.words import Quantity

How = Literal["own probe", "surveyed", "neighbours", "assumed", "hand", "none"]


class Reference(msgspec.Struct, frozen=True):
    """
    What speaks for a place: a probe of another place, by what it measures.

    Attributes:
        place: Where it hangs.
        quantity: What it measures.
    """

    place: str
    quantity: Quantity


class Distance(msgspec.Struct, frozen=True):
    """
    How far a place is from what feeds it.

    Attributes:
        offset_k: Place minus reading, above zero where the place is warmer. [K]
        spread_k: Standard deviation of a reading's difference about that. [K]
        how: "own probe", "surveyed", "neighbours" (surveys of other places against
            the same probe), "assumed" (there is none), "hand" (read in the place
            itself) or "none" (nothing is read).
    """

    offset_k: float
    spread_k: float
    how: How


class Survey(msgspec.Struct, frozen=True):
    """
    One survey of a place.

    Attributes:
        at: From when it holds. UTC.
        apart: What it found.
    """

    at: datetime
    apart: Apart


Life = tuple[str, int]
"""A place, and how many had its number before."""

_HERE: Mapping[str, Distance] = {
    "own probe": Distance(0.0, 0.0, "own probe"),
    "hand": Distance(0.0, 0.0, "hand"),
    "none": Distance(0.0, 0.0, "none"),
}
_ASSUMED = {
    "shelf": Distance(0.0, BEHIND_SHELF_K, "assumed"),
    "room": Distance(0.0, BEHIND_ROOM_K, "assumed"),
}


class Surveys(msgspec.Struct, frozen=True):
    """
    All surveys, as the journal leaves them.

    Attributes:
        own: Of each life of a place against each reference, in order of time.
        around: What the last surveys of all lives of all places against a reference
            say together.
        anew: When places were made anew under the number of a scrapped one, in order
            of time. UTC.
    """

    own: Mapping[tuple[Life, Reference], tuple[Survey, ...]] = {}
    around: Mapping[Reference, Apart] = {}
    anew: Mapping[str, tuple[datetime, ...]] = {}

    def distance(
        self, place: str, reference: Reference, source: str, *, at: datetime
    ) -> Distance:
        """
        Tell how far a place is from what feeds it.

        The place's own last survey against the same reference counts, before the
        first one that first one, each for the life of the place that it was made in;
        then the surveys of its neighbours; then what is assumed of a shelf's or a
        room's probe.

        Args:
            place: The place asked about.
            reference: What feeds it.
            source: As `monitor.site.house.Feed` says: "own probe", "shelf", …
            at: The instant. UTC.
        """
        if source in _HERE:
            return _HERE[source]
        life = place, bisect_right(self.anew.get(place, ()), at)
        own = self.own.get((life, reference), ())
        if own:
            found = next((s for s in reversed(own) if s.at <= at), own[0]).apart
            return Distance(found.offset_k, found.spread_k, "surveyed")
        near = self.around.get(reference)
        if near is not None:
            return Distance(near.offset_k, near.spread_k, "neighbours")
        return _ASSUMED[source]

    def changes(self, place: str) -> Iterator[datetime]:
        """Instants at which what is told of a place may change, in all its lives."""
        yield from self.anew.get(place, ())
        for ((surveyed, _), _), own in self.own.items():
            if surveyed == place:
                yield from (survey.at for survey in own[1:])


class SurveyFolding:
    """Surveys that the journal happens to, in the order of happening."""

    def __init__(self) -> None:
        self._own: dict[tuple[Life, Reference], tuple[Survey, ...]] = {}
        self._anew: dict[str, tuple[datetime, ...]] = {}

    def take(self, fact: PlaceSurveyed, at: datetime) -> None:
        """A place was surveyed."""
        life = fact.place, len(self._anew.get(fact.place, ()))
        key = life, Reference(fact.reference, fact.reference_quantity)
        survey = Survey(at, Apart(fact.offset_k, fact.spread_k))
        self._own[key] = (*self._own.get(key, ()), survey)

    def made_anew(self, place: str, at: datetime) -> None:
        """
        Another tub has got the number of one that was scrapped.

        What was found of the old tub holds for its own life, and the new one inherits
        nothing; of its shelf it says as much as that of any neighbour.
        """
        self._anew[place] = (*self._anew.get(place, ()), at)

    def surveys(self) -> Surveys:
        """What has come of them."""
        near: dict[Reference, list[Apart]] = {}
        for (_, reference), own in self._own.items():
            near.setdefault(reference, []).append(own[-1].apart)
        around = {reference: pooled(found) for reference, found in near.items()}
        return Surveys(self._own, around, self._anew)
