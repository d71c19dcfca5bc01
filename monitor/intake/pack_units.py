"""
SenML's units and the quantities that are told in them.

Symbols: IANA registry "SenML Units" (RFC 8428, section 12.1) and "Secondary Units"
(RFC 8798: ppm, mA, /100). "%" is deprecated there and is no percentage but the same
ratio as "/" (RFC 8428, section 12.1, note 2): 0.62, not 62.
"""

from collections.abc import Mapping

from monitor.intake.listener import Listener
from monitor.intake.units import Convert
from monitor.site.words import TEMPERATURES, Quantity

GASES = frozenset({Quantity.CARBON_DIOXIDE, Quantity.AMMONIA})
MOISTURE = Quantity.SUBSTRATE_MOISTURE
HUMIDITY = Quantity.RELATIVE_HUMIDITY

OTHERS = frozenset(
    """
    m kg g s cd mol Hz rad sr N Pa J W C V F Ohm S Wb T H lm lx Bq Gy Sv kat m2 m3 l
    m/s m/s2 m3/s l/s W/m2 cd/m2 bit bit/s lat lon pH dB dBW Bspl count %EL EL 1/s
    1/min beat/min beats S/m B VA VAs var vars J/m kg/m3 deg ms min h MHz kW kVA kvar
    Ah Wh kWh varh kvarh kVAh Wh/km KiB GB Mbit/s B/s MB/s mV dBm ug/m3 mm/h m/h hPa
    mm cm km km/h
    """.split()  # noqa: SIM905 - a table reads better so
)
"""Registered units of what no sensor here measures."""

MEANT: Mapping[str, str] = {
    "c": "Cel",
    "°c": "Cel",
    "degc": "Cel",
    "celsius": "Cel",
    "cel": "Cel",
    "k": "K",
    "kelvin": "K",
    "rh": "%RH",
    "%rh": "%RH",
    "percent": "%RH",
    "a": "A",
    "amp": "A",
    "ampere": "A",
    "ma": "mA",
}
"""What devices write, in lower case, and what they should."""


def _same(value: float) -> float:
    return value


def _percent(value: float) -> float:
    return value * 100.0


_MEASURES: Mapping[str, Mapping[Quantity, Convert]] = {
    "Cel": dict.fromkeys(TEMPERATURES, _same),
    "K": dict.fromkeys(TEMPERATURES, lambda value: value - 273.15),
    "%RH": {HUMIDITY: _same},
    "/": {MOISTURE: _percent, HUMIDITY: _percent}
    | dict.fromkeys(GASES, lambda value: value * 1e6),
    "/100": {MOISTURE: _same, HUMIDITY: _same},
    "ppm": dict.fromkeys(GASES, _same),
}
_CURRENTS: Mapping[str, Convert] = {"A": _same, "mA": lambda value: value / 1000.0}
_ONLY_BY_NAME = {("/", HUMIDITY), ("/100", HUMIDITY), *(("/", gas) for gas in GASES)}
"""A plain ratio may be of many things: its unit alone points at none of these."""


def into(listener: Listener, unit: str) -> Convert | None:
    """
    Find how a value in a unit of SenML becomes canonical for a sensor.

    Args:
        listener: The sensor.
        unit: As the registry spells it; not "".

    Returns:
        The conversion, or None where the sensor is never told in this unit.
    """
    unit = "/" if unit == "%" else unit
    if listener.switch:
        return _same if unit == "/" else None
    measure = _MEASURES.get(unit, {}).get(listener.quantity)
    if measure is not None:
        return measure
    # what is neither a measure nor on and off is a current
    known = any(listener.quantity in table for table in _MEASURES.values())
    return None if known else _CURRENTS.get(unit)


def points_at(listener: Listener, unit: str) -> bool:
    """Whether the unit of a record alone may choose this sensor."""
    plain = "/" if unit == "%" else unit
    if (plain, listener.quantity) in _ONLY_BY_NAME:
        return False
    return into(listener, unit) is not None
