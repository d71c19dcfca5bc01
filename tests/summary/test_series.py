"""Figures of a series against weeks worked by hand and a textbook formula."""

from datetime import timedelta
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.clock import to_us
from monitor.summary.series import longest_silence, series_week
from monitor.summary.timeline import BandSpan
from tests.summary.house import DAY, END, HOUR, START


def arrays(pairs):
    times = np.array([to_us(START + h * HOUR) for h, _ in pairs], np.int64)
    return times, np.array([v for _, v in pairs], np.float64)


def band(low, high, begin=0, end=168):
    return BandSpan(START + begin * HOUR, START + end * HOUR, low, high)


def week(pairs, *bands, gap=10 * HOUR):
    times, values = arrays(pairs)
    return series_week(times, values, since=START, until=END, gap=gap, bands=bands)


def test_a_ramp_is_in_band_while_it_passes_through():
    """From 20 to 30 in 10 h at 1 a hour: inside 22 to 27 for 5 h; mean 25."""
    got = week([(0, 20), (10, 30)], band(22, 27))

    assert (got.n, got.lowest, got.mean, got.highest) == (2, 20, 25, 30)
    assert (got.measured_s, got.watched_s, got.in_band_s) == (36000, 36000, 18000)


def test_readings_count_by_the_time_that_they_stand_for():
    """
    20 held for 1 h, then a line to 30 in 1 h, then 30 for 8 h.

    (20 x 1 + 25 x 1 + 30 x 8) / 10 = 28.5, where the readings' own mean is 25.
    """
    got = week([(0, 20), (1, 20), (2, 30), (10, 30)])

    assert got.mean == pytest.approx(28.5)


def test_a_gap_is_missing_and_never_in_band():
    """Two pairs of 1 h with 11 h between them: 2 h are measured, all of it in band."""
    got = week([(0, 24), (1, 24), (12, 24), (13, 24)], band(20, 29))

    assert (got.measured_s, got.watched_s, got.in_band_s) == (7200, 7200, 7200)


def test_a_pair_exactly_a_gap_apart_still_bridges():
    """As in the degree-day account: longer is missing, as long is not."""
    assert week([(0, 24), (10, 24)]).measured_s == 36000
    assert week([(0, 24), (10.01, 24)]).measured_s == 0


def test_pairs_across_the_ends_count_with_their_part():
    """
    20 an hour before the week, 24 an hour into it: in the week from 22 to 24.

    Mean 23; inside 21 to 23 for the first half hour. Likewise at the end, from 24 back
    to 22, inside for the last half hour. The reading of the week alone is n.
    """
    got = week(
        [(-1, 20), (1, 24), (167, 24), (169, 20)],
        band(21, 23),
        gap=2 * HOUR,
    )

    assert (got.n, got.lowest, got.highest) == (2, 24, 24)
    assert got.mean == pytest.approx(23)
    assert (got.measured_s, got.in_band_s) == (7200, pytest.approx(3600))


def test_limits_themselves_are_inside():
    """A value that stays at a limit is tolerated, a hair beyond is not."""
    flat = [(0, 29), (1, 29)]

    assert week(flat, band(20, 29)).in_band_s == 3600
    assert week(flat, band(20, 28.999)).in_band_s == 0


def test_each_band_counts_in_its_own_time():
    """
    A ramp from 20 to 30 in 10 h; 20 to 24 is asked in the first 5 h, 20 to 29 after.

    Inside from 0 to 4 h and from 5 h (25) to 9 h (29): 8 h of 10.
    """
    got = week([(0, 20), (10, 30)], band(20, 24, 0, 5), band(20, 29, 5, 168))

    assert (got.watched_s, got.in_band_s) == (36000, pytest.approx(8 * 3600))


def test_time_in_which_nobody_asks_is_not_watched():
    """From 2 h to 3 h the shelf was empty: 9 h of 10 are watched."""
    flat = [(0, 24), (10, 24)]

    got = week(flat, band(20, 29, 0, 2), band(20, 29, 3, 168))

    assert (got.measured_s, got.watched_s) == (36000, 9 * 3600)


def test_animals_with_nothing_in_common_are_never_in_band():
    """The lower end of what all tolerate lies above the upper one."""
    got = week([(0, 20), (10, 30)], band(26, 21))

    assert (got.watched_s, got.in_band_s) == (36000, 0)


@pytest.mark.parametrize("pairs", [[], [(3, 24)], [(-5, 24)], [(170, 24)]])
def test_one_reading_or_none_measures_no_time(pairs):
    """An instant has no length, so there is no mean; the value itself is told."""
    got = week(pairs, band(20, 29))

    inside = [v for h, v in pairs if 0 <= h < 168]
    assert (got.n, got.mean, got.measured_s) == (len(inside), None, 0)
    assert got.lowest == (inside[0] if inside else None)


def test_a_sine_lies_within_half_its_height_a_third_of_the_time():
    """
    |sin| stays below 1/2 for 4 asin(1/2) of 2 pi: one third (calculus texts).

    Readings a minute apart follow a daily wave of 4 degC to a few parts in a million.
    """
    hours = np.arange(0, 168 * 60 + 1) / 60
    values = 24 + 4 * np.sin(2 * np.pi * hours / 24)

    got = week(list(zip(hours, values, strict=True)), band(22, 26), gap=HOUR)

    assert got.in_band_s / got.watched_s == pytest.approx(1 / 3, abs=1e-5)
    assert got.mean == pytest.approx(24, abs=1e-9)


curves = st.lists(
    st.tuples(st.integers(-6, 174), st.integers(10, 35)),
    min_size=2,
    max_size=40,
    unique_by=lambda pair: pair[0],
).map(sorted)


@given(pairs=curves, low=st.integers(10, 30), width=st.integers(0, 9))
def test_time_in_band_is_that_of_exact_fractions(pairs, low, width):
    """Pair by pair in rational numbers, the same time comes out."""
    got = week(pairs, band(low, low + width), gap=5 * HOUR)

    assert got.in_band_s == pytest.approx(float(3600 * exact(pairs, low, low + width)))
    assert got.in_band_s <= got.watched_s + 1e-6
    assert got.watched_s == got.measured_s


def exact(pairs, low, high):
    """Hours in band of a whole week, in fractions."""
    return sum(
        (inside(one, two, low, high) for one, two in pairwise(pairs)), Fraction(0)
    )


def inside(one, two, low, high):
    """Hours of one pair: where the line enters and leaves the band."""
    (at, value), (then, after) = one, two
    begin, end = max(at, 0), min(then, 168)
    if then - at > 5 or end <= begin:
        return Fraction(0)
    slope = Fraction(after - value, then - at)
    if slope == 0:
        return Fraction(end - begin) if low <= value <= high else Fraction(0)
    crossings = sorted(at + (limit - value) / slope for limit in (low, high))
    return max(Fraction(0), min(crossings[1], end) - max(crossings[0], begin))


def test_the_longest_silence_reaches_to_the_ends_of_the_week():
    """Readings at 5 h and 50 h of 168: silent for 118 h from 50 h on."""
    times, _ = arrays([(-1, 20), (5, 20), (50, 20)])

    got = longest_silence(times, since=START, until=END)

    assert (got.readings, got.seconds) == (2, 118 * 3600)
    assert got.since == START + 50 * HOUR


def test_a_sensor_that_never_spoke_was_silent_all_week():
    """Seven days, from the first instant."""
    got = longest_silence(np.empty(0, np.int64), since=START, until=END)

    assert (got.readings, got.since) == (0, START)
    assert timedelta(seconds=got.seconds) == 7 * DAY
