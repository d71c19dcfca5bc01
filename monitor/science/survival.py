"""What a house learns about survival: beta-binomial, from counted animals."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

_LEAST, _MOST = 0.01, 0.99
_LIGHTEST, _HEAVIEST = 1.0, 50.0
"""A published share is worth so many animals: own choice."""


@dataclass(frozen=True, slots=True)
class Brood:
    """
    Animals counted at the beginning, and those of them counted at the end.

    Attributes:
        began: How many there were.
        reached: How many came through.

    Raises:
        ValueError: If none began or more came through than began.
    """

    began: int
    reached: int

    def __post_init__(self) -> None:
        if not (self.began > 0 and 0 <= self.reached <= self.began):
            raise ValueError(f"{self.reached} of {self.began} cannot have come through")


@dataclass(frozen=True, slots=True)
class Share:
    """
    A share of animals that come through, as a beta distribution.

    Attributes:
        alpha: First parameter.
        beta: Second parameter.
    """

    alpha: float
    beta: float

    @property
    def mean(self) -> float:
        """Its expectation."""
        return self.alpha / (self.alpha + self.beta)

    @property
    def sd(self) -> float:
        """Its standard deviation."""
        return float((self.mean * (1 - self.mean) / (self.weight + 1)) ** 0.5)

    @property
    def weight(self) -> float:
        """How many animals it is worth."""
        return self.alpha + self.beta

    def quantile(self, share: float) -> float:
        """Below this it lies with a probability."""
        from scipy.special import betaincinv  # noqa: PLC0415

        return float(betaincinv(self.alpha, self.beta, share))


@dataclass(frozen=True, slots=True)
class ShareEvidence:
    """
    What counted broods say of a share, without anything believed before.

    Attributes:
        worth: How many animals with fates of their own they count as.
        share: Of them, what came through.

    Raises:
        ValueError: If they are worth less than nothing, or the share is none.
    """

    worth: float
    share: float

    def __post_init__(self) -> None:
        if not (0 <= self.worth < math.inf and 0 <= self.share <= 1):
            raise ValueError(
                "worth is at least 0 and share lies between 0 and 1, got"
                f" {self.worth} and {self.share}"
            )


def published_share(mean: float | None, sd: float = 0.0) -> Share:
    """
    Make a prior of a published share.

    The beta distribution with that mean and standard deviation, worth between 1 and
    50 animals; even odds for every share where nobody published one.

    Args:
        mean: From 0 to 1; None where there is none.
        sd: Standard deviation.

    Raises:
        ValueError: If one lies outside 0 to 1.
    """
    if mean is None:
        return Share(1.0, 1.0)
    if not (0 <= mean <= 1 and 0 <= sd <= 1):
        raise ValueError(f"mean and sd lie between 0 and 1, got {mean} and {sd}")
    mean = min(max(mean, _LEAST), _MOST)
    # an sd that is next to nothing is a rounded figure
    sd = max(sd, _LEAST)
    weight = min(max(mean * (1 - mean) / sd**2 - 1, _LIGHTEST), _HEAVIEST)
    return Share(mean * weight, (1 - mean) * weight)


def evidence_of(broods: Iterable[Brood], *, correlation: float = 0.0) -> ShareEvidence:
    """
    Sum what counted broods say, for whatever prior.

    With no correlation, `pooled_share` of a prior and this is the beta-binomial rule:
    alpha grows by those that came through, beta by the rest.

    Animals of one tub share its luck, so a brood of n counts as
    n / (1 + (n - 1) correlation) animals, the usual design effect of clusters (Kish
    1965: from memory).

    Args:
        broods: What was counted, in any order; nothing is worth nothing.
        correlation: Of the fates within a brood, from 0 to 1.

    Raises:
        ValueError: If the correlation lies outside 0 to 1.
    """
    if not 0 <= correlation <= 1:
        raise ValueError(f"correlation lies between 0 and 1, got {correlation}")
    worth = reached = 0.0
    # one order of the sums, so that the order of broods is irrelevant
    for brood in sorted(broods, key=lambda b: (b.began, b.reached)):
        part = 1 / (1 + (brood.began - 1) * correlation)
        worth += part * brood.began
        reached += part * brood.reached
    return ShareEvidence(worth, min(reached / worth, 1.0) if worth else 0.0)


def pooled_share(
    prior: Share, evidence: ShareEvidence, *, cap: float = math.inf
) -> Share:
    """
    Let a prior learn what was counted, here or elsewhere.

    Parameters of the beta distribution add up. Evidence holds no prior, so pooling it
    is the same as learning from its broods (exactly, below the cap).

    Args:
        prior: What was believed.
        evidence: What broods say.
        cap: They count as no more animals than this, at the same share.

    Raises:
        ValueError: If the cap is not above 0.
    """
    if not cap > 0:
        raise ValueError(f"cap must be above 0, got {cap}")
    worth = min(evidence.worth, cap)
    return Share(
        prior.alpha + worth * evidence.share,
        prior.beta + worth * (1 - evidence.share),
    )
