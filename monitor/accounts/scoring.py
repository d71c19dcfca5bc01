"""
Forecasts against what happened: how often the 10 to 90 % interval held.

For every stage whose beginning was seen, the forecast of its end is made again as it
was at that beginning: from the requirement, the place's 28 days before it, and
nothing that came later. A beginning between two visits is taken half-way, and is as
doubtful to this forecast as to those that keepers read (`monitor.accounts.begins`).

What happened is known between two visits; such a change is inside the interval with
the share of the time between the visits that is. A stage that lasts beyond its 90 %
date is late, and counts, so that slow animals are not forgotten. Stages that heat
alone does not end were promised no interval.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date, datetime, timedelta
from statistics import median
from typing import cast

import msgspec

from monitor.accounts.begins import daily_pace, stage_ages
from monitor.accounts.feeding import DAY
from monitor.accounts.forecast_needs import StageNeed, file_record
from monitor.accounts.forecast_warmth import Assumptions, Places
from monitor.accounts.instruments import Instruments, Readings
from monitor.accounts.sightings import StageSpan, by_cohort, spans_of
from monitor.science.forecast import FINE, first_ends, quantiles
from monitor.science.requirement import HeatRequirement, Sex, TimeRequirement
from monitor.site.house import Cohort, House, middle
from monitor.site.journal import Entry
from monitor.site.species_file import Library

HORIZON_DAYS = 7305.0
"""Nothing is dated beyond twenty years."""

RecordOf = Callable[
    [tuple[str, str, str], datetime], HeatRequirement | TimeRequirement | None
]
"""What was believed of (species, stage, sex) at an instant; None for the file's."""

replace = msgspec.structs.replace


class Scored(msgspec.Struct, frozen=True, kw_only=True):
    """
    One forecast and what happened.

    Attributes:
        cohort: The cohort's id.
        species: Id of its species.
        name: Its scientific name.
        stage: The stage whose end was forecast.
        made_at: When the stage began, as far as is known. UTC.
        p10: Forecast of its end. UTC.
        p50: UTC.
        p90: UTC.
        after: The stage lasted at least to this. UTC.
        by: And was over by this; None where it lasts beyond its 90 % date. UTC.
        inside_low: The share inside if the doubt about the visits goes against it.
        inside: The share of the time between the visits that lies inside.
        inside_high: The share inside if the doubt goes for it.
        error_days: Happened minus 50 % date, from half-way between the visits; at
            least so much where it lasts. [d]
    """

    cohort: int
    species: str
    name: str
    stage: str
    made_at: datetime
    p10: datetime
    p50: datetime
    p90: datetime
    after: datetime
    by: datetime | None
    inside_low: float
    inside: float
    inside_high: float
    error_days: float


class StageScore(msgspec.Struct, frozen=True, kw_only=True):
    """
    How forecasts of one stage held.

    Attributes:
        name: Scientific name; "" for all species together.
        stage: The stage that ended; "" for all.
        n: Forecasts.
        inside: Share inside the 10 to 90 % interval; 0.8 is right.
        inside_low: At least.
        inside_high: At most.
        error_days: Median of happened minus 50 % date; above 0 is later. [d]
        off_days: Median of its size. [d]
    """

    name: str
    stage: str
    n: int
    inside: float
    inside_low: float
    inside_high: float
    error_days: float
    off_days: float


class Hold(msgspec.Struct, frozen=True):
    """Whether an interval held: least, expected and most share, and error in days."""

    low: float
    share: float
    high: float
    error_days: float


def held(
    predicted: tuple[datetime, datetime, datetime],
    after: datetime,
    by: datetime | None,
) -> Hold | None:
    """
    Compare a forecast with what happened.

    Args:
        predicted: The 10, 50 and 90 % dates.
        after: It had not happened by then.
        by: It had happened by then; None for not yet.

    Returns:
        None where it has not happened and may still fall inside.
    """
    p10, p50, p90 = predicted
    if by is None:
        if after <= p90:
            return None
        return Hold(0.0, 0.0, 0.0, (after - p50) / DAY)
    error = (after + (by - after) / 2 - p50) / DAY
    first, last = max(after, p10), min(by, p90)
    if by == after:
        share = 1.0 if p10 <= by <= p90 else 0.0
        return Hold(share, share, share, error)
    share = max((last - first) / (by - after), 0.0)
    sure = p10 <= after and by <= p90
    return Hold(float(sure), share, float(share > 0), error)


def totals(scored: Iterable[Scored]) -> tuple[StageScore, ...]:
    """Sum up by species and stage, after one line for all; () for none."""
    rows = sorted(scored, key=lambda s: (s.name, s.stage, s.cohort))
    if not rows:
        return ()
    groups: dict[tuple[str, str], list[Scored]] = {}
    for row in rows:
        groups.setdefault((row.name, row.stage), []).append(row)
    return (
        _total("", "", rows),
        *(_total(*key, group) for key, group in groups.items()),
    )


