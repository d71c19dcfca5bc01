"""Numbers of animals: what they share, sums of binomial numbers, shares."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from monitor.science.presence import (
    COMMON,
    COMMON_PART,
    EXACT_TO,
    SCENARIOS,
    Numbers,
    brood_shares,
    drawn_up,
    share_grid,
    share_present,
)
from monitor.science.requirement import lognormal_grid, normal_grid

TIMES = 3
POINTS = (0.1, 0.5, 0.9)


def everywhere(*shares):
    """The same shares in every scenario, one for each time."""
    return np.tile(np.array(shares, np.float64), (SCENARIOS, 1))


def numbers(*groups, times=1, exact_to=EXACT_TO):
    """Groups of (animals, shares at each time)."""
    made = Numbers(times, exact_to=exact_to)
    for animals, *shares in groups:
        made.add(np.full(SCENARIOS, float(animals)), everywhere(*shares))
    return made


SHARES = st.just(0.0) | st.floats(1e-12, 1.0)
"""SciPy's binomial, beside which they are held, overflows at shares next to none."""


def distribution(made, most):
    """Probabilities of at most 0, 1, and so on, at the first time."""
    return np.array(
        [made.at_most(np.array([0]), np.array([float(n)]))[0] for n in range(most + 1)]
    )


def summed(*groups):
    """The same by SciPy's binomial numbers and convolution."""
    total = np.ones(1)
    for animals, share in groups:
        of_one = stats.binom(animals, share).pmf(np.arange(animals + 1))
        total = np.convolve(total, of_one)
    return np.cumsum(total)


@pytest.mark.parametrize("exact_to", [0, 20], ids=["by moments", "exactly"])
@pytest.mark.parametrize("share", [0.0, 0.03, 0.5, 0.97, 1.0])
def test_a_number_is_binomial(share, exact_to):
    """SciPy's binomial, at shares from nobody to everybody."""
    got = distribution(numbers((12, share), exact_to=exact_to), 12)

    assert got == pytest.approx(stats.binom(12, share).cdf(np.arange(13)), abs=1e-6)


def test_few_animals_are_counted_exactly():
    """Groups of different chances, up to twenty of them, add up by convolution."""
    groups = [(1, 0.5), (8, 0.07), (4, 0.91), (7, 0.3)]

    got = distribution(numbers(*groups), EXACT_TO)

    assert got == pytest.approx(summed(*groups), abs=1e-12)


@given(st.lists(st.tuples(st.integers(1, 40), SHARES), min_size=1, max_size=5))
@settings(max_examples=40, deadline=None)
def test_by_moments_a_number_is_within_one_of_the_exact_one(groups):
    """
    Never a probability off by more than 0.1, and each quantile within one animal.

    The worst are a nearly certain and a nearly empty group together.
    """
    made, exact = numbers(*groups, exact_to=0), summed(*groups)

    got = distribution(made, exact.size - 1)
    (points,) = made.quantiles(POINTS)

    assert np.abs(got - exact).max() < 0.1
    expected = np.searchsorted(exact, np.array(POINTS) - 1e-9)
    assert np.abs(np.array(points) - expected).max() <= 1


@pytest.mark.parametrize("animals", [104, 400, 2_000])
def test_many_animals_are_as_good_as_normal(animals):
    """Where the normal distribution takes over, to within 0.005 of the binomial."""
    got = distribution(numbers((animals, 0.45)), animals)

    exact = stats.binom(animals, 0.45).cdf(np.arange(animals + 1))
    assert np.abs(got - exact).max() < 0.005


def test_ten_million_animals_are_counted_like_ten_thousand():
    """The chance that all share decides; nothing grows with the animals."""
    chances = drawn_up(5, SCENARIOS)[:, np.newaxis] / SCENARIOS

    points = []
    for animals in (10_000, 10_000_000):
        made = Numbers(1)
        made.add(np.full(SCENARIOS, float(animals)), chances)
        points.append(np.array(made.quantiles(POINTS)[0]) / animals)

    assert points[0] == pytest.approx(POINTS, abs=0.002)
    assert points[1] == pytest.approx(POINTS, abs=0.002)


