"""Quality checks against flags of another program, and where ours differ from them."""

import math
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from monitor.science.quality import (
    AttenuatedSignal,
    Checks,
    FlatLine,
    Gap,
    GrossRange,
    RateOfChange,
    Spike,
    flag,
)
from monitor.science.quality_flags import worst

MINUTE_US = 60_000_000
NAN = math.nan

# Vectors marked "ioos-qc" are flags that ioos-qc 3.0.0, the IOOS implementation of the
# QARTOD manuals, gave when it was run; github.com/ioos/ioos_qc, tag v3.0.0.


def every(minutes, values, checks):
    """Flags of readings at a steady interval."""
    times = np.arange(len(values), dtype=np.int64) * round(minutes * MINUTE_US)
    return flag(times, np.array(values, dtype=np.float64), checks)


def by(name, minutes, values, check):
    """Flags of one check alone."""
    found = every(minutes, values, Checks(**{name: check}))
    return found.by_check[name].tolist()


def test_gross_range_agrees_at_and_around_its_limits():
    """ioos-qc, gross_bounds: limits are inside; NaN 9, infinity 4."""
    values = [-0.01, 0, 4.99, 5, 20, 35, 35.01, 50, 50.01, NAN, math.inf]

    got = by("gross_range", 5, values, GrossRange((0, 50), (5, 35)))

    assert got == [4, 3, 3, 1, 1, 1, 3, 3, 4, 9, 4]


@pytest.mark.parametrize(
    ("values", "flags"),
    [
        # ioos-qc, spike_85_differential
        ([24] * 4 + [85] + [24] * 4, [2, 1, 1, 1, 4, 1, 1, 1, 2]),
        # ioos-qc, spike_differential: 4 above 24 suspect, 11 above failed, 2.9 passes
        (
            [24, 24.1, 24, 28, 24, 24.1, 24, 35, 24, 24.1, 24, 26.9, 24, 24.1, 24, 24],
            [2, 1, 1, 3, 1, 1, 1, 4, 1, 1, 1, 1, 1, 1, 1, 2],
        ),
        # ioos-qc, spike_two_point_differential: no spike, nor is a ramp
        ([24, 24, 30, 30, 24, 24, 24, 30, 36, 36, 36], [2] + [1] * 9 + [2]),
        # ioos-qc, spike_oscillate_differential
        ([20, 21, 19.5, 24, 18, 24, 18, 24, 20], [2, 1, 1, 3, 3, 3, 3, 3, 2]),
        # ioos-qc, spike_nan (by the average): beside a missing value nothing is known
        (
            [24, NAN, 24, 24, NAN, 40, NAN, 24, 24, NAN],
            [2, 9, 2, 2, 9, 2, 9, 2, 2, 9],
        ),
    ],
)
def test_spikes_agree(values, flags):
    """The smaller of two opposite steps, above 3 suspect, above 8 failed."""
    assert by("spike", 5, values, Spike(3, 8)) == flags


def test_a_steps_of_exactly_the_limit_passes():
    """Strictly above, as in the manual: 3.0 between equals is no spike above 3."""
    assert by("spike", 5, [24, 27, 24], Spike(3)) == [2, 1, 2]


def test_rates_agree_but_for_the_first_reading_and_after_a_missing_one():
    """
    ioos-qc, roc_300s: 0.01 and 0.02 per second are 36 and 72 per hour.

    There the first reading and the one after a missing value pass unseen; here 2.
    """
    seconds = [0, 300, 600, 900, 1200, 1500, 1800, 5400, 5700, 6000, 6300]
    values = [24, 24.2, 24.4, 27.4, 27.4, NAN, 27.5, 31, 31.1, 24, 25]
    check = Checks(rate_of_change=RateOfChange(36, 72))

    got = flag(np.array(seconds) * 1_000_000, np.array(values), check)

    theirs = [1, 1, 1, 1, 1, 9, 1, 1, 1, 4, 1]
    theirs[0] = theirs[6] = 2
    assert got.by_check["rate_of_change"].tolist() == theirs


def test_an_exact_rate_passes_whatever_the_interval():
    """2 degC in 5 min are 24 per hour, and 24 is not above 24."""
    assert by("rate_of_change", 5, [24, 26, 24], RateOfChange(24)) == [2, 1, 1]


def test_a_rate_across_a_gap_is_a_lower_bound():
    """Beyond the limit although averaged over the gap is beyond; else unknown."""
    checks = Checks(rate_of_change=RateOfChange(10), gap=Gap(timedelta(minutes=30)))
    got = every(60, [20, 25, 40], checks)

    assert got.by_check["rate_of_change"].tolist() == [2, 2, 3]


