"""The house at an instant: the site's fixed places and all that the journal moved."""

from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime, timedelta

import msgspec

from monitor.site.journal import (
    CohortAdvanced,
    CohortCounted,
    CohortEnded,
    CohortMoved,
    CohortStarted,
    Count,
    Entry,
    HandReading,
    PlaceCreated,
    PlaceMoved,
    PlaceScrapped,
    PlaceSurveyed,
    ProbeMoved,
)
from monitor.site.site_file import Site
from monitor.site.stays import Stay, changed, closed, cut, what_at
from monitor.site.surveys import Distance, Reference, SurveyFolding, Surveys
from monitor.site.words import PlaceKind, Quantity

replace = msgspec.structs.replace


class Place(msgspec.Struct, frozen=True):
    """
    A room, shelf or enclosure, with all the parents that it ever had.

    A fixed place stands in site.toml and has had its parent for ever. A number that
    was given again keeps the stays of its former lives, which end when the tub of the
    time was scrapped.

    Attributes:
        stays: What it stood in, in order of time; () for a fixed place.
        scrapped_at: When the present life ended; None while it stands. UTC.
        begun_at: When the present life began; None for a fixed place. UTC.
    """

    id: str
    kind: PlaceKind
    name: str
    parent: str | None
    fixed: bool
    stays: tuple[Stay, ...] = ()
    scrapped_at: datetime | None = None
    begun_at: datetime | None = None

    def parent_at(self, at: datetime) -> str | None:
        """Where it stood at an instant, in whatever life."""
        if self.fixed:
            return self.parent
        return what_at(self.stays, at)


class Cohort(msgspec.Struct, frozen=True):
    """Animals of one species kept and followed together, with their whole way."""

    id: int
    species: str
    stage: str
    place: str
    count: Count
    sex: str
    colony: bool
    started_at: datetime
    stages: tuple[Stay, ...]
    places: tuple[Stay, ...]
    ended_at: datetime | None = None
    end_reason: str | None = None

    def place_at(self, at: datetime) -> str | None:
        """Where the cohort lived at an instant."""
        return what_at(self.places, at)

    def stage_at(self, at: datetime) -> str | None:
        """Its stage at an instant."""
        return what_at(self.stages, at)


class Probe(msgspec.Struct, frozen=True):
    """A sensor and every place where it hung; the first stay has no beginning."""

    sensor: str
    quantity: Quantity
    first_place: str
    stays: tuple[Stay, ...] = ()

    @property
    def place(self) -> str:
        """Where it hangs now."""
        return self.stays[-1].what if self.stays else self.first_place

    def place_at(self, at: datetime) -> str:
        """Where it hung at an instant."""
        return what_at(self.stays, at) or self.first_place


class Feed(msgspec.Struct, frozen=True):
    """
    Where a place takes its readings of a quantity from.

    Attributes:
        sensors: Sensors that measure it, or () where nothing does.
        quantity: What they measure (air stands in for substrate temperature).
        place: Where they hang.
        source: "own probe", "shelf", "room", "hand" or "none".
    """

    sensors: tuple[str, ...]
    quantity: Quantity
    place: str
    source: str


HAND = "hand-"
"""Prefix of the series that hold readings by hand at a place."""


