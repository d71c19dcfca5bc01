"""What must be watched: bands of who lives where, brought to the probes that tell."""

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta

import msgspec

from monitor.alarms.alarm import Dweller
from monitor.alarms.defaults import DEADBAND, OFF_DELAY, ON_DELAY
from monitor.alarms.limits import Delays
from monitor.site.house import HAND, Cohort, Feed, House
from monitor.site.local import is_night
from monitor.site.site_file import Limit, Site
from monitor.site.species_file import Band, Library
from monitor.site.words import PlaceKind, Quantity

Range = tuple[float, float]


class Rule(msgspec.Struct, frozen=True):
    """
    One set of limits on a series, and for whom it stands.

    Attributes:
        key: Tells rules apart; the same limits keep the same key.
        tolerated: By day. Outside: alarm.
        danger: By day. Outside: urgent.
        night_tolerated: At night.
        night_danger: At night.
        delays: On-delay, off-delay and deadband.
        dwellers: Cohorts with these limits; () for a limit of the site.
    """

    key: str
    tolerated: Range | None
    danger: Range | None
    night_tolerated: Range | None
    night_danger: Range | None
    delays: Delays
    dwellers: tuple[Dweller, ...] = ()

    def at_time(self, *, night: bool) -> tuple[Range | None, Range | None]:
        """Tolerated and danger limits of day or night."""
        if night:
            return self.night_tolerated, self.night_danger
        return self.tolerated, self.danger


class Watch(msgspec.Struct, frozen=True):
    """Every rule on one quantity at the place of one probe."""

    place: str
    quantity: str
    rules: tuple[Rule, ...]


class SensorRule(msgspec.Struct, frozen=True):
    """
    What a sensor's silence means.

    Attributes:
        interval: How often it should be heard.
        dwellers: Cohorts that take their readings from it.
        alone: No other probe of the place, its shelf or its room can stand in.
        delicate: Eggs or pupae, or a stage that nobody may dig for, depend on it.
        kind: Of the place where it hangs.
        neighbours: Series that measure the same at the same place or around it.
    """

    sensor: str
    quantity: str
    place: str
    kind: PlaceKind
    interval: timedelta
    dwellers: tuple[Dweller, ...] = ()
    alone: bool = False
    delicate: bool = False
    needed: bool = False
    neighbours: tuple[tuple[str, str], ...] = ()


class Plan(msgspec.Struct, frozen=True):
    """
    All that the pure step must know about the house.

    Attributes:
        site: Keepers, rota, delays of escalation.
        watches: By (sensor, quantity): what its readings are held against.
        sensors: By (sensor, quantity): what its silence means.
        configuration: Hash of the accepted configuration.
        by_place: The watches again, by (place, quantity), with their series.
    """

    site: Site
    watches: Mapping[tuple[str, str], tuple[Watch, ...]]
    sensors: Mapping[tuple[str, str], SensorRule]
    configuration: str = ""
    by_place: Mapping[tuple[str, str], tuple[tuple[tuple[str, str], Watch], ...]] = {}

    def night(self, at: datetime) -> bool:
        """Whether it is night at the site."""
        return is_night(at, self.site.site.time_zone)


def make_plan(
    site: Site, library: Library, house: House, *, configuration: str = ""
) -> Plan:
    """
    Bring the bands of every cohort, and the limits of the site, to the probes.

    Args:
        site: The declared house.
        library: Species and templates.
        house: Where everything and everybody is now.
        configuration: Hash of the configuration, kept with every alarm.
    """
    gathered: dict[tuple[str, str], dict[str, list[_Claim]]] = {}
    for cohort in house.living():
        stage = library.stage(cohort.species, cohort.stage)
        for band in stage.bands if stage else ():
            if band.tolerated is None and band.danger is None:
                continue
            feed = house.feed(cohort.place, band.quantity, inside=band.of == "tub")
            dweller = _dweller(cohort, library)
            _claim(gathered, feed, _rule(site, band, feed), dweller, cohort)
            if feed.source != "own probe" and band.quantity in house.hands.get(
                cohort.place, ()
            ):
                by_hand = Feed(
                    (HAND + cohort.place,), band.quantity, cohort.place, "hand"
                )
                _claim(gathered, by_hand, _rule(site, band, by_hand), dweller, cohort)
    for limit in site.limits:
        feed = house.feed(limit.place, limit.quantity, inside=False)
        _claim(gathered, feed, _limit_rule(site, limit, feed), None, None)
    watches = {key: _watches(key[1], claims) for key, claims in gathered.items()}
    by_place: dict[tuple[str, str], list[tuple[tuple[str, str], Watch]]] = {}
    for series, watched in watches.items():
        for watch in watched:
            by_place.setdefault((watch.place, watch.quantity), []).append(
                (series, watch)
            )
    return Plan(
        site,
        watches,
        _sensor_rules(site, house, gathered),
        configuration,
        {key: tuple(found) for key, found in by_place.items()},
    )


class _Claim(msgspec.Struct):
    """Somebody wants a rule on a series at a place."""

    place: str
    rule: Rule
    dweller: Dweller | None
    cohort: Cohort | None


