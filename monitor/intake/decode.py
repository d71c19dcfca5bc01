"""From the bytes of a message to readings, or to the reason why there is none."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import NamedTuple

import msgspec
from paho.mqtt.matcher import MQTTMatcher

from monitor.heart.events import Reading
from monitor.intake.found import (
    EARLIEST,
    KEPT_BYTES,
    LONGEST_NUMBER,
    MOST_AHEAD,
    Decoded,
    NoReadingError,
    Origin,
    Rejected,
    checked,
    document,
    number,
    rejected,
    shown,
    shown_json,
)
from monitor.intake.listener import Listener, listener
from monitor.intake.pack import PackReader
from monitor.intake.pointer import NotThereError, follow
from monitor.site.site_file import Sensor

__all__ = [
    "EARLIEST",
    "KEPT_BYTES",
    "LONGEST_NUMBER",
    "LONGEST_PAYLOAD",
    "MOST_AHEAD",
    "Decoded",
    "Decoder",
    "Origin",
    "Rejected",
]

LONGEST_PAYLOAD = 64 * 1024
"""Longer messages are no measurements. [bytes]"""

_NUMBER_BEGINS = frozenset(b"+-.0123456789")
_TOPICS_REMEMBERED = 4096
_LONGEST_WORD = 16

Raw = float | bool | str


class _Timed(msgspec.Struct):
    """The contract's own object; further members are none of our business."""

    value: float | bool | str
    time: datetime | None = None


_object = msgspec.json.Decoder(_Timed)


class _Audience(NamedTuple):
    """Who listens to a topic: sensors with a pointer, and those without."""

    pointing: tuple[Listener, ...]
    plain: tuple[Listener, ...]


class Decoder:
    """Knows which sensors listen to which topic, and how each of them speaks."""

    def __init__(self, sensors: Sequence[Sensor]) -> None:
        exact: dict[str, list[Listener]] = {}
        wild: dict[str, list[Listener]] = {}
        for sensor in sensors:
            heard = listener(sensor)
            table = wild if heard.wild else exact
            table.setdefault(sensor.effective_topic, []).append(heard)
        self._exact = {topic: _audience(found) for topic, found in exact.items()}
        self._matcher = MQTTMatcher()  # type: ignore[no-untyped-call]
        for topic, listeners in wild.items():
            self._matcher[topic] = listeners
        self._matched: dict[str, _Audience | None] = {}
        self._packs = PackReader()

    def decode(
        self, topic: str, payload: bytes, arrived_at: datetime
    ) -> tuple[Decoded | Rejected, ...]:
        """
        Read a message for every sensor that listens to its topic. Never raises.

        Args:
            topic: Of the message.
            payload: Its bytes.
            arrived_at: When it came; the time of a payload that tells none. UTC.

        Returns:
            Readings and refusals, at least one of both.
        """
        audience = self._exact.get(topic) or self._wild(topic)
        if audience is None:
            reason = (
                "No sensor listens to this topic: declare one in site.toml, "
                "or correct the topic of the device."
            )
            return (rejected(topic, payload, reason, arrived_at),)
        if len(payload) > LONGEST_PAYLOAD:
            reason = (
                f"The payload has {len(payload)} bytes, more than the "
                f"{LONGEST_PAYLOAD} that are read: send one value per message, "
                "or smaller packs."
            )
            return (rejected(topic, payload, reason, arrived_at),)
        pointing, plain = audience
        if not plain:
            return tuple(_one(one, topic, payload, arrived_at) for one in pointing)
        if payload.lstrip()[:1] == b"[":
            told = self._packs.decode(plain, topic, payload, arrived_at)
        elif len(plain) == 1:
            told = (_one(plain[0], topic, payload, arrived_at),)
        else:
            told = (_nobodys(plain, topic, payload, arrived_at),)
        if not pointing:
            return told
        return *(_one(one, topic, payload, arrived_at) for one in pointing), *told

    def _wild(self, topic: str) -> _Audience | None:
        if topic in self._matched:
            return self._matched[topic]
        matches: Iterator[list[Listener]]
        matches = self._matcher.iter_match(topic)  # type: ignore[no-untyped-call]
        listeners = [one for match in matches for one in match]
        found = _audience(listeners) if listeners else None
        if len(self._matched) >= _TOPICS_REMEMBERED:
            self._matched.clear()
        self._matched[topic] = found
        return found


def _audience(listeners: Sequence[Listener]) -> _Audience:
    return _Audience(
        tuple(one for one in listeners if one.pointer is not None),
        tuple(one for one in listeners if one.pointer is None),
    )