class House(msgspec.Struct, frozen=True):
    """
    All places, cohorts and probes, as the journal leaves them.

    Attributes:
        hands: What is read by hand at a place.
        hung: Sensors by the place where they hang now and what they measure; made
            from the probes.
        surveys: How far places are from the probes that speak for them.
    """

    places: Mapping[str, Place]
    cohorts: Mapping[int, Cohort]
    probes: Mapping[str, Probe]
    hands: Mapping[str, frozenset[Quantity]]
    hung: Mapping[tuple[str, Quantity], tuple[str, ...]] = {}
    surveys: Surveys = Surveys()

    def __post_init__(self) -> None:
        """Lay the index: a house of 500 probes is asked for each band of each tub."""
        hung: dict[tuple[str, Quantity], list[str]] = {}
        for probe in self.probes.values():
            hung.setdefault((probe.place, probe.quantity), []).append(probe.sensor)
        index = {where: tuple(sensors) for where, sensors in hung.items()}
        msgspec.structs.force_setattr(self, "hung", index)

    def living(self) -> Iterator[Cohort]:
        """Cohorts that are still followed."""
        return (c for c in self.cohorts.values() if c.ended_at is None)

    def dwellers(self, place: str) -> Iterator[Cohort]:
        """Cohorts that live in exactly this place."""
        return (c for c in self.living() if c.place == place)

    def chain(self, place: str, at: datetime | None = None) -> tuple[str, ...]:
        """The place, then its shelf or room, then its room."""
        found: list[str] = []
        step: str | None = place
        while step is not None and step in self.places and step not in found:
            found.append(step)
            here = self.places[step]
            step = here.parent if at is None else here.parent_at(at)
        return tuple(found)

    def feed(
        self,
        place: str,
        quantity: Quantity,
        *,
        inside: bool = True,
        at: datetime | None = None,
    ) -> Feed:
        """
        Tell where a place takes its readings of a quantity from.

        Substrate temperature falls back to air temperature, of the place itself
        before that of its shelf. What is *inside* a tub other than a temperature
        (its humidity, its gases) is told by its own probe alone: the air of the
        room says nothing about it.

        Args:
            place: The place asked about.
            quantity: What is wanted.
            inside: The band is of the tub; False where it is of the room's air.
            at: The instant; None for now.
        """
        wanted = [quantity]
        if quantity is Quantity.SUBSTRATE_TEMPERATURE:
            wanted.append(Quantity.AIR_TEMPERATURE)
        temperature = Quantity.AIR_TEMPERATURE in wanted
        chain = self.chain(place, at)
        if inside and not temperature:
            chain = chain[:1]
        for here in chain:
            for sought in wanted:
                sensors = self._sensors_at(here, sought, at)
                if sensors:
                    return Feed(sensors, sought, here, self._source(place, here))
        for sought in wanted:
            if sought in self.hands.get(place, ()):
                return Feed((HAND + place,), sought, place, "hand")
        return Feed((), quantity, place, "none")

    def distance(self, place: str, feed: Feed, *, at: datetime) -> Distance:
        """Tell how far a place is from what feeds it: see `Surveys.distance`."""
        reference = Reference(feed.place, feed.quantity)
        return self.surveys.distance(place, reference, feed.source, at=at)

    def _sensors_at(
        self, place: str, quantity: Quantity, at: datetime | None
    ) -> tuple[str, ...]:
        if at is None:
            return self.hung.get((place, quantity), ())
        return tuple(
            p.sensor
            for p in self.probes.values()
            if p.quantity is quantity and p.place_at(at) == place
        )

    def _source(self, asked: str, found: str) -> str:
        if asked == found:
            return "own probe"
        return "room" if self.places[found].kind is PlaceKind.ROOM else "shelf"


def fixed_house(site: Site) -> House:
    """The house as site.toml declares it, before the journal."""
    places: dict[str, Place] = {}
    for room in site.rooms:
        places[room.id] = Place(room.id, PlaceKind.ROOM, room.name, None, fixed=True)
    for shelf in site.shelves:
        name = shelf.name or shelf.id
        places[shelf.id] = Place(
            shelf.id, PlaceKind.SHELF, name, shelf.room, fixed=True
        )
    for enclosure in site.enclosures:
        places[enclosure.id] = Place(
            enclosure.id,
            enclosure.kind,
            enclosure.name or enclosure.id,
            enclosure.place,
            fixed=True,
        )
    probes = {s.id: Probe(s.id, s.quantity, s.place) for s in site.sensors}
    return House(places, {}, probes, {})


def fold(
    site: Site, entries: Iterable[Entry], *, until: datetime | None = None
) -> House:
    """
    Let the journal happen to the house of *site*, in the order of happening.

    Entries that name what no longer exists are left out of the picture: the
    journal is never refused afterwards, since site.toml may have changed since.

    Args:
        site: The declared house.
        entries: The journal, in any order.
        until: Leave out what happened later than this. None for all of it.
    """
    folding = _Folding(fixed_house(site))
    for entry in sorted(entries, key=lambda e: (e.happened_at, e.id)):
        if until is not None and entry.happened_at > until:
            break
        folding.take(entry)
    return folding.house()


