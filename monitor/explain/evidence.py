"""The chain of evidence of one alarm: what was measured, what it was held against."""

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from typing import Literal

import msgspec

from monitor.alarms.alarm import Alarm, Side
from monitor.alarms.limits import is_back
from monitor.alarms.states import Move
from monitor.explain.judged import JudgedBy, LimitsUsed
from monitor.heart.events import AlarmChanged
from monitor.store.rows import NoticeRow

Verb = Literal["acknowledge", "shelve", "unshelve", "out-of-service", "return"]

VERBS: dict[str, Verb] = {
    Move.ACKNOWLEDGE.value: "acknowledge",
    Move.SHELVE.value: "shelve",
    Move.UNSHELVE.value: "unshelve",
    Move.REMOVE.value: "out-of-service",
    Move.PUT_BACK.value: "return",
}
"""The keeper's verb of each move that a keeper can ask for."""

BEFORE = timedelta(hours=2)
"""Readings are looked at from so long before the alarm began."""

SLACK = timedelta(seconds=1)
"""A reading that arrives within a cycle may be newer than the cycle's instant."""

Part = Literal[
    "before", "first", "raised", "worst", "back", "ended", "newest", "last heard"
]


class Point(msgspec.Struct, frozen=True):
    """One stored reading. The value is in the canonical unit of its quantity."""

    time: datetime
    value: float


class Decisive(msgspec.Struct, frozen=True):
    """
    A reading that decided something.

    Attributes:
        parts: What it decided: "before" the last one inside, "first" outside,
            "raised" the alarm, "worst", "back" first inside by the deadband,
            "ended" the alarm, "newest"; of a silence "last heard" and "ended".
    """

    time: datetime
    value: float
    parts: tuple[Part, ...]


class Happened(msgspec.Struct, frozen=True):
    """A change of the alarm; *by* is empty where nobody but the monitor acted."""

    at: datetime
    event: str
    state: str
    priority: str
    by: str = ""
    note: str = ""


class AnswerGiven(msgspec.Struct, frozen=True):
    """A keeper's word on the alarm."""

    at: datetime
    by: str
    verb: str
    note: str = ""
    until: datetime | None = None


class Told(msgspec.Struct, frozen=True):
    """
    A notice about the alarm, and what became of it.

    Attributes:
        state: "waiting", "sent" or "failed".
        reason: Why the last attempt failed, in words.
    """

    id: int
    created: datetime
    keeper: str
    why: str
    state: str
    attempts: int
    sent_at: datetime | None
    reason: str
    subject: str


class Evidence(msgspec.Struct, frozen=True):
    """
    All that the store and the files say about one alarm.

    Attributes:
        alarm: As it stands now.
        raised: As it was when it came: who was at risk, which limit.
        readings: Of its sensor, thinned to those that decided.
        measured: How many readings lie between its beginning and its end.
        judged: What the readings were held against.
        configuration: Hash of the configuration that the alarm was judged by.
        configured_at: When that one was accepted, where the store knows it.
        library: "of then" or "of now": where bands and sources below come from.
        happened: Every change.
        answers: Of keepers.
        notices: To keepers.
    """

    alarm: Alarm
    raised: Alarm
    readings: tuple[Decisive, ...]
    measured: int
    judged: JudgedBy
    configuration: str
    configured_at: datetime | None
    library: Literal["of then", "of now"]
    happened: tuple[Happened, ...]
    answers: tuple[AnswerGiven, ...]
    notices: tuple[Told, ...]


def decisive(
    alarm: Alarm, raised: Alarm, readings: Sequence[Point], judged: JudgedBy
) -> tuple[Decisive, ...]:
    """
    Thin readings to those that decided, in order of time.

    Args:
        alarm: As it stands now.
        raised: As it was when it came.
        readings: Of its sensor, in order of time, from `BEFORE` it began until it
            was over.
        judged: What they were held against.
    """
    found: dict[datetime, tuple[Point, list[Part]]] = {}
    chosen = (
        _of_silence(alarm, readings)
        if judged.sensor is not None
        else _of_limits(alarm, raised, readings, judged.deciding)
    )
    for part, point in chosen:
        found.setdefault(point.time, (point, []))[1].append(part)
    return tuple(
        Decisive(time, point.value, tuple(parts))
        for time, (point, parts) in sorted(found.items())
    )


def _of_silence(
    alarm: Alarm, readings: Sequence[Point]
) -> Iterator[tuple[Part, Point]]:
    heard = [p for p in readings if p.time <= alarm.since]
    if heard:
        yield "last heard", heard[-1]
    after = [p for p in readings if p.time > alarm.since]
    if alarm.over_at is not None and after:
        yield "ended", after[0]


def _of_limits(
    alarm: Alarm,
    raised: Alarm,
    readings: Sequence[Point],
    deciding: LimitsUsed | None,
) -> Iterator[tuple[Part, Point]]:
    before = [p for p in readings if p.time < alarm.since]
    if before:
        yield "before", before[-1]
    during = [p for p in readings if alarm.since <= p.time]
    if alarm.over_at is not None:
        during = [p for p in during if p.time <= alarm.over_at + SLACK]
    if not during:
        return
    yield "first", during[0]
    newest_then = raised.value_at or raised.raised_at
    seen = [p for p in during if p.time <= newest_then]
    if seen:
        yield "raised", seen[-1]
    farthest = min if raised.side is Side.BELOW else max
    yield "worst", farthest(during, key=lambda p: p.value)
    back = _first_back(during, raised, deciding)
    if back is not None:
        yield "back", back
    yield ("newest" if alarm.active else "ended"), during[-1]


def _first_back(
    during: Sequence[Point], raised: Alarm, deciding: LimitsUsed | None
) -> Point | None:
    """The beginning of the run of readings inside by the deadband that ended it."""
    band = deciding.broken(raised.kind) if deciding else None
    if deciding is None or band is None:
        return None
    found: Point | None = None
    for point in reversed(during):
        if not is_back(point.value, *band, deciding.deadband, raised.side):
            break
        found = point
    return found


def happened(changes: Sequence[AlarmChanged]) -> tuple[Happened, ...]:
    """Every change but the notices, which are told apart."""
    return tuple(
        Happened(
            c.at, c.event, c.alarm.state.value, c.alarm.priority.value, c.by, c.note
        )
        for c in changes
        if c.event != "told"
    )


def answers(changes: Sequence[AlarmChanged]) -> tuple[AnswerGiven, ...]:
    """What keepers said."""
    return tuple(
        AnswerGiven(c.at, c.by, VERBS[c.event], c.note, c.alarm.set_aside_until)
        for c in changes
        if c.by and c.event in VERBS
    )


def told(notices: Sequence[NoticeRow]) -> tuple[Told, ...]:
    """What was sent to whom, and what became of it."""
    return tuple(
        Told(
            row.id,
            row.created,
            row.keeper,
            row.why,
            row.state,
            row.attempts,
            row.sent_at,
            row.last_error,
            row.subject,
        )
        for row in notices
    )
