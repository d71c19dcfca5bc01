"""
Adults for the show, week by week: how many of each sex, when none, and what to lay.

A number is that of the middle of its week, Thursday noon on the wall clock, or of the
present where that is over. It counts who has reached the last stage of the species,
lives, and is not held back for breeding; `monitor.accounts.show_numbers` tells what
animals are taken to share.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date, datetime, time, timedelta, tzinfo
from itertools import groupby
from typing import Literal

import msgspec
import numpy as np

from monitor.accounts.feeding import DAY
from monitor.accounts.forecast import Forecaster, Worked
from monitor.accounts.forecast_needs import SEXES, stage_number
from monitor.accounts.show_numbers import ABOUT, SHARED_FATE, Coming, Crowd, Points
from monitor.accounts.show_values import (
    Alone,
    Hole,
    Key,
    Lead,
    Number,
    ShowForecast,
    ShowWeek,
    SurvivalFigure,
)
from monitor.science.forecast import VALUES, quantiles
from monitor.science.presence import COMMON_PART
from monitor.science.requirement import Array, Sex, TimeRequirement
from monitor.site.house import Cohort
from monitor.site.species_file import Species
from monitor.site.stays import Stay
from monitor.site.words import CountKind

__all__ = [
    "Alone",
    "Hole",
    "Key",
    "Lead",
    "Number",
    "ShowForecast",
    "ShowWeek",
    "SurvivalFigure",
    "lead_of",
    "show",
]

WEEK = timedelta(days=7)
NOON = time(12)
EVEN = 0.5
"""Share of each sex where nobody has sexed a cohort: assumed."""


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
    stock = _Stock(forecaster, species, figure, times)
    for work in works:
        if work.forecast.species == species.id:
            stock.add(work)
    found = [stock.points(sex) for sex in SEXES]
    rows = tuple(
        ShowWeek(
            day,
            *(_number(points, hold_back) for points in both),
            *(_number(points, 0) for points in both),
        )
        for day, *both in zip(mondays, *found, strict=True)
    )
    lead = lead_of(forecaster, species)
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
        adult_life=tuple(
            (sex, record.facts)
            for sex in ("female", "male")
            if (record := stock.last(sex)) is not None
        ),
        earliest=stock.earliest,
        counted=tuple(cohort.id for cohort in stock.counted),
        unsexed=stock.those(lambda c: c.sex == "any"),
        left_out=tuple(stock.left_out),
        counts_at_least=stock.those(lambda c: c.count.kind is CountKind.AT_LEAST),
        counts_about=stock.those(
            lambda c: c.count.kind in (CountKind.ESTIMATE, CountKind.UNKNOWN)
        ),
        about_spread=ABOUT,
        shared_need=COMMON_PART,
        shared_fate=None if figure is None else SHARED_FATE,
    )


def lead_of(forecaster: Forecaster, species: Species) -> Lead | None:
    """
    Tell how long it is from an egg laid now to an adult, where the youngest stand.

    Args:
        forecaster: What the house is.
        species: The species.

    Returns:
        None where none of the species lives here, or the way cannot be dated.
    """
    known = [
        c
        for c in forecaster.house.living()
        if c.species == species.id and species.stage(c.stage) is not None
    ]
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
    found = {sex: _starts(work, sex, last) for sex in SEXES}
    points = {sex: quantiles(s) for sex, s in found.items() if s is not None}
    if len(points) < len(SEXES):
        return None
    return Lead(
        min(p10 for p10, _, _ in points.values()),
        min(p50 for _, p50, _ in points.values()),
        max(p90 for _, _, p90 in points.values()),
        youngest.place,
        any(s.earliest for sex in work.forecast.sexes for s in sex.stages),
        *(points[sex][1] for sex in SEXES),
    )


class _Stock:
    """Cohorts of one species, as what will be adult of each sex."""

    def __init__(
        self,
        forecaster: Forecaster,
        species: Species,
        survival: SurvivalFigure | None,
        times: Sequence[float],
    ) -> None:
        self._forecaster, self._species = forecaster, species
        shares = None if survival is None else (survival.mean, survival.sd)
        self._crowds = {sex: Crowd(times, shares) for sex in SEXES}
        self.counted: list[Cohort] = []
        self.left_out: list[tuple[int, str]] = []
        self.earliest = False

    def add(self, work: Worked) -> None:
        """Count a cohort in, or note why it cannot be."""
        forecast = work.forecast
        cohort = self._forecaster.house.cohorts[forecast.cohort]
        sexes = [sex for sex in SEXES if cohort.sex in ("any", sex)]
        starts = {sex: self._adult(work, cohort, sex) for sex in sexes}
        why = forecast.trouble
        if not why and cohort.count.number is None:
            why = "not counted"
        if not why and any(found is None for found in starts.values()):
            why = next((s.stops for s in forecast.sexes if s.stops), "cannot be dated")
        if why:
            self.left_out.append((cohort.id, why))
            return
        self.counted.append(cohort)
        self.earliest |= any(
            stage.earliest is not None for s in forecast.sexes for stage in s.stages
        )
        for sex, found in starts.items():
            if found is not None:
                self._crowds[sex].add(self._coming(work, cohort, sex, found))

    def points(self, sex: Sex) -> list[Points]:
        """The count of each week."""
        return self._crowds[sex].points()

    def those(self, which: Callable[[Cohort], bool]) -> tuple[int, ...]:
        """The ids of some of the cohorts that are counted."""
        return tuple(cohort.id for cohort in self.counted if which(cohort))

    def last(self, sex: Sex) -> TimeRequirement | None:
        """How long adults live, where that is known."""
        record = self._forecaster.needs(self._species, sex)[-1].record
        return record if isinstance(record, TimeRequirement) else None

    def _coming(self, work: Worked, cohort: Cohort, sex: Sex, starts: Array) -> Coming:
        last = len(self._species.stages) - 1
        ahead = last - stage_number(self._species, cohort.stage)
        life = self.last(sex)
        return Coming(
            cohort=cohort.id,
            place=cohort.place,
            count=cohort.count,
            starts=starts,
            days=_days(work) if ahead else 1,
            of_sex=EVEN if cohort.sex == "any" else 1.0,
            ahead=ahead / last if last else 0.0,
            lives=None if life is None else life.needs(VALUES),
        )

    def _adult(self, work: Worked, cohort: Cohort, sex: Sex) -> Array | None:
        """Samples of when they are adult. [d from the present]."""
        last = self._species.stages[-1].id
        if cohort.stage.casefold() == last.casefold():
            age = (self._forecaster.now - cohort.stages[-1].since) / DAY
            return np.array([[-age]])
        return _starts(work, sex, last)


def _starts(work: Worked, sex: Sex, stage: str) -> Array | None:
    found = work.starts.get((sex, stage))
    return work.starts.get(("any", stage)) if found is None else found


def _days(work: Worked) -> int:
    """On how many days of the record a future can begin."""
    basis = work.forecast.basis
    if basis is None or basis.set_point_c is not None:
        return 1
    return max(basis.days, 1)


def _number(points: Points, hold_back: int) -> Number:
    low, middle, high = (max(0, n - hold_back) for n in points.points)
    return Number(low, middle, high, at_least=points.at_least, about=points.about)


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
    """In order; of a sex where it is not of both over the very same weeks."""
    both = _spans(weeks, lambda w: not w.female.middle and not w.male.middle)
    found: list[tuple[date, date, Literal["female", "male", "both"]]]
    found = [(*span, "both") for span in both]
    female = _spans(weeks, lambda w: not w.female.middle)
    male = _spans(weeks, lambda w: not w.male.middle)
    found += [(*span, "female") for span in female if span not in both]
    found += [(*span, "male") for span in male if span not in both]
    for first, last, sex in sorted(found):
        lay_by = None
        if lead is not None:
            days = {"female": lead.female_days, "male": lead.male_days}
            wait = days.get(sex, max(days.values()))
            laid = first - timedelta(days=round(wait))
            lay_by = laid - timedelta(days=laid.weekday())
        too_late = lay_by is not None and lay_by < weeks[0].monday
        pairs = [
            week.monday
            for week in weeks
            if lay_by is not None and week.monday <= lay_by
            if week.females.middle and week.males.middle
        ]
        yield Hole(
            first,
            last,
            lay_by,
            too_late=too_late,
            sex=sex,
            pair_by=max(pairs, default=None),
        )


def _spans(
    weeks: Sequence[ShowWeek], which: Callable[[ShowWeek], bool]
) -> list[tuple[date, date]]:
    """The first and last Monday of each run of weeks of that sort."""
    found = []
    for is_one, group in groupby(weeks, key=which):
        if is_one:
            mondays = [week.monday for week in group]
            found.append((mondays[0], mondays[-1]))
    return found


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
