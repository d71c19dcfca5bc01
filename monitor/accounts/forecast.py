"""
The forecast: when each cohort reaches each later stage, from its account and its place.

Dates are distributions, told by their 10, 50 and 90 % points. After a stage that heat
alone does not end there are only earliest dates, the 10 % points. No random number is
used, so the page, the mail and the command tell the same.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

import msgspec
import numpy as np

from monitor.accounts.begins import counted_since, daily_pace, stage_ages
from monitor.accounts.feeding import DAY
from monitor.accounts.forecast_needs import (
    Learned,
    StageNeed,
    needs_of,
    sexes_of,
    stage_number,
)
from monitor.accounts.forecast_values import (
    NO_TEMPERATURE,
    CohortForecast,
    SexForecast,
    StageForecast,
    may_be_in,
    perhaps,
    question,
)
from monitor.accounts.forecast_warmth import (
    Assumptions,
    Basis,
    Places,
    Warmth,
)
from monitor.accounts.heat import CohortHeat
from monitor.accounts.instruments import Instruments, Readings
from monitor.accounts.sightings import StageSpan
from monitor.science.forecast import (
    FINE,
    VALUES,
    condensed,
    constant_rate_wait,
    first_ends,
    next_ends,
    quantiles,
)
from monitor.science.requirement import Array, HeatRequirement, Sex
from monitor.site.house import Cohort, House
from monitor.site.site_file import Site
from monitor.site.species_file import Library, Species

HORIZON = timedelta(days=7305)
"""Nothing is dated beyond twenty years: own choice."""

GAP_VALUES = 5
"""
What a gap or an unseen beginning hides is written as so many equally likely values.
"""


@dataclass(frozen=True, slots=True)
class Worked:
    """
    A forecast with the samples that it was read from.

    Attributes:
        starts: Samples of the beginning of each later stage, by (sex, stage).
            [d from the present]
    """

    forecast: CohortForecast
    starts: Mapping[tuple[Sex, str], Array]


@dataclass(slots=True)
class Forecaster:
    """
    Forecasts for a house at one instant; what cohorts share is computed once.

    Attributes:
        site: The declared house.
        library: The species.
        house: With all that the journal moved.
        heats: The degree-day account of each living cohort, by its id.
        readings: Asks the store.
        now: The present. UTC.
        stated: A set point, and how far the animals are from the probe.
        learned: Requirements that stand before those of the files.
        instruments: By what the house measures.
        begun: What is known of the beginning of each cohort's stage, by its id; the
            account's own beginning counts for those that are not in it.
    """

    site: Site
    library: Library
    house: House
    heats: Mapping[int, CohortHeat]
    readings: Readings
    now: datetime
    instruments: Instruments
    stated: Assumptions = field(default_factory=Assumptions)
    learned: Learned = field(default_factory=dict)
    begun: Mapping[int, StageSpan] = field(default_factory=dict)
    _places: Places | None = None
    _needs: dict[tuple[str, Sex], tuple[StageNeed, ...]] = field(default_factory=dict)

    def all(self) -> tuple[Worked, ...]:
        """Forecast every living cohort, in order of id."""
        living = sorted(self.house.living(), key=lambda c: c.id)
        return tuple(self.cohort(each) for each in living)

    def perhaps(
        self, beat: Callable[[], None] = lambda: None
    ) -> dict[int, tuple[str, ...]]:
        """
        Tell, for each cohort, the unseen stages that it may be in; none, no key.

        Args:
            beat: Called at every cohort, to show that the thread lives.
        """
        found: dict[int, tuple[str, ...]] = {}
        for each in self.house.living():
            beat()
            may_be = self.cohort(each, near=True).forecast.perhaps
            if may_be:
                found[each.id] = may_be
        return found

    def cohort(self, cohort: Cohort, *, near: bool = False) -> Worked:
        """
        Forecast one cohort.

        Args:
            cohort: The animals.
            near: Follow them no further than they may be by now.
        """
        made = CohortForecast(
            cohort=cohort.id,
            species=cohort.species,
            stage=cohort.stage,
            place=cohort.place,
            since=cohort.stages[-1].since,
            heat=self._account(cohort),
        )
        species = self.library.species.get(cohort.species)
        trouble = self._trouble(cohort, species)
        if species is None or trouble:
            return Worked(msgspec.structs.replace(made, trouble=trouble), {})
        starts: dict[tuple[Sex, str], Array] = {}
        sexes: list[SexForecast] = []
        basis: Basis | None = None
        for sex in sexes_of(species, cohort.sex, self.learned):
            way = self.way(cohort, species, sex, near=near)
            if way is None:
                trouble = NO_TEMPERATURE
                return Worked(msgspec.structs.replace(made, trouble=trouble), {})
            basis = way.warmth.basis
            sexes.append(way.told)
            starts |= {(sex, stage): found for stage, found in way.starts.items()}
        made = msgspec.structs.replace(made, sexes=tuple(sexes), basis=basis)
        may_be = perhaps(cohort, made, self.now)
        told = msgspec.structs.replace(made, perhaps=may_be, ask=question(may_be))
        return Worked(told, starts)

    def needs(self, species: Species, sex: Sex) -> tuple[StageNeed, ...]:
        """What every stage of a species needs."""
        key = species.id, sex
        if key not in self._needs:
            self._needs[key] = needs_of(species, sex, self.learned)
        return self._needs[key]

    def way(
        self, cohort: Cohort, species: Species, sex: Sex, *, near: bool = False
    ) -> "_Way | None":
        """
        Follow a cohort through its stages; None where no temperature is known.

        Args:
            cohort: The animals.
            species: Theirs.
            sex: Whose needs.
            near: Stop at the first stage that they cannot be in unseen by now.
        """
        ahead = self.needs(species, sex)[stage_number(species, cohort.stage) :]
        if self._places is None:
            self._places = Places(
                self.instruments,
                self.house,
                self.readings,
                now=self.now,
                stated=self.stated,
            )
        # what comes after the last stage is nobody's forecast
        warmth = self._places.warmth(cohort, ahead[:-1])
        if warmth is None:
            return None
        way = _Way(sex, ahead, warmth, self.now, near=near)
        way.follow(*self._had(cohort, ahead[0], warmth))
        if len(ahead) > 1:
            way.wait(self.stated)
        return way

    def _trouble(self, cohort: Cohort, species: Species | None) -> str:
        if species is None:
            return f"no file describes the species {cohort.species}"
        if species.stage(cohort.stage) is None:
            return f"the file of {cohort.species} has no stage {cohort.stage}"
        if cohort.colony:
            return "a colony has mixed stages: nothing is dated"
        return ""

    def _account(self, cohort: Cohort) -> CohortHeat | None:
        heat = self.heats.get(cohort.id)
        return heat if heat is not None and heat.stage == cohort.stage else None

    def _had(
        self, cohort: Cohort, need: StageNeed, warmth: Warmth
    ) -> tuple[Array, float]:
        """
        Equally likely amounts that a cohort has had in its stage, and its age in days.

        The account counts from one instant. Where the stage began between two visits
        it may be older or younger than that, by what the recent past gives in the
        time; the age is then the longest.
        """
        counted = max((self.now - counted_since(cohort)) / DAY, 0.0)
        had = self._counted(cohort, need, warmth, counted)
        span = self.begun.get(cohort.id)
        course = warmth.courses[0] if warmth.courses else None
        if span is None or span.stage != need.stage.id or course is None:
            return had, counted
        if need.record is None:
            return had, counted
        ages = stage_ages(span, self.now, course, need.record)
        more = (ages - counted) * daily_pace(course)
        every = np.maximum(had[np.newaxis, :] + more[:, np.newaxis], 0.0)
        every = every.reshape(1, -1)
        if had.size > 1 and more.size > 1:
            every = condensed(every, GAP_VALUES)
        return every[0], float(ages.max())

    def _counted(
        self, cohort: Cohort, need: StageNeed, warmth: Warmth, age: float
    ) -> Array:
        """
        Equally likely amounts since the account began, *age* days ago.

        Time without readings counts between the least and the most that a day of the
        place's record gave; how far the animals are from the probe is in the course.
        """
        if not isinstance(need.record, HeatRequirement) or not warmth.extremes:
            return np.array([age])
        heat, (least, most) = self._account(cohort), warmth.extremes[0]
        had, missing = 0.0, age
        if heat is not None:
            had, missing = heat.degree_days, (1.0 - heat.coverage) * age
        least, most = had + missing * least, had + missing * most
        if least == most:
            return np.array([least])
        shares = (np.arange(GAP_VALUES) + 0.5) / GAP_VALUES
        return np.asarray(least + (most - least) * shares)


class _Way:
    """A cohort of one sex on its way through the stages that are left."""

    def __init__(
        self,
        sex: Sex,
        needs: Sequence[StageNeed],
        warmth: Warmth,
        now: datetime,
        *,
        near: bool,
    ) -> None:
        self.sex, self.needs, self.warmth = sex, needs, warmth
        self._now, self._near = now, near
        self.starts: dict[str, Array] = {}
        self.had: Array = np.zeros(1)
        self._stages: list[StageForecast] = []
        self._stops = ""
        self._wait: tuple[float, float] | None = None

    @property
    def told(self) -> SexForecast:
        """What was found, in dates."""
        days, sd_days = self._wait or (None, None)
        return SexForecast(
            sex=self.sex,
            stages=tuple(self._stages),
            stops=self._stops,
            needs=tuple(
                (need.stage.id, need.record.facts)
                for need in self.needs
                if need.record is not None
            ),
            wait_days=days,
            wait_sd_days=sd_days,
        )

    def follow(self, had: Array, age_days: float) -> None:
        """Go on until a stage has no requirement, or never ends at this warmth."""
        self.had = had
        samples: Array | None = None
        legs = zip(self.needs, self.needs[1:], self.warmth.courses, strict=False)
        for leg, (need, following, course) in enumerate(legs):
            record = need.record
            if record is None or course is None:
                self._stops = f"how long {need.stage.id} lasts is not known"
                return
            if not course.moves:
                self._stops = f"{need.stage.id} does not go on at this temperature"
                return
            if samples is None:
                needs = record.needs(FINE)
                ends = first_ends(course, needs, had, age_days=age_days)
            else:
                ends = next_ends(course, samples, record.needs(VALUES))
            dated = self._dated(following, self.needs[: leg + 1], ends)
            if dated is None:
                self._stops = f"{following.stage.id} is more than 20 years off"
                return
            self._stages.append(dated)
            self.starts[following.stage.id] = samples = condensed(ends)
            if self._near and not may_be_in(dated, self._now):
                return

    def wait(self, stated: Assumptions) -> None:
        """Reckon the wait for the next stage at a stated set point."""
        record = self.needs[0].record
        if stated.set_point_c is None or not isinstance(record, HeatRequirement):
            return
        rate = record.rate(stated.set_point_c)
        if rate > 0:
            made = constant_rate_wait(
                mean=record.mean,
                sd=record.spread,
                had=float(self.had.mean()),
                rate=rate,
                rate_sd=stated.spread_c or 0.0,
            )
            self._wait = made.days, made.sd_days

    def _dated(
        self, following: StageNeed, behind: Sequence[StageNeed], ends: Array
    ) -> StageForecast | None:
        p10, p50, p90 = (self._date(days) for days in quantiles(ends))
        if p10 is None:
            return None
        only_earliest = any(need.earliest for need in behind)
        return StageForecast(
            stage=following.stage.id,
            unseen=following.stage.unseen,
            earliest=p10 if only_earliest else None,
            p10=None if only_earliest else p10,
            p50=None if only_earliest else p50,
            p90=None if only_earliest else p90,
            assumed_threshold=_assumed(behind, "assumed_threshold"),
            assumed_spread=_assumed(behind, "assumed_sd"),
        )

    def _date(self, days: float) -> datetime | None:
        if days >= HORIZON / DAY:
            return None
        return self._now + timedelta(days=days)


def _assumed(needs: Sequence[StageNeed], what: str) -> tuple[str, ...]:
    return tuple(
        need.stage.id
        for need in needs
        if need.record is not None and getattr(need.record.facts, what)
    )
