"""What must be watched: bands of who lives where, brought to the probes that tell."""

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta

import msgspec

from monitor.alarms.alarm import Dweller
from monitor.alarms.rule import (
    Gate,
    Perhaps,
    Range,
    Rule,
    Watch,
    delays_for,
    dweller_of,
    rule_key,
    stages_of,
)
from monitor.alarms.switches import switch_watches
from monitor.site.house import HAND, Cohort, Feed, House
from monitor.site.local import is_night
from monitor.site.site_file import Limit, Site
from monitor.site.species_file import Band, Library
from monitor.site.words import PlaceKind, Quantity

__all__ = [
    "DELICATE",
    "Gate",
    "Perhaps",
    "Plan",
    "Range",
    "Rule",
    "SensorRule",
    "Watch",
    "delays_for",
    "make_plan",
]


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
    site: Site,
    library: Library,
    house: House,
    *,
    configuration: str = "",
    perhaps: Perhaps | None = None,
) -> Plan:
    """
    Bring the bands of every cohort, and the limits of the site, to the probes.

    Args:
        site: The declared house.
        library: Species and templates.
        house: Where everything and everybody is now.
        configuration: Hash of the configuration, kept with every alarm.
        perhaps: Unseen later stages that cohorts may be in: the bands of all of them
            are watched. None for none.
    """
    maybe = perhaps or {}
    gathered: dict[tuple[str, str], dict[str, list[_Claim]]] = {}
    for cohort in house.living():
        later = maybe.get(cohort.id, ())
        dweller = dweller_of(cohort, library, perhaps=later)
        stages = stages_of(cohort, library, later)
        for band in (band for stage in stages for band in stage.bands):
            if band.tolerated is None and band.danger is None:
                continue
            feed = house.feed(cohort.place, band.quantity, inside=band.of == "tub")
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
    for key, watch in switch_watches(site, library, house, maybe):
        watches[key] = (*watches.get(key, ()), watch)
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
        claims = rules.setdefault(rule.key, [])
        # stages that a cohort may be in often share a band: it lives there once
        if cohort is None or not claims or claims[-1].cohort is not cohort:
            claims.append(_Claim(feed.place, rule, dweller, cohort))


def _watches(quantity: str, claims: Mapping[str, list[_Claim]]) -> tuple[Watch, ...]:
    """One watch a place; rules with the same limits are one rule for all of them."""
    rules: dict[str, list[Rule]] = {}
    for claimed in claims.values():
        first = claimed[0]
        dwellers = tuple(c.dweller for c in claimed if c.dweller is not None)
        rule = msgspec.structs.replace(first.rule, dwellers=dwellers)
        rules.setdefault(first.place, []).append(rule)
    return tuple(Watch(place, quantity, tuple(r)) for place, r in rules.items())


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
    return Rule(rule_key(feed.quantity, *limits, delays), delays, *limits)


def _limit_rule(site: Site, limit: Limit, feed: Feed) -> Rule:
    delays = delays_for(site, feed.quantity)
    limits = (limit.tolerated, limit.danger, limit.tolerated, limit.danger)
    key = rule_key(feed.quantity, *limits, delays, limit.place)
    return Rule(key, delays, *limits)


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
        neighbours = _neighbours(house, sensor.id, sensor.quantity, place)
        rules[key] = SensorRule(
            sensor.id,
            sensor.quantity.value,
            place,
            kind,
            sensor.interval,
            tuple(dwellers.values()),
            alone=not neighbours,
            delicate=any(
                _is_delicate(stage)
                for d in dwellers.values()
                for stage in (d.stage, *d.perhaps)
            ),
            needed=bool(claims),
            neighbours=neighbours,
        )
    return rules


def _is_delicate(stage: str) -> bool:
    return stage in DELICATE or stage.rsplit("-", 1)[-1] in DELICATE


def _neighbours(
    house: House, sensor: str, quantity: Quantity, place: str
) -> tuple[tuple[str, str], ...]:
    """Series that could stand in: same or like quantity, same place or around it."""
    wanted: Iterable[Quantity] = (
        (Quantity.SUBSTRATE_TEMPERATURE, Quantity.AIR_TEMPERATURE)
        if quantity is Quantity.SUBSTRATE_TEMPERATURE
        else (quantity,)
    )
    return tuple(
        (other, like.value)
        for here in house.chain(place)
        for like in wanted
        for other in house.hung.get((here, like), ())
        if other != sensor
    )
