"""Surveys: how far a place is from the probe of its shelf or room."""

from datetime import datetime, timedelta

import msgspec

from monitor.desk.asked import Asked, spelled
from monitor.desk.said import iso_or_none, listed, unknown
from monitor.desk.view import Outcome
from monitor.errors import RefusedError, UsageError
from monitor.site.house import Feed, House, Place
from monitor.site.journal import PlaceSurveyed
from monitor.site.surveys import Distance
from monitor.site.words import TEMPERATURES, PlaceKind, Quantity

LEAST_MEASURED = timedelta(hours=48)
"""A survey covers two days and nights at least: own choice."""
LEAST_PAIRS = 2
"""Fewer have no spread."""
WIDEST_OFFSET_K = 15.0
"""A place further from a probe than this is not told by it: own choice."""
WIDEST_SPREAD_K = 10.0
"""A probe further from its animals than this tells nothing of them: own choice."""
_AS_WARM_K = 0.05
"""An offset below this is shown as none."""
DAY = timedelta(days=1)


class _Survey(msgspec.Struct, frozen=True):
    """What the probe that was left in a place found, without the figures."""

    sensor: str
    quantity: Quantity
    since: datetime
    until: datetime
    pairs: int
    measured: timedelta


def add(asked: Asked) -> Outcome:
    """
    Take what a survey found: of a spare probe, or stated by a keeper.

    Raises:
        UsageError: If place, probe, time or a figure is wrong.
        RefusedError: If the place was scrapped, nothing speaks for it, or the
            survey is too short.
    """
    place, house = asked.place("place"), asked.view.house
    offset = _figure(asked, "offset", -WIDEST_OFFSET_K, WIDEST_OFFSET_K)
    spread = _figure(asked, "spread", 0.0, WIDEST_SPREAD_K)
    found = _found(asked)
    at = asked.instant("at") or (asked.view.now if found is None else found.until)
    _check_times(asked, place, found, at)
    if found is None:
        reference = _stated_reference(asked, place, at)
    else:
        reference = _reference(house, place.id, found.quantity, found.until)
        _check_same(asked, reference)
        if not long_enough(found.measured, found.pairs):
            raise too_short(found.sensor, reference, found.measured, found.pairs)
    fact = PlaceSurveyed(
        place.id,
        reference.quantity if found is None else found.quantity,
        reference.place,
        reference.quantity,
        offset,
        spread,
    )
    if found is not None:
        fact = msgspec.structs.replace(
            fact,
            sensor=found.sensor,
            since=found.since,
            until=found.until,
            pairs=found.pairs,
            measured_s=found.measured.total_seconds(),
        )
    return Outcome(_told(asked, fact, at), entries=(asked.entry(fact, at),))


def behind(
    house: House, place: str, quantity: Quantity, at: datetime | None = None
) -> Feed | None:
    """
    Tell what feeds a place that has no probe of its own; None where nothing would.

    Air stands in for substrate temperature, as in `House.feed`.

    Args:
        house: With all that the journal moved.
        place: The place.
        quantity: What is wanted: a temperature.
        at: The instant; None for now.
    """
    for parent in house.chain(place, at)[1:2]:
        feed = house.feed(parent, quantity, at=at)
        if feed.source not in ("hand", "none"):
            return feed
    return None


def long_enough(measured: timedelta, pairs: int) -> bool:
    """Whether a comparison says anything: two days at least."""
    return measured >= LEAST_MEASURED and pairs >= LEAST_PAIRS


def too_short(
    sensor: str, reference: Feed, measured: timedelta, pairs: int
) -> RefusedError:
    """Say what was found, and that a survey needs more."""
    hour = timedelta(hours=1)
    # cut, not rounded: no refusal says that 48.0 h are fewer than 48
    found, needed = measured // (hour / 10) / 10, LEAST_MEASURED / hour
    return RefusedError(
        f"{sensor} and the probe of {reference.place} have {found:.1f} h in common"
        f" ({pairs} readings); a survey needs {needed:g} h: leave it hanging for some"
        " days, or give --since"
    )


def no_reference(place: str) -> RefusedError:
    """Nothing speaks for a place that has no probe of its own."""
    return RefusedError(
        f"nothing speaks for {place} but a probe of its own: no temperature is measured"
        " on its shelf or in its room, so that there is nothing to compare with"
    )


def distance_row(house: House, place: Place, now: datetime) -> dict[str, object] | None:
    """How far a place is from what tells its temperature; None where nothing does."""
    feed = house.feed(place.id, Quantity.SUBSTRATE_TEMPERATURE)
    if feed.source == "none":
        return None
    distance = house.distance(place.id, feed, at=now)
    return {
        "offset_k": distance.offset_k,
        "spread_k": distance.spread_k,
        "how": distance.how,
        "from": feed.place,
    }


def distance_words(distance: Distance) -> str:
    """An offset and a spread as people say them."""
    offset, spread = distance.offset_k, distance.spread_k
    if abs(offset) < _AS_WARM_K:
        return f"as warm, give or take {spread:.1f} K"
    word = "warmer" if offset > 0 else "colder"
    return f"{abs(offset):.1f} K {word}, give or take {spread:.1f} K"


def _figure(asked: Asked, name: str, low: float, high: float) -> float:
    value = asked.number(name)
    if value is None:
        raise UsageError(
            f"{spelled(name)} is missing: give --sensor of the probe that was left in"
            " the place, or --offset and --spread in K"
        )
    if not low <= value <= high:
        raise UsageError(
            f"{spelled(name)}: {value:g} lies outside {low:g} to {high:g} K: is it a"
            " difference, in kelvin?"
        )
    return value


