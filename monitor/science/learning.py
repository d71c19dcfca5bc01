"""
What a house learns about a requirement: a prior, censored observations, a posterior.

The requirement of a cohort (degree-days, or days where time drives) is taken to be
log-normal: ln X ~ N(mu, sigma^2). A change of stage that fell between two visits is
known only to lie between two amounts, and a stage that still lasts only to need more
than it has had; each enters the likelihood with exactly that probability. One cohort
is one observation, however many animals it holds: they share a tub, and the keeper
notes the change of all of them at once.

The prior is the normal-inverse-gamma one, mu | sigma ~ N(m, sigma^2 / weight) and
sigma^2 ~ InverseGamma(shape, scale), which for exactly seen amounts has the posterior
in closed form (Gelman et al., Bayesian Data Analysis, 3rd edition, section 3.3: from
memory). The integral over mu and sigma is a sum over a grid; no random numbers.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from monitor.science.log_normal import Amount, log_moments
from monitor.science.posterior import Posterior, Prior, posterior
from monitor.science.requirement import ASSUMED_SPREAD

__all__ = [
    "Amount",
    "Evidence",
    "Posterior",
    "Prior",
    "alone",
    "learn",
    "pooled",
    "published",
]

BETWEEN_STUDIES = 0.13
"""
How far published durations at 25 degC of one species and stage lie apart between
studies, as standard deviation of the logarithm: pooled over 38 species and stages of
one table of thermal constants (egg 0.09, larva 0.16, pupa 0.09); computed here.
"""

FULL_WEIGHT = 1.0
"""A published mean is worth at most so many cohorts seen here: own choice."""

SPREAD_WEIGHT = 4.0
"""A published spread is worth so many cohorts: own choice."""

WEAK_WEIGHT = 0.25
"""A mean without a spread is worth so many cohorts: own choice."""

WEAK_SPREAD_WEIGHT = 2.0
"""An assumed spread is worth so many cohorts: own choice."""

LEAST_SPREAD = 0.01
"""No species keeps time better than this; a spread of 0 is a rounded figure."""

_ALONE_WEIGHT = 0.01


@dataclass(frozen=True, slots=True)
class Evidence:
    """
    What another house learned, as it tells it.

    Attributes:
        n: How many exactly seen cohorts it is worth to them.
        mean: [the unit]
        sd: [the unit]
    """

    n: float
    mean: float
    sd: float


def published(mean: float, sd: float | None) -> Prior:
    """
    Make a prior of a published requirement.

    The mean is worth ``(sd / mean / BETWEEN_STUDIES) ** 2`` cohorts, one at most: a
    study with a narrow spread is no nearer to this house's animals than another.

    Args:
        mean: [the unit]
        sd: Among animals; None where nobody published one: then a weak prior about
            the mean, with a spread of `ASSUMED_SPREAD` of it. [the unit]

    Raises:
        ValueError: If the mean is not positive and finite or the spread is negative.
    """
    if sd is None:
        return _prior(mean, ASSUMED_SPREAD, WEAK_WEIGHT, WEAK_SPREAD_WEIGHT)
    relative = sd / mean if mean > 0 else math.nan
    if not 0 <= relative < math.inf:
        raise ValueError(f"mean must be above 0 and sd not below, got {mean} and {sd}")
    relative = max(relative, LEAST_SPREAD)
    weight = min(FULL_WEIGHT, (relative / BETWEEN_STUDIES) ** 2)
    return _prior(mean, relative, weight, SPREAD_WEIGHT)


def alone(prior: Prior) -> Prior:
    """Weaken a prior until the observations speak alone, to be told to others."""
    return _with_spread(
        prior.log_median,
        math.exp(prior.log_spread),
        weight=_ALONE_WEIGHT,
        spread_weight=WEAK_SPREAD_WEIGHT,
    )


def pooled(prior: Prior, evidence: Evidence, *, cap: float) -> Prior:
    """
    Let a prior learn what another house found.

    The figures count as so many exactly seen cohorts with that mean and spread, which
    is the closed form of the prior's family.

    Args:
        prior: What is believed here.
        evidence: What they found.
        cap: They count as no more cohorts than this.

    Raises:
        ValueError: If a figure is not positive and finite.
    """
    if not (0 < evidence.n < math.inf and 0 < evidence.sd < math.inf and cap > 0):
        raise ValueError(f"n, sd and cap must be above 0, got {evidence} and {cap}")
    n = min(evidence.n, cap)
    centre, spread = log_moments(evidence.mean, evidence.sd)
    weight = prior.weight + n
    off = centre - prior.log_median
    squares = n * spread**2 + prior.weight * n / weight * off**2
    return Prior(
        log_median=prior.log_median + n / weight * off,
        weight=weight,
        shape=prior.shape + n / 2,
        scale=prior.scale + squares / 2,
    )


def learn(prior: Prior, amounts: Sequence[Amount]) -> Posterior:
    """
    Update a prior by what was seen.

    Args:
        prior: What was believed.
        amounts: One for each cohort, in any order; may be empty.
    """
    # one order of the sums, so that the order of observations is irrelevant
    return posterior(prior, sorted(amounts, key=lambda a: (a.low, a.high)))


def _prior(mean: float, relative: float, weight: float, spread_weight: float) -> Prior:
    centre, spread = log_moments(mean, relative * mean)
    return _with_spread(centre, spread, weight=weight, spread_weight=spread_weight)


def _with_spread(
    centre: float, spread: float, *, weight: float, spread_weight: float
) -> Prior:
    """
    Count a spread like so many cohorts whose mean square is exactly it.

    Of half the weight and half the sum of squares, as these cohorts would give. A
    scale by which the spread is the expected ln sigma counts the squares for less than
    the weight, and eight cohorts later the intervals are still too narrow.
    """
    shape = spread_weight / 2
    return Prior(centre, weight, shape, shape * spread**2)
