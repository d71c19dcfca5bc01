"""
Adults for the show, week by week: how many of each sex, when none, and what to lay.

A number is that of the middle of its week, Thursday noon on the wall clock, or of the
present where that is over. It counts who has reached the last stage of the species,
lives, and is not held back for breeding. Numbers are exact sums of binomial ones
(`monitor.science.presence`).
"""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime, time, timedelta, tzinfo
from itertools import groupby
from typing import Literal

import msgspec
import numpy as np

from monitor.accounts.feeding import DAY
from monitor.accounts.forecast import Forecaster, Worked
from monitor.accounts.forecast_needs import SEXES, stage_number
from monitor.science.forecast import VALUES, quantiles
from monitor.science.presence import (
    added,
    number_present,
    number_quantiles,
    share_grid,
    share_present,
)
from monitor.science.requirement import Array, Facts, Sex, TimeRequirement
from monitor.site.house import Cohort, Stay
from monitor.site.species_file import Species

WEEK = timedelta(days=7)
NOON = time(12)
EVEN = 0.5
"""Share of each sex where nobody has sexed a cohort: assumed."""

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
    """A count: the 10, 50 and 90 % points."""

    low: int
    middle: int
    high: int


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
    Weeks without an adult for the show.

    Attributes:
        first: Monday of its first week.
        last: Monday of its last, which may be the last that was looked at.
        lay_by: Monday of the week in which eggs must be laid for adults in the first;
            None where the way from the egg cannot be dated.
        too_late: That week is over.
    """

    first: date
    last: date
    lay_by: date | None
    too_late: bool


class Lead(msgspec.Struct, frozen=True):
    """
    From an egg laid now to an adult for the show, the earlier sex.

    Attributes:
        p10_days: [d]
        p50_days: [d]
        p90_days: Of the later sex. [d]
        place: Where the eggs would stand.
        earliest: Heat alone does not decide: it may take longer.
    """

    p10_days: float
    p50_days: float
    p90_days: float
    place: str
    earliest: bool


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
        holes: When there is nothing for the show.
        lead: None where the way from the egg cannot be dated.
        survival: None where nobody knows: every animal is counted.
        adult_life: By sex; nobody is counted out where it is not there.
        earliest: Heat alone does not decide for some: they may come later.
        counted: Cohorts that are counted.
        unsexed: Those of them taken as half females, half males.
        left_out: Cohorts that are not counted, and why.
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


def show(
    forecaster: Forecaster,
    works: Iterable[Worked],
    species: Species,
    *,
    weeks: int,
    hold_back: int,
    zone: tzinfo,
    survival: SurvivalFigure | None = None,
) -> ShowForecast:
    """
    Tell how many adults of a species there will be for the show.

    Args:
        forecaster: What the house is.
        works: Forecasts of its cohorts; those of other species are passed over.
        species: The species.
        weeks: How many, from the present one on; at least one.
        hold_back: So many of each sex are kept for breeding.
        zone: Of the site.
        survival: What was learned; None for the file's.
    """
    figure = survival or _of_file(species)
    mondays = list(_mondays(forecaster.now, weeks, zone))
    times = [_middle(day, zone, forecaster.now) for day in mondays]
    crowd = _Crowd(forecaster, species, figure, times)
    for work in works:
        if work.forecast.species == species.id:
            crowd.add(work)
    every = {sex: crowd.numbers(sex, 0) for sex in SEXES}
    shown = {sex: crowd.numbers(sex, hold_back) for sex in SEXES}
    rows = tuple(
        ShowWeek(day, *(numbers[i] for numbers in (*shown.values(), *every.values())))
        for i, day in enumerate(mondays)
    )
    lead = _lead(forecaster, crowd.cohorts, species)
    return ShowForecast(
        species=species.id,
        name=species.species.name,
        stage=species.stages[-1].id,
        hold_back=hold_back,
        weeks=rows,
        alone=tuple(_alone(rows)),
        holes=tuple(_holes(rows, lead)),
        lead=lead,
        survival=figure,
        adult_life=tuple(crowd.lives()),
        earliest=crowd.earliest,
        counted=tuple(crowd.counted),
        unsexed=tuple(crowd.unsexed),
        left_out=tuple(crowd.left_out),
    )


class _Crowd:
    """Cohorts of one species as numbers of adults, week by week."""

    def __init__(
        self,
        forecaster: Forecaster,
        species: Species,
        survival: SurvivalFigure | None,
        times: Sequence[float],
    ) -> None:
        self._forecaster, self._species = forecaster, species
        self._survival, self._times = survival, times
        self._groups: dict[Sex, list[Array]] = {sex: [] for sex in SEXES}
        self.cohorts: list[Cohort] = []
        self.counted: list[int] = []
        self.unsexed: list[int] = []
        self.left_out: list[tuple[int, str]] = []
        self.earliest = False

    def add(self, work: Worked) -> None:
        """Count a cohort in, or note why it cannot be."""
        forecast = work.forecast
        cohort = self._forecaster.house.cohorts[forecast.cohort]
        self.cohorts.append(cohort)
        why = forecast.trouble or self._uncountable(cohort)
        sexes = [sex for sex in SEXES if cohort.sex in ("any", sex)]
        starts = {sex: self._starts(work, cohort, sex) for sex in sexes}
        missing = [sex for sex, found in starts.items() if found is None]
        if not why and missing:
            why = next((s.stops for s in forecast.sexes if s.stops), "cannot be dated")
        if why:
            self.left_out.append((cohort.id, why))
            return
        self.counted.append(cohort.id)
        if cohort.sex == "any":
            self.unsexed.append(cohort.id)
        self.earliest |= any(
            stage.earliest is not None for s in forecast.sexes for stage in s.stages
        )
        survival = self._surviving(cohort)
        for sex, found in starts.items():
            if found is not None:
                share = share_present(found, self._life(sex), self._times)
                share = share * (EVEN if cohort.sex == "any" else 1.0)
                number = cohort.count.number or 0
                self._groups[sex].append(number_present(number, share, survival))

    def numbers(self, sex: Sex, hold_back: int) -> list[Number]:
        """The count of each week."""
        total = added(self._groups[sex], len(self._times))
        return [
            Number(*(max(0, n - hold_back) for n in row))
            for row in number_quantiles(total, (0.1, 0.5, 0.9))
        ]

    def lives(self) -> Iterator[tuple[Key, Facts]]:
        """What is known of the adults' life."""
        for sex in ("female", "male"):
            record = self._last(sex)
            if record is not None:
                yield sex, record.facts

    def _uncountable(self, cohort: Cohort) -> str:
        return "" if cohort.count.number is not None else "not counted"

    def _starts(self, work: Worked, cohort: Cohort, sex: Sex) -> Array | None:
        """Samples of when they are adult. [d from the present]."""
        last = self._species.stages[-1].id
        if cohort.stage.casefold() == last.casefold():
            age = (self._forecaster.now - cohort.stages[-1].since) / DAY
            return np.array([[-age]])
        found = work.starts.get((sex, last))
        return work.starts.get(("any", last)) if found is None else found

    def _surviving(self, cohort: Cohort) -> Array:
        """What is left of the losses on the way: each stage costs the same share."""
        last = len(self._species.stages) - 1
        if self._survival is None or not last:
            return np.ones(1)
        ahead = last - stage_number(self._species, cohort.stage)
        return share_grid(self._survival.mean, self._survival.sd, power=ahead / last)

    def _life(self, sex: Sex) -> Array | None:
        record = self._last(sex)
        return None if record is None else record.needs(VALUES)

    def _last(self, sex: Sex) -> TimeRequirement | None:
        record = self._forecaster.needs(self._species, sex)[-1].record
        return record if isinstance(record, TimeRequirement) else None


