"""What the step remembers between events: small records, one per series and place."""

from collections.abc import Mapping
from datetime import datetime, timedelta

import msgspec

from monitor.alarms.alarm import Alarm
from monitor.alarms.limits import Timer
from monitor.alarms.plan import Plan

STATE_VERSION = 1
"""Records of another version are not read; they are rebuilt from readings."""

RING = 24
"""Recent values kept per series, for the trend."""


class SeriesState(msgspec.Struct, frozen=True):
    """
    What was last heard of a series.

    Attributes:
        time: When the newest evaluated reading was measured. UTC.
        value: Its value, in the canonical unit.
        recent: (time, value) of the newest readings, oldest first, at most `RING`.
    """

    time: datetime
    value: float
    recent: tuple[tuple[datetime, float], ...] = ()


SeriesKey = tuple[str, str]
"""(sensor, quantity)."""

TimerKey = tuple[str, str, str]
"""(sensor, rule key, condition id)."""


class SignalState(msgspec.Struct, frozen=True):
    """A state of the system that holds, since when, and its words."""

    since: datetime
    detail: str = ""


class Core(msgspec.Struct, frozen=True):
    """
    The few facts that belong to no place.

    Attributes:
        next_alarm: The id of the next alarm.
        quiet_from: Silence before this is not the sensors'.
        signals: States of the system that hold.
    """

    next_alarm: int = 1
    quiet_from: datetime | None = None
    signals: Mapping[str, SignalState] = {}


class State(msgspec.Struct, frozen=True):
    """
    All that the step knows. Mappings are never changed in place.

    Attributes:
        plan: What to watch; not stored, made anew from configuration and journal.
        series: Last heard of each series.
        timers: Limits that are not idle.
        alarms: Alarms that are not closed, by id.
        core: The rest.
    """

    plan: Plan
    series: Mapping[SeriesKey, SeriesState] = {}
    timers: Mapping[TimerKey, Timer] = {}
    alarms: Mapping[int, Alarm] = {}
    core: Core = Core()


def trend_per_hour(recent: tuple[tuple[datetime, float], ...]) -> float | None:
    """
    Slope of the recent values by least squares, or None with too few of them.

    At least three values over at least ten minutes are asked for, and only the
    last hour counts.
    """
    if not recent:
        return None
    newest = recent[-1][0]
    points = [
        ((t - newest).total_seconds() / 3600, v)
        for t, v in recent
        if newest - t <= timedelta(hours=1)
    ]
    if len(points) < 3 or points[0][0] > -1 / 6:  # noqa: PLR2004 - as the docstring says
        return None
    mean_t = sum(t for t, _ in points) / len(points)
    mean_v = sum(v for _, v in points) / len(points)
    spread = sum((t - mean_t) ** 2 for t, _ in points)
    if spread <= 0:
        return None
    return sum((t - mean_t) * (v - mean_v) for t, v in points) / spread