FLAT = [24.0, 24.1, 24.2] + [24.3] * 9 + [24.4] * 2


@pytest.mark.parametrize("tolerance", [0.05, 0.001, 0.0])
def test_flat_lines_agree_at_a_steady_interval(tolerance):
    """
    ioos-qc, flat_tol0.05 and flat_tol0.001: suspect after 15 min, failed after 25.

    A tolerance of 0 flags nothing there, since it asks for a range below it; here it
    means readings that are equal.
    """
    check = FlatLine(timedelta(minutes=15), tolerance, timedelta(minutes=25))

    got = by("flat_line", 5, FLAT, check)

    assert got == [1] * 6 + [3, 3, 4, 4, 4, 4, 1, 1]


def test_a_flat_line_ends_at_a_gap_and_at_a_missing_value():
    """
    ioos-qc, flat_with_gap: by a count of readings an hour of silence goes unseen.

    There every reading from the sixth on is 4; here the run begins anew.
    """
    seconds = [0, 300, 600, 900, 1200, 1500, 5100, 5400, 5700, 6000, 6300, 6600]
    still = np.full(12, 24.3)
    checks = Checks(
        flat_line=FlatLine(timedelta(minutes=15), 0.05, timedelta(minutes=25)),
        gap=Gap(timedelta(minutes=15)),
    )
    broken = still.copy()
    broken[2] = NAN

    gap = flag(np.array(seconds) * 1_000_000, still, checks).by_check["flat_line"]
    missing = flag(np.array(seconds[:6]) * 1_000_000, broken[:6], checks)

    assert gap.tolist() == [1, 1, 1, 3, 3, 4, 1, 1, 1, 3, 3, 4]
    assert missing.by_check["flat_line"].tolist() == [1, 1, 9, 1, 1, 1]


def test_no_check_compares_across_more_than_the_bridge():
    """
    The mean rate over a long silence would be suspect; the line would be flat.

    A gap of the house that is shorter still ends what is looked back on, but not the
    rate across it.
    """
    minutes = np.array([0, 5, 15, 50, 55, 65])
    values = np.array([20.0, 20.0, 30.0, 60.0, 60.0, 60.0])
    checks = Checks(
        rate_of_change=RateOfChange(4.0),
        flat_line=FlatLine(timedelta(minutes=10), 0.0),
        gap=Gap(timedelta(minutes=8)),
    )

    def flags(name, minutes_of_bridge):
        bridge = minutes_of_bridge and timedelta(minutes=minutes_of_bridge)
        got = flag(minutes * MINUTE_US, values, checks, bridge=bridge)
        return got.by_check[name].tolist()

    assert flags("rate_of_change", None) == [2, 1, 3, 3, 1, 2]
    assert flags("rate_of_change", 35) == [2, 1, 3, 3, 1, 2]
    assert flags("rate_of_change", 30) == [2, 1, 3, 2, 1, 2]
    assert flags("gap", None) == [1, 1, 9, 9, 1, 9]
    assert flags("gap", 30) == flags("gap", 3) == [9, 1, 9, 9, 1, 9]
    assert flags("flat_line", 30) == [1] * 6
    checks = replace(checks, gap=None)
    assert flags("flat_line", 30) == [1, 1, 1, 1, 1, 3]
    assert flags("flat_line", 7) == [1] * 6


def test_a_lost_reading_does_not_end_a_flat_line():
    """Real time counts: with every second reading lost the line is as flat."""
    check = FlatLine(timedelta(minutes=20), 0.0)

    assert by("flat_line", 10, [24.3] * 4, check) == [1, 1, 3, 3]


WAVE = [24.0, 24.421, 24.455, 24.071, 23.622, 23.521, 23.86, 24.328]
QUIET = [24.0, 24.01] * 8


def test_an_attenuated_signal_agrees_once_the_window_is_full():
    """
    ioos-qc, atten_range: below 0.05 suspect, below 0.02 failed within an hour.

    There a verdict is given before the window is full, even on the first reading;
    here the first hour is 2.
    """
    check = AttenuatedSignal(timedelta(hours=1), 0.05, 0.02)

    got = by("attenuated_signal", 5, WAVE + QUIET, check)

    assert got == [2] * 12 + [1] * 7 + [4] * 5


