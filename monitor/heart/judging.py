"""Readings and time against the rules: what the conditions find."""

from collections.abc import Iterable
from datetime import datetime, timedelta

import msgspec

from monitor.alarms.alarm import Alarm
from monitor.alarms.condition import SystemCondition, WatchCondition
from monitor.alarms.conditions.silence import silent_after
from monitor.alarms.life import time_left
from monitor.alarms.limits import IDLE, Timer, in_band, side_of
from monitor.alarms.plan import Gate, Rule
from monitor.alarms.registry import CONDITIONS, LISTENING, WATCHING
from monitor.alarms.verdict import Verdict
from monitor.heart.events import Reading, Signal
from monitor.heart.state import (
    RING,
    SeriesKey,
    SeriesState,
    SignalState,
    trend_per_hour,
)
from monitor.heart.work import Work
from monitor.site.words import SWITCHES

replace = msgspec.structs.replace

HAND_INTERVAL = timedelta(hours=24)
"""Nobody reads a hand thermometer more often than this without need."""

Touched = set[tuple[str, str]]


def take_reading(
    work: Work, reading: Reading, arrived: datetime, touched: Touched, *, night: bool
) -> None:
    """
    Judge one reading, unless it is late: late ones go to store and accounts only.

    Args:
        work: The bench.
        reading: The reading.
        arrived: When it arrived.
        touched: Gets the (place, quantity) whose verdict may have changed.
        night: Whether it is night at the site.
    """
    key = (reading.sensor, reading.quantity)
    heard = work.series.get(key)
    at, value = reading.time, reading.value
    if heard is not None and at <= heard.time:
        return
    sensor = work.plan.sensors.get(key)
    if sensor is None:
        if not reading.by_hand:
            return
    elif arrived - at > silent_after(sensor.interval):
        return
    recent = heard.recent if heard is not None else ()
    if len(recent) >= RING:
        recent = recent[1 - RING :]
    work.series[key] = SeriesState(at, value, (*recent, (at, value)))
    for watch in work.plan.watches.get(key, ()):
        for rule in watch.rules:
            if _hold_against(work, reading, rule, night=night):
                touched.add((watch.place, watch.quantity))


def _hold_against(work: Work, reading: Reading, rule: Rule, *, night: bool) -> bool:
    """Let a reading act on the limits of a rule; False where all stays idle."""
    acted, value = False, reading.value
    for condition in WATCHING:
        band = condition.limits(rule, night=night)
        if band is None:
            continue
        slot = (reading.sensor, rule.key, condition.id)
        timer = work.timers.get(slot, IDLE)
        if rule.gate is not None and not in_band(value, *band):
            opened = _is_open(work, rule.gate, reading.time, night=night)
            if opened is None:
                continue
            value = value if opened else band[0]
        if timer is IDLE and in_band(value, *band):
            continue
        after = condition.on_reading(
            timer, rule, value, reading.time, band=band, by_hand=reading.by_hand
        )
        _put(work, slot, after)
        acted = True
    return acted


def _is_open(work: Work, gate: Gate, now: datetime, *, night: bool) -> bool | None:
    """Whether one of the gate's series is low; None where none of them is fresh."""
    fresh = _fresh(work, gate, now)
    return min(fresh) < gate.level(night=night) if fresh else None


def _fresh(work: Work, gate: Gate, now: datetime) -> list[float]:
    return [
        heard.value
        for series in gate.series
        if (heard := work.series.get(series)) is not None
        and (sensor := work.plan.sensors.get(series)) is not None
        and now - heard.time < 2 * sensor.interval
    ]


def _put(work: Work, slot: tuple[str, str, str], timer: Timer) -> None:
    if timer == IDLE:
        work.timers.pop(slot, None)
    else:
        work.timers[slot] = timer


def pass_time(work: Work, now: datetime, *, night: bool) -> Touched:
    """Let time act on every limit that is not idle; tell where something changed."""
    touched: Touched = set()
    running = {(sensor, key) for sensor, key, _ in work.timers}
    for series, watch, rule in _rules(work):
        if rule.gate is None and (series[0], rule.key) not in running:
            continue
        heard = work.series.get(series)
        sensor = work.plan.sensors.get(series)
        interval = sensor.interval if sensor else HAND_INTERVAL
        fresh = heard is not None and now - heard.time < 2 * interval
        if rule.gate is not None:
            # the gate may have moved since the last reading, which still stands
            still = Reading(*series, now, heard.value) if fresh and heard else None
            if still is not None and _hold_against(work, still, rule, night=night):
                touched.add(watch)
            continue
        for condition in WATCHING:
            slot = (series[0], rule.key, condition.id)
            timer = work.timers.get(slot)
            if timer is None or condition.limits(rule, night=night) is None:
                continue
            after = condition.on_tick(timer, rule, now, interval=interval, fresh=fresh)
            if after is not timer:
                touched.add(watch)
                _put(work, slot, after)
    return touched


def _rules(work: Work) -> Iterable[tuple[SeriesKey, tuple[str, str], Rule]]:
    for series, watches in work.plan.watches.items():
        for watch in watches:
            for rule in watch.rules:
                yield series, (watch.place, watch.quantity), rule


def judge_places(
    work: Work, places: Iterable[tuple[str, str]], at: datetime, *, night: bool
) -> None:
    """Bring the limits of each place together into one verdict a condition."""
    for place, quantity in sorted(places):
        # the graver first, so that it is there to cover the other
        for condition in sorted(WATCHING, key=lambda c: c.priority.rank):
            work.apply(_verdict(work, condition, place, quantity, night=night), at)
            alarm = work.has(place, condition.id, quantity)
            if alarm is not None:
                work.alarms[alarm.id] = _foreseen(work, alarm.id, night=night)


