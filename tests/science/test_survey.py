"""Surveys: against NumPy and SciPy on simulated probes, laws, refusals."""

import math
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from monitor.science.distance import BETWEEN_TUBS_K, Apart, pooled
from monitor.science.survey import compare

MINUTE_US = 60_000_000
HOUR = timedelta(hours=1)
GAP = timedelta(minutes=30)
RNG = np.random.default_rng

temperatures = st.floats(-20, 60)
rows = st.lists(
    st.tuples(st.integers(1, 20), temperatures, temperatures), min_size=2, max_size=40
)


def arrays(*columns):
    """Instants in minutes, and values."""
    times, values = columns
    return np.array(times, np.int64) * MINUTE_US, np.array(values, np.float64)


def met(found):
    """Two probes that are read at the same instants."""
    times = np.cumsum([step for step, _, _ in found])
    mine, other = ([row[n] for row in found] for n in (1, 2))
    return arrays(times, mine), arrays(times, other)


def test_a_simulated_tub_against_numpy_and_scipy():
    """
    Four days of a tub that lags behind its shelf, read at instants of its own.

    Reference: `numpy.interp`, and mean and standard deviation of
    `scipy.stats.describe`. There is no published worked example.
    """
    rng = RNG(4)
    shelf_t = np.arange(0, 4 * 1440, 5)
    tub_t = np.arange(2, 4 * 1440 - 10, 7)
    shelf = (
        24 + 2 * np.sin(shelf_t * 2 * np.pi / 1440) + rng.normal(0, 0.1, len(shelf_t))
    )
    tub = 24.8 + 1.5 * np.sin((tub_t - 90) * 2 * np.pi / 1440)

    got = compare(*arrays(tub_t, tub), *arrays(shelf_t, shelf), max_gap=GAP)

    said = stats.describe(tub - np.interp(tub_t, shelf_t, shelf))
    assert got.offset_k == pytest.approx(said.mean, abs=1e-9)
    assert got.spread_k == pytest.approx(math.sqrt(said.variance), abs=1e-9)
    assert got.pairs == said.nobs == len(tub_t)
    assert got.measured == timedelta(minutes=int(tub_t[-1] - tub_t[0]))
    assert (got.first_us, got.last_us) == (2 * MINUTE_US, int(tub_t[-1]) * MINUTE_US)


def test_a_survey_finds_what_the_simulation_put_in():
    """A tub 0.8 K warmer with a scatter of 0.4 K is found to be so."""
    rng = RNG(7)
    times = np.arange(0, 5 * 1440, 5)
    shelf = 24 + np.cumsum(rng.normal(0, 0.02, len(times)))
    tub = shelf + 0.8 + rng.normal(0, 0.4, len(times))

    got = compare(*arrays(times, tub), *arrays(times, shelf), max_gap=GAP)

    # four standard errors of mean and standard deviation of 1,440 draws
    assert got.offset_k == pytest.approx(0.8, abs=4 * 0.4 / math.sqrt(1440))
    assert got.spread_k == pytest.approx(0.4, abs=4 * 0.4 / math.sqrt(2 * 1440))


@given(rows, st.floats(-15, 15))
def test_a_warmer_tub_shifts_the_offset_and_nothing_else(found, added):
    """A constant on the tub's probe is a constant on the offset."""
    mine, other = met(found)
    before = compare(*mine, *other, max_gap=GAP)

    after = compare(mine[0], mine[1] + added, *other, max_gap=GAP)

    assert after.offset_k == pytest.approx(before.offset_k + added, abs=1e-9)
    assert after.spread_k == pytest.approx(before.spread_k, abs=1e-7)
    assert (after.pairs, after.measured) == (before.pairs, before.measured)


@given(rows)
def test_swapped_probes_swap_the_sign(found):
    """Place minus reference, whichever is called so."""
    mine, other = met(found)

    one = compare(*mine, *other, max_gap=GAP)
    swapped = compare(*other, *mine, max_gap=GAP)

    assert swapped.offset_k == pytest.approx(-one.offset_k, abs=1e-9)
    assert swapped.spread_k == pytest.approx(one.spread_k, abs=1e-9)


@given(rows)
def test_probes_met_at_every_reading_are_all_paired(found):
    """Where both read at one instant nothing is interpolated, whatever the gap."""
    mine, other = met(found)

    got = compare(*mine, *other, max_gap=timedelta(microseconds=1))

    differences = mine[1] - other[1]
    assert got.pairs == len(differences)
    assert got.offset_k == pytest.approx(float(np.mean(differences)), abs=1e-9)
    assert got.spread_k == pytest.approx(float(np.std(differences, ddof=1)), abs=1e-9)
    assert got.measured == timedelta()