def test_what_is_shared_does_not_average_out():
    """Ten animals, all there or none: the mean of binomials, by SciPy."""
    made = Numbers(1)
    half = np.where(np.arange(SCENARIOS) % 2, 0.2, 0.8)[:, np.newaxis]
    made.add(np.full(SCENARIOS, 10.0), half)

    got = distribution(made, 10)

    both = [stats.binom(10, p).cdf(np.arange(11)) for p in (0.2, 0.8)]
    assert got == pytest.approx(np.mean(both, axis=0), abs=0.001)
    assert got[4] - got[3] < stats.binom(10, 0.5).pmf(4)


def test_a_group_that_comes_later_stays_as_it_is_last():
    """Nobody before its first time; the last chance holds for all later times."""
    whole, part = numbers((9, 0.0, 0.4, 0.4), times=TIMES), Numbers(TIMES)

    part.add(np.full(SCENARIOS, 9.0), everywhere(0.4), begin=1)

    assert part.quantiles(POINTS) == whole.quantiles(POINTS)
    assert part.quantiles(POINTS)[0] == (0, 0, 0)


def test_no_group_is_nobody():
    """With certainty."""
    assert Numbers(TIMES).quantiles(POINTS) == [(0, 0, 0)] * TIMES


@pytest.mark.parametrize("exact_to", [0, 400], ids=["by moments", "exactly"])
def test_certainty_has_no_interval(exact_to):
    """Everybody is there, whatever the rounding of the sums."""
    made = numbers((200, 1.0), (50, 1.0), (7, 0.0), exact_to=exact_to)

    assert made.quantiles((0.001, 0.999)) == [(250, 250)]


def test_a_number_that_is_not_known_is_one_of_several():
    """One animal or three, each in half of the scenarios, all there."""
    made = Numbers(1)
    made.add(1.0 + 2.0 * drawn_up(3, 2), everywhere(1.0))

    assert distribution(made, 3) == pytest.approx([0, 0.5, 0.5, 1], abs=0.001)


def test_fewer_than_nobody_is_refused():
    """A programmer's mistake."""
    with pytest.raises(ValueError, match=r"must not be negative, got -1\.0"):
        Numbers(1).add(np.full(SCENARIOS, -1.0), everywhere(1.0))


@pytest.mark.parametrize("unknown", [0, 1, 2, 700, 1500])
@pytest.mark.parametrize("count", [1, 5, 28, SCENARIOS])
def test_every_value_of_an_unknown_counts_the_same(unknown, count):
    """To within one scenario."""
    times = np.bincount(drawn_up(unknown, count), minlength=count)

    assert times.size == count
    assert np.ptp(times) <= 1


def test_unknowns_are_set_against_each_other():
    """
    Of six hundred no two go together, and neither do all of them.

    A sum over as many then has the variance of independent ones, to 5 %.
    """
    ranks = np.array([drawn_up(n, SCENARIOS) for n in range(600)])

    together = np.corrcoef(ranks) - np.eye(600)

    assert np.abs(together).max() < 0.16
    assert abs(together.sum(axis=1).mean()) < 0.05


def test_who_has_arrived_and_lives():
    """Of one future: four arrive a day apart and live two days, counted by hand."""
    starts = np.array([[0.0, 1.0, 2.0, 3.0]])
    times = np.array([-1.0, 1.5, 2.5, 4.5, 9.0])

    forever = share_present(starts, None, times)
    mortal = share_present(starts, np.array([2.0]), times)

    assert forever.begin == mortal.begin == 1
    assert forever.shares.shape == (COMMON, 1, 3)
    assert forever.shares.mean(axis=(0, 1)) == pytest.approx([0.5, 0.75, 1.0], abs=1e-4)
    assert mortal.shares.mean(axis=(0, 1)) == pytest.approx(
        [0.5, 0.5, 0.25, 0.0], abs=1e-4
    )


