"""Out of range: how long, how far, from when; by hand and by law."""

import itertools
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.alarms.alarm import Side
from monitor.clock import to_us
from monitor.summary.series import series_week
from monitor.summary.spells import spells_of
from monitor.summary.timeline import BandSpan
from tests.summary.house import END, HOUR, START, hourly

GAP = 3 * HOUR
ALL_WEEK = (BandSpan(START, END, 20.0, 26.0),)
MINUTE = timedelta(minutes=1)


def readings(pairs):
    """(Hours from the start, value) as arrays."""
    times = np.array([to_us(START + h * HOUR) for h, _ in pairs], np.int64)
    return times, np.array([float(v) for _, v in pairs])


def found(pairs, bands=ALL_WEEK, danger=()):
    times, values = readings(pairs)
    return spells_of(
        times, values, since=START, until=END, gap=GAP, bands=bands, danger=danger
    )


def test_a_spell_begins_and_ends_where_the_line_crosses_the_limit():
    """
    24 at 10:00, 28 at 12:00, 24 at 14:00; tolerated up to 26.

    The line passes 26 at 11:00 and again at 13:00; the worst is 28, 2 beyond.
    """
    [spell] = found([*hourly(24, 0, 9), (10, 24), (12, 28), (14, 24), *hourly(24, 15)])

    assert (spell.since, spell.until) == (START + 11 * HOUR, START + 13 * HOUR)
    assert spell.seconds == 2 * 3600
    assert (spell.worst, spell.limit, spell.beyond) == (28, 26, 2)
    assert (spell.worst_at, spell.side) == (START + 12 * HOUR, Side.ABOVE)
    assert not spell.danger


def test_one_reading_is_a_spell_of_its_own():
    """A single 14 among 24s an hour apart: out from 24 to 14 at 20, 24 min each way."""
    [spell] = found([*hourly(24, 0, 9), (10, 14), *hourly(24, 11)])

    # 20 is passed after 4 of 10 degrees, so 36 of 60 min are outside on each side
    assert spell.seconds == pytest.approx(2 * 36 * 60)
    assert (spell.worst, spell.side) == (14, Side.BELOW)


def test_a_gap_ends_a_spell():
    """Outside before and after six silent hours: two spells, and nothing in between."""
    before, after = found([*hourly(28, 0, 10), *hourly(28, 16)])

    assert (before.until, after.since) == (START + 10 * HOUR, START + 16 * HOUR)


def test_the_band_of_its_own_time_counts():
    """18 all day is outside by day (20), inside at night (16): seven spells of 12 h."""
    halves = [
        BandSpan(
            START + 12 * n * HOUR,
            START + 12 * (n + 1) * HOUR,
            20.0 if n % 2 else 16.0,
            26.0,
        )
        for n in range(14)
    ]

    spells = found(hourly(18), halves)

    assert [s.seconds for s in spells] == [12 * 3600] * 7
    assert {s.limit for s in spells} == {20}


def test_the_danger_limit_is_told_apart():
    """Down to 14 passes danger at 15, down to 17 does not."""
    line = [*hourly(24, 0, 9), (10, 14), *hourly(24, 11, 49), (50, 17), *hourly(24, 51)]

    deep, shallow = found(line, danger=(BandSpan(START, END, 15.0, 33.0),))

    assert (deep.danger, shallow.danger) == (True, False)


def test_nothing_in_common_is_a_spell_all_week():
    """Where those who depend on a probe share no value, any value is outside."""
    [spell] = found(hourly(22), (BandSpan(START, END, 24.0, 20.0),))

    assert spell.seconds == (END - START).total_seconds()
    assert spell.beyond == 2


@pytest.mark.parametrize("pairs", [[], [(10, 50)]])
def test_without_two_readings_there_is_no_spell(pairs):
    """One value lasts no time."""
    assert found(pairs) == ()


def test_without_a_band_nothing_is_out_of_range():
    """Nobody depended on it."""
    assert found(hourly(50), ()) == ()


LINES = st.lists(
    st.tuples(st.integers(1, 90), st.sampled_from([12, 18, 20, 22, 26, 27, 40])),
    min_size=2,
    max_size=60,
)


@given(LINES)
def test_spells_are_the_time_outside(steps):
    """Their sum is the time that the figures call out of range; none is longer."""
    at = np.cumsum([step for step, _ in steps]) / 30
    pairs = list(zip(at.tolist(), [v for _, v in steps], strict=True))
    times, values = readings(pairs)
    bands = [
        BandSpan(START, START + 40 * HOUR, 20.0, 26.0),
        BandSpan(START + 40 * HOUR, END, 18.0, 22.0),
    ]

    spells = found(pairs, bands)
    week = series_week(times, values, since=START, until=END, gap=GAP, bands=bands)

    outside = week.watched_s - week.in_band_s
    assert sum(s.seconds for s in spells) == pytest.approx(outside, abs=0.01)
    assert all(s.since < s.until for s in spells)
    assert all(s.beyond > 0 for s in spells)
    assert all(a.until <= b.since for a, b in itertools.pairwise(spells))
