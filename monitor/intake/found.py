"""What a message turns out to be, and the words for what it is not."""

import re
from datetime import UTC, datetime, timedelta

import msgspec

from monitor.heart.events import Reading

KEPT_BYTES = 4096
"""This much of a rejected payload is kept to look at. [bytes]"""
EARLIEST = datetime(2000, 1, 1, tzinfo=UTC)
"""An earlier time is that of a clock that was never set."""
MOST_AHEAD = timedelta(minutes=5)
"""A sensor's clock may be this much ahead of ours."""
LONGEST_NUMBER = 64
"""A bare number has at most this many characters."""

_NUMBER = re.compile(rb"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?")
_SHOWN = 40
_anything = msgspec.json.Decoder()


class Origin(msgspec.Struct, frozen=True):
    """
    Which of several devices a value may be from.

    Attributes:
        name: The topic, the name in the pack, or both.
        window: A device that was quiet for so long speaks no more.
    """

    name: str
    window: timedelta


class Decoded(msgspec.Struct, frozen=True):
    """
    A reading out of a message.

    Attributes:
        reading: In the canonical unit.
        timed: The message told when it was measured, by a clock; else the time is
            its arrival, or so many seconds before it.
        origin: None where only one device can feed the sensor.
    """

    reading: Reading
    timed: bool
    origin: Origin | None = None


class Rejected(msgspec.Struct, frozen=True):
    """
    A message, or one part of it, that is no reading.

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
    """Why a payload is no reading, in a sentence; never leaves the decoding."""


def rejected(topic: str, payload: bytes, reason: str, at: datetime) -> Rejected:
    """Keep the beginning of a message that is no reading."""
    return Rejected(topic, payload[:KEPT_BYTES], reason, at)


def number(text: bytes) -> float:
    """
    Read a decimal number.

    Raises:
        NoReadingError: If it is anything else, or endless.
    """
    if len(text) > LONGEST_NUMBER:
        raise NoReadingError(
            f"the number has {len(text)} characters, more than {LONGEST_NUMBER}: "
            "send fewer digits."
        )
    if _NUMBER.fullmatch(text) is None:
        raise NoReadingError(
            f"{shown(text)} is no decimal number: send digits with a point, as 24.3."
        )
    return float(text)


def document(payload: bytes) -> object:
    """
    Read JSON (RFC 8259) of any form.

    Raises:
        NoReadingError: If it is none, or nested too deep.
    """
    try:
        found: object = _anything.decode(payload)
    except RecursionError as exc:
        raise NoReadingError("the JSON is nested too deep: flatten it.") from exc
    except ValueError as exc:
        raise NoReadingError(
            f"{shown(payload)} is no JSON ({exc}): correct what the device sends."
        ) from exc
    return found


def checked(time: datetime, arrived_at: datetime) -> datetime:
    """
    Let through an instant that a working clock may have told. UTC.

    Raises:
        NoReadingError: If it has no zone, or is before 2000 or ahead of us.
    """
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


def shown(payload: bytes) -> str:
    """Quote the beginning of a payload, safe for a line of text."""
    text = payload[:_SHOWN].decode("ascii", "backslashreplace")
    text = "".join(c if c.isprintable() else repr(c)[1:-1] for c in text)
    return f'"{text}…"' if len(payload) > _SHOWN else f'"{text}"'


def shown_json(value: object) -> str:
    """Quote the beginning of a value as JSON."""
    return shown(msgspec.json.encode(value))