def test_futures_stay_apart():
    """In one of them everybody has come, in the other nobody has."""
    presence = share_present(np.array([[1.0, 2.0], [8.0, 9.0]]), None, np.array([5.0]))

    assert presence.shares[:, 0] == pytest.approx(np.ones((COMMON, 1)))
    assert not presence.shares[:, 1].any()


def test_nobody_comes_within_sight():
    """All of them come later."""
    presence = share_present(np.array([[50.0]]), None, np.array([1.0, 8.0]))

    assert presence.begin == 1
    assert not presence.shares.any()


def test_a_cohort_has_half_of_its_variance_in_common():
    """
    One log-normal need: what the normal distribution gives in closed form.

    Given the common part z, a need lies below the score x with probability
    F((x - sqrt(c) z) / sqrt(1 - c)).
    """
    needs = lognormal_grid(300.0, 30.0, 100)[np.newaxis]
    sigma = np.sqrt(np.log1p(0.01))
    at = 300.0 * np.exp(-(sigma**2) / 2 + sigma * np.array([-1.0, 0.0, 0.7]))

    presence = share_present(needs, None, at)

    scores = (
        np.array([-1.0, 0.0, 0.7])
        - COMMON_PART**0.5 * normal_grid(COMMON)[:, np.newaxis]
    )
    expected = stats.norm.cdf(scores / (1 - COMMON_PART) ** 0.5)
    assert presence.shares[1:-1, 0] == pytest.approx(expected[1:-1], abs=0.02)
    assert presence.shares.mean(axis=0)[0] == pytest.approx(
        stats.norm.cdf([-1.0, 0.0, 0.7]), abs=0.01
    )


@pytest.mark.parametrize(("mean", "sd"), [(0.9, 0.15), (0.5, 0.1), (0.25, 0.2)])
def test_an_uncertain_share_is_a_beta(mean, sd):
    """SciPy's, as learning has it; a clipped normal has .880 and .112 of .9 and .15."""
    grid = share_grid(mean, sd)

    weight = mean * (1 - mean) / sd**2 - 1
    beta = stats.beta(mean * weight, (1 - mean) * weight)
    assert grid == pytest.approx(beta.ppf((np.arange(grid.size) + 0.5) / grid.size))
    assert (grid.mean(), grid.std()) == pytest.approx((mean, sd), rel=0.08)


def test_a_share_is_never_wilder_than_even():
    """A deviation that no beta has, or one at either end alone, is taken as less."""
    grid = share_grid(0.5, 1.0)

    assert grid == pytest.approx((np.arange(grid.size) + 0.5) / grid.size, abs=0.15)
    assert all(a < b for a, b in pairwise(grid))
    assert share_grid(1.0, 0.3).tolist() == [1.0]
    assert share_grid(0.7, 0.0).tolist() == [0.7]


def test_a_brood_shares_its_luck():
    """Each row has its share and SciPy's deviation of that correlation."""
    rows = brood_shares(np.array([0.0, 0.3, 1.0]), 0.1)

    beta = stats.beta(0.3 * 9, 0.7 * 9)
    assert rows.mean(axis=1) == pytest.approx([0.0, 0.3, 1.0], abs=0.005)
    assert rows[1].std() == pytest.approx(beta.std(), rel=0.05)
    assert brood_shares(np.array([0.3]), 0.0).tolist() == [[0.3]]


def test_shares_that_are_none_are_refused():
    """A programmer's mistake."""
    with pytest.raises(ValueError, match="mean lies in 0 to 1"):
        share_grid(1.2, 0.1)
    with pytest.raises(ValueError, match="correlation lies in 0 to below 1"):
        brood_shares(np.array([0.3]), 1.0)
