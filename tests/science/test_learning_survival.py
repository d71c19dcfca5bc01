"""
Learning a share that survives, beta-binomial.

Checked against scipy.stats.betabinom: the posterior is the one that its likelihood
implies.
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from monitor.science.survival import (
    Brood,
    Share,
    ShareEvidence,
    evidence_of,
    pooled_share,
    published_share,
)


def learn_share(prior, broods, *, correlation=0.0):
    """A prior and counted broods."""
    return pooled_share(prior, evidence_of(broods, correlation=correlation))


def test_the_prior_has_the_published_mean_and_spread():
    """0.6 +- 0.15 is the beta distribution of 9.67 animals."""
    prior = published_share(0.6, 0.15)
    theirs = stats.beta(prior.alpha, prior.beta)

    assert (prior.mean, prior.sd) == pytest.approx((0.6, 0.15))
    assert (theirs.mean(), theirs.std()) == pytest.approx((0.6, 0.15))
    assert prior.weight == pytest.approx(0.24 / 0.0225 - 1)


def test_counted_animals_add_up():
    """8 of 10 add 8 to alpha and 2 to beta."""
    prior = published_share(0.6, 0.15)

    made = learn_share(prior, [Brood(10, 8)])

    assert made.alpha == pytest.approx(prior.alpha + 8)
    assert made.beta == pytest.approx(prior.beta + 2)


def test_the_posterior_is_the_one_of_the_beta_binomial():
    """
    Bayes by hand: prior odds of two broods times the chance of the first.

    P(7 of 10 and 3 of 5) = P(7 of 10) x P(3 of 5 | 7 of 10).
    """
    prior = published_share(0.6, 0.15)
    after = learn_share(prior, [Brood(10, 7)])

    first = stats.betabinom(10, prior.alpha, prior.beta).pmf(7)
    then = stats.betabinom(5, after.alpha, after.beta).pmf(3)
    shares = np.linspace(0, 1, 20001)
    both = stats.beta(prior.alpha, prior.beta).pdf(shares)
    both = both * stats.binom(10, shares).pmf(7) * stats.binom(5, shares).pmf(3)
    assert first * then == pytest.approx(np.trapezoid(both, shares), rel=1e-6)


def test_quantiles_are_those_of_scipy():
    """Of the beta distribution."""
    share = Share(5.8, 3.9)

    assert share.quantile(0.05) == pytest.approx(stats.beta(5.8, 3.9).ppf(0.05))


def test_animals_of_one_tub_share_its_luck():
    """A hundred dead eggs in one tub are worth ten animals at most."""
    prior = published_share(0.6, 0.15)

    one = learn_share(prior, [Brood(100, 0)], correlation=0.1)
    single = learn_share(prior, [Brood(1, 1)], correlation=0.1)

    assert one.weight - prior.weight == pytest.approx(100 / 10.9)
    assert single.weight - prior.weight == pytest.approx(1)


def test_without_a_published_share_every_one_is_as_likely():
    """Beta(1, 1)."""
    assert published_share(None) == Share(1.0, 1.0)


@pytest.mark.parametrize("mean", [0.0, 1.0])
def test_a_share_of_all_or_none_can_still_be_moved(mean):
    """Nothing is certain."""
    prior = published_share(mean, 0.0)

    assert 0 < learn_share(prior, [Brood(5, 3)]).mean < 1
    assert learn_share(prior, [Brood(500, 250)]).mean == pytest.approx(0.5, abs=0.06)


@given(
    st.floats(0, 1),
    st.floats(0, 1),
    st.lists(
        st.integers(1, 50).flatmap(
            lambda n: st.integers(0, n).map(lambda k: Brood(n, k))
        ),
        max_size=5,
    ),
)
def test_a_share_stays_a_share(mean, sd, broods):
    """Between 0 and 1, with a spread, in any order."""
    prior = published_share(mean, sd)

    made = learn_share(prior, broods, correlation=0.1)

    assert 0 < made.mean < 1
    assert 0 < made.sd < 1
    assert math.isfinite(made.quantile(0.95))
    assert learn_share(prior, broods[::-1], correlation=0.1) == made


BROODS = st.lists(
    st.integers(1, 50).flatmap(lambda n: st.integers(0, n).map(lambda k: Brood(n, k))),
    max_size=5,
)


@given(st.floats(0, 1), st.floats(0, 1), BROODS, BROODS, st.floats(0, 1))
def test_pooling_evidence_is_learning_from_all_broods(
    mean, sd, theirs, ours, correlation
):
    """Neither prior nor order counts: theirs pooled, then ours, or all at once."""
    prior = published_share(mean, sd)
    told = evidence_of(theirs, correlation=correlation)

    pooled = learn_share(pooled_share(prior, told), ours, correlation=correlation)

    once = learn_share(prior, theirs + ours, correlation=correlation)
    assert (pooled.alpha, pooled.beta) == pytest.approx((once.alpha, once.beta))


def test_pooled_shares_follow_the_beta_binomial():
    """Two houses by Bayes on a grid: 7 of 10 there, 3 of 5 here, 0.6 +- 0.15 before."""
    prior = published_share(0.6, 0.15)
    told = evidence_of([Brood(10, 7)])

    made = learn_share(pooled_share(prior, told), [Brood(5, 3)])

    shares = np.linspace(0, 1, 20001)
    both = stats.beta(prior.alpha, prior.beta).pdf(shares)
    both = both * stats.binom(10, shares).pmf(7) * stats.binom(5, shares).pmf(3)
    both /= np.trapezoid(both, shares)
    assert made.mean == pytest.approx(np.trapezoid(both * shares, shares), rel=1e-6)


def test_evidence_counts_as_no_more_than_its_cap():
    """The share stays, the worth does not."""
    made = pooled_share(Share(1, 1), ShareEvidence(400.0, 0.9), cap=40.0)

    assert (made.alpha, made.beta) == pytest.approx((37, 5))
    assert pooled_share(Share(1, 1), evidence_of([]), cap=40.0) == Share(1, 1)


def test_nonsense_is_refused():
    """More came through than began, none began, shares beyond 1."""
    for began, reached in ((5, 6), (0, 0), (5, -1)):
        with pytest.raises(ValueError, match="cannot have come"):
            Brood(began, reached)
    with pytest.raises(ValueError, match="between 0 and 1"):
        published_share(1.2, 0.1)
    with pytest.raises(ValueError, match="between 0 and 1"):
        learn_share(Share(1, 1), [], correlation=2)
    for worth, share in ((-1.0, 0.5), (math.nan, 0.5), (3.0, 1.1), (math.inf, 0.5)):
        with pytest.raises(ValueError, match="share lies between 0 and 1"):
            ShareEvidence(worth, share)
    with pytest.raises(ValueError, match="cap must be above 0"):
        pooled_share(Share(1, 1), ShareEvidence(3.0, 0.5), cap=0.0)
