"""Tubs that come, move and go."""

import re
from datetime import datetime

import msgspec

from monitor.desk.asked import Asked
from monitor.desk.bands import clash
from monitor.desk.said import cohort_words, iso, iso_or_none, listed, unknown
from monitor.desk.surveys import distance_row
from monitor.desk.view import Outcome
from monitor.errors import RefusedError, UsageError
from monitor.site.house import House, Place
from monitor.site.journal import PlaceCreated, PlaceMoved, PlaceScrapped
from monitor.site.words import PlaceKind

_ID = re.compile(r"^[a-z0-9][a-z0-9-]{0,63}$")
_ENCLOSURES = [k for k in PlaceKind if k not in (PlaceKind.ROOM, PlaceKind.SHELF)]
_HOLDS = (PlaceKind.ROOM, PlaceKind.SHELF, PlaceKind.INCUBATOR)
"""What a tub may stand in."""


def create(asked: Asked) -> Outcome:
    """
    Set up one or several enclosures.

    Raises:
        UsageError: If an id, the kind or the parent is wrong.
        RefusedError: If one stands already.
    """
    ids = asked.names("ids", "the id")
    at, kind = asked.at(), _kind(asked)
    parent = _parent(asked.place("in", "where it stands"))
    name = asked.text("name")
    if name and len(ids) > 1:
        raise UsageError("--name: one name for several places; set them up one by one")
    for place_id in ids:
        _check_new(asked, place_id, at)
    made = tuple(
        asked.entry(PlaceCreated(place_id, kind, parent.id, name), at)
        for place_id in ids
    )
    said = f"{listed(ids)} set up in {parent.id} at {asked.when(at)}."
    return Outcome(asked.told(said, at, ids=ids), entries=made)


def move(asked: Asked) -> Outcome:
    """
    Carry enclosures to another shelf or room.

    Raises:
        UsageError: If a place is unknown.
        RefusedError: If one is fixed, scrapped, there already, or would stand in
            itself.
    """
    ids = asked.names("ids", "the place")
    at, parent = asked.at(), _parent(asked.place("to", "where to"))
    for place_id in ids:
        place = _movable(asked, place_id, at)
        if place.parent == parent.id:
            raise RefusedError(f"{place_id} stands in {parent.id} already")
        if place_id in asked.view.house.chain(parent.id):
            raise RefusedError(
                f"{place_id} cannot stand in {parent.id}: that is inside it"
            )
    moved = tuple(asked.entry(PlaceMoved(p, parent.id), at) for p in ids)
    said = f"{listed(ids)} moved to {parent.id} at {asked.when(at)}."
    warnings = _clashes_after(asked, ids, parent.id)
    return Outcome(asked.told(said, at, ids=ids, warnings=warnings), entries=moved)


def scrap(asked: Asked) -> Outcome:
    """
    Take enclosures away for good.

    Raises:
        UsageError: If a place is unknown.
        RefusedError: If one is fixed, or somebody or something is still in it.
    """
    ids = asked.names("ids", "the place")
    at, house = asked.at(), asked.view.house
    for place_id in ids:
        _movable(asked, place_id, at)
        living = [cohort_words(c, asked.view.library) for c in house.dwellers(place_id)]
        if living:
            raise RefusedError(
                f"{place_id} is not empty: {listed(living)} lives there;"
                " move or end it first"
            )
        left = [p.sensor for p in house.probes.values() if p.place == place_id]
        left += [p.id for p in house.places.values() if _inside(p, place_id)]
        if left:
            raise RefusedError(
                f"{place_id} is not empty: {listed(left)} is still in it; move it first"
            )
    gone = tuple(asked.entry(PlaceScrapped(place_id), at) for place_id in ids)
    said = f"{listed(ids)} scrapped at {asked.when(at)}."
    return Outcome(asked.told(said, at, ids=ids), entries=gone)