class _Folding:
    """A house that the journal happens to."""

    def __init__(self, start: House) -> None:
        self._places, self._probes = dict(start.places), dict(start.probes)
        self._cohorts: dict[int, Cohort] = {}
        self._hands: dict[str, set[Quantity]] = {}
        self._surveys = SurveyFolding()

    def house(self) -> House:
        """What has become of it."""
        hands = {place: frozenset(q) for place, q in self._hands.items()}
        surveys = self._surveys.surveys()
        return House(self._places, self._cohorts, self._probes, hands, surveys=surveys)

    def take(self, entry: Entry) -> None:
        """Let one entry happen."""
        at, fact = entry.happened_at, entry.fact
        match fact:
            case PlaceCreated() | PlaceMoved() | PlaceScrapped():
                self._place(fact, at)
            case ProbeMoved(sensor, place) if sensor in self._probes:
                moved = self._probes[sensor]
                stays = changed(moved.stays, place, at)
                self._probes[sensor] = replace(moved, stays=stays)
            case PlaceSurveyed(place=place) if place in self._places:
                self._surveys.take(fact, at)
            case HandReading(place=place, quantity=quantity):
                self._hands.setdefault(place, set()).add(quantity)
            case CohortStarted():
                self._cohorts[fact.cohort] = _started(fact, at)
            case (
                CohortMoved(cohort=key)
                | CohortAdvanced(cohort=key)
                | CohortCounted(cohort=key)
                | CohortEnded(cohort=key)
            ) if key in self._cohorts:
                self._cohorts[key] = _change(self._cohorts[key], fact, at)

    def _place(
        self, fact: PlaceCreated | PlaceMoved | PlaceScrapped, at: datetime
    ) -> None:
        known = self._places.get(fact.place)
        match fact:
            case PlaceCreated(place, kind, parent, name):
                if known is None or known.scrapped_at:
                    self._places[place] = Place(
                        place,
                        kind,
                        name or place,
                        parent,
                        fixed=False,
                        stays=(*self._former(known, at), Stay(parent, at)),
                        begun_at=at,
                    )
            case PlaceMoved(place, parent) if known is not None:
                stays = changed(known.stays, parent, at)
                self._places[place] = replace(known, parent=parent, stays=stays)
            case PlaceScrapped(place) if known is not None:
                self._places[place] = replace(known, scrapped_at=at)

    def _former(self, known: Place | None, at: datetime) -> tuple[Stay, ...]:
        """Where a tub stood whose number another one gets."""
        if known is None or known.scrapped_at is None:
            return ()
        self._surveys.made_anew(known.id, at)
        return cut(known.stays, known.scrapped_at)


def _started(fact: CohortStarted, at: datetime) -> Cohort:
    return Cohort(
        fact.cohort,
        fact.species,
        fact.stage,
        fact.place,
        fact.count,
        fact.sex,
        fact.colony,
        at,
        (Stay(fact.stage, at),),
        (Stay(fact.place, at),),
    )


def _change(
    cohort: Cohort,
    fact: CohortMoved | CohortAdvanced | CohortCounted | CohortEnded,
    at: datetime,
) -> Cohort:
    match fact:
        case CohortMoved(place=place):
            return replace(
                cohort, place=place, places=changed(cohort.places, place, at)
            )
        case CohortAdvanced(stage=stage, not_before=not_before):
            stages = changed(cohort.stages, stage, middle(not_before, at))
            return replace(cohort, stage=stage, stages=stages)
        case CohortCounted(count=count):
            return replace(cohort, count=count)
        case CohortEnded(reason=reason):
            return replace(
                cohort,
                ended_at=at,
                end_reason=reason,
                places=closed(cohort.places, at),
                stages=closed(cohort.stages, at),
            )


def middle(not_before: datetime | None, found: datetime) -> datetime:
    """When a change seen between two visits is taken to have happened: half-way."""
    if not_before is None or not_before >= found:
        return found
    half: timedelta = (found - not_before) / 2
    return not_before + half