def test_attenuation_is_not_judged_by_a_few_readings():
    """After a silence within the window two equal readings are no verdict."""
    minutes = [0, 15, 30, 45, 110, 111]
    values = np.array([20.0, 21.0, 20.0, 21.0, 20.0, 20.0])
    checks = Checks(attenuated_signal=AttenuatedSignal(timedelta(hours=1), 0.5))

    got = flag(np.array(minutes) * MINUTE_US, values, checks)

    assert got.by_check["attenuated_signal"].tolist() == [2] * 6


def test_the_reading_after_a_gap_is_flagged():
    """
    ioos-qc, gap_2h: 7201 s is a gap and 7200 s is none.

    There the reading after it is 4; here it is 9, the manual's result: what is
    missing lies before it.
    """
    seconds = np.array([0, 300, 600, 7801, 8101, 15301, 15601])
    checks = Checks(gap=Gap(timedelta(hours=2)))

    got = flag(seconds * 1_000_000, np.full(7, 24.0), checks)

    assert got.by_check["gap"].tolist() == [1, 1, 1, 9, 1, 1, 1]


# The first half of a series of 24 h that was made for the purpose: 24 degC and a slow
# sine with noise; one reading 4 too high, one 10 too high, twelve stuck, three missing.
HALF_A_DAY = """
23.89 23.94 24.16 24.07 24.14 24.14 24.31 24.17 24.19 24.37 24.25 24.3 24.5 24.4 24.46
24.45 24.6 24.45 24.46 24.63 24.73 24.76 24.72 24.61 24.66 24.87 24.78 24.84 24.84 25.0
28.85 24.87 25.04 24.92 24.95 25.15 25.04 25.09 25.08 25.22 25.06 25.06 25.22 25.31
25.33 25.28 25.16 25.19 25.39 25.29 25.34 25.33 25.47 25.31 25.32 25.48 25.34 25.36
25.54 25.42 35.46 25.43 25.55 25.38 25.37 25.51 25.59 25.59 25.52 25.39 25.41 25.59
25.47 25.51 25.48 25.61 25.43 25.42 25.57 25.41 25.42 25.58 25.44 25.47 25.42 25.53
25.34 25.31 25.44 25.5 25.49 25.49 25.49 25.49 25.49 25.49 25.49 25.49 25.49 25.49 25.49
25.49 25.12 25.11 25.26 25.11 25.12 25.05 25.15 24.95 24.9 25.02 25.06 25.04 24.94 24.78
24.77 24.92 24.78 24.79 24.73 24.83 24.63 24.59 24.71 24.53 24.51 24.65 24.49 24.49 nan
nan nan 24.25 24.35 24.39 24.36 24.26 24.09 24.07 24.22 24.07 24.08 24.01
"""

# what is not 1, as ioos-qc has it (gross, spike_diff, roc, flat, atten_range)
THEIRS = {
    "gross_range": {60: 3},
    "spike": {0: 2, 30: 3, 60: 4, 129: 2, 133: 2},
    "rate_of_change": {30: 3, 31: 3, 60: 4, 61: 4},
    "flat_line": dict.fromkeys(range(96, 100), 3) | {100: 4, 101: 4},
    "attenuated_signal": dict.fromkeys([*range(5), *range(133, 144)], 2)
    | {100: 4, 101: 4},
}
OURS = THEIRS | {
    # the last of these readings had a successor there
    "spike": THEIRS["spike"] | {143: 2},
    # a first reading has no rate
    "rate_of_change": THEIRS["rate_of_change"] | {0: 2, 133: 2},
    # they judge half a window
    "attenuated_signal": THEIRS["attenuated_signal"] | dict.fromkeys(range(5, 12), 2),
}


def half_a_day():
    return every(
        5,
        [float(word) for word in HALF_A_DAY.split()],
        Checks(
            gross_range=GrossRange((-10, 60), (10, 35)),
            spike=Spike(2, 5),
            rate_of_change=RateOfChange(24, 60),
            flat_line=FlatLine(timedelta(minutes=30), 0.005, timedelta(minutes=50)),
            attenuated_signal=AttenuatedSignal(timedelta(hours=1), 0.05, 0.02),
            gap=Gap(timedelta(minutes=30)),
        ),
    )


@pytest.mark.parametrize("name", OURS)
def test_half_a_day_with_faults_agrees(name):
    """Every fault is found where another program finds it; exceptions stand above."""
    got = half_a_day().by_check[name].tolist()

    found = {i: one for i, one in enumerate(got) if one not in {1, 9}}
    assert found == OURS[name]
    assert [i for i, one in enumerate(got) if one == 9] == [130, 131, 132]


