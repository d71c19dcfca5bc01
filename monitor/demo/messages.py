"""How the simulated devices speak: payloads in the unit and form of site.toml."""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Any

import msgspec

from monitor.demo.plan import BARE
from monitor.site.site_file import Sensor
from monitor.site.words import Unit

_TO_UNIT: Mapping[Unit, Callable[[float], float]] = {
    Unit.DEG_F: lambda c: c * 1.8 + 32.0,
    Unit.KELVIN: lambda c: c + 273.15,
    Unit.FRACTION: lambda percent: percent / 100.0,
}


_WORDS = {0.0: "off", 1.0: "on"}


class Sent(msgspec.Struct, frozen=True):
    """One message for the broker."""

    topic: str
    payload: bytes


def messages(
    values: Sequence[tuple[Sensor, float]], measured_at: datetime
) -> list[Sent]:
    """
    Put the values that were measured together into messages.

    Sensors with a pointer that share a topic are one device with one document.

    Args:
        values: Sensors and what they show, in the canonical unit.
        measured_at: When all of them measured. UTC.
    """
    time = measured_at.isoformat().replace("+00:00", "Z")
    sent: list[Sent] = []
    documents: dict[str, dict[str, Any]] = {}
    for sensor, canonical in values:
        value = spoken(sensor, canonical)
        if sensor.pointer:
            document = documents.setdefault(sensor.effective_topic, {"time": time})
            _put(document, sensor.pointer, value)
        elif sensor.id in BARE:
            word = _WORDS[value] if sensor.unit is Unit.ON_OFF else f"{value:g}"
            sent.append(Sent(sensor.effective_topic, word.encode()))
        else:
            body = msgspec.json.encode({"value": value, "time": time})
            sent.append(Sent(sensor.effective_topic, body))
    sent.extend(Sent(t, msgspec.json.encode(d)) for t, d in documents.items())
    return sent


def spoken(sensor: Sensor, canonical: float) -> float:
    """A value in the unit that the device uses."""
    convert = None if sensor.unit is None else _TO_UNIT.get(sensor.unit)
    return canonical if convert is None else round(convert(canonical), 4)


def _put(document: dict[str, Any], pointer: str, value: float) -> None:
    *path, last = pointer.split("/")[1:]
    for token in path:
        document = document.setdefault(token, {})
    document[last] = value
