"""From the bytes of a message to readings, or to the reason why there is none."""

import math
import re
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from typing import NamedTuple

import msgspec
from paho.mqtt.matcher import MQTTMatcher

from monitor.heart.events import Reading
from monitor.intake.pointer import NotThereError, follow, parse_pointer
from monitor.intake.units import (
    CLIPPED,
    SATURATED_PERCENT,
    Convert,
    Judge,
    conversion,
    is_switch,
    judge,
)
from monitor.site.site_file import Sensor

LONGEST_PAYLOAD = 64 * 1024
"""Nothing that measures one value sends more. [bytes]"""
LONGEST_NUMBER = 64
"""A bare number has at most this many characters."""
KEPT_BYTES = 4096
"""This much of a rejected payload is kept to look at. [bytes]"""
EARLIEST = datetime(2000, 1, 1, tzinfo=UTC)
"""An earlier time is that of a clock that was never set."""
MOST_AHEAD = timedelta(minutes=5)
"""A sensor's clock may be this much ahead of ours."""

_NUMBER = re.compile(rb"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?")
_NUMBER_BEGINS = frozenset(b"+-.0123456789")
_TOPICS_REMEMBERED = 4096


class Decoded(msgspec.Struct, frozen=True):
    """
    A reading out of a message.

    Attributes:
        reading: In the canonical unit.
        timed: The message told when it was measured; else the time is its arrival.
    """

    reading: Reading
    timed: bool


class Rejected(msgspec.Struct, frozen=True):
    """
    A message, or one sensor's part of it, that is no reading.

    Attributes:
        topic: Its topic.
        payload: Its first bytes, at most `KEPT_BYTES`.
        reason: A sentence with the value and the mend.
        at: When it arrived; with the topic it names the message. UTC.
    """

    topic: str
    payload: bytes
    reason: str
    at: datetime


class NoReadingError(ValueError):
    """Why a payload is no reading, in a sentence; never leaves this module."""


class _Timed(msgspec.Struct):
    """The contract's own object; further members are none of our business."""

    value: float | bool
    time: datetime | None = None


class _Listener(NamedTuple):
    """A sensor with all that its payloads need."""

    sensor: str
    quantity: str
    convert: Convert | None
    judge: Judge
    switch: bool
    most: float
    pointer: str | None
    tokens: tuple[str, ...]


_object = msgspec.json.Decoder(_Timed)
_anything = msgspec.json.Decoder()


class Decoder:
    """Knows which sensors listen to which topic, and how each of them speaks."""

    def __init__(self, sensors: Sequence[Sensor]) -> None:
        exact: dict[str, tuple[_Listener, ...]] = {}
        wild: dict[str, tuple[_Listener, ...]] = {}
        for sensor in sensors:
            topic = sensor.effective_topic
            table = wild if "+" in topic or "#" in topic else exact
            table[topic] = (*table.get(topic, ()), _listener(sensor))
        self._exact = exact
        self._matcher = MQTTMatcher()  # type: ignore[no-untyped-call]
        for topic, listeners in wild.items():
            self._matcher[topic] = listeners
        self._matched: dict[str, tuple[_Listener, ...]] = {}

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
            One result per sensor, at least one.
        """
        listeners = self._exact.get(topic) or self._listeners(topic)
        if not listeners:
            reason = (
                "No sensor listens to this topic: declare one in site.toml, "
                "or correct the topic of the device."
            )
            return (_rejected(topic, payload, reason, arrived_at),)
        if len(payload) > LONGEST_PAYLOAD:
            reason = (
                f"The payload has {len(payload)} bytes, more than the "
                f"{LONGEST_PAYLOAD} that are read: send one value per message."
            )
            return (_rejected(topic, payload, reason, arrived_at),)
        if len(listeners) == 1:
            return (_decode_one(listeners[0], topic, payload, arrived_at),)
        return tuple(_decode_one(one, topic, payload, arrived_at) for one in listeners)

    def _listeners(self, topic: str) -> tuple[_Listener, ...]:
        found = self._matched.get(topic)
        if found is None:
            matches: Iterator[tuple[_Listener, ...]]
            matches = self._matcher.iter_match(topic)  # type: ignore[no-untyped-call]
            found = tuple(one for match in matches for one in match)
            if len(self._matched) >= _TOPICS_REMEMBERED:
                self._matched.clear()
            self._matched[topic] = found
        return found


def _listener(sensor: Sensor) -> _Listener:
    return _Listener(
        sensor=sensor.id,
        quantity=sensor.quantity.value,
        convert=conversion(sensor.unit),
        judge=judge(sensor),
        switch=is_switch(sensor.quantity, sensor.unit),
        most=SATURATED_PERCENT if sensor.quantity in CLIPPED else math.inf,
        pointer=sensor.pointer,
        tokens=parse_pointer(sensor.pointer or ""),
    )


def _rejected(topic: str, payload: bytes, reason: str, at: datetime) -> Rejected:
    return Rejected(topic, payload[:KEPT_BYTES], reason, at)


def _decode_one(
    listener: _Listener, topic: str, payload: bytes, arrived_at: datetime
) -> Decoded | Rejected:
    try:
        raw, time = (
            _plain(payload) if listener.pointer is None else _dug(listener, payload)
        )
        value = _value(listener, raw)
        if time is None:
            reading = Reading(listener.sensor, listener.quantity, arrived_at, value)
            return Decoded(reading, timed=False)
        time = _checked(time, arrived_at)
    except NoReadingError as exc:
        reason = f"Sensor {listener.sensor}: {exc}"
        return _rejected(topic, payload, reason, arrived_at)
    reading = Reading(listener.sensor, listener.quantity, time, value)
    return Decoded(reading, timed=True)


def _plain(payload: bytes) -> tuple[float | bool, datetime | None]:
    """Read the contract's own payloads: a bare number or an object."""
    text = payload.strip()
    if not text:
        raise NoReadingError("the payload is empty: send a number.")
    first = text[0]
    if first in _NUMBER_BEGINS:
        return _number(text), None
    if first == ord("{"):
        try:
            timed = _object.decode(text)
        except (ValueError, RecursionError) as exc:
            raise NoReadingError(_what_is_wrong(text, exc)) from exc
        return timed.value, timed.time
    if first == ord("["):
        raise NoReadingError(
            "the payload is a JSON array; packs are not read yet: send a number "
            'or {"value": number, "time": "…"}, or give the sensor a pointer.'
        )
    if text in (b"true", b"false"):
        return text == b"true", None
    raise NoReadingError(
        f"{_shown(text)} is neither a number nor a JSON object: "
        'send 24.3 or {"value": 24.3, "time": "2026-03-01T06:00:00Z"}.'
    )


