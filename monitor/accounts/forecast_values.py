"""What a forecast tells: dates by stage and sex, and what a cohort may be already."""

from collections.abc import Sequence
from datetime import datetime

import msgspec

from monitor.accounts.forecast_warmth import Basis
from monitor.accounts.heat import CohortHeat
from monitor.science.requirement import Facts, Sex
from monitor.site.house import Cohort

NO_TEMPERATURE = "no temperature known: give --set-point"
"""Why a cohort cannot be forecast where nothing was measured."""


class StageForecast(msgspec.Struct, frozen=True, kw_only=True):
    """
    When a cohort reaches a stage.

    Attributes:
        stage: The stage.
        unseen: Nobody is to look for it.
        earliest: The only date where heat alone does not decide, here or in a stage
            before; None elsewhere. UTC.
        p10: One in ten is there by then; None where there is only an earliest date.
            UTC.
        p50: Half are there by then; None beyond the horizon, too. UTC.
        p90: Nine in ten are there by then. UTC.
        assumed_threshold: Stages on the way whose lower threshold is an assumption.
        assumed_spread: Stages on the way whose spread is an assumption.
    """

    stage: str
    unseen: bool
    earliest: datetime | None = None
    p10: datetime | None = None
    p50: datetime | None = None
    p90: datetime | None = None
    assumed_threshold: tuple[str, ...] = ()
    assumed_spread: tuple[str, ...] = ()

    @property
    def first(self) -> datetime | None:
        """The 10 % date, whatever it is called."""
        return self.earliest or self.p10


class SexForecast(msgspec.Struct, frozen=True, kw_only=True):
    """
    The later stages of the animals of one sex.

    Attributes:
        sex: "any" where both sexes need the same.
        stages: Those that can be dated, in order.
        stops: Why the stages after these cannot; "" where none is left.
        needs: What was reckoned with, by stage.
        wait_days: Mean time to the next stage at a stated set point, to the first
            order; None without one. [d]
        wait_sd_days: Its standard deviation. [d]
    """

    sex: Sex
    stages: tuple[StageForecast, ...]
    stops: str = ""
    needs: tuple[tuple[str, Facts], ...] = ()
    wait_days: float | None = None
    wait_sd_days: float | None = None


class CohortForecast(msgspec.Struct, frozen=True, kw_only=True):
    """
    What is expected of a cohort.

    Attributes:
        cohort: Its id.
        species: Id of the species.
        stage: The stage that it is in, as far as anybody knows.
        place: Where it lives.
        since: When the stage began. UTC.
        sexes: By sex; () where nothing can be said.
        basis: What the warmth rests on.
        trouble: Why nothing can be said; "" where something can.
        heat: The account of the stage.
        perhaps: Unseen stages that it may be in already.
        ask: What to ask the keeper; "" for nothing.
    """

    cohort: int
    species: str
    stage: str
    place: str
    since: datetime
    sexes: tuple[SexForecast, ...] = ()
    basis: Basis | None = None
    trouble: str = ""
    heat: CohortHeat | None = None
    perhaps: tuple[str, ...] = ()
    ask: str = ""


def may_be_in(stage: StageForecast, now: datetime) -> bool:
    """Whether animals of a sex may be in a stage by now without anybody seeing it."""
    return stage.unseen and stage.first is not None and stage.first <= now


def perhaps(cohort: Cohort, forecast: CohortForecast, now: datetime) -> tuple[str, ...]:
    """
    Tell in which later stages a cohort may be without anybody having seen it.

    From the 10 % date of an unseen stage on, of the earlier sex, a cohort is treated
    as perhaps in it: what may be done is what both stages allow, and the bands of both
    are watched. A stage that shows ends the chain: nobody would overlook it.

    Args:
        cohort: As it is now.
        forecast: Made of it; one made before it changed its stage says nothing.
        now: The present. UTC.

    Returns:
        Ids of stages, in order; () for none.
    """
    if forecast.cohort != cohort.id or forecast.stage != cohort.stage:
        return ()
    found: list[str] = []
    for stage in max((s.stages for s in forecast.sexes), key=len, default=()):
        same = (
            other
            for sex in forecast.sexes
            for other in sex.stages
            if other.stage == stage.stage
        )
        if not any(may_be_in(each, now) for each in same):
            break
        found.append(stage.stage)
    return tuple(found)


CELLS = ("prepupa", "pupa")
"""Stages of which a keeper sees the cell, by what follows the last hyphen."""


def question(stages: Sequence[str]) -> str:
    """What to ask a keeper about stages that a cohort may be in; "" for nothing."""
    if not stages:
        return ""
    # whether an adult rests or feeds, an adult is what is seen
    kind = stages[0].rsplit("-", 1)[-1]
    if kind in CELLS:
        return "any sign of a cell?"
    if not kind.islower() or not kind.isalpha():
        return f"any sign of {stages[0]}?"
    article = "an" if kind[0] in "aeiou" else "a"
    return f"any sign of {article} {kind}?"
