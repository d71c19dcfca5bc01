"""Alarms of the week: what was wrong where, for how long, and who answered when."""

from collections.abc import Iterator, Sequence
from datetime import datetime

import msgspec
import numpy as np

from monitor.alarms.alarm import SAID, Alarm, AlarmState, Side
from monitor.alarms.registry import WORDS
from monitor.alarms.states import Move
from monitor.clock import to_us
from monitor.heart.events import AlarmChanged
from monitor.site.words import Priority, Quantity
from monitor.summary.section import Section
from monitor.summary.view import WeekView
from monitor.summary.words import (
    brief,
    folded,
    instant,
    many,
    span,
    where,
    with_unit,
)

ANSWERS = {
    Move.ACKNOWLEDGE.value: "answered",
    Move.SHELVE.value: "set aside",
    Move.REMOVE.value: "taken out of use",
}
"""What a keeper did first, in words."""

Stretch = tuple[datetime, datetime]


class FirstAnswer(msgspec.Struct, frozen=True):
    """
    What a keeper first did about an alarm.

    Attributes:
        by: Their id.
        name: Their name, as site.toml has it.
        how: "answered", "set aside" or "taken out of use".
        after_s: After the alarm came. [s]
    """

    by: str
    name: str
    how: str
    at: datetime
    after_s: float


class AlarmFigures(msgspec.Struct, frozen=True, kw_only=True):
    """
    One alarm, as it stood at the end of what is told.

    Attributes:
        standing: Its condition held then.
        state: The keeper's word for its state.
        since: When the condition first held. UTC.
        raised_at: When the alarm came. UTC.
        over_at: When it was over; None while it stands. UTC.
        lasted_s: Time that the condition held, to the end of what is told. [s]
        worst: The value farthest outside. In the unit of the quantity.
        limit: The limit that was broken.
        covered_by: The alarm that covered it.
    """

    id: int
    kind: str
    title: str
    priority: Priority
    thing: str
    where: str
    quantity: Quantity | None
    standing: bool
    state: str
    since: datetime
    raised_at: datetime
    over_at: datetime | None
    lasted_s: float
    worst: float | None
    limit: float | None
    answer: FirstAnswer | None
    covered_by: int | None
    detail: str


class Figures(msgspec.Struct, frozen=True):
    """
    The alarms that came in the week or were there already.

    Attributes:
        told: So many were alarms of their own, not covered by another one.
        raised: So many of these came in the week.
        standing: So many of these stood at the end of what is told.
        alarms: Those that stand first, the most pressing of them first.
    """

    time_zone: str
    told: int
    raised: int
    standing: int
    alarms: tuple[AlarmFigures, ...]


def figures(week: WeekView) -> Figures:
    """Tell every alarm of the week."""
    told = sorted((_alarm(changes, week) for changes in week.alarms), key=_order)
    own = [alarm for alarm in told if alarm.covered_by is None]
    return Figures(
        time_zone=week.zone,
        told=len(own),
        raised=sum(week.start <= alarm.raised_at for alarm in own),
        standing=sum(alarm.standing for alarm in own),
        alarms=tuple(told),
    )


def _order(alarm: AlarmFigures) -> tuple[bool, int, datetime, int]:
    rank = alarm.priority.rank if alarm.standing else 0
    return not alarm.standing, rank, alarm.raised_at, alarm.id


def _alarm(changes: Sequence[AlarmChanged], week: WeekView) -> AlarmFigures:
    alarm = changes[-1].alarm
    stretches = list(_stretches(changes, week.until))
    return AlarmFigures(
        id=alarm.id,
        kind=alarm.kind,
        title=WORDS[alarm.kind].title if alarm.kind in WORDS else alarm.kind,
        priority=alarm.priority,
        thing=alarm.thing,
        where=where(week.house, alarm.thing),
        quantity=alarm.quantity,
        standing=alarm.active,
        state=SAID[alarm.state],
        since=alarm.since,
        raised_at=alarm.raised_at,
        over_at=None if alarm.active else alarm.over_at,
        lasted_s=sum((end - begin).total_seconds() for begin, end in stretches),
        worst=_worst(alarm, stretches, week),
        limit=alarm.limit,
        answer=_answer(changes, week),
        covered_by=alarm.covered_by,
        detail=alarm.detail,
    )