def _number(text: bytes) -> float:
    if len(text) > LONGEST_NUMBER:
        raise NoReadingError(
            f"the number has {len(text)} characters, more than {LONGEST_NUMBER}: "
            "send fewer digits."
        )
    if _NUMBER.fullmatch(text) is None:
        raise NoReadingError(
            f"{_shown(text)} is no decimal number: send digits with a point, as 24.3."
        )
    return float(text)


def _what_is_wrong(text: bytes, exc: Exception) -> str:
    """Say what an object lacks that did not decode."""
    try:
        document = _document(text)
    except NoReadingError as unreadable:
        return str(unreadable)
    if not isinstance(document, dict) or "value" not in document:
        return (
            f'{_shown(text)} has no member "value": send {{"value": 24.3}}, '
            "or give the sensor a pointer."
        )
    value = document["value"]
    if isinstance(value, bool) or not isinstance(value, int | float):
        return f"the value {_shown_json(value)} is no number: send it without quotes."
    if "time" in document:
        return _no_time(document["time"])
    return f"{_shown(text)} cannot be read ({exc})."


def _dug(listener: _Listener, payload: bytes) -> tuple[float | bool, datetime | None]:
    """Read the member that a sensor's pointer names, and the document's own time."""
    document = _document(payload)
    try:
        found = follow(document, listener.tokens)
    except NotThereError as exc:
        raise NoReadingError(
            f'{_shown(payload)} holds nothing at "{listener.pointer}": '
            "correct the pointer of the sensor."
        ) from exc
    if not isinstance(found, int | float):
        raise NoReadingError(
            f'{_shown_json(found)} at "{listener.pointer}" is no number: '
            "correct the pointer, or let the device send a number without quotes."
        )
    said = document.get("time") if isinstance(document, dict) else None
    if said is None:
        return found, None
    try:
        return found, msgspec.convert(said, datetime)
    except msgspec.ValidationError as exc:
        raise NoReadingError(_no_time(said)) from exc


def _document(payload: bytes) -> object:
    try:
        document: object = _anything.decode(payload)
    except RecursionError as exc:
        raise NoReadingError("the JSON is nested too deep: flatten it.") from exc
    except ValueError as exc:
        raise NoReadingError(
            f"{_shown(payload)} is no JSON ({exc}): correct what the device sends."
        ) from exc
    return document


def _value(listener: _Listener, raw: float | bool) -> float:  # noqa: FBT001 - a payload
    if isinstance(raw, bool) and not listener.switch:
        raise NoReadingError(
            f"{str(raw).lower()} is no number for {listener.quantity}: send a number."
        )
    try:
        value = float(raw)
    except OverflowError:
        value = math.inf
    if not math.isfinite(value):
        raise NoReadingError("the number is too large: check what the device sends.")
    if listener.convert is not None:
        # Six decimals are beyond any sensor, and 1.04 stays 104 %.
        value = round(listener.convert(value), 6)
    impossible = listener.judge(value)
    if impossible is not None:
        raise NoReadingError(impossible)
    return min(value, listener.most)


def _checked(time: datetime, arrived_at: datetime) -> datetime:
    if time.tzinfo is None:
        raise NoReadingError(
            f"time without zone, {time.isoformat()}: add Z or an offset, "
            "as 2026-03-01T06:00:00Z."
        )
    if time < EARLIEST:
        raise NoReadingError(
            f"clock wrong: {time.isoformat()} is before 2000; set the device's clock."
        )
    ahead = time - arrived_at
    if ahead > MOST_AHEAD:
        raise NoReadingError(
            f"clock wrong: {ahead.total_seconds() / 60:.0f} min ahead "
            f"({time.isoformat()}), more than 5 min: set the device's clock."
        )
    return time if time.tzinfo is UTC else time.astimezone(UTC)


def _no_time(said: object) -> str:
    return (
        f"time {_shown_json(said)} is no RFC 3339 time: "
        "send it as 2026-03-01T06:00:00Z."
    )


def _shown(payload: bytes) -> str:
    """The beginning of a payload, safe for a line of text."""
    text = payload[:40].decode("ascii", "backslashreplace")
    text = "".join(c if c.isprintable() else repr(c)[1:-1] for c in text)
    return f'"{text}…"' if len(payload) > 40 else f'"{text}"'  # noqa: PLR2004


def _shown_json(value: object) -> str:
    return _shown(msgspec.json.encode(value))
