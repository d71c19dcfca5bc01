"""What is told of adults for the show; `monitor.accounts.forecast_show` makes it."""

from datetime import date
from typing import Literal

import msgspec

from monitor.science.requirement import Facts

Key = Literal["female", "male"]


class SurvivalFigure(msgspec.Struct, frozen=True):
    """
    The share of eggs that become adults.

    Attributes:
        mean: [fraction]
        sd: [fraction]
        source: Where it is from.
    """

    mean: float
    sd: float
    source: str


class Number(msgspec.Struct, frozen=True):
    """
    A count: the 10, 50 and 90 % points.

    Attributes:
        low: The 10 % point.
        middle: The 50 % point.
        high: The 90 % point.
        at_least: There may be more: a cohort in it was counted as at least so many,
            and is taken as just so many. No point is an upper bound then.
        about: A cohort in it was counted as about so many: the points are wider.
    """

    low: int
    middle: int
    high: int
    at_least: bool = False
    about: bool = False


class ShowWeek(msgspec.Struct, frozen=True):
    """
    Adults of one week.

    Attributes:
        monday: Its first day, site time.
        female: For the show, breeders held back.
        male: The same.
        females: All that are there.
        males: The same.
    """

    monday: date
    female: Number
    male: Number
    females: Number
    males: Number


class Alone(msgspec.Struct, frozen=True):
    """Weeks, by their Mondays, in which one sex is likely there and the other not."""

    sex: Key
    first: date
    last: date


class Hole(msgspec.Struct, frozen=True):
    """
    Weeks without an adult of one sex, or of both, for the show.

    Attributes:
        first: Monday of its first week.
        last: Monday of its last, which may be the last that was looked at.
        lay_by: Monday of the week in which eggs must be laid for adults in the first;
            where both sexes are missing, for the later one. In it or before where the
            lead is an earliest one. None where the way from the egg cannot be dated.
        too_late: That week is over.
        sex: Who is missing.
        pair_by: Monday of the last week, not after `lay_by`, in which females and
            males are likely there, breeders among them. How long a female takes from
            pairing to laying stands in no species file: pair before. None where they
            are not there together by then, or it is too late or not known.
    """

    first: date
    last: date
    lay_by: date | None
    too_late: bool
    sex: Literal["female", "male", "both"] = "both"
    pair_by: date | None = None


class Lead(msgspec.Struct, frozen=True):
    """
    From an egg laid now to an adult for the show, the earlier sex.

    Attributes:
        p10_days: [d]
        p50_days: [d]
        p90_days: Of the later sex. [d]
        place: Where the eggs would stand.
        earliest: Heat alone does not decide: it may take longer.
        female_days: The 50 % point of females. [d]
        male_days: Of males. [d]
    """

    p10_days: float
    p50_days: float
    p90_days: float
    place: str
    earliest: bool
    female_days: float
    male_days: float


class ShowForecast(msgspec.Struct, frozen=True, kw_only=True):
    """
    What a species has for the show.

    Attributes:
        species: Its id.
        name: Its name.
        stage: The last stage, which is shown.
        hold_back: Of each sex.
        weeks: In order.
        alone: When the sexes miss each other.
        holes: When there is nothing of a sex, or of both, for the show.
        lead: None where the way from the egg cannot be dated.
        survival: None where nobody knows: every animal is counted.
        adult_life: By sex; nobody is counted out where it is not there.
        earliest: Heat alone does not decide for some: they may come later.
        counted: Cohorts that are counted.
        unsexed: Those of them taken as half females, half males.
        left_out: Cohorts that are not counted, and why.
        counts_at_least: Counted cohorts of at least so many: there may be more.
        counts_about: Counted cohorts of about so many, taken as `about_spread` gives.
        about_spread: Standard deviation of such a count, as a share of it.
        shared_need: Part of the variance of a requirement that a cohort has in common.
        shared_fate: Correlation of the fates within a cohort; None without survival.
    """

    species: str
    name: str
    stage: str
    hold_back: int
    weeks: tuple[ShowWeek, ...]
    alone: tuple[Alone, ...]
    holes: tuple[Hole, ...]
    lead: Lead | None
    survival: SurvivalFigure | None
    adult_life: tuple[tuple[Key, Facts], ...]
    earliest: bool
    counted: tuple[int, ...]
    unsexed: tuple[int, ...]
    left_out: tuple[tuple[int, str], ...]
    counts_at_least: tuple[int, ...]
    counts_about: tuple[int, ...]
    about_spread: float
    shared_need: float
    shared_fate: float | None
