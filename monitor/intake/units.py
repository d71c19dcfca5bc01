"""From the unit of a sensor to the canonical one, and what no sensor can mean."""

from collections.abc import Callable

from monitor.site.site_file import Sensor
from monitor.site.words import SWITCHES, TEMPERATURES, Quantity, Unit

__all__ = [
    "CLIPPED",
    "SATURATED_PERCENT",
    "SWITCHES",
    "Convert",
    "Judge",
    "conversion",
    "is_switch",
    "judge",
]

_GASES = frozenset({Quantity.CARBON_DIOXIDE, Quantity.AMMONIA})

COLDEST_C, HOTTEST_C = -55.0, 125.0
"""Range of the DS18B20, the widest of the probes in use (its data sheet). [degC]"""

CLIPPED = frozenset({Quantity.RELATIVE_HUMIDITY})
"""What is accepted a little above its end and then set to it."""
SATURATED_PERCENT = 100.0
WETTEST_PERCENT = 104.0
"""
Saturated capacitive sensors read a little over 100 %: accepted to 104, set to 100.

Source: H. Gmoser, CBS/OPAG-IOS ET AWS-1/Doc.9(2), 2002.
"""

_SIGNATURES = {
    -127.0: "the sign of a disconnected probe: check plug and cable",
    127.94: "the sign of a conversion that failed: check the supply of the probe",
    -254.0: "the sign of an open thermocouple: check plug and cable",
    -253.0: "the sign of a thermocouple short to ground: check the cable",
    -252.0: "the sign of a thermocouple short to supply: check the cable",
}
"""
Fault values that common firmware sends as a temperature. [degC]

Source: public driver sources and the read-out notes listed in sensor_facts.
"""
_SIGNATURE_NEAR = 0.02

Convert = Callable[[float], float]
Judge = Callable[[float], str | None]


_TO_CANONICAL: dict[Unit, Convert] = {
    Unit.DEG_F: lambda value: (value - 32.0) / 1.8,
    Unit.KELVIN: lambda value: value - 273.15,
    Unit.FRACTION: lambda value: value * 100.0,
}
"""The units that are not canonical themselves; site_file knows which fit where."""


def is_switch(quantity: Quantity, unit: Unit | None) -> bool:
    """Whether the values are 0 and 1, so that true and false mean something."""
    return quantity in SWITCHES and unit is not Unit.AMPERE


def conversion(unit: Unit | None) -> Convert | None:
    """Find how values in a unit become canonical; None where they are already."""
    return None if unit is None else _TO_CANONICAL.get(unit)


def judge(sensor: Sensor) -> Judge:
    """Find what tells why a canonical value is impossible, or None if it is not."""
    quantity = sensor.quantity
    if quantity in TEMPERATURES:
        return _temperature
    if quantity is Quantity.RELATIVE_HUMIDITY:
        return _humidity
    if quantity is Quantity.SUBSTRATE_MOISTURE:
        return _moisture
    if quantity in _GASES:
        return _gas
    return _switch if is_switch(quantity, sensor.unit) else _current


def _temperature(value: float) -> str | None:
    if COLDEST_C <= value <= HOTTEST_C:
        return None
    for sign, meaning in _SIGNATURES.items():
        if abs(value - sign) <= _SIGNATURE_NEAR:
            return f"{value:g} degC is {meaning}."
    return (
        f"{value:g} degC is outside the range of any probe, {COLDEST_C:g} to "
        f"{HOTTEST_C:g} degC: check the probe and the unit of the sensor."
    )


def _humidity(value: float) -> str | None:
    if 0.0 <= value <= WETTEST_PERCENT:
        return None
    return (
        f"{value:g} % relative humidity is outside 0 to {WETTEST_PERCENT:g} %: "
        "check the probe and the unit of the sensor."
    )


def _moisture(value: float) -> str | None:
    if 0.0 <= value <= 100.0:  # noqa: PLR2004 - wet basis: water is at most all of it
        return None
    return (
        f"{value:g} % moisture is outside 0 to 100 % on wet basis: "
        "check the probe and the unit of the sensor."
    )


def _gas(value: float) -> str | None:
    if 0.0 <= value <= 1e6:  # noqa: PLR2004 - parts per million: at most a million
        return None
    return (
        f"{value:g} ppm is outside 0 to 1000000 ppm: "
        "check the probe and the unit of the sensor."
    )


def _switch(value: float) -> str | None:
    if value in (0.0, 1.0):
        return None
    return (
        f"{value:g} is neither 0 (off) nor 1 (on): "
        "check what the sensor sends, or set its unit."
    )


def _current(value: float) -> str | None:
    if value >= 0.0:
        return None
    return f"{value:g} A is below 0 A: check the clamp of the sensor."
