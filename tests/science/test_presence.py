"""Numbers of animals: binomial counts, sums, shares."""

import numpy as np
import pytest
from scipy import stats

from monitor.science.presence import (
    added,
    number_present,
    number_quantiles,
    share_grid,
    share_present,
)

SURE = np.ones(1)


def test_a_number_is_binomial():
    """SciPy's binomial, at shares from nobody to everybody."""
    present = np.array([0.0, 0.03, 0.5, 0.97, 1.0])

    got = number_present(12, present, SURE)

    expected = [stats.binom(12, p).pmf(np.arange(13)) for p in present]
    assert got == pytest.approx(np.array(expected), abs=1e-12)


def test_an_uncertain_survival_is_shared_by_all():
    """The mean of the binomials: wider than one at the mean survival."""
    unsure = np.array([0.2, 0.8])

    got = number_present(10, SURE, unsure)[0]

    halves = [stats.binom(10, p).pmf(np.arange(11)) for p in unsure]
    assert got == pytest.approx(sum(halves) / 2)
    assert got[5] < stats.binom(10, 0.5).pmf(5)


def test_groups_add_up_by_convolution():
    """Two groups at one share are one group of their sum."""
    share = np.array([0.3, 0.9])
    groups = [number_present(n, share, SURE) for n in (4, 7)]

    assert added(groups, 2) == pytest.approx(number_present(11, share, SURE))


def test_no_group_is_nobody():
    """With certainty."""
    assert number_quantiles(added([], 3), (0.1, 0.9)) == [(0, 0)] * 3


def test_quantiles_of_a_number():
    """SciPy's quantiles of the binomial."""
    got = number_quantiles(number_present(20, np.array([0.6]), SURE), (0.1, 0.5, 0.9))

    assert got == [tuple(int(stats.binom(20, 0.6).ppf(p)) for p in (0.1, 0.5, 0.9))]


def test_certainty_has_no_interval():
    """Everybody is there, whatever the rounding of the sums."""
    got = number_quantiles(number_present(200, SURE, SURE), (0.001, 0.999))

    assert got == [(200, 200)]


def test_who_has_arrived_and_lives():
    """Four arrive a day apart and live two days: counted by hand."""
    starts = np.array([[0.0, 1.0], [2.0, 3.0]])

    forever = share_present(starts, None, (-1.0, 1.5, 9.0))
    mortal = share_present(starts, np.array([2.0]), (-1.0, 1.5, 2.5, 9.0))

    assert forever.tolist() == [0.0, 0.5, 1.0]
    assert mortal.tolist() == [0.0, 0.5, 0.5, 0.0]


def test_a_part_of_the_way_costs_its_part():
    """A quarter survives the whole way, so a half survives half of it."""
    assert share_grid(0.25, 0.0, power=0.5).tolist() == [0.5]
    assert share_grid(0.25, 0.0, power=0.0).tolist() == [1.0]


def test_an_uncertain_share_stays_a_share():
    """Never below nothing or above all."""
    grid = share_grid(0.9, 0.3)

    assert grid.min() >= 0
    assert grid.max() == 1.0
    assert share_grid(0.5, 0.1).mean() == pytest.approx(0.5)


def test_fewer_than_nobody_is_refused():
    """A programmer's mistake."""
    with pytest.raises(ValueError, match="must not be negative, got -1"):
        number_present(-1, SURE, SURE)