def _claim(
    gathered: dict[tuple[str, str], dict[str, list[_Claim]]],
    feed: Feed,
    rule: Rule,
    dweller: Dweller | None,
    cohort: Cohort | None,
) -> None:
    for sensor in feed.sensors:
        rules = gathered.setdefault((sensor, feed.quantity.value), {})
        rules.setdefault(rule.key, []).append(_Claim(feed.place, rule, dweller, cohort))


def _watches(quantity: str, claims: Mapping[str, list[_Claim]]) -> tuple[Watch, ...]:
    """One watch a place; rules with the same limits are one rule for all of them."""
    rules: dict[str, list[Rule]] = {}
    for claimed in claims.values():
        first = claimed[0]
        dwellers = tuple(c.dweller for c in claimed if c.dweller is not None)
        rule = msgspec.structs.replace(first.rule, dwellers=dwellers)
        rules.setdefault(first.place, []).append(rule)
    return tuple(Watch(place, quantity, tuple(r)) for place, r in rules.items())


def delays_for(
    site: Site,
    quantity: Quantity,
    *,
    on: timedelta | None = None,
    off: timedelta | None = None,
    deadband: float | None = None,
) -> Delays:
    """Delays of a quantity: the species', else the site's, else the defaults."""
    table = site.alarms
    return Delays(
        on or table.on_delay.get(quantity) or ON_DELAY[quantity],
        off or table.off_delay.get(quantity) or OFF_DELAY[quantity],
        deadband
        if deadband is not None
        else table.deadband.get(quantity, DEADBAND[quantity]),
    )


def _key(quantity: Quantity, *parts: object) -> str:
    return "|".join([quantity.value, *(_spell(p) for p in parts)])


def _spell(part: object) -> str:
    if isinstance(part, tuple):
        return "..".join(f"{x:g}" for x in part)
    if isinstance(part, Delays):
        on, off = part.on.total_seconds(), part.off.total_seconds()
        return f"{on:g}/{off:g}/{part.deadband:g}"
    return "-" if part is None else str(part)


def _rule(site: Site, band: Band, feed: Feed) -> Rule:
    delays = delays_for(
        site,
        feed.quantity,
        on=band.on_delay,
        off=band.off_delay,
        deadband=band.deadband,
    )
    night = band.night
    night_tolerated = (night.tolerated if night else None) or band.tolerated
    night_danger = (night.danger if night else None) or band.danger
    limits = (band.tolerated, band.danger, night_tolerated, night_danger)
    return Rule(_key(feed.quantity, *limits, delays), *limits, delays)


def _limit_rule(site: Site, limit: Limit, feed: Feed) -> Rule:
    delays = delays_for(site, feed.quantity)
    limits = (limit.tolerated, limit.danger, limit.tolerated, limit.danger)
    return Rule(_key(feed.quantity, *limits, delays, limit.place), *limits, delays)


def _dweller(cohort: Cohort, library: Library) -> Dweller:
    species = library.species.get(cohort.species)
    stage = species.stage(cohort.stage) if species else None
    name = species.species.name if species else cohort.species
    if cohort.species in library.provisional:
        name += " (provisional)"
    return Dweller(
        cohort.id,
        name,
        cohort.stage,
        "colony" if cohort.colony else str(cohort.count),
        cohort.place,
        stage.acts if stage else (),
        stage.caution if stage else None,
    )


DELICATE = ("egg", "pupa", "prepupa", "cocoon", "chrysalis")
"""Stages that take no second chance: the whole name, or what follows a hyphen."""


def _sensor_rules(
    site: Site,
    house: House,
    gathered: Mapping[tuple[str, str], Mapping[str, list[_Claim]]],
) -> dict[tuple[str, str], SensorRule]:
    rules: dict[tuple[str, str], SensorRule] = {}
    for sensor in site.sensors:
        key = (sensor.id, sensor.quantity.value)
        place = house.probes[sensor.id].place
        kind = house.places[place].kind if place in house.places else PlaceKind.ROOM
        claims = [c for claimed in gathered.get(key, {}).values() for c in claimed]
        dwellers = {c.dweller.cohort: c.dweller for c in claims if c.dweller}
        neighbours = _neighbours(site, house, sensor.id, sensor.quantity, place)
        rules[key] = SensorRule(
            sensor.id,
            sensor.quantity.value,
            place,
            kind,
            sensor.interval,
            tuple(dwellers.values()),
            alone=not neighbours,
            delicate=any(_is_delicate(d.stage) for d in dwellers.values()),
            needed=bool(claims),
            neighbours=neighbours,
        )
    return rules


def _is_delicate(stage: str) -> bool:
    return stage in DELICATE or stage.rsplit("-", 1)[-1] in DELICATE


def _neighbours(
    site: Site, house: House, sensor: str, quantity: Quantity, place: str
) -> tuple[tuple[str, str], ...]:
    """Series that could stand in: same or like quantity, same place or around it."""
    wanted: Iterable[Quantity] = (
        (Quantity.SUBSTRATE_TEMPERATURE, Quantity.AIR_TEMPERATURE)
        if quantity is Quantity.SUBSTRATE_TEMPERATURE
        else (quantity,)
    )
    around = house.chain(place)
    return tuple(
        (s.id, s.quantity.value)
        for s in site.sensors
        if s.id != sensor
        and s.quantity in wanted
        and house.probes[s.id].place in around
    )