def test_the_aggregate_hides_nothing():
    """Readings that were never evaluated or are missing do not pass in the sum."""
    got = half_a_day().aggregate.tolist()

    assert got[:12] == [2] * 12
    assert got[130:144] == [9] * 3 + [2] * 11
    assert (got[30], got[31], got[60], got[99], got[100]) == (3, 3, 4, 3, 4)


def test_the_order_of_badness_is_not_that_of_others():
    """ioos-qc, qartod_compare: 4, 3, 1, 2, 9: there a pass hides 2 and 9, here not."""
    one = np.array([1, 1, 1, 1, 2, 9, 9, 2, 3], dtype=np.int8)
    other = np.array([1, 3, 4, 9, 9, 9, 2, 2, 4], dtype=np.int8)

    got = worst([one, other]).tolist()

    theirs = [1, 3, 4, 1, 2, 9, 2, 2, 4]
    ours = {3: 9, 4: 9, 6: 9}
    assert got == [ours.get(i, flag_there) for i, flag_there in enumerate(theirs)]


def test_without_checks_nothing_was_evaluated():
    """No check is no pass."""
    got = every(5, [24, NAN, math.inf], Checks())

    assert (got.aggregate.tolist(), got.by_check) == ([2, 9, 4], {})


@pytest.mark.parametrize("count", [0, 1, 2])
def test_short_series_are_flagged_too(count):
    """No reading, one, and two: nothing fails for want of a neighbour."""
    checks = Checks(
        spike=Spike(3),
        rate_of_change=RateOfChange(24),
        flat_line=FlatLine(timedelta(hours=1), 0.1),
        attenuated_signal=AttenuatedSignal(timedelta(hours=1), 0.1),
        gap=Gap(timedelta(hours=1)),
    )

    got = every(5, [24] * count, checks)

    assert got.aggregate.tolist() == [2] * count


@pytest.mark.parametrize(
    ("times", "values", "said"),
    [
        ([0, 2, 2], [1.0, 2.0, 3.0], "index 2 holds 2 us after 2 us: sort them"),
        ([0, 2, 1], [1.0, 2.0, 3.0], "index 2 holds 1 us after 2 us"),
        ([0, 1], [1.0], r"of one length, got \(2,\) and \(1,\)"),
    ],
)
def test_a_series_out_of_order_is_refused(times, values, said):
    """Times rise strictly, and each has its value."""
    with pytest.raises(ValueError, match=said):
        flag(np.array(times), np.array(values), Checks())


HOUR = timedelta(hours=1)


@pytest.mark.parametrize(
    ("check", "words", "said"),
    [
        (GrossRange, ((50, 0),), "fail: low 50 is not below high 0"),
        (GrossRange, ((0, NAN),), "fail: low 0 is not below high nan"),
        (GrossRange, ((0, math.inf),), "high inf"),
        (GrossRange, ((0, 50), (35, 5)), "suspect: low 35 is not below high 5"),
        (GrossRange, ((0, 50), (-1, 35)), r"suspect \[-1, 35\] does not lie within"),
        (GrossRange, ((0, 50), (5, 51)), "narrow suspect or widen fail"),
        (Spike, (5, 2), "suspect 5 is not below fail 2"),
        (Spike, (0,), "suspect 0 must be above zero"),
        (Spike, (NAN,), "suspect nan must be above zero"),
        (Spike, (1, NAN), "suspect 1 is not below fail nan"),
        (RateOfChange, (60, 24), "suspect 60 is not below fail 24"),
        (RateOfChange, (-1,), "suspect -1 must be above zero"),
        (FlatLine, (HOUR, 0.1, HOUR), "suspect 1:00:00 must be shorter than fail"),
        (FlatLine, (-HOUR, 0.1), "suspect .* must be above zero: give a span"),
        (FlatLine, (HOUR, -0.1), "tolerance -0.1 must not be below zero"),
        (FlatLine, (HOUR, NAN), "tolerance nan must not be below zero"),
        (AttenuatedSignal, (timedelta(), 0.1), "period 0:00:00 must be above zero"),
        (AttenuatedSignal, (HOUR, 0.1, 0.2), "fail 0.2 is not below suspect 0.1"),
        (AttenuatedSignal, (HOUR, 0.1, 0.0), "fail 0.0 must be above zero"),
        (Gap, (timedelta(),), "longest 0:00:00 must be above zero"),
    ],
)
def test_checks_that_contradict_themselves_are_refused(check, words, said):
    """The message has value, limit and mend."""
    with pytest.raises(ValueError, match=said):
        check(*words)