def _verdict(
    work: Work, condition: WatchCondition, place: str, quantity: str, *, night: bool
) -> Verdict:
    found = [
        (series, rule, timer)
        for series, watch in work.plan.by_place.get((place, quantity), ())
        for rule in watch.rules
        if (timer := work.timers.get((series[0], rule.key, condition.id)))
        and timer.active
        and condition.limits(rule, night=night) is not None
    ]
    if not found:
        series = _series_at(work, place, quantity)
        heard = work.series.get(series) if series else None
        return Verdict(
            thing=place,
            kind=condition.id,
            active=False,
            priority=condition.priority,
            quantity=quantity,
            value=heard.value if heard else None,
            value_at=heard.time if heard else None,
        )
    series, rule, _ = max(found, key=lambda f: _beyond(work, condition, f, night=night))
    heard = work.series.get(series)
    low, high = condition.limits(rule, night=night) or (0.0, 0.0)
    side = side_of(heard.value, low, high) if heard else None
    begun = [t.beyond_since for _, _, t in found if t.beyond_since is not None]
    at_risk = {d.cohort: d for _, r, _ in found for d in r.dwellers}
    return Verdict(
        thing=place,
        kind=condition.id,
        active=True,
        priority=condition.priority,
        quantity=quantity,
        sensor=series[0],
        since=min(begun, default=None),
        value=heard.value if heard else None,
        value_at=heard.time if heard else None,
        limit=None if side is None else (low if side == "below" else high),
        side=side,
        at_risk=tuple(at_risk.values()),
        detail=_beside(work, rule, night=night),
    )


def _beside(work: Work, rule: Rule, *, night: bool) -> str:
    """What else a rule went by, in words."""
    if rule.gate is None:
        return ""
    told = [h for s in rule.gate.series if (h := work.series.get(s)) is not None]
    if not told:
        return ""
    coldest = min(h.value for h in told)
    level = rule.gate.level(night=night)
    return f"The air there reads {coldest:.1f} °C, its target begins at {level:.1f} °C."


def _series_at(work: Work, place: str, quantity: str) -> SeriesKey | None:
    watched = work.plan.by_place.get((place, quantity), ())
    return watched[0][0] if watched else None


def _beyond(
    work: Work,
    condition: WatchCondition,
    found: tuple[SeriesKey, Rule, Timer],
    *,
    night: bool,
) -> float:
    """How far the newest value of a series is outside a rule."""
    heard = work.series.get(found[0])
    band = condition.limits(found[1], night=night)
    if heard is None or band is None:
        return 0.0
    return max(band[0] - heard.value, heard.value - band[1], 0.0)


def _foreseen(work: Work, alarm_id: int, *, night: bool) -> Alarm:
    """Add which way the value goes, and how long is left before the danger limit."""
    alarm = work.alarms[alarm_id]
    quantity = alarm.quantity.value if alarm.quantity else ""
    heard = work.series.get((alarm.sensor or "", quantity))
    if heard is None or quantity in SWITCHES:
        return alarm
    trend = trend_per_hour(heard.recent)
    dangers = [
        danger
        for _, watch in work.plan.by_place.get((alarm.thing, quantity), ())
        for rule in watch.rules
        if (danger := rule.at_time(night=night)[1]) is not None
    ]
    below = alarm.side == "below"
    limit = None
    if dangers and alarm.side is not None:
        limit = max(d[0] for d in dangers) if below else min(d[1] for d in dangers)
    return replace(
        alarm, trend_per_hour=trend, time_left=time_left(heard.value, limit, trend)
    )


def judge_sensors(work: Work, now: datetime) -> None:
    """Ask every sensor condition about every sensor, unless none can be heard."""
    if "broker-gone" in work.core.signals:
        return
    quiet_from = work.core.quiet_from or now
    for key, rule in work.plan.sensors.items():
        heard = work.series.get(key)
        standing = {c.id: work.has(rule.sensor, c.id, rule.quantity) for c in LISTENING}
        near = any(
            (other := work.series.get(n)) is not None
            and now - other.time <= silent_after(work.plan.sensors[n].interval)
            for n in rule.neighbours
        )
        for condition in LISTENING:
            alarm = standing[condition.id]
            # a restart is no sign of life: what was silent before stays silent
            begun = alarm.since if alarm and alarm.active else quiet_from
            work.apply(
                condition.judge_sensor(
                    rule,
                    heard,
                    quiet_from=min(begun, quiet_from),
                    neighbour_heard=near,
                    now=now,
                ),
                now,
            )


def judge_signal(work: Work, event: Signal) -> None:
    """Take over a state of the system that began or ended."""
    condition = CONDITIONS.get(event.kind)
    if not isinstance(condition, SystemCondition):
        raise ValueError(f"{event.kind} is no system condition")  # noqa: TRY004 - a value
    signals = dict(work.core.signals)
    begun = signals.pop(event.kind, None)
    if event.active:
        since = begun.since if begun else event.at
        signals[event.kind] = SignalState(since, event.detail)
    work.core = replace(work.core, signals=signals)
    work.apply(
        Verdict(
            thing="system",
            kind=event.kind,
            active=event.active,
            priority=condition.priority,
            since=event.at if event.active else None,
            detail=event.detail,
        ),
        event.at,
    )
