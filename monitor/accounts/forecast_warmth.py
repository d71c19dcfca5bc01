"""The possible futures of a place's warmth: its own last 28 days, or a set point."""

import math
from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime, time

import msgspec
import numpy as np
from numpy.typing import NDArray

from monitor.accounts.bounded import HeatRule
from monitor.accounts.degree_days import day_heat
from monitor.accounts.feeding import DAY, FedSpan, prefers_substrate
from monitor.accounts.forecast_needs import StageNeed
from monitor.accounts.instruments import Instruments, Readings
from monitor.science.degree_days import Times, Values
from monitor.science.forecast import Course, error_of_mean, paces
from monitor.science.requirement import Array, HeatRequirement
from monitor.site.house import Cohort, House
from monitor.site.stays import Stay

RECORD_DAYS = 28
"""So many whole UTC days before today are the record of a place."""

LEAST_MEASURED = 0.5
"""A day that was measured for less of its time is left out: own choice."""

PACES = 5
"""What is not known of the mean warmth is written as so many equally likely values."""

SURE = 0.001
"""A doubt of less than this part of the warmth is none."""

replace = msgspec.structs.replace


class Assumptions(msgspec.Struct, frozen=True):
    """
    What is stated about temperatures, beside what was measured.

    Attributes:
        set_point_c: Stands for the future of every place; None for its own record.
            [degC]
        spread_c: Standard deviation of what the animals feel about the probe, or
            about the set point; None for what surveys of the place say, and for none
            at a set point. [K]
    """

    set_point_c: float | None = None
    spread_c: float | None = None


class Basis(msgspec.Struct, frozen=True):
    """
    What the warmth of a forecast rests on.

    Attributes:
        set_point_c: The stated set point; None where the place's record counts.
        days: Days of the record that were measured.
        sources: Where those readings came from, such as "shelf".
        spread_c: How far the animals may be from probe or set point, of the stages
            the most. [K]
        distance: Where that is from: "stated", "surveyed", "neighbours", "assumed";
            "" where there is none to tell.
    """

    set_point_c: float | None
    days: int
    sources: tuple[str, ...]
    spread_c: float
    distance: str = ""


class Warmth(msgspec.Struct, frozen=True):
    """
    The courses of every stage of a cohort, with futures in common.

    Attributes:
        courses: One for each stage that was asked about, in order; None where the
            stage has no requirement.
        basis: What they rest on.
        extremes: For each stage the least and the most that a day of the place gave.
    """

    courses: tuple[Course | None, ...]
    basis: Basis
    extremes: tuple[tuple[float, float], ...]