def _stretches(changes: Sequence[AlarmChanged], until: datetime) -> Iterator[Stretch]:
    """The times during which the condition held; an alarm may come back."""
    begun: datetime | None = changes[0].alarm.since
    for change in changes:
        if begun is not None and not change.alarm.active:
            yield begun, change.at
            begun = None
        elif begun is None and change.alarm.active:
            begun = change.at
    if begun is not None:
        yield begun, until


def _worst(alarm: Alarm, stretches: Sequence[Stretch], week: WeekView) -> float | None:
    """
    The value farthest outside: of the readings, and of what the alarm says itself.

    An alarm that stands is not stored anew at every reading, so its own word may be
    old; it alone remembers what another probe of the place said.
    """
    if alarm.limit is None or alarm.sensor is None or alarm.quantity is None:
        return None
    times, values = week.readings(alarm.sensor, alarm.quantity.value)
    found = [] if alarm.worst is None else [alarm.worst]
    for begin, end in stretches:
        first, last = np.searchsorted(times, (to_us(begin), to_us(end)))
        found += values[first:last].tolist()
    farthest = min if alarm.side is Side.BELOW else max
    return farthest(found) if found else None


def _answer(changes: Sequence[AlarmChanged], week: WeekView) -> FirstAnswer | None:
    names = {keeper.id: keeper.name for keeper in week.site.keepers}
    for change in changes:
        if change.event in ANSWERS and change.by:
            return FirstAnswer(
                by=change.by,
                name=names.get(change.by, change.by),
                how=ANSWERS[change.event],
                at=change.at,
                after_s=(change.at - change.alarm.raised_at).total_seconds(),
            )
    return None


def text(told: Figures) -> list[str]:
    """Say them in lines, those that stand first."""
    if not told.alarms:
        return ["No alarm."]
    lines = folded(in_all(told))
    for alarm in told.alarms:
        head = f"{alarm.id} {alarm.priority}, {mark(alarm)}: {alarm.where}: "
        lines += ["", *folded(head + matter(alarm), "  ")]
        lines += folded(course(alarm, told.time_zone), "    ")
        lines += folded(answered(alarm), "    ")
        if alarm.detail:
            lines += folded(alarm.detail, "    ")
    return lines


def in_all(told: Figures) -> str:
    """How many came, and how many of all still stand."""
    came = many(told.raised, "alarm") if told.raised else "No alarm"
    said = f"{came} came in the week"
    before = told.told - told.raised
    if before:
        said += f", {before} {'was' if before == 1 else 'were'} there before"
    if not told.standing:
        said += "; none still stands"
    elif told.standing == 1:
        said += "; 1 still stands"
    else:
        said += f"; {told.standing} still stand"
    covered = len(told.alarms) - told.told
    return f"{said} ({covered} more covered by others)." if covered else f"{said}."


def mark(alarm: AlarmFigures) -> str:
    """The state in a word, loud while it stands."""
    return "STANDING" if alarm.standing else alarm.state


def matter(alarm: AlarmFigures) -> str:
    """What it is about."""
    if alarm.quantity is None:
        return alarm.title
    return f"{brief(alarm.quantity)} {alarm.title}"


def course(alarm: AlarmFigures, zone: str, degree: str = "") -> str:
    """When it came, how long it held, how bad it was."""
    said = f"Came {instant(alarm.raised_at, zone)}, "
    held = span(alarm.lasted_s)
    said += f"has held for {held}" if alarm.standing else f"held for {held}"
    if alarm.worst is not None and alarm.limit is not None:
        worst = with_unit(alarm.worst, alarm.quantity, degree)
        limit = with_unit(alarm.limit, alarm.quantity, degree)
        said += f"; worst {worst}, limit {limit}"
    return f"{said}."


def answered(alarm: AlarmFigures) -> str:
    """Who did something about it, and when."""
    answer = alarm.answer
    if answer is not None:
        how = f"{answer.how[0].upper()}{answer.how[1:]}"
        return f"{how} by {answer.name} after {span(answer.after_s)}."
    if alarm.covered_by is not None:
        return f"Covered by alarm {alarm.covered_by}."
    if alarm.state == SAID[AlarmState.NORMAL]:
        return "Closed without an answer."
    return "Nobody has answered."


ALARMS = Section("alarms", "Alarms", figures, text)
