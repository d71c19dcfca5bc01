"""Whom to tell: who is on call, who is next without an answer, who hears the end."""

from datetime import datetime, timedelta

import msgspec

from monitor.alarms.alarm import Alarm, AlarmState, Told
from monitor.alarms.defaults import REPEAT_PROMPT
from monitor.heart.events import NoticeWanted
from monitor.heart.work import Work
from monitor.site.rota import ladder
from monitor.site.words import Priority

replace = msgspec.structs.replace

RINGS = ("raised", "worse", "again")
"""Reasons that begin a round at whoever is on call."""


def tell(work: Work, now: datetime) -> None:
    """Turn what happened in this step, and who has not answered, into notices."""
    waiting = [
        a
        for a in work.alarms.values()
        if a.state is AlarmState.UNACKNOWLEDGED or a.id in work.rung
    ]
    if not (waiting or work.over):
        return
    steps = ladder(work.plan.site, now)
    wanted: dict[tuple[str, str], list[Alarm]] = {}
    for alarm in waiting:
        told = _next(work, alarm, now, steps)
        if told is not None:
            wanted.setdefault(told, []).append(alarm)
    for alarm in work.over:
        if alarm.priority is Priority.NOTE:
            continue
        for keeper in dict.fromkeys(t.keeper for t in alarm.told):
            wanted.setdefault((keeper, "over"), []).append(alarm)
    for (keeper, why), alarms in wanted.items():
        _want(work, keeper, why, alarms, now)


def _next(
    work: Work, alarm: Alarm, now: datetime, steps: tuple[str, ...]
) -> tuple[str, str] | None:
    """Who must be told of an unanswered alarm now, and why; None while it may wait."""
    if not steps:
        return None
    why = work.rung.get(alarm.id, "" if alarm.told else "raised")
    if why:
        return steps[0], why
    if alarm.priority is Priority.NOTE:
        return None
    rounds, last = _told_in_round(alarm), alarm.told[-1]
    missed = (last.keeper, alarm.id) in work.missed
    # who cannot be reached is passed over at once, while others are left to try
    waited = now - last.at >= _wait(work, alarm, now, rounds, len(steps))
    if waited or (missed and rounds < len(steps)):
        return steps[rounds % len(steps)], "escalated"
    return None


def _told_in_round(alarm: Alarm) -> int:
    count = 0
    for told in reversed(alarm.told):
        count += 1
        if told.why in RINGS:
            break
    return count


def _wait(
    work: Work, alarm: Alarm, now: datetime, told: int, keepers: int
) -> timedelta:
    after = work.plan.site.alarms.escalate_after
    wait = after.night if work.plan.night(now) else after.day
    if told >= keepers and alarm.priority is Priority.PROMPT:
        return wait * REPEAT_PROMPT
    if told >= 3 * keepers:
        return wait * REPEAT_PROMPT
    return wait


def _want(
    work: Work, keeper: str, why: str, alarms: list[Alarm], now: datetime
) -> None:
    ordered = sorted(alarms, key=lambda a: (a.priority.rank, a.id))
    for alarm in ordered:
        if alarm.id in work.alarms:
            current = work.alarms[alarm.id]
            told = (*current.told, Told(keeper, now, why))
            work.keep(replace(current, told=told), "told", now, by=keeper)
    priority = Priority.NOTE if why == "over" else ordered[0].priority
    work.records.append(
        NoticeWanted(now, keeper, why, tuple(a.id for a in ordered), priority)
    )
