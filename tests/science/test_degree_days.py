"""Degree-days of readings: hand-derived fractions, laws, refusals."""

from dataclasses import replace
from datetime import timedelta
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from monitor.science.degree_days import (
    PIECE,
    HeatSum,
    check_thresholds,
    integrate,
    integrate_between,
    rate,
    with_missing,
)

HOUR = timedelta(hours=1)
HOUR_US = 3_600_000_000
DAY = timedelta(days=1)
CUTOFFS = ["horizontal", "intermediate", "vertical"]

# Exact integrals derived by hand, lower 10, upper 30 degC: hours, temperatures, and
# the sum for horizontal, vertical and (pointwise) intermediate cutoff. Own work, no
# publication: each is derived in its comment, and `test_agrees_with_brute_force`
# stands beside them. The first five are cases P01, P03, P05, P09 and P11 of the
# collection they come from; P07 and P13 have tests of their own below.
BY_HAND = [
    # constant: 10 all day
    ([0, 24], [20, 20], "10", "10", "10"),
    # 12 h triangle of height 10
    ([0, 24], [0, 20], "5/2", "5/2", "5/2"),
    # 12 h ramp to 20, then 6 h at 20 | 0 | falling from 20 to 10
    ([0, 24], [0, 40], "10", "5", "35/4"),
    # six hours above: 20 | 0 | mean of 15 and 19
    ([0, 6], [35, 31], "5", "0", "17/4"),
    # touches the lower threshold at one instant
    ([0, 3, 6], [12, 10, 12], "1/4", "1/4", "1/4"),
    # begins at the lower threshold
    ([0, 24], [10, 20], "5", "5", "5"),
    # 12 h at mean 15, then 20 | 0 | mean 15
    ([0, 24], [20, 40], "35/2", "15/2", "15"),
    # uneven times, down through the threshold: 4 + 27 + 18/7 degree-hours
    ([0, 1, 4, 4.5, 10], [12, 16, 22, 8, 8], "235/168", "235/168", "235/168"),
    # wholly below
    ([0, 24], [5, 9], "0", "0", "0"),
    # up through the upper threshold and back: each hour 19/2 + 10 | 19/2 | 19/2 + 19/2
    ([0, 1, 2], [28, 32, 28], "13/8", "19/24", "19/12"),
    # dips below: two triangles of 1 h, height 2, in degree-hours 2
    ([0, 3, 6], [12, 6, 12], "1/12", "1/12", "1/12"),
    # through all kinks: from 30 to 70 the intermediate rate is 20 down to 0 at 50
    ([0, 24], [30, 70], "20", "0", "5"),
]

SECONDS = st.integers(1, 7200)
temperatures = st.floats(-30, 60)
thresholds = st.tuples(st.floats(0, 20), st.floats(0.5, 25)).map(
    lambda pair: (pair[0], pair[0] + pair[1])
)


@st.composite
def curves(draw, *, most=40, spacing=SECONDS):
    """Times and temperatures; neighbours from a second to two hours apart."""
    count = draw(st.integers(2, most))
    spans = draw(st.lists(spacing, min_size=count - 1, max_size=count - 1))
    values = draw(st.lists(temperatures, min_size=count, max_size=count))
    times = np.cumsum([0, *spans]).astype(np.int64) * 1_000_000
    return times, np.array(values, dtype=np.float64)


def of_hours(hours, values):
    times = np.array([round(h * HOUR_US) for h in hours], dtype=np.int64)
    return times, np.array(values, dtype=np.float64)


def total(curve, lower=10.0, upper=30.0, cutoff="horizontal", max_gap=DAY):
    times, values = curve
    return integrate(
        times, values, lower_c=lower, upper_c=upper, cutoff=cutoff, max_gap=max_gap
    )


@pytest.mark.parametrize(
    ("hours", "values", "horizontal", "vertical", "intermediate"), BY_HAND
)
def test_fractions_derived_by_hand(hours, values, horizontal, vertical, intermediate):
    """The integral of a piecewise-linear temperature is the exact fraction."""
    curve = of_hours(hours, values)

    got = [
        total(curve, cutoff=cutoff).degree_days
        for cutoff in ("horizontal", "vertical", "intermediate")
    ]

    expected = [float(Fraction(f)) for f in (horizontal, vertical, intermediate)]
    assert got == pytest.approx(expected, rel=1e-14, abs=1e-15)


def test_without_an_upper_threshold_warmth_has_no_ceiling():
    """A day from 20 to 40 above 10: 20 (case P13); the cutoff is ignored."""
    curve = of_hours([0, 24], [20, 40])

    got = [total(curve, upper=None, cutoff=c).degree_days for c in CUTOFFS]

    assert got == [20, 20, 20]