def test_the_reference_is_not_drawn_over_a_gap():
    """What a silent reference did meanwhile is not known; outside it, neither."""
    reference = arrays([10, 20, 80, 90], [20, 20, 30, 30])
    mine = arrays([5, 15, 20, 50, 80, 85, 95], [21, 21, 21, 99, 31, 31, 99])

    got = compare(*mine, *reference, max_gap=GAP)

    assert (got.offset_k, got.spread_k, got.pairs) == (1.0, 0.0, 4)
    # 15 to 20 and 80 to 85; the hour between is not measured
    assert got.measured == timedelta(minutes=10)


def test_a_reference_exactly_one_gap_wide_is_drawn():
    """No further apart than the gap."""
    reference = arrays([0, 30], [20, 26])

    got = compare(*arrays([10, 20], [22, 24]), *reference, max_gap=GAP)

    assert (got.offset_k, got.pairs) == (0.0, 2)


@pytest.mark.parametrize(
    ("mine", "other", "gap", "part"),
    [
        (([], []), ([0, 5], [20, 20]), GAP, "got 0 of 0"),
        (([0, 5], [20, 20]), ([], []), GAP, "got 0 of 2"),
        (([2, 50], [20, 20]), ([0, 5], [20, 20]), GAP, "got 1 of 2"),
        (([5, 5], [20, 20]), ([0, 5], [20, 20]), GAP, "times_us must rise strictly"),
        (([0, 5], [20, 20]), ([5, 0], [20, 20]), GAP, "reference_times_us must rise"),
        (([0, 5], [20, math.nan]), ([0, 5], [20, 20]), GAP, "index 1 of times_us"),
        (([0, 5], [20, 20]), ([0, 5], [math.inf, 2]), GAP, "index 0 of reference"),
        (([0, 5], [20]), ([0, 5], [20, 20]), GAP, "of one length"),
        (([0, 5], [20, 20]), ([0, 5], [20, 20]), timedelta(), "above zero"),
    ],
)
def test_what_is_no_survey_is_refused(mine, other, gap, part):
    """Each with the value and where it stands."""
    with pytest.raises(ValueError, match=part):
        compare(*arrays(*mine), *arrays(*other), max_gap=gap)


def test_one_neighbour_is_widened_by_what_tubs_differ():
    """Its own spread and the assumed one between tubs, as variances."""
    got = pooled([Apart(0.8, 0.4)])

    assert got.offset_k == 0.8
    assert got.spread_k == pytest.approx(math.hypot(0.4, BETWEEN_TUBS_K))


@given(
    st.lists(st.tuples(st.floats(-15, 15), st.floats(0, 10)), min_size=2, max_size=9)
)
def test_neighbours_add_variances(found):
    """Reference: `numpy.mean` and `numpy.var` with n - 1; order does not count."""
    offsets, spreads = zip(*found, strict=True)

    got = pooled(Apart(*each) for each in found)

    between = np.var(offsets, ddof=1)
    assert got.offset_k == pytest.approx(np.mean(offsets), abs=1e-9)
    assert got.spread_k == pytest.approx(
        np.sqrt(np.mean(np.square(spreads)) + between), abs=1e-6
    )
    assert pooled(Apart(*each) for each in reversed(found)) == got


def test_the_pool_covers_tubs_that_were_not_surveyed():
    """
    Of simulated shelves, four in five readings lie within 1.28 spreads of the pool.

    Tubs differ by 0.6 K and each wanders by 0.3 K; eight of them are surveyed.
    """
    rng = RNG(11)
    inside = []
    for _ in range(2000):
        offsets = rng.normal(0.5, 0.6, 9)
        told = pooled(Apart(float(each), 0.3) for each in offsets[:8])
        reading = offsets[8] + rng.normal(0, 0.3)
        inside.append(abs(reading - told.offset_k) <= 1.2816 * told.spread_k)

    # a mean of eight is itself uncertain, so it falls a little short of 0.80
    assert 0.72 < np.mean(inside) < 0.82


@pytest.mark.parametrize(
    "bad", [(math.nan, 1), (1, math.nan), (1, -0.1), (1, math.inf)]
)
def test_what_is_no_distance_is_refused(bad):
    """Nothing that is not finite comes into a forecast."""
    with pytest.raises(ValueError, match="spread_k at least 0"):
        Apart(*bad)


def test_nobody_tells_of_no_neighbours():
    """An empty pool is a mistake of the caller."""
    with pytest.raises(ValueError, match="at least one"):
        pooled([])
