"""
Limits with on-delay, deadband and off-delay.

Definitions: OPC 10000-9 v1.05, B.1.5 (written to agree with IEC 62682 and ISA-18.2).
"""

from datetime import datetime, timedelta

import msgspec

from monitor.alarms.alarm import Side

replace = msgspec.structs.replace

MOST_OF_THE_BAND = 0.25
"""A deadband never eats more than this share of a band from each side: own choice."""


class Timer(msgspec.Struct, frozen=True):
    """
    Where one limit stands.

    Attributes:
        active: The alarm condition holds, delays included.
        beyond_since: First reading of the present run outside the limits.
        beyond: Readings in that run.
        within_since: First reading of the present run inside by the deadband.
        side: On which side it was last outside.
    """

    active: bool = False
    beyond_since: datetime | None = None
    beyond: int = 0
    within_since: datetime | None = None
    side: Side | None = None


IDLE = Timer()
"""In band and quiet."""


class Delays(msgspec.Struct, frozen=True):
    """
    How long a value must stay before it counts, and how far it must come back.

    Attributes:
        on: Outside for so long makes the alarm.
        off: Inside (by the deadband) for so long ends it.
        deadband: In the unit of the quantity.
        readings: So many readings outside in a row make the alarm at once;
            0 where only the delay counts.
    """

    on: timedelta
    off: timedelta
    deadband: float
    readings: int = 0


def in_band(value: float, low: float, high: float) -> bool:
    """Tell whether a value is inside; NaN never is (C9)."""
    return low <= value <= high


def side_of(value: float, low: float, high: float) -> Side | None:
    """On which side a value is outside, or None inside."""
    if in_band(value, low, high):
        return None
    return Side.BELOW if value < low else Side.ABOVE


def is_back(
    value: float, low: float, high: float, deadband: float, side: Side | None
) -> bool:
    """
    Tell whether a value has come back by the deadband.

    Args:
        value: The reading.
        low: Still inside.
        high: Still inside.
        deadband: How far it must come back, on the side on which it was outside.
        side: That side; None asks it of both.
    """
    if deadband <= 0:
        return in_band(value, low, high)
    kept = min(deadband, MOST_OF_THE_BAND * (high - low))
    above_low = value >= low if side is Side.ABOVE else value > low + kept
    below_high = value <= high if side is Side.BELOW else value < high - kept
    return above_low and below_high


def judge(
    timer: Timer,
    value: float,
    at: datetime,
    *,
    band: tuple[float, float],
    delays: Delays,
) -> Timer:
    """
    Let one reading act on a limit.

    Args:
        timer: Where the limit stands.
        value: The reading.
        at: When it was measured; later than all before it.
        band: Low and high, both still inside.
        delays: How long and how far.

    Returns:
        Where the limit stands now; `IDLE` where nothing runs.
    """
    low, high = band
    if not in_band(value, low, high):
        since = timer.beyond_since or at
        count = timer.beyond + 1
        enough = bool(delays.readings) and count >= delays.readings
        raised = timer.active or enough or at - since >= delays.on
        return Timer(raised, since, count, None, side_of(value, low, high))
    if not timer.active:
        return IDLE
    if not is_back(value, low, high, delays.deadband, timer.side):
        return Timer(active=True, side=timer.side)
    since = timer.within_since or at
    if at - since >= delays.off:
        return IDLE
    return Timer(active=True, within_since=since, side=timer.side)


def pass_time(timer: Timer, now: datetime, *, delays: Delays, fresh: bool) -> Timer:
    """
    Let time alone act on a limit, between readings.

    Args:
        timer: Where the limit stands.
        now: The instant of the tick.
        delays: How long and how far.
        fresh: The last reading is younger than two intervals; an older one may
            end no delay.
    """
    if not fresh:
        return timer
    began, back = timer.beyond_since, timer.within_since
    if not timer.active and began is not None and now - began >= delays.on:
        return replace(timer, active=True)
    if timer.active and back is not None and now - back >= delays.off:
        return IDLE
    return timer
