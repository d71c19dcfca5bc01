"""The state as small versioned records, and back."""

from collections.abc import Mapping

import msgspec

from monitor.alarms.alarm import Alarm
from monitor.alarms.limits import Timer
from monitor.alarms.plan import Plan
from monitor.heart.state import (
    STATE_VERSION,
    Core,
    SeriesState,
    State,
    TimerKey,
)

_encode = msgspec.json.Encoder().encode
_SavedTimers = list[tuple[str, str, Timer]]
_core = msgspec.json.Decoder(Core)
_series = msgspec.json.Decoder(SeriesState)
_timers = msgspec.json.Decoder(_SavedTimers)
_alarm = msgspec.json.Decoder(Alarm)


def saved(state: State) -> dict[str, bytes]:
    """
    Spell the state: one record per series, per sensor with running limits, per alarm.

    Returns:
        Key and body of every record; "core", "series/…", "timers/…", "alarm/…".
    """
    records = {"core": _encode(state.core)}
    for (sensor, quantity), series in state.series.items():
        records[f"series/{sensor}/{quantity}"] = _encode(series)
    running: dict[str, _SavedTimers] = {}
    for (sensor, rule, condition), timer in state.timers.items():
        running.setdefault(sensor, []).append((rule, condition, timer))
    for sensor, timers in running.items():
        records[f"timers/{sensor}"] = _encode(timers)
    for alarm in state.alarms.values():
        records[f"alarm/{alarm.id}"] = _encode(alarm)
    return records


def loaded(
    records: Mapping[str, tuple[int, bytes]],
    plan: Plan,
    *,
    alarms: Mapping[int, Alarm],
    next_alarm: int,
) -> State:
    """
    Read the state back; what is of another version is left to be rebuilt.

    Args:
        records: Version and body of every record.
        plan: What to watch now.
        alarms: Alarms that the store holds as not closed; they come back even where
            their record is of another version.
        next_alarm: The first id that no stored alarm has.
    """
    core = Core()
    series: dict[tuple[str, str], SeriesState] = {}
    timers: dict[TimerKey, Timer] = {}
    standing = dict(alarms)
    for key, (version, body) in records.items():
        if version != STATE_VERSION:
            continue
        kind, _, name = key.partition("/")
        match kind:
            case "core":
                core = _core.decode(body)
            case "series":
                sensor, _, quantity = name.rpartition("/")
                series[sensor, quantity] = _series.decode(body)
            case "timers":
                for rule, condition, timer in _timers.decode(body):
                    timers[name, rule, condition] = timer
            case "alarm" if int(name) in standing:
                standing[int(name)] = _alarm.decode(body)
    next_alarm = max(next_alarm, core.next_alarm, *(i + 1 for i in standing), 1)
    core = msgspec.structs.replace(core, next_alarm=next_alarm)
    return State(plan, series, timers, standing, core)