def test_a_step_is_two_sums():
    """15 for six hours, then 25 for six: 5 (case P07, two at one instant)."""
    before = total(of_hours([0, 6], [15, 15])).degree_days
    after = total(of_hours([6, 12], [25, 25])).degree_days

    assert before + after == 5


@pytest.mark.parametrize(
    ("cutoff", "celsius", "expected"),
    [
        ("horizontal", [5, 10, 20, 30, 35, 50, 60], [0, 0, 10, 20, 20, 20, 20]),
        ("vertical", [5, 10, 20, 30, 30.001, 60], [0, 0, 10, 20, 0, 0]),
        ("intermediate", [5, 10, 20, 30, 35, 50, 60], [0, 0, 10, 20, 15, 0, 0]),
    ],
)
def test_rate_at_one_temperature(cutoff, celsius, expected):
    """Each cutoff's rate below, between, at and above the thresholds."""
    got = [rate(c, lower_c=10, upper_c=30, cutoff=cutoff) for c in celsius]

    assert got == expected


def test_a_steady_temperature_is_no_special_case():
    """Minimum equal to maximum, also exactly at a threshold."""
    steady = [of_hours([0, 12, 24], [c] * 3) for c in (10, 20, 30, 31)]

    assert [total(s).degree_days for s in steady] == [0, 10, 20, 20]
    assert [total(s, cutoff="vertical").degree_days for s in steady] == [0, 10, 20, 0]


@pytest.mark.parametrize("cutoff", CUTOFFS)
def test_nearly_equal_readings_across_a_threshold(cutoff):
    """No cancellation: differences down to 1e-14 degC leave the rate exact."""
    gaps = [1e-3, 1e-6, 1e-9, 1e-12, 1e-14]

    got = [
        total(of_hours([0, 24], [30 - g, 30 + g]), cutoff=cutoff).degree_days
        for g in gaps
    ]

    mean = 10 if cutoff == "vertical" else 20
    assert got == pytest.approx([mean] * 5, abs=2e-3)
    assert got[2:] == pytest.approx([mean] * 3, abs=1e-8)


@pytest.mark.parametrize("cutoff", CUTOFFS)
@given(curve=curves(most=8), limits=thresholds)
def test_agrees_with_brute_force(cutoff, curve, limits):
    """A midpoint sum of 4,000 points a pair comes to the same figure."""
    times, values = curve
    lower, upper = limits
    middles = (np.arange(4000) + 0.5) / 4000
    line = values[:-1, None] + np.diff(values)[:, None] * middles
    rates = {
        "horizontal": np.clip(line, lower, upper) - lower,
        "vertical": np.where(line > upper, 0, np.maximum(line - lower, 0)),
        "intermediate": np.maximum(np.minimum(line, 2 * upper - line) - lower, 0),
    }[cutoff]
    expected = (rates.mean(axis=1) * np.diff(times)).sum() / 86_400e6

    got = total(curve, lower, upper, cutoff)

    # a jump of 25 degrees may fall anywhere inside one of the 4,000 strips
    coarse = 25 / 4000 if cutoff == "vertical" else 1e-4
    days = (times[-1] - times[0]) / 86_400e6
    assert got.degree_days == pytest.approx(expected, abs=coarse * days + 1e-12)


@pytest.mark.parametrize("cutoff", CUTOFFS)
@given(curve=curves(), limits=thresholds)
def test_never_negative_and_never_above_the_highest_rate(cutoff, curve, limits):
    """0 <= degree-days <= (upper - lower) * days, whatever the cutoff."""
    lower, upper = limits

    got = total(curve, lower, upper, cutoff)

    assert 0 <= got.degree_days <= (upper - lower) * (got.measured / DAY) + 1e-9
    assert got.missing == timedelta(0)


@given(curve=curves(), limits=thresholds, warmer=st.floats(0, 20))
def test_a_warmer_house_never_ages_an_animal_less(curve, limits, warmer):
    """Under the horizontal cutoff degree-days rise with temperature."""
    times, values = curve
    lower, upper = limits

    cool, warm = (
        total(curve, lower, upper),
        total((times, values + warmer), lower, upper),
    )

    assert cool.degree_days <= warm.degree_days + 1e-9


@given(curve=curves())
def test_the_way_back_is_as_warm_as_the_way_there(curve):
    """Turning time round changes nothing."""
    times, values = curve
    back = (times[-1] - times[::-1], values[::-1])

    assert total(back).degree_days == pytest.approx(total(curve).degree_days, abs=1e-12)


