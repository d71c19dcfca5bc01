"""
The pure step: what one event makes of the state, and what must become durable.

Live daemon, demo, tests and replay all drive this one function. It reads no clock,
file, setting or random number.
"""

from datetime import datetime, timedelta

import msgspec

from monitor.alarms.alarm import Alarm, AlarmState
from monitor.alarms.life import SILENT_STATES, rings_again
from monitor.alarms.registry import NEVER_MUTED, ONCE
from monitor.alarms.states import Move
from monitor.heart.events import (
    Answer,
    ClockStepped,
    Event,
    NotTold,
    PlanChanged,
    Readings,
    Record,
    Signal,
    Started,
    Tick,
)
from monitor.heart.judging import (
    judge_places,
    judge_sensors,
    judge_signal,
    pass_time,
    take_reading,
)
from monitor.heart.state import State
from monitor.heart.telling import tell
from monitor.heart.work import Work

replace = msgspec.structs.replace

MOVES = {
    "acknowledge": Move.ACKNOWLEDGE,
    "shelve": Move.SHELVE,
    "unshelve": Move.UNSHELVE,
    "out-of-service": Move.REMOVE,
    "return": Move.PUT_BACK,
}


def step(state: State, event: Event) -> tuple[State, tuple[Record, ...]]:
    """
    Let one event happen.

    Args:
        state: Everything remembered. It is not changed.
        event: What happened, with its own instant.

    Returns:
        The new state, and the records that must become durable with it.
    """
    work = Work(state)
    match event:
        case Readings():
            _readings(work, event)
        case Tick(at):
            _tick(work, at)
        case Answer():
            _answer(work, event)
        case Signal():
            _signal(work, event)
        case PlanChanged():
            _plan(work, event)
        case Started(at):
            work.core = replace(work.core, quiet_from=at)
        case ClockStepped():
            _clock(work, event)
        case NotTold():
            work.missed |= {(event.keeper, alarm) for alarm in event.alarms}
    tell(work, event.at)
    return work.finished()


def _readings(work: Work, event: Readings) -> None:
    touched: set[tuple[str, str]] = set()
    night = work.plan.night(event.at)
    for reading in event.readings:
        take_reading(work, reading, event.at, touched, night=night)
    if touched:
        judge_places(work, touched, event.at, night=night)


def _tick(work: Work, at: datetime) -> None:
    night = work.plan.night(at)
    judge_places(work, pass_time(work, at, night=night), at, night=night)
    judge_sensors(work, at)
    for alarm in list(work.alarms.values()):
        if alarm.set_aside_until is not None and at >= alarm.set_aside_until:
            work.move(alarm, Move.UNSHELVE, at, note="the time set aside is over")
        elif rings_again(alarm, at):
            work.move(alarm, Move.REALARM, at, why="again")


def _answer(work: Work, event: Answer) -> None:
    alarm = work.alarms.get(event.alarm)
    if alarm is None:
        work.refuse(event, f"alarm {event.alarm} is not standing")
        return
    reason = _forbidden(alarm, event)
    if reason:
        work.refuse(event, reason)
        return
    if event.verb == "shelve":
        alarm = replace(alarm, set_aside_by=event.by, set_aside_until=event.until)
    work.move(alarm, MOVES[event.verb], event.at, by=event.by, note=event.note)
    if event.verb == "acknowledge" and alarm.kind in ONCE and alarm.active:
        judge_signal(work, Signal(event.at, alarm.kind, active=False))


def _forbidden(alarm: Alarm, event: Answer) -> str:
    """Why an answer is not allowed, in words; "" if it is."""
    verb, state = event.verb, alarm.state
    reason = ""
    if verb == "shelve" and alarm.kind in NEVER_MUTED:
        reason = (
            f"alarm {alarm.id} is {alarm.kind}: setting aside never mutes the danger "
            "limit; answer it with acknowledge"
        )
    elif verb == "out-of-service" and alarm.kind in NEVER_MUTED:
        reason = (
            f"alarm {alarm.id} is {alarm.kind}: the danger limit is never taken out of "
            "use; a probe that is wrong is mended or hung elsewhere (sensor move)"
        )
    elif verb == "shelve" and event.until is None:
        reason = f"alarm {alarm.id}: setting aside needs a time limit"
    elif verb == "acknowledge" and state is AlarmState.ACKNOWLEDGED:
        reason = f"alarm {alarm.id} is answered already, by {alarm.answered_by}"
    elif verb == "acknowledge" and alarm.covered_by is not None:
        reason = f"alarm {alarm.id} is covered by {alarm.covered_by}: answer that one"
    return reason or _wrong_state(alarm, verb)


def _wrong_state(alarm: Alarm, verb: str) -> str:
    state = alarm.state
    wanted = {"unshelve": AlarmState.SHELVED, "return": AlarmState.OUT_OF_SERVICE}
    if verb in wanted and state is not wanted[verb]:
        return f"alarm {alarm.id} is {state.value}, not {wanted[verb].value}"
    if verb not in wanted and state in SILENT_STATES:
        return f"alarm {alarm.id} is {state.value}: bring it back first"
    return ""


def _signal(work: Work, event: Signal) -> None:
    judge_signal(work, event)
    if event.kind == "broker-gone" and not event.active:
        # while no sensor could be heard, none of them was silent
        work.core = replace(work.core, quiet_from=event.at)


def _plan(work: Work, event: PlanChanged) -> None:
    if event.plan.configuration != work.plan.configuration:
        work.core = replace(work.core, quiet_from=event.at)
    work.plan = event.plan
    kept = {
        (sensor, rule.key)
        for (sensor, _), watches in event.plan.watches.items()
        for watch in watches
        for rule in watch.rules
    }
    work.timers = {k: t for k, t in work.timers.items() if k[:2] in kept}
    series = set(event.plan.sensors)
    work.series = {
        k: s for k, s in work.series.items() if k in series or k[0].startswith("hand-")
    }
    night = event.plan.night(event.at)
    places = {
        (alarm.thing, alarm.quantity.value)
        for alarm in work.alarms.values()
        if alarm.quantity is not None
    }
    judge_places(work, places, event.at, night=night)
    work.forget_sensors({s for s, _ in series}, event.at)


def _clock(work: Work, event: ClockStepped) -> None:
    """Shift what is measured in elapsed time, so that no delay grows or shrinks."""
    by, at = event.by, event.at

    def shift(t: datetime | None) -> datetime | None:
        return None if t is None else min(t + by, at)

    work.timers = {
        k: replace(
            t,
            beyond_since=shift(t.beyond_since),
            within_since=shift(t.within_since),
        )
        for k, t in work.timers.items()
    }
    work.series = {
        k: replace(
            s,
            time=min(s.time + by, at),
            recent=tuple((min(t + by, at), v) for t, v in s.recent),
        )
        for k, s in work.series.items()
    }
    work.alarms = {
        k: replace(
            a,
            answered_at=shift(a.answered_at),
            told=tuple(replace(t, at=min(t.at + by, at)) for t in a.told),
        )
        for k, a in work.alarms.items()
    }
    work.core = replace(work.core, quiet_from=shift(work.core.quiet_from))
    judge_signal(work, Signal(at, "clock-stepped", active=True, detail=_how_far(by)))


def _how_far(by: timedelta) -> str:
    seconds = by.total_seconds()
    way = "forward" if seconds > 0 else "back"
    return f"The clock went {way} by {abs(seconds):.0f} s."
