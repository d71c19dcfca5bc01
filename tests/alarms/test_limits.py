"""On-delay, deadband, off-delay and the second reading."""

import math
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.alarms.alarm import Side
from monitor.alarms.limits import (
    IDLE,
    Delays,
    Timer,
    in_band,
    is_back,
    judge,
    pass_time,
    side_of,
)

T0 = datetime(2026, 3, 1, tzinfo=UTC)
MIN = timedelta(minutes=1)

# One high alarm at 30, a reading a minute. Derived from the definitions of
# OPC 10000-9 v1.05, B.1.5 (not published numbers): strict comparisons, the timer
# starts at the first reading that qualifies.
SERIES = (
    29.0, 30.0, 30.1, 29.9, 30.2, 30.3, 30.4, 30.1, 29.9, 29.6,
    29.5, 29.4, 29.6, 29.4, 29.3, 29.2, 30.1, 29.2, 29.1, 29.0,
)  # fmt: skip
VECTORS = [
    ("none", 0.0, 0, 0, "00101111000000001000"),
    ("deadband", 0.5, 0, 0, "00111111111000001000"),
    ("on_delay", 0.0, 120, 0, "00000011000000000000"),
    ("all", 0.5, 120, 120, "00000011111111100000"),
]


def run(values, delays, *, band=(-100.0, 30.0)):
    """The activity after each reading."""
    timer, seen = IDLE, []
    for i, value in enumerate(values):
        timer = judge(timer, value, T0 + i * MIN, band=band, delays=delays)
        seen.append("1" if timer.active else "0")
    return "".join(seen)


@pytest.mark.parametrize(("case", "deadband", "on", "off", "active"), VECTORS)
def test_delay_and_deadband_vectors(case, deadband, on, off, active):
    """The four combinations of OPC 10000-9, B.1.5 turn on and off where they must."""
    delays = Delays(timedelta(seconds=on), timedelta(seconds=off), deadband)

    assert run(SERIES, delays) == active, case


def test_a_second_reading_in_a_row_is_enough_for_danger():
    """With two readings asked for, the second in a row raises it."""
    delays = Delays(timedelta.max, timedelta(0), 0.0, readings=2)

    assert run((31.0, 29.0, 31.0, 31.0), delays) == "0001"


def test_c9_a_value_that_is_no_number_is_never_in_band():
    """NaN and infinities are outside every band (C9)."""
    for value in (math.nan, math.inf, -math.inf):
        assert not in_band(value, 0.0, 30.0)
        assert not is_back(value, 0.0, 30.0, 0.5, None)
    assert side_of(math.nan, 0.0, 30.0) is Side.ABOVE


def test_a_narrow_band_can_still_be_come_back_to():
    """A deadband as wide as the band leaves its middle to come back to."""
    assert is_back(25.0, 24.5, 25.5, 5.0, None)


def test_the_deadband_is_asked_only_on_the_side_that_was_broken():
    """A tub that was too dry is back when it is saturated."""
    assert is_back(100.0, 60.0, 100.0, 3.0, Side.BELOW)
    assert not is_back(100.0, 60.0, 100.0, 3.0, Side.ABOVE)
    assert not is_back(62.0, 60.0, 100.0, 3.0, Side.BELOW)


def test_time_alone_ends_an_on_delay_only_while_the_last_reading_is_fresh():
    """A silent sensor raises no limit alarm; a fresh one does at the tick."""
    delays = Delays(20 * MIN, 10 * MIN, 0.5)
    timer = judge(IDLE, 31.0, T0, band=(20.0, 30.0), delays=delays)

    stale = pass_time(timer, T0 + 21 * MIN, delays=delays, fresh=False)
    fresh = pass_time(timer, T0 + 21 * MIN, delays=delays, fresh=True)

    assert (stale.active, fresh.active) == (False, True)


def test_time_alone_ends_an_off_delay():
    """Back by the deadband and quiet for the off-delay ends it between readings."""
    delays = Delays(20 * MIN, 10 * MIN, 0.5)
    timer = judge(Timer(active=True), 25.0, T0, band=(20.0, 30.0), delays=delays)

    assert pass_time(timer, T0 + 9 * MIN, delays=delays, fresh=True).active
    assert pass_time(timer, T0 + 10 * MIN, delays=delays, fresh=True) == IDLE


@given(
    st.lists(st.floats(allow_nan=True, allow_infinity=True), max_size=30),
    st.integers(0, 5),
    st.integers(0, 5),
    st.floats(0, 10),
)
def test_no_alarm_without_a_reading_outside(values, on, off, deadband):
    """Whatever the delays, activity begins only at or after a reading outside."""
    delays = Delays(on * MIN, off * MIN, deadband)
    inside = [v for v in values if in_band(v, 20.0, 30.0)]

    assert "1" not in run(inside, delays, band=(20.0, 30.0))


@given(st.lists(st.floats(-50, 80), min_size=1, max_size=40))
def test_a_longer_on_delay_never_raises_earlier(values):
    """An alarm with a longer on-delay is a subset of the one with a shorter."""
    short = run(values, Delays(1 * MIN, 0 * MIN, 0.0), band=(20.0, 30.0))
    long = run(values, Delays(4 * MIN, 0 * MIN, 0.0), band=(20.0, 30.0))

    assert all(s == "1" for s, x in zip(short, long, strict=True) if x == "1")
