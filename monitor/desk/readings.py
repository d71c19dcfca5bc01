"""Readings by hand: a value, or minimum and maximum since the reset."""

from datetime import datetime, timedelta

from monitor.desk.asked import Asked
from monitor.desk.bands import tolerated
from monitor.desk.said import UNITS, figure, unknown, words
from monitor.desk.view import Outcome, View
from monitor.errors import UsageError
from monitor.heart.events import Reading
from monitor.intake.units import SATURATED_PERCENT, conversion, judge
from monitor.site.house import HAND
from monitor.site.journal import HandReading
from monitor.site.references import units_of
from monitor.site.site_file import Sensor
from monitor.site.words import TEMPERATURES, Quantity, Unit

_AIR_AND_SUBSTRATE = TEMPERATURES


def add(asked: Asked) -> Outcome:
    """
    Take a reading by hand.

    The journal keeps all that was read. The pure step is given one value, since a
    thermometer with minimum and maximum cannot say when they were: the value where
    there is one and neither extreme is worse, else the extreme that is farther
    outside what those who live there tolerate, else (both inside) the maximum. So
    an extreme outside raises the alarm, and one alarm is enough for both.

    Raises:
        UsageError: If place, quantity, unit, value or time is wrong.
        RefusedError: If the place was scrapped.
    """
    place, quantity, at = asked.place("place"), _quantity(asked), asked.at()
    sensor = _as_sensor(asked, quantity)
    value = _figure(asked, "value", sensor)
    low, high = _figure(asked, "minimum", sensor), _figure(asked, "maximum", sensor)
    since = asked.instant("since")
    _check_together(asked, value, low, high, since=since, at=at)
    read = HandReading(
        place.id, quantity, value, low, high, since, asked.text("thermometer")
    )
    told = _worst(asked.view, place.id, quantity, value, (low, high))
    unit = UNITS[quantity]
    parts = [] if value is None else [f"{figure(value)} {unit}"]
    if low is not None and high is not None:
        parts.append(f"lowest {figure(low)}, highest {figure(high)} {unit}")
        if since is not None:
            parts[-1] += f" since {asked.local(since)}"
    said = f"{place.id}: {words(quantity)} {', '.join(parts)} at {asked.when(at)}."
    reading = Reading(HAND + place.id, quantity.value, at, told, by_hand=True)
    result = asked.told(
        said,
        at,
        sensor=reading.sensor,
        quantity=quantity.value,
        value=told,
        unit=unit.value,
    )
    return Outcome(result, entries=(asked.entry(read, at),), readings=(reading,))


def _quantity(asked: Asked) -> Quantity:
    name = asked.need("quantity", "the quantity")
    known = [q.value for q in Quantity]
    if name not in known:
        raise UsageError(f"--quantity: {unknown('quantity', name, known)}")
    return Quantity(name)


def _as_sensor(asked: Asked, quantity: Quantity) -> Sensor:
    """A thermometer in a hand judges units and values as a probe does."""
    name = asked.text("unit")
    known = sorted(unit.value for unit in units_of(quantity))
    if name is not None and name not in known:
        raise UsageError(
            f"--unit: {words(quantity)} is not read in {name!r}: use {', '.join(known)}"
        )
    return Sensor(
        id="by-hand",
        place="by-hand",
        quantity=quantity,
        interval=timedelta(days=1),
        unit=Unit(name) if name else None,
    )


def _figure(asked: Asked, name: str, sensor: Sensor) -> float | None:
    """A value in the canonical unit, possible for its quantity."""
    given = asked.number(name)
    if given is None:
        return None
    convert = conversion(sensor.unit)
    value = convert(given) if convert else given
    why = judge(sensor)(value)
    if sensor.quantity is Quantity.RELATIVE_HUMIDITY and not value <= SATURATED_PERCENT:
        # a saturated probe may say 102; a person who reads it writes 100
        why = f"{value:g} % relative humidity is outside 0 to {SATURATED_PERCENT:g} %"
    if why:
        raise UsageError(f"--{name}: {why}")
    return value


def _check_together(
    asked: Asked,
    value: float | None,
    low: float | None,
    high: float | None,
    *,
    since: datetime | None,
    at: datetime,
) -> None:
    if (low is None) != (high is None):
        raise UsageError("give both --minimum and --maximum, or neither")
    if low is None or high is None:
        if value is None:
            raise UsageError("no reading: give --value, or --minimum and --maximum")
        if since is not None:
            raise UsageError("--since belongs to --minimum and --maximum")
        return
    if not low <= high:
        raise UsageError(
            f"--minimum {low:g} is above --maximum {high:g}: are they swapped?"
        )
    if value is not None and not low <= value <= high:
        raise UsageError(
            f"--value {value:g} is not between --minimum {low:g} and --maximum {high:g}"
        )
    if since is not None and since > at:
        raise UsageError(
            f"--since {asked.local(since)} is after the reading, {asked.local(at)}"
        )


def _worst(
    view: View,
    place: str,
    quantity: Quantity,
    value: float | None,
    extremes: tuple[float | None, float | None],
) -> float:
    """The one value that the step is given: see `add`."""
    low, high = extremes
    plain = value if value is not None else high
    if plain is None:
        raise ValueError("neither a value nor a maximum")
    bands = _bands(view, place, quantity)
    found, distance = plain, _outside(plain, bands)
    for extreme in (high, low):
        if extreme is not None and _outside(extreme, bands) > distance:
            found, distance = extreme, _outside(extreme, bands)
    return found


def _outside(value: float, bands: list[tuple[float, float]]) -> float:
    """How far outside its worst band a value is; 0 inside all. In its unit."""
    return max((max(b[0] - value, value - b[1], 0.0) for b in bands), default=0.0)


def _bands(view: View, place: str, quantity: Quantity) -> list[tuple[float, float]]:
    """Every tolerated band that a hand reading at a place is judged by."""
    # air in a tub stands in for its substrate, as House.feed has it
    told = {quantity}
    if quantity is Quantity.AIR_TEMPERATURE:
        told |= _AIR_AND_SUBSTRATE
    found = [
        limit.tolerated
        for limit in view.site.limits
        if limit.place == place and limit.quantity is quantity
    ]
    for cohort in view.house.dwellers(place):
        stage = view.library.stage(cohort.species, cohort.stage)
        for band in stage.bands if stage else ():
            if band.quantity in told:
                day, night = (tolerated(band, night=n) for n in (False, True))
                found += [limits for limits in (day, night) if limits is not None]
    return found
