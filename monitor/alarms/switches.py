"""
Rules for what is on or off: they stand in no file, for every house wants the same.

Mains that are gone, water on the floor, a door that stays open, a heater without
current while it is cold: each is judged by a condition of its own.
"""

import math
from collections.abc import Iterator

import msgspec

from monitor.alarms.rule import (
    Gate,
    Perhaps,
    Range,
    Rule,
    Watch,
    delays_for,
    dwellers_of,
    rule_key,
)
from monitor.site.house import Feed, House
from monitor.site.site_file import Sensor, Site
from monitor.site.species_file import Library
from monitor.site.words import Quantity, Unit

MAINS_GONE = "mains-gone"
LEAK_WET = "leak-wet"
DOOR_OPEN = "door-open"
HEATER_GONE = "heater-current-gone"

NO_CURRENT_A = 0.05
"""A clamp below this measures nothing that heats: 12 W on 230 V. Own choice. [A]"""

_CONDITIONS = {
    Quantity.MAINS: MAINS_GONE,
    Quantity.LEAK: LEAK_WET,
    Quantity.DOOR: DOOR_OPEN,
    Quantity.HEATER: HEATER_GONE,
}
_OFF: Range = (0.0, 0.0)
_ON: Range = (1.0, 1.0)
_DRAWS: Range = (NO_CURRENT_A, math.inf)
_USUAL = {Quantity.LEAK: _OFF, Quantity.DOOR: _OFF}


def switch_watches(
    site: Site, library: Library, house: House, perhaps: Perhaps
) -> Iterator[tuple[tuple[str, str], Watch]]:
    """
    Make the rules of every sensor of mains, leak, door and heater.

    Args:
        site: The declared house.
        library: Species, for the targets that a heater serves.
        house: Where everything and everybody is now.
        perhaps: Unseen later stages that cohorts may be in.

    Yields:
        Each series with its watch. A heater whose place has no air probe, or nobody
        who names a target, gets none: nothing tells whether it ought to be on.
    """
    for sensor in site.sensors:
        condition = _CONDITIONS.get(sensor.quantity)
        if condition is None:
            continue
        place = house.probes[sensor.id].place
        gate = None
        if sensor.quantity is Quantity.HEATER:
            gate = _cold(site, library, house, place)
            if gate is None:
                continue
        rule = _rule(site, sensor, condition, gate)
        around = _room(house, place) if condition == MAINS_GONE else place
        inside = (c for c in house.living() if around in house.chain(c.place))
        dwellers = dwellers_of(inside, library, perhaps)
        rule = msgspec.structs.replace(rule, dwellers=dwellers)
        quantity = sensor.quantity.value
        yield (sensor.id, quantity), Watch(place, quantity, (rule,))


def _rule(site: Site, sensor: Sensor, condition: str, gate: Gate | None) -> Rule:
    quantity = sensor.quantity
    # half on is no state: a deadband would never let it come back
    delays = delays_for(site, quantity, deadband=0.0)
    usual = _USUAL.get(quantity, _ON)
    if sensor.unit is Unit.AMPERE:
        usual = _DRAWS
    level = (gate.below, gate.night_below) if gate else None
    key = rule_key(quantity, condition, usual, delays, level)
    return Rule(key, delays, condition=condition, usual=usual, gate=gate)


def _room(house: House, place: str) -> str:
    return (house.chain(place) or (place,))[-1]


def _cold(site: Site, library: Library, house: House, place: str) -> Gate | None:
    """Below which air a place is cold, and whose word that is."""
    feed = house.feed(place, Quantity.AIR_TEMPERATURE, inside=False)
    if not feed.sensors or feed.source == "hand":
        return None
    lows = _limit_of(site, feed.place) or _lowest(library, house, feed)
    if lows is None:
        return None
    series = tuple((sensor, feed.quantity.value) for sensor in feed.sensors)
    return Gate(series, *lows)


def _limit_of(site: Site, place: str) -> tuple[float, float] | None:
    """The target of the place itself, by day and at night."""
    for limit in site.limits:
        if limit.place == place and limit.quantity is Quantity.AIR_TEMPERATURE:
            low = (limit.target or limit.tolerated)[0]
            return low, low
    return None


def _lowest(library: Library, house: House, feed: Feed) -> tuple[float, float] | None:
    """The lowest target of those who live by this air: who wants more is no measure."""
    days: list[float] = []
    nights: list[float] = []
    for cohort in house.living():
        stage = library.stage(cohort.species, cohort.stage)
        for band in stage.bands if stage else ():
            by = house.feed(cohort.place, band.quantity, inside=band.of == "tub")
            if (by.sensors, by.quantity) != (feed.sensors, feed.quantity):
                continue
            for found, night in ((days, False), (nights, True)):
                limits = band.limits(night=night)
                wanted = limits.target or limits.tolerated
                if wanted is not None:
                    found.append(wanted[0])
    return (min(days), min(nights)) if days and nights else None
