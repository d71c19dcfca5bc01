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
        low: With missing time at no warmth. [degC d]
        high: With missing time at the most that the thresholds allow; None where
            there is no upper threshold. [degC d]
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