class Hindcaster:
    """
    Makes forecasts again as they were; what forecasts of one day share is kept.

    Args:
        instruments: By what the house measures.
        library: The species.
        house: With all that the journal moved.
        readings: Asks the store.
        now: The present. UTC.
        record_of: What was believed at an instant; None for the species files.
    """

    def __init__(
        self,
        instruments: Instruments,
        library: Library,
        house: House,
        readings: Readings,
        *,
        now: datetime,
        record_of: RecordOf | None = None,
    ) -> None:
        self._instruments, self._library, self._house = instruments, library, house
        self._readings, self._now, self._record_of = readings, now, record_of
        self._places: dict[date, Places] = {}

    def scored(
        self, entries: Iterable[Entry], *, since: datetime, most: int
    ) -> tuple[Scored, ...]:
        """
        Score the latest forecasts.

        Args:
            entries: The journal, in any order.
            since: What was over before this is left out. UTC.
            most: Score no more than this, the latest.
        """
        latest = self._latest(entries, since)[:most]
        # day by day, so that forecasts of one day share its warmth
        latest.sort(key=lambda each: (each[1].begun_by, each[0].id))
        made = (self._score(cohort, span) for cohort, span in latest)
        return tuple(each for each in made if each is not None)

    def _latest(
        self, entries: Iterable[Entry], since: datetime
    ) -> list[tuple[Cohort, StageSpan]]:
        """Stages of which something may be said, the latest first."""
        told = by_cohort(entries)
        found: list[tuple[Cohort, StageSpan]] = []
        for cohort in self._house.cohorts.values():
            species = self._library.species.get(cohort.species)
            if species is None:
                continue
            spans = spans_of(cohort, species, told.get(cohort.id, ()), now=self._now)
            found += [
                (cohort, span)
                for span in spans
                if _ends(span) >= since and self._promised(cohort.species, span)
            ]
        return sorted(found, key=lambda s: (_ends(s[1]), s[0].id), reverse=True)

    def _promised(self, species: str, span: StageSpan) -> bool:
        """Whether there was an interval, and anything to hold against it."""
        stage = self._library.stage(species, span.stage)
        development = None if stage is None else stage.development
        if development is None or development.driven_by == "heat-earliest":
            return False
        lasted = span.ended_by is not None or span.ended_after > span.begun_by
        # nobody told the program of a stage that was never seen
        return lasted and not span.unseen

    def _score(self, cohort: Cohort, span: StageSpan) -> Scored | None:
        made_at = middle(span.begun_after, span.begun_by)
        predicted = self._predicted(cohort, span, made_at)
        if predicted is None:
            return None
        hold = held(predicted, span.ended_after, span.ended_by)
        if hold is None:
            return None
        species = self._library.species[cohort.species]
        p10, p50, p90 = predicted
        return Scored(
            cohort=cohort.id,
            species=species.id,
            name=species.species.name,
            stage=span.stage,
            made_at=made_at,
            p10=p10,
            p50=p50,
            p90=p90,
            after=span.ended_after,
            by=span.ended_by,
            inside_low=hold.low,
            inside=hold.share,
            inside_high=hold.high,
            error_days=hold.error_days,
        )

    def _predicted(
        self, cohort: Cohort, span: StageSpan, at: datetime
    ) -> tuple[datetime, datetime, datetime] | None:
        """The forecast of a stage's end at its beginning; None where there was none."""
        stage = self._library.stage(cohort.species, span.stage)
        place = cohort.place_at(at)
        if stage is None or stage.development is None or place is None:
            return None
        record = None
        if self._record_of is not None:
            record = self._record_of((cohort.species, stage.id, cohort.sex), at)
        if record is None:
            record = file_record(stage.development, cast("Sex", cohort.sex))
        if record is None:
            return None
        there = replace(cohort, place=place)
        need = StageNeed(stage, record, earliest=False)
        warmth = self._of_day(at).warmth(there, [need])
        course = None if warmth is None else warmth.courses[0]
        if course is None or not course.moves:
            return None
        ages = stage_ages(span, at, course, record)
        ends = first_ends(
            course,
            record.needs(FINE),
            ages * daily_pace(course),
            age_days=float(ages.max()),
        )
        days = quantiles(ends)
        if days[2] >= HORIZON_DAYS:
            return None
        p10, p50, p90 = (at + timedelta(days=each) for each in days)
        return p10, p50, p90

    def _of_day(self, at: datetime) -> Places:
        """The warmth of all places as it was known on a day."""
        if at.date() not in self._places:
            stood = {
                p.id: replace(p, parent=p.parent_at(at) or p.parent)
                for p in self._house.places.values()
            }
            self._places = {
                at.date(): Places(
                    self._instruments,
                    replace(self._house, places=stood),
                    self._readings,
                    now=at,
                    stated=Assumptions(),
                )
            }
        return self._places[at.date()]


def _ends(span: StageSpan) -> datetime:
    return span.ended_by or span.ended_after


def _total(name: str, stage: str, rows: Sequence[Scored]) -> StageScore:
    def mean(shares: Iterator[float]) -> float:
        return sum(shares) / len(rows)

    return StageScore(
        name=name,
        stage=stage,
        n=len(rows),
        inside=mean(r.inside for r in rows),
        inside_low=mean(r.inside_low for r in rows),
        inside_high=mean(r.inside_high for r in rows),
        error_days=median(r.error_days for r in rows),
        off_days=median(abs(r.error_days) for r in rows),
    )