def list_places(asked: Asked) -> Outcome:
    """Answer ``place list``: places that stand, or all that ever stood."""
    view, everything = asked.view, asked.flag("all")
    living: dict[str, list[int]] = {}
    for cohort in view.house.living():
        living.setdefault(cohort.place, []).append(cohort.id)
    return Outcome(
        {
            "time": iso(view.now),
            "time_zone": asked.zone.key,
            "daemon": {"state": view.health.state},
            "places": [
                {
                    "id": place.id,
                    "name": place.name,
                    "kind": place.kind.value,
                    "parent": place.parent,
                    "fixed": place.fixed,
                    "since": iso_or_none(place.begun_at),
                    "scrapped_at": iso_or_none(place.scrapped_at),
                    "cohorts": living.get(place.id, []),
                    "distance": distance_row(view.house, place, view.now),
                }
                for place in in_order(view.house)
                if everything or place.scrapped_at is None
            ],
        }
    )


def in_order(house: House) -> list[Place]:
    """Every place after its parent: each room, its shelves, their enclosures."""
    children: dict[str | None, list[Place]] = {}
    for place in house.places.values():
        known = place.parent if place.parent in house.places else None
        children.setdefault(known, []).append(place)
    found: list[Place] = []

    def walk(parent: str | None) -> None:
        shelf_first = {PlaceKind.ROOM: 0, PlaceKind.SHELF: 2}
        # what stands in a room itself comes before its shelves
        for place in sorted(
            children.get(parent, []), key=lambda p: (shelf_first.get(p.kind, 1), p.id)
        ):
            found.append(place)
            walk(place.id)

    walk(None)
    return found


def _inside(place: Place, parent: str) -> bool:
    return place.parent == parent and place.scrapped_at is None


def _kind(asked: Asked) -> PlaceKind:
    text = asked.text("kind") or PlaceKind.REARING.value
    if text in (PlaceKind.ROOM.value, PlaceKind.SHELF.value):
        raise UsageError(
            f"--kind: a {text} is screwed to the wall: declare it in site.toml"
        )
    if text not in _ENCLOSURES:
        raise UsageError(
            f"--kind: {unknown('kind', text, [k.value for k in _ENCLOSURES])}"
        )
    return PlaceKind(text)


def _parent(parent: Place) -> Place:
    if parent.kind not in _HOLDS:
        raise UsageError(
            f"{parent.id} is a place of kind {parent.kind}, which holds no other place:"
            " name a room, a shelf or an incubator"
        )
    return parent


def _check_new(asked: Asked, place_id: str, at: datetime) -> None:
    if not _ID.match(place_id):
        raise UsageError(
            f"{place_id!r} is no id: use up to 64 lower-case letters, digits and"
            " hyphens, such as tub-012"
        )
    if place_id == "system" or place_id in asked.view.house.probes:
        raise UsageError(
            f"{place_id!r} is taken: alarms name the system or a sensor so"
        )
    old = asked.view.house.places.get(place_id)
    if old is None:
        return
    if old.scrapped_at is None:
        raise RefusedError(f"{place_id} exists already, in {old.parent}")
    if at <= old.scrapped_at:
        raise RefusedError(
            f"{place_id} was scrapped at {asked.local(old.scrapped_at)}: set it up"
            " again after that, or take another id"
        )


def _movable(asked: Asked, place_id: str, at: datetime) -> Place:
    place = asked.find_place(place_id)
    if place.fixed:
        raise RefusedError(
            f"{place_id} stands in site.toml: change it there and reload"
        )
    begun = place.stays[-1].since if place.stays else at
    if at < begun:
        raise UsageError(
            f"--at: {asked.local(at)} is before {place_id} came to {place.parent}, at"
            f" {asked.local(begun)}"
        )
    return place


def _clashes_after(asked: Asked, ids: list[str], parent: str) -> list[str]:
    """What the carried animals and the new shelf do not agree on; told, not refused."""
    view, house = asked.view, asked.view.house
    places = dict(house.places)
    for place_id in ids:
        places[place_id] = msgspec.structs.replace(places[place_id], parent=parent)
    moved = msgspec.structs.replace(house, places=places)
    found = []
    for place_id in ids:
        for cohort in house.dwellers(place_id):
            name = cohort_words(cohort, view.library)
            why = clash(cohort, name, place_id, view=view, house=moved)
            if why:
                found.append(why)
    return found
