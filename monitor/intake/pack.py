"""
Which record of a SenML pack is whose reading.

A record goes to the sensors of the topic whose ``name_in_pack`` is its resolved name,
or its own name without the base name. A name that nobody has asked for goes by its
unit, to a sensor without ``name_in_pack`` and pointer, where exactly one of the topic
is told in that unit. Whatever that leaves open is told and not guessed: two names may
not feed one series.
"""

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta
from typing import NamedTuple

from monitor.heart.events import Reading
from monitor.intake.found import (
    Decoded,
    NoReadingError,
    Origin,
    Rejected,
    checked,
    document,
    rejected,
    shown,
)
from monitor.intake.listener import Listener
from monitor.intake.pack_units import MEANT, OTHERS, into, points_at
from monitor.intake.senml import NOW_BELOW_S, Record, resolve

SHOWN_REASONS = 4
"""A message names so many records that are no readings; the rest are counted."""
_MOST_SAID = 4096


class _Taken(NamedTuple):
    """A record that a sensor takes; sure where its full name was asked for."""

    record: Record
    listener: Listener
    sure: bool


class _Told(NamedTuple):
    """Why a record is no reading; idle where it is simply for nobody."""

    label: str
    reason: str
    idle: bool = False


class _NobodyError(NoReadingError):
    """No sensor of the topic takes a record."""


class PackReader:
    """
    Reads packs, and tells once of a record that no sensor takes.

    A device that adds its battery to every pack is no fault of the other records, and
    would fill the quarantine. So such a record is told with the first pack that has
    readings beside it, and passed over from then on.
    """

    def __init__(self) -> None:
        self._said: set[tuple[str, str]] = set()

    def decode(
        self,
        listeners: Sequence[Listener],
        topic: str,
        payload: bytes,
        arrived_at: datetime,
    ) -> tuple[Decoded | Rejected, ...]:
        """
        Read a pack for the sensors of its topic. Never raises.

        Args:
            listeners: Those without a pointer.
            topic: Of the message.
            payload: A JSON array.
            arrived_at: When it came; "now" of relative times. UTC.

        Returns:
            The readings in order of time, then at most one refusal for all records
            that are none; at least one of both.
        """
        try:
            found, told, count = _split(listeners, topic, payload, arrived_at)
        except NoReadingError as exc:
            reason = f"{_who(listeners)}: {exc}"
            return (rejected(topic, payload, reason, arrived_at),)
        if found:
            told = [one for one in told if not one.idle or self._new(topic, one)]
        if not told:
            return tuple(found)
        reason = f"{_who(listeners)}: {_reasons(told, count)}"
        return (*found, rejected(topic, payload, reason, arrived_at))

    def _new(self, topic: str, told: _Told) -> bool:
        if (topic, told.label) in self._said:
            return False
        if len(self._said) >= _MOST_SAID:
            self._said.clear()
        self._said.add((topic, told.label))
        return True


def _split(
    listeners: Sequence[Listener], topic: str, payload: bytes, arrived_at: datetime
) -> tuple[list[Decoded], list[_Told], int]:
    """Tell readings from what is none, and how many records there were."""
    records, unusable = resolve(document(payload))
    told = [_Told(one.label, one.reason, idle=one.text) for one in unusable]
    taken: list[_Taken] = []
    for record in records:
        try:
            taken += _takers(listeners, record, records)
        except NoReadingError as exc:
            idle = isinstance(exc, _NobodyError)
            told.append(_Told(record.label, str(exc), idle=idle))
    found: list[Decoded] = []
    for one in _unmixed(taken, told):
        try:
            found.append(_reading(one, topic, arrived_at))
        except NoReadingError as exc:
            reason = f"sensor {one.listener.sensor}: {exc}"
            told.append(_Told(one.record.label, reason))
    return _agreed(found, told), told, len(records) + len(unusable)


def _who(listeners: Sequence[Listener]) -> str:
    names = [one.sensor for one in listeners]
    shown_names = ", ".join(names[:SHOWN_REASONS])
    more = f" and {len(names) - SHOWN_REASONS} more"
    some = shown_names + (more if len(names) > SHOWN_REASONS else "")
    return f"Sensor {some}" if len(names) == 1 else f"Sensors {some}"


def _reasons(told: Sequence[_Told], count: int) -> str:
    """Say each reason once, with the records that it is about."""
    about: dict[str, list[str]] = {}
    for one in told:
        about.setdefault(one.reason, []).append(one.label)
    parts = []
    for reason, labels in list(about.items())[:SHOWN_REASONS]:
        more = len(labels) - SHOWN_REASONS
        said = ", ".join(labels[:SHOWN_REASONS])
        parts.append(f"{said}{f' and {more} more' if more > 0 else ''}: {reason}")
    if len(about) > SHOWN_REASONS:
        parts.append(f"And {len(about) - SHOWN_REASONS} reasons more.")
    text = " ".join(parts)
    records = "record" if count == 1 else "records"
    return f"{len(told)} of {count} {records} of the pack set apart. {text}"


def _takers(
    listeners: Sequence[Listener], record: Record, records: Sequence[Record]
) -> list[_Taken]:
    """Find the sensors that a record is for."""
    if record.name:
        sure = [one for one in listeners if one.name_in_pack == record.name]
        if sure:
            # a short name such as "temp" is hardly unique: its topic must be
            unique = ":" in record.name or "/" in record.name
            return [_Taken(record, one, sure=unique) for one in sure]
        named = [one for one in listeners if one.name_in_pack == record.own_name]
        if named and record.own_name:
            return [_Taken(record, one, sure=False) for one in named]
    nameless = [one for one in listeners if one.name_in_pack is None]
    if not nameless:
        known = ", ".join(str(one.name_in_pack) for one in listeners[:SHOWN_REASONS])
        raise _NobodyError(f"no sensor asks for this name, only for {known}.")
    fitting = [one for one in nameless if _fits(one, record)]
    if not fitting:
        raise _NobodyError(_unfit(record))
    if len(fitting) > 1:
        names = ", ".join(one.sensor for one in fitting)
        raise NoReadingError(
            f"it may be of {names}: give each its name_in_pack in site.toml."
        )
    measure = not isinstance(record.value, bool)
    if measure and not record.unit and len({one.name for one in records}) > 1:
        raise NoReadingError(
            "it has no unit, and its pack measures several things: send u, or declare "
            "the name as name_in_pack."
        )
    return [_Taken(record, fitting[0], sure=False)]