def _lead(
    forecaster: Forecaster, cohorts: Sequence[Cohort], species: Species
) -> Lead | None:
    """From egg to adult where the youngest of the species stand."""
    known = [c for c in cohorts if species.stage(c.stage) is not None]
    if not known:
        return None
    youngest = min(known, key=lambda c: (stage_number(species, c.stage), c.id))
    first, last = species.stages[0].id, species.stages[-1].id
    laid = msgspec.structs.replace(
        youngest,
        id=0,
        stage=first,
        sex="any",
        colony=False,
        stages=(Stay(first, forecaster.now),),
    )
    work = forecaster.cohort(laid)
    found = [
        quantiles(samples)
        for (_, stage), samples in work.starts.items()
        if stage == last
    ]
    if not found:
        return None
    return Lead(
        min(p10 for p10, _, _ in found),
        min(p50 for _, p50, _ in found),
        max(p90 for _, _, p90 in found),
        youngest.place,
        any(s.earliest for sex in work.forecast.sexes for s in sex.stages),
    )


def _alone(weeks: Sequence[ShowWeek]) -> Iterator[Alone]:
    def who(week: ShowWeek) -> Key | None:
        female, male = week.females.middle > 0, week.males.middle > 0
        if female == male:
            return None
        return "female" if female else "male"

    for sex, group in groupby(weeks, key=who):
        if sex is not None:
            span = [week.monday for week in group]
            yield Alone(sex, span[0], span[-1])


def _holes(weeks: Sequence[ShowWeek], lead: Lead | None) -> Iterator[Hole]:
    def empty(week: ShowWeek) -> bool:
        return not week.female.middle and not week.male.middle

    for is_empty, group in groupby(weeks, key=empty):
        if not is_empty:
            continue
        span = [week.monday for week in group]
        lay_by = None
        if lead is not None:
            laid = span[0] - timedelta(days=round(lead.p50_days))
            lay_by = laid - timedelta(days=laid.weekday())
        too_late = lay_by is not None and lay_by < weeks[0].monday
        yield Hole(span[0], span[-1], lay_by, too_late)


def _of_file(species: Species) -> SurvivalFigure | None:
    found = species.species.survival_egg_to_adult
    if found is None:
        return None
    return SurvivalFigure(found.mean, found.sd, str(found.source))


def _mondays(now: datetime, weeks: int, zone: tzinfo) -> Iterator[date]:
    today = now.astimezone(zone).date()
    monday = today - timedelta(days=today.weekday())
    return (monday + n * WEEK for n in range(weeks))


def _middle(monday: date, zone: tzinfo, now: datetime) -> float:
    noon = datetime.combine(monday + 3 * DAY, NOON, zone)
    return max((noon - now) / DAY, 0.0)
