"""Probes: where they hang, when they were last heard, whom they serve."""

from monitor.desk.asked import Asked
from monitor.desk.now import is_old
from monitor.desk.said import iso, iso_or_none, unit_of, unknown
from monitor.desk.view import Outcome
from monitor.errors import RefusedError, UsageError
from monitor.site.house import House
from monitor.site.journal import ProbeMoved
from monitor.site.words import Quantity


def move(asked: Asked) -> Outcome:
    """
    Hang a sensor elsewhere.

    Raises:
        UsageError: If sensor, place or time is wrong.
        RefusedError: If it hangs there already.
    """
    name, probes = asked.need("id", "the sensor"), asked.view.house.probes
    if name not in probes:
        raise UsageError(unknown("sensor", name, sorted(probes)))
    probe, place, at = probes[name], asked.place("to", "where to"), asked.at()
    if probe.place == place.id:
        raise RefusedError(f"{name} hangs in {place.id} already")
    if probe.stays and at < probe.stays[-1].since:
        begun = asked.local(probe.stays[-1].since)
        raise UsageError(
            f"--at: {asked.local(at)} is before {name} came to {probe.place}, {begun}"
        )
    said = (
        f"{name} hangs in {place.id} since {asked.when(at)}; before in {probe.place}."
    )
    return Outcome(
        asked.told(said, at, id=name, place=place.id),
        entries=(asked.entry(ProbeMoved(name, place.id), at),),
    )


def list_sensors(asked: Asked) -> Outcome:
    """Answer ``sensor list``."""
    view = asked.view
    served = _served(view.house)
    rows = []
    for sensor in view.site.sensors:
        probe = view.house.probes[sensor.id]
        reading = view.latest.get((sensor.id, sensor.quantity.value))
        age = view.now - reading.time if reading else None
        rows.append(
            {
                "id": sensor.id,
                "place": probe.place,
                "quantity": sensor.quantity.value,
                "unit": unit_of(sensor.quantity, sensor.unit).value,
                "interval_s": sensor.interval.total_seconds(),
                "value": reading.value if reading else None,
                "time": iso_or_none(reading.time if reading else None),
                "age_s": age.total_seconds() if age is not None else None,
                "old": age is None or is_old(age, sensor.interval),
                "feeds": served.get(sensor.id, []),
            }
        )
    return Outcome(
        {
            "time": iso(view.now),
            "time_zone": asked.zone.key,
            "daemon": {"state": view.health.state},
            "sensors": rows,
        }
    )


def _served(house: House) -> dict[str, list[str]]:
    """The inhabited places that take their readings from each sensor."""
    found: dict[str, list[str]] = {}
    quantities: set[Quantity] = {probe.quantity for probe in house.probes.values()}
    inhabited = {cohort.place for cohort in house.living()}
    for place in sorted(inhabited & house.places.keys()):
        around = house.chain(place)
        here = {p.quantity for p in house.probes.values() if p.place in around}
        for quantity in here & quantities:
            for sensor in house.feed(place, quantity).sensors:
                if place not in found.setdefault(sensor, []):
                    found[sensor].append(place)
    return found