def _fits(listener: Listener, record: Record) -> bool:
    if isinstance(record.value, bool):
        return listener.switch
    return not record.unit or points_at(listener, record.unit)


def _unfit(record: Record) -> str:
    """Say why nobody takes a record."""
    unit = record.unit
    if unit in OTHERS:
        return f"no sensor of this site measures {unit}: leave it out."
    meant = MEANT.get(unit.casefold())
    if meant is not None and meant != unit:
        return f"{shown(unit.encode())} is no unit of SenML: send {meant}."
    if isinstance(record.value, bool):
        return "no sensor of this topic is on or off: declare one in site.toml."
    if unit and unit not in ("Cel", "K", "%RH", "/", "%", "/100", "ppm", "A", "mA"):
        return (
            f"{shown(unit.encode())} is no unit that is known here: "
            "send Cel, K, %RH, /, ppm or A."
        )
    return (
        "no sensor of this topic takes it: declare one in site.toml, with its "
        "name_in_pack where a name tells them apart."
    )


def _unmixed(taken: Sequence[_Taken], told: list[_Told]) -> Iterable[_Taken]:
    """Let through what one name alone feeds; tell the rest."""
    names: dict[str, dict[str, None]] = {}
    for one in taken:
        names.setdefault(one.listener.sensor, {})[one.record.name] = None
    for one in taken:
        rivals = list(names[one.listener.sensor])
        if len(rivals) == 1:
            yield one
            continue
        said = ", ".join(shown(name.encode()) for name in rivals[:SHOWN_REASONS])
        told.append(
            _Told(
                one.record.label,
                f"{said} would all feed {one.listener.sensor}: declare a sensor for "
                "each, with its full name as name_in_pack.",
            )
        )


def _reading(one: _Taken, topic: str, arrived_at: datetime) -> Decoded:
    record, listener = one.record, one.listener
    if isinstance(record.value, bool):
        # a base unit is of the measures of the pack: on and off have none
        value = listener.value(record.value, None)
    else:
        value = _measure(listener, record, record.value)
    at, timed = _when(record, arrived_at)
    reading = Reading(listener.sensor, listener.quantity.value, at, value)
    return Decoded(reading, timed, _origin(one, topic))


def _measure(listener: Listener, record: Record, raw: float) -> float:
    """Bring a number into the canonical unit, from the record's own or the file's."""
    convert = listener.convert or float
    if record.unit:
        known = into(listener, record.unit)
        if known is None:
            meant = MEANT.get(record.unit.casefold())
            mend = f"send {meant}" if meant else "correct the unit or the name"
            unit = shown(record.unit.encode())
            raise NoReadingError(
                f"{listener.quantity} is never told in {unit}: {mend}."
            )
        convert = known
    try:
        return listener.value(raw, convert)
    except NoReadingError as exc:
        if record.unit != "%":
            raise
        raise NoReadingError(
            f"{exc} In SenML % is a ratio from 0 to 1, not a percentage "
            "(RFC 8428, 12.1): send /100, or %RH for humidity."
        ) from exc


def _origin(one: _Taken, topic: str) -> Origin | None:
    """What tells this device from others; None where its full name was asked for."""
    if one.sure:
        return None
    parts = [topic] if one.listener.wild else []
    if one.record.name and one.listener.name_in_pack != one.record.name:
        parts.append(one.record.name)
    return Origin(" ".join(parts), one.listener.window) if parts else None


def _when(record: Record, arrived_at: datetime) -> tuple[datetime, bool]:
    """Tell the instant of a record, and whether a clock told it."""
    if not record.time:
        return arrived_at, False
    relative = record.time < NOW_BELOW_S
    try:
        at: datetime = (
            arrived_at + timedelta(seconds=record.time)
            if relative
            else datetime.fromtimestamp(record.time, UTC)
        )
    except (OverflowError, ValueError, OSError) as exc:
        raise NoReadingError(
            f"clock wrong: {record.time:g} s is beyond every calendar; "
            "set the device's clock."
        ) from exc
    if relative and at > arrived_at:
        raise NoReadingError(
            f"it lies {record.time:g} s in the future: only what was measured is a "
            "reading."
        )
    return checked(at, arrived_at), not relative


def _agreed(found: Sequence[Decoded], told: list[_Told]) -> list[Decoded]:
    """Put readings in order of time; several values of one instant are none."""
    kept: dict[tuple[str, datetime], Decoded] = {}
    apart: dict[tuple[str, datetime], list[float]] = {}
    for one in found:
        key = (one.reading.sensor, one.reading.time)
        first = kept.setdefault(key, one)
        if one.reading.value != first.reading.value:
            apart.setdefault(key, [first.reading.value]).append(one.reading.value)
    for (sensor, time), values in apart.items():
        del kept[sensor, time]
        said = ", ".join(f"{value:g}" for value in values[:SHOWN_REASONS])
        told.append(
            _Told(
                f"sensor {sensor}",
                f"{said} are all of one instant: send the time of each.",
            )
        )
    return sorted(kept.values(), key=lambda one: one.reading.time)