@pytest.mark.parametrize("cutoff", CUTOFFS)
@given(
    curve=curves(),
    cuts=st.lists(st.floats(-0.1, 1.1), min_size=1, max_size=5),
    limits=thresholds,
)
def test_sums_of_adjoining_spans_add_up(cutoff, curve, cuts, limits):
    """Cut anywhere, even at one instant twice or beyond the ends: parts = whole."""
    times, values = curve
    length = int(times[-1])
    instants = sorted([-HOUR_US, *(round(c * length) for c in cuts), length + HOUR_US])

    parts = [
        integrate_between(
            times,
            values,
            since_us=since,
            until_us=until,
            lower_c=limits[0],
            upper_c=limits[1],
            cutoff=cutoff,
            max_gap=HOUR,
        )
        for since, until in pairwise(instants)
        if since <= until
    ]

    whole = total(curve, *limits, cutoff, max_gap=HOUR)
    got = sum(part.degree_days for part in parts)
    assert got == pytest.approx(whole.degree_days, abs=1e-9)
    measured = sum((part.measured for part in parts), timedelta(0))
    assert measured == whole.measured
    missing = sum((part.missing for part in parts), timedelta(0))
    assert missing == whole.missing + timedelta(
        microseconds=instants[-1] - instants[0] - length
    )


@given(
    curve=curves(most=60, spacing=st.integers(600, 1200)),
    limits=thresholds,
    cutoff=st.sampled_from(CUTOFFS),
    data=st.data(),
)
def test_bounds_contain_the_truth_when_readings_are_lost(curve, limits, cutoff, data):
    """Any inner readings removed: low <= sum of the complete series <= high."""
    times, values = curve
    lower, upper = limits
    inner = st.lists(st.booleans(), min_size=len(times) - 2, max_size=len(times) - 2)
    kept = np.array([True, *data.draw(inner), True])
    allowed = timedelta(seconds=1199)  # two pairs in one are at least 1,200 s
    assume(np.diff(times).max() < 1_200_000_000)

    truth = total(curve, lower, upper, cutoff, allowed)
    left = total((times[kept], values[kept]), lower, upper, cutoff, allowed)
    got = with_missing(left, lower_c=lower, upper_c=upper)

    assert truth.missing == timedelta(0)
    assert got.low - 1e-9 <= truth.degree_days <= got.high + 1e-9
    assert got.coverage == pytest.approx(left.measured / truth.measured)


def test_a_gap_is_missing_not_zero_and_not_carried_forward():
    """Six silent hours between warm readings: neither warmth nor measured time."""
    curve = of_hours([0, 1, 7, 8], [28, 28, 28, 28])

    got = total(curve, max_gap=2 * HOUR)

    assert (got.measured, got.missing) == (2 * HOUR, 6 * HOUR)
    assert got.degree_days == pytest.approx(18 * 2 / 24)
    assert (got.first_us, got.last_us) == (0, 8 * HOUR_US)


def test_a_pair_exactly_at_the_permitted_gap_counts():
    """The gap is the longest time that may be bridged, itself included."""
    got = total(of_hours([0, 2], [20, 20]), max_gap=2 * HOUR)

    assert got.missing == timedelta(0)


def test_a_part_of_a_pair_that_is_too_long_is_missing_too():
    """Between two readings three hours apart no single hour is measured."""
    times, values = of_hours([0, 3], [20, 20])

    got = integrate_between(
        times,
        values,
        since_us=HOUR_US,
        until_us=2 * HOUR_US,
        lower_c=10,
        max_gap=2 * HOUR,
    )

    assert (got.degree_days, got.measured, got.missing) == (0, timedelta(0), HOUR)


def test_a_span_within_one_pair():
    """Both ends are interpolated: from 12 to 14 degC in an hour above 10."""
    times, values = of_hours([0, 5], [10, 20])

    got = integrate_between(
        times,
        values,
        since_us=HOUR_US,
        until_us=2 * HOUR_US,
        lower_c=10,
        max_gap=5 * HOUR,
    )

    assert got.degree_days == pytest.approx(3 / 24)
    assert got.measured == HOUR


def test_a_span_without_readings_is_missing():
    """An empty series is no error: the whole span is missing."""
    times, values = of_hours([], [])

    got = integrate_between(
        times, values, since_us=0, until_us=HOUR_US, lower_c=10, max_gap=HOUR
    )

    assert got == HeatSum(0, timedelta(0), HOUR, 0, HOUR_US)


