"""The life of alarms: what a verdict or a keeper's word makes of them."""

from collections.abc import Mapping
from datetime import datetime, timedelta

import msgspec

from monitor.alarms.alarm import Alarm, AlarmState, Side
from monitor.alarms.defaults import RING_AGAIN
from monitor.alarms.registry import COVERS
from monitor.alarms.states import Move, after
from monitor.alarms.verdict import Verdict
from monitor.site.words import Quantity

replace = msgspec.structs.replace

SILENT_STATES = (AlarmState.SHELVED, AlarmState.SUPPRESSED, AlarmState.OUT_OF_SERVICE)
"""States in which nobody is told."""


def raised(verdict: Verdict, alarm_id: int, now: datetime, configuration: str) -> Alarm:
    """Make the alarm of a verdict that has none yet."""
    state = after(AlarmState.NORMAL, Move.ABNORMAL)
    if state is None:
        raise ValueError("the standard has this transition")
    return Alarm(
        id=alarm_id,
        thing=verdict.thing,
        kind=verdict.kind,
        state=state,
        active=True,
        priority=verdict.priority,
        since=verdict.since or now,
        raised_at=now,
        quantity=Quantity(verdict.quantity) if verdict.quantity else None,
        sensor=verdict.sensor,
        value=verdict.value,
        value_at=verdict.value_at,
        worst=verdict.value,
        limit=verdict.limit,
        side=verdict.side,
        at_risk=verdict.at_risk,
        detail=verdict.detail,
        configuration=configuration,
    )


def updated(alarm: Alarm, verdict: Verdict) -> Alarm:
    """Take over what a verdict says now; the state is not touched."""
    worst = alarm.worst
    if verdict.active and verdict.value is not None:
        side = verdict.side or alarm.side
        farther = min if side is Side.BELOW else max
        worst = verdict.value if worst is None else farther(worst, verdict.value)
    return replace(
        alarm,
        value=verdict.value,
        value_at=verdict.value_at,
        sensor=verdict.sensor or alarm.sensor,
        limit=verdict.limit if verdict.limit is not None else alarm.limit,
        side=verdict.side or alarm.side,
        worst=worst,
        at_risk=verdict.at_risk or alarm.at_risk,
        detail=verdict.detail or alarm.detail,
    )


def moved(alarm: Alarm, move: Move, now: datetime) -> Alarm | None:
    """
    Carry out a move of the standard.

    Returns:
        The alarm in its new state, or None where the standard has no such move.
    """
    state = after(alarm.state, move, active=alarm.active)
    if state is None:
        return None
    changes: dict[str, object] = {"state": state}
    if move is Move.ABNORMAL or state is AlarmState.UNACKNOWLEDGED:
        changes |= {"answered_by": None, "answered_at": None, "answered_value": None}
    if move is Move.ABNORMAL:
        changes |= {"over_at": None}
    if move is Move.RETURN or (not alarm.active and alarm.over_at is None):
        changes |= {"over_at": now}
    if move in (Move.UNSHELVE, Move.PUT_BACK):
        changes |= {"set_aside_by": None, "set_aside_until": None}
    if move is Move.UNSUPPRESS:
        changes |= {"covered_by": None}
    if state is AlarmState.NORMAL:
        changes |= {"closed_at": now}
    return replace(alarm, **changes)


def covering(alarms: Mapping[int, Alarm], alarm: Alarm) -> Alarm | None:
    """The active alarm of the same place and quantity that covers this one, if any."""
    for other in alarms.values():
        if (
            (other.kind, alarm.kind) in COVERS
            and other.active
            and other.thing == alarm.thing
            and other.quantity == alarm.quantity
        ):
            return other
    return None


def distance(alarm: Alarm) -> float:
    """How far the value is beyond its limit; 0 where there is no such thing."""
    if alarm.value is None or alarm.limit is None:
        return 0.0
    return abs(alarm.value - alarm.limit)


def rings_again(alarm: Alarm, now: datetime) -> bool:
    """
    Tell whether an answered alarm must ring again: an answer is no repair.

    It rings when the time of its priority has run out and the value is no nearer to
    its limit than at the answer.
    """
    if alarm.state is not AlarmState.ACKNOWLEDGED or alarm.answered_at is None:
        return False
    if now - alarm.answered_at < RING_AGAIN[alarm.priority]:
        return False
    if alarm.answered_value is None or alarm.limit is None:
        return True
    return distance(alarm) >= abs(alarm.answered_value - alarm.limit)


def time_left(
    value: float | None, danger: float | None, trend: float | None
) -> timedelta | None:
    """How long until the danger limit at this trend; None where it is not coming."""
    if value is None or danger is None or not trend:
        return None
    hours = (danger - value) / trend
    # a straight line says nothing about the day after tomorrow
    return timedelta(hours=hours) if 0 < hours <= 48 else None  # noqa: PLR2004