class Places:
    """
    The warmth of every place of a house; what places share is computed once.

    Args:
        instruments: By what the house measures.
        house: With all that the journal moved.
        readings: Asks the store.
        now: The present. UTC.
        stated: A set point, and how far the animals are from the probe.
    """

    def __init__(
        self,
        instruments: Instruments,
        house: House,
        readings: Readings,
        *,
        now: datetime,
        stated: Assumptions,
    ) -> None:
        self._instruments = instruments
        # the future is spent where the place stands now, wherever it stood before
        stand = {p.id: replace(p, fixed=True) for p in house.places.values()}
        self._house = replace(house, places=stand)
        self._ask, self._now, self._stated = readings, now, stated
        today = datetime.combine(now.date(), time(), UTC)
        self._begin, self._end = today - RECORD_DAYS * DAY, today
        self._series: dict[tuple[str, str], tuple[Times, Values]] = {}
        self._spans: dict[tuple[str, bool], tuple[FedSpan, ...]] = {}
        self._days: dict[tuple[tuple[FedSpan, ...], HeatRule], Array] = {}

    def warmth(self, cohort: Cohort, needs: Sequence[StageNeed]) -> Warmth | None:
        """
        Tell how warmth and time will grow for a cohort where it lives now.

        Args:
            cohort: The animals.
            needs: The stages asked about.

        Returns:
            None where no temperature is known: no set point is stated, and no day
            of the record was measured for what any of the stages needs.
        """
        heated = [need for need in needs if need.rule is not None]
        rows = {need.stage.id: self._record(cohort, need) for need in heated}
        # where warmth does not count, all futures are one
        measured = np.arange(RECORD_DAYS) < (RECORD_DAYS if heated else 1)
        for row in rows.values():
            measured &= np.isfinite(row)
        if not measured.any() and heated and self._stated.set_point_c is None:
            return None
        set_point = self._stated.set_point_c
        spreads = [self._distance(cohort, [need])[0] for need in needs]
        doubts = [
            self._doubt(need, rows.get(need.stage.id), measured, spread_c)
            for need, spread_c in zip(needs, spreads, strict=True)
        ]
        # all stages of a cohort share each future
        count = PACES if any(math.hypot(*doubt) > SURE for doubt in doubts) else 1
        made = [
            self._course(need, rows.get(need.stage.id), measured, doubt, count)
            for need, doubt in zip(needs, doubts, strict=True)
        ]
        return Warmth(
            tuple(course for course, _ in made),
            Basis(
                set_point,
                int(measured.sum()) if heated else 0,
                self._sources(cohort, heated),
                *self._distance(cohort, heated),
            ),
            tuple(extremes for _, extremes in made),
        )

    def _course(
        self,
        need: StageNeed,
        row: Array | None,
        measured: NDArray[np.bool_],
        doubt: tuple[float, float],
        count: int,
    ) -> tuple[Course | None, tuple[float, float]]:
        """How a stage's amount grows, and the extremes of its days."""
        record, set_point = need.record, self._stated.set_point_c
        if record is None:
            return None, (0.0, 0.0)
        days = 1 if set_point is not None else max(int(measured.sum()), 1)
        pace, past_pace = paces(*doubt, count)
        if not isinstance(record, HeatRequirement) or row is None:
            clock, same = np.ones(days), np.ones(count)
            return Course(clock, clock, same, same), (1.0, 1.0)
        if set_point is not None:
            steady = record.rate(set_point)
            known = row[measured] if measured.any() else np.array([steady])
            course = Course.steady(steady, pace=pace)
            return course, (float(known.min()), float(known.max()))
        known = row[measured]
        past = np.where(measured, row, known.mean())
        extremes = (float(known.min()), float(known.max()))
        return Course(known, past, pace, past_pace), extremes

    def _doubt(
        self,
        need: StageNeed,
        row: Array | None,
        measured: NDArray[np.bool_],
        spread_c: float,
    ) -> tuple[float, float]:
        """
        How far the mean rate may be off, by probe and by record, as parts of it.

        Between the thresholds a kelvin is a degree-day a day.
        """
        if not isinstance(need.record, HeatRequirement) or row is None:
            return 0.0, 0.0
        set_point = self._stated.set_point_c
        if set_point is not None:
            rate = need.record.rate(set_point)
            return (spread_c / rate if rate > 0 else 0.0), 0.0
        known = row[measured]
        mean = float(known.mean())
        return (spread_c / mean if mean > 0 else 0.0), error_of_mean(known)

    def _distance(
        self, cohort: Cohort, needs: Iterable[StageNeed]
    ) -> tuple[float, str]:
        """How far the animals may be from what measured, and who says so."""
        heated = [need for need in needs if need.rule is not None]
        if not heated:
            return 0.0, ""
        if self._stated.spread_c is not None:
            return self._stated.spread_c, "stated" if self._stated.spread_c else ""
        if self._stated.set_point_c is not None:
            return 0.0, ""
        found = [self._fed(cohort, need)[-1].distance for need in heated]
        most = max(found, key=lambda each: each.spread_k)
        return most.spread_k, most.how if most.spread_k else ""

    def _record(self, cohort: Cohort, need: StageNeed) -> Array:
        """Degree-days of each day of the record; NaN where too little was measured."""
        rule = need.rule
        if rule is None:
            raise ValueError(f"warmth does not count in {need.stage.id}")
        spans = self._fed(cohort, need)
        key = spans, rule
        if key not in self._days:
            self._load(spans)
            self._days[key] = np.array(
                [self._day(day, spans, rule) for day in self._dates()]
            )
        return self._days[key]

    def _day(self, day: date, spans: tuple[FedSpan, ...], rule: HeatRule) -> float:
        heat = day_heat(
            day, spans, self._series, rule, self._instruments, now=self._now
        )
        share = heat.measured_s / DAY.total_seconds()
        return heat.degree_days / share if share >= LEAST_MEASURED else np.nan

    def _dates(self) -> Iterable[date]:
        first = self._begin.date()
        return (first + n * DAY for n in range(RECORD_DAYS))

    def _fed(self, cohort: Cohort, need: StageNeed) -> tuple[FedSpan, ...]:
        """What would have fed the cohort, had it been in its place all the time."""
        substrate = prefers_substrate(need.stage)
        key = cohort.place, substrate
        if key not in self._spans:
            stood = replace(
                cohort,
                stages=(Stay(need.stage.id, self._begin),),
                places=(Stay(cohort.place, self._begin),),
            )
            self._spans[key] = self._instruments.spans(self._house, stood, need.stage)
        return self._spans[key]

    def _load(self, spans: Iterable[FedSpan]) -> None:
        for span in spans:
            for sensor in span.sensors:
                series = sensor, span.quantity.value
                if series not in self._series:
                    self._series[series] = self._instruments.read(
                        self._ask, sensor, span.quantity, self._begin, self._end
                    )

    def _sources(self, cohort: Cohort, needs: Iterable[StageNeed]) -> tuple[str, ...]:
        found = (s.source for need in needs for s in self._fed(cohort, need))
        return tuple(dict.fromkeys(found))
