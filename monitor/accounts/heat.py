"""The degree-day account of a cohort in its present stage, as others read it."""

from datetime import datetime

import msgspec


class CohortHeat(msgspec.Struct, frozen=True):
    """
    Warmth that a cohort has had since its stage began.

    Attributes:
        cohort: Its id.
        stage: The stage that it is counted for.
        degree_days: Measured part. [degC d]
        low: As little as it may have been: the cohort two spreads colder than what
            measured, missing time at the least that the thresholds and the coldest
            and warmest of its places allow. [degC d]
        high: As much, likewise; None where neither an upper threshold nor enough of
            a record bounds the missing time. [degC d]
        coverage: Measured share of the time since the stage began. [fraction]
        up_to: The account holds to this instant.
        sources: Where the readings came from, such as "shelf", the longest first.
        required: Mean requirement of the stage where there is one. [degC d]
        assumed_threshold: The lower threshold is an assumption, not published.
    """

    cohort: int
    stage: str
    degree_days: float
    low: float
    high: float | None
    coverage: float
    up_to: datetime
    sources: tuple[str, ...] = ()
    required: float | None = None
    assumed_threshold: bool = False