def _found(asked: Asked) -> _Survey | None:
    sensor, probes = asked.text("sensor"), asked.view.house.probes
    names = ("since", "until", "pairs", "measured_s")
    if sensor is None:
        stray = [n for n in names if asked.text(n) is not None]
        if stray:
            raise UsageError(f"{listed(map(spelled, stray))} goes with --sensor")
        return None
    if sensor not in probes:
        raise UsageError(f"--sensor: {unknown('sensor', sensor, sorted(probes))}")
    quantity = temperature_of(asked.view.house, sensor)
    since, until = asked.instant("since"), asked.instant("until")
    pairs, measured = asked.number("pairs"), asked.number("measured_s")
    if since is None or until is None or pairs is None or measured is None:
        raise UsageError(
            "--sensor: the readings were not compared; ask `place survey` for it"
        )
    span = (until - since).total_seconds()
    if not 0 <= measured <= span or pairs != int(pairs):
        raise UsageError(
            f"--measured-s: {measured:g} s with {pairs:g} pairs do not fit into"
            f" {span:g} s"
        )
    return _Survey(
        sensor, quantity, since, until, int(pairs), timedelta(seconds=measured)
    )


def temperature_of(house: House, sensor: str) -> Quantity:
    """
    Tell which temperature a sensor measures.

    Raises:
        UsageError: If it measures something else.
    """
    quantity = house.probes[sensor].quantity
    if quantity not in TEMPERATURES:
        able = sorted(p.sensor for p in house.probes.values() if _warm(p.quantity))
        raise UsageError(
            f"--sensor: {sensor} measures {quantity.value}, no temperature; there are:"
            f" {listed(able)}"
        )
    return quantity


def _warm(quantity: Quantity) -> bool:
    return quantity in TEMPERATURES


def _check_times(
    asked: Asked, place: Place, found: _Survey | None, at: datetime
) -> None:
    if found is not None and at < found.until:
        raise UsageError(
            f"--at: {asked.local(at)} is before the survey ended,"
            f" {asked.local(found.until)}"
        )
    begun = place.begun_at
    first = at if found is None else found.since
    if begun is not None and first < begun:
        name = "--at" if found is None else "--since"
        raise UsageError(
            f"{name}: {asked.local(first)} is before {place.id} was set up, at"
            f" {asked.local(begun)}"
        )


def _reference(house: House, place: str, quantity: Quantity, at: datetime) -> Feed:
    found = behind(house, place, quantity, at)
    if found is None:
        raise no_reference(place)
    return found


def _check_same(asked: Asked, reference: Feed) -> None:
    """A comparison made against one probe is not kept as one against another."""
    against = asked.text("against")
    if against is not None and against != reference.place:
        raise UsageError(
            f"--against: {reference.place} spoke for the place at the time, not"
            f" {against}; leave it out with --sensor"
        )


def _stated_reference(asked: Asked, place: Place, at: datetime) -> Feed:
    house, wanted = asked.view.house, Quantity.SUBSTRATE_TEMPERATURE
    against = asked.text("against")
    if against is None:
        return _reference(house, place.id, wanted, at)
    other = asked.place("against").id
    if other == place.id:
        raise UsageError(f"--against: {other} cannot be compared with itself")
    feed = house.feed(other, wanted, at=at)
    if feed.source != "own probe":
        able = {p.place for p in house.probes.values() if _warm(p.quantity)}
        raise UsageError(
            f"--against: no probe measures a temperature in {other}; there are:"
            f" {listed(sorted(able - {place.id}))}"
        )
    return feed


def _told(asked: Asked, fact: PlaceSurveyed, at: datetime) -> dict[str, object]:
    house = asked.view.house
    offset, spread = fact.offset_k, fact.spread_k
    warmer, _, doubt = distance_words(Distance(offset, spread, "surveyed")).partition(
        ", "
    )
    than = "as" if warmer == "as warm" else "than"
    said = f"{fact.place} is {warmer} {than} {_probe_words(house, fact)}, {doubt}"
    if fact.sensor is None:
        said += f", as stated for {asked.when(at)}."
    else:
        days = timedelta(seconds=fact.measured_s) / DAY
        said += f", from {days:.1f} days of {fact.sensor} to {asked.when(at)}."
    now = house.feed(fact.place, Quantity.SUBSTRATE_TEMPERATURE)
    if now.source == "own probe":
        hanging = listed(now.sensors)
        said += f" It counts while {hanging} does not hang in {fact.place}."
    elif (now.place, now.quantity) != (fact.reference, fact.reference_quantity):
        said += f" It counts where {fact.place} goes by {fact.reference}:"
        said += f" now it goes by {now.place}."
    return asked.told(
        said,
        at,
        place=fact.place,
        quantity=fact.quantity.value,
        reference=fact.reference,
        reference_quantity=fact.reference_quantity.value,
        offset_k=offset,
        spread_k=spread,
        sensor=fact.sensor,
        since=iso_or_none(fact.since),
        until=iso_or_none(fact.until),
        pairs=fact.pairs,
        measured_s=fact.measured_s,
    )


def _probe_words(house: House, fact: PlaceSurveyed) -> str:
    """The probe that was compared with: of the shelf or room that holds the place."""
    reference = fact.reference
    if reference not in house.chain(fact.place):
        return f"the probe of {reference}"
    kind = house.places[reference].kind
    shelf_or_room = kind in (PlaceKind.SHELF, PlaceKind.ROOM, PlaceKind.INCUBATOR)
    word = kind.value if shelf_or_room else "holder"
    return f"its {word}'s probe ({reference})"