def test_pieces_lose_no_pair_between_them():
    """Across the edges of pieces the sum is that of all pairs."""
    count = 3 * PIECE + 5
    times = np.arange(count, dtype=np.int64) * 60_000_000
    values = 20 + 15 * np.sin(np.arange(count) / 100)
    halves = [
        integrate_between(
            times,
            values,
            since_us=int(times[a]),
            until_us=int(times[b]),
            lower_c=10,
            upper_c=30,
            max_gap=HOUR,
        )
        for a, b in ((0, 5000), (5000, count - 1))
    ]

    got = total((times, values))

    assert got.measured == timedelta(minutes=count - 1)
    assert got.degree_days == pytest.approx(sum(h.degree_days for h in halves))


def test_missing_time_at_the_mean_rate_at_nothing_and_at_the_most():
    """Ten degree-days in 18 of 24 hours: 40/3 estimated, from 10 to 15."""
    heat = HeatSum(10, 18 * HOUR, 6 * HOUR, 0, 24 * HOUR_US)

    got = with_missing(heat, lower_c=10, upper_c=30)
    without = with_missing(heat, lower_c=10)
    nothing = with_missing(replace(heat, degree_days=0, measured=0 * HOUR), lower_c=10)

    assert got.estimate == pytest.approx(40 / 3)
    assert (got.low, got.high, got.coverage) == (10, 15, 0.75)
    assert (without.low, without.high) == (10, None)
    assert (nothing.estimate, nothing.coverage) == (None, 0)


@pytest.mark.parametrize(
    ("hours", "values", "words"),
    [
        ([0, 1, 1], [20, 21, 22], "index 2 holds 3600000000 us after 3600000000 us"),
        ([0, 2, 1], [20, 21, 22], "index 2 holds 3600000000 us after 7200000000 us"),
        ([0, 1, 2], [20, np.nan, 22], "index 1 holds nan"),
        ([0, 1, 2], [20, 21, np.inf], "index 2 holds inf"),
        ([0, 1, 2], [-np.inf, 21, 22], "index 0 holds -inf"),
        ([0], [20], "at least two readings are needed, got 1"),
        ([0, 1], [20], "one length"),
    ],
)
def test_arrays_that_mean_nothing_are_refused(hours, values, words):
    """The message names the index and the values."""
    with pytest.raises(ValueError, match=words):
        total(of_hours(hours, values))


def test_a_fault_in_a_later_piece_is_named_by_its_own_index():
    """The index counts from the beginning of the array."""
    times = np.arange(3 * PIECE, dtype=np.int64)
    values = np.full(3 * PIECE, 20.0)
    values[2 * PIECE + 7] = np.nan

    with pytest.raises(ValueError, match=f"index {2 * PIECE + 7} holds nan"):
        total((times, values))


@pytest.mark.parametrize("bad", ["time", "value"])
def test_faults_beside_the_ends_of_a_span_are_refused(bad):
    """Readings that only give an end of the span are held to the same rule."""
    times, values = of_hours([0, 2], [20, 20])
    if bad == "time":
        times[1] = 0
    else:
        values[1] = np.nan

    with pytest.raises(ValueError, match="index 1"):
        integrate_between(
            times,
            values,
            since_us=HOUR_US * (bad == "value"),
            until_us=HOUR_US,
            lower_c=10,
            max_gap=DAY,
        )


@pytest.mark.parametrize(
    ("lower", "upper", "cutoff", "words"),
    [
        (30, 10, "horizontal", "30 is not below upper threshold 10"),
        (10, 10, "horizontal", "is not below"),
        (np.nan, 30, "horizontal", "lower threshold must be finite"),
        (10, np.inf, "horizontal", "upper threshold must be finite"),
        (10, 30, "sideways", "cutoff must be one of horizontal"),
    ],
)
def test_thresholds_that_mean_nothing_are_refused(lower, upper, cutoff, words):
    """Swapped, equal or endless thresholds and unknown cutoffs."""
    with pytest.raises(ValueError, match=words):
        check_thresholds(lower, upper, cutoff)


def test_a_gap_of_nothing_and_a_span_that_runs_backwards_are_refused():
    """Zero permitted gap, an end before the beginning, a rate of NaN."""
    times, values = of_hours([0, 1], [20, 20])

    with pytest.raises(ValueError, match="max_gap must be above zero"):
        total((times, values), max_gap=timedelta(0))
    with pytest.raises(ValueError, match="ends at 0 us, before 1 us"):
        integrate_between(
            times, values, since_us=1, until_us=0, lower_c=10, max_gap=HOUR
        )
    with pytest.raises(ValueError, match="must be finite, got nan"):
        rate(float("nan"), lower_c=10)