def _nobodys(
    listeners: Sequence[Listener], topic: str, payload: bytes, at: datetime
) -> Rejected:
    names = ", ".join(one.sensor for one in listeners[:4])
    reason = (
        f"Sensors {names}: {shown(payload)} does not tell whose value it is: send a "
        "SenML pack, or give each sensor its topic or pointer."
    )
    return rejected(topic, payload, reason, at)


def _one(
    listener: Listener, topic: str, payload: bytes, arrived_at: datetime
) -> Decoded | Rejected:
    try:
        raw, time = (
            _plain(listener, payload)
            if listener.pointer is None
            else _dug(listener, payload)
        )
        value = listener.value(raw, listener.convert)
        timed = time is not None
        at = arrived_at if time is None else checked(time, arrived_at)
    except NoReadingError as exc:
        reason = f"Sensor {listener.sensor}: {exc}"
        return rejected(topic, payload, reason, arrived_at)
    reading = Reading(listener.sensor, listener.quantity.value, at, value)
    if not listener.wild:
        return Decoded(reading, timed)
    return Decoded(reading, timed, Origin(topic, listener.window))


def _plain(listener: Listener, payload: bytes) -> tuple[Raw, datetime | None]:
    """Read the contract's own payloads: a bare number or word, or an object."""
    text = payload.strip()
    if not text:
        raise NoReadingError("the payload is empty: send a number.")
    first = text[0]
    if first in _NUMBER_BEGINS:
        return number(text), None
    if first == ord("{"):
        try:
            timed = _object.decode(text)
        except (ValueError, RecursionError) as exc:
            raise NoReadingError(_what_is_wrong(text, exc)) from exc
        return timed.value, timed.time
    if listener.switch and len(text) <= _LONGEST_WORD and text.isascii():
        return _word(text), None
    if text in (b"true", b"false"):
        return text == b"true", None
    raise NoReadingError(
        f"{shown(text)} is neither a number nor a JSON object: "
        'send 24.3 or {"value": 24.3, "time": "2026-03-01T06:00:00Z"}.'
    )


def _word(text: bytes) -> str:
    """Take a word for on or off out of the quotes of JSON, if it is in them."""
    if text[0] == ord('"'):
        said = document(text)
        if isinstance(said, str):
            return said
    return text.decode("ascii")


def _what_is_wrong(text: bytes, exc: Exception) -> str:
    """Say what an object lacks that did not decode."""
    try:
        found = document(text)
    except NoReadingError as unreadable:
        return str(unreadable)
    if not isinstance(found, dict) or "value" not in found:
        if isinstance(found, dict) and isinstance(found.get("e"), list):
            return (
                f"{shown(text)} is SenML of an old draft: send the array of RFC 8428, "
                '[{"bn": "dev1:", "n": "t1", "u": "Cel", "v": 24.3}].'
            )
        return (
            f'{shown(text)} has no member "value": send {{"value": 24.3}}, '
            "or give the sensor a pointer."
        )
    value = found["value"]
    if not isinstance(value, bool | int | float | str):
        return f"the value {shown_json(value)} is no number: send it without quotes."
    if "time" in found:
        return _no_time(found["time"])
    return f"{shown(text)} cannot be read ({exc})."


def _dug(listener: Listener, payload: bytes) -> tuple[Raw, datetime | None]:
    """Read the member that a sensor's pointer names, and the document's own time."""
    read = document(payload)
    try:
        found = follow(read, listener.tokens)
    except NotThereError as exc:
        raise NoReadingError(
            f'{shown(payload)} holds nothing at "{listener.pointer}": '
            "correct the pointer of the sensor."
        ) from exc
    value = found if isinstance(found, int | float) else _worded(listener, found)
    said = read.get("time") if isinstance(read, dict) else None
    if said is None:
        return value, None
    try:
        return value, msgspec.convert(said, datetime)
    except msgspec.ValidationError as exc:
        raise NoReadingError(_no_time(said)) from exc


def _worded(listener: Listener, found: object) -> str:
    """Take a word for on or off that a pointer found."""
    if listener.switch and isinstance(found, str):
        return found
    raise NoReadingError(
        f'{shown_json(found)} at "{listener.pointer}" is no number: '
        "correct the pointer, or let the device send a number without quotes."
    )


def _no_time(said: object) -> str:
    return (
        f"time {shown_json(said)} is no RFC 3339 time: send it as 2026-03-01T06:00:00Z."
    )
