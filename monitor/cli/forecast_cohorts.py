"""Cohorts one by one: what each later stage is expected, and what to look for."""

import math
from collections.abc import Callable, Iterable, Iterator, Sequence

from monitor.accounts.forecast_values import (
    CohortForecast,
    SexForecast,
    StageForecast,
)
from monitor.accounts.heat import CohortHeat
from monitor.cli.forecast_notes import Told, mark, notes
from monitor.cli.forecast_words import Calendar, folded
from monitor.cli.table import cut
from monitor.site.house import Cohort

MEASURED = 0.95
"""Below this share of the time the gaps are told unasked: own choice."""

_STAGE = 14
_AHEAD = f"  {'':<{_STAGE}} "


class CohortWords:
    """
    Says what is expected of cohorts, those of which the same is expected together.

    Args:
        calendar: Writes dates.
        degree_days: Tell account and requirements.
        closely: Tell every later stage with its middle, not the next and the last
            alone, and where the figures are from.
    """

    def __init__(self, calendar: Calendar, *, degree_days: bool, closely: bool) -> None:
        self._calendar = calendar
        self._degree_days, self._closely = degree_days, closely

    def species(self, told: Sequence[Told]) -> Iterator[str]:
        """All lines of the cohorts of one species, what they rest on, an empty one."""
        found: dict[tuple[str, ...], list[Told]] = {}
        for each in told:
            body = tuple(self._body(each.forecast))
            found.setdefault((each.forecast.stage, *body), []).append(each)
        for (_, *lines), alike in found.items():
            yield from (_head(each) for each in alike)
            yield from lines
            yield ""
        below = list(notes(told, degree_days=self._degree_days, sources=self._closely))
        if below:
            yield from below
            yield ""

    def _body(self, told: CohortForecast) -> Iterator[str]:
        if told.trouble:
            yield from folded(told.trouble, "  ")
            return
        if told.ask:
            may_be = " or ".join(told.perhaps)
            yield from folded(f"perhaps already {may_be}: {told.ask}", "  ")
        if told.heat is not None:
            yield from self._warmth(told.heat)
        for stage in self._shown(told.sexes):
            yield from self._row(stage, told.sexes)
        for said in _by_sex(told.sexes, _ending):
            yield from folded(said, "  ")
        for said in _by_sex(told.sexes, _wait):
            yield from folded(said, "  ")

    def _warmth(self, heat: CohortHeat) -> Iterator[str]:
        measured = f"{math.floor(100 * heat.coverage + 1e-9)} % of the time"
        if self._degree_days:
            need = "" if heat.required is None else f" of {heat.required:.0f}"
            above = " above an assumed threshold" if heat.assumed_threshold else ""
            yield from folded(
                f"{heat.degree_days:.0f}{_bounds(heat)}{need} degree-days{above},"
                f" {measured} measured",
                "  ",
            )
        elif heat.coverage < MEASURED:
            yield f"  only {measured} was measured"

    def _shown(self, sexes: Iterable[SexForecast]) -> list[str]:
        longest: Sequence[StageForecast] = max(
            (sex.stages for sex in sexes), key=len, default=()
        )
        every = [stage.stage for stage in longest]
        if self._closely or len(every) <= 1:
            return every
        ends = {ids[-1] for ids in ([s.stage for s in x.stages] for x in sexes) if ids}
        return [stage for n, stage in enumerate(every) if not n or stage in ends]

    def _row(self, stage: str, sexes: Iterable[SexForecast]) -> Iterator[str]:
        def said(sex: SexForecast) -> str:
            found = next((s for s in sex.stages if s.stage == stage), None)
            return "" if found is None else self._when(found)

        label = stage
        for each in _by_sex(sexes, said):
            yield from folded(f"{label:<{_STAGE}} {each}", "  ", _AHEAD)
            label = ""

    def _when(self, stage: StageForecast) -> str:
        text = f"{self._calendar.when(stage)}{mark(stage)}"
        likely = self._calendar.likely(stage) if self._closely else ""
        return f"{text}, {likely}" if likely else text


def _by_sex(
    sexes: Iterable[SexForecast], say: Callable[[SexForecast], str]
) -> Iterator[str]:
    """What is said of each sex; once, and without the sex, where it is the same."""
    found = [(sex.sex, say(sex)) for sex in sexes]
    alike = len({said for _, said in found}) == 1
    for sex, said in found[:1] if alike else found:
        if said:
            yield said if alike else f"{sex}: {said}"


def _ending(sex: SexForecast) -> str:
    if sex.stops:
        return f"then: {sex.stops}"
    return "" if sex.stages else "the last stage: nothing comes after it"


def _wait(sex: SexForecast) -> str:
    if sex.wait_days is None or sex.wait_sd_days is None:
        return ""
    return (
        f"at the set point: {sex.wait_days:.1f} d,"
        f" standard deviation {sex.wait_sd_days:.1f} d"
    )


def _head(told: Told) -> str:
    cohort = told.cohort
    return cut(
        f"{cohort.id}  {told.name}, {cohort.stage}, {_count(cohort)} in {cohort.place}"
    )


def _count(cohort: Cohort) -> str:
    if cohort.colony:
        return "colony"
    if cohort.sex not in ("female", "male"):
        return str(cohort.count)
    if cohort.count.number is None:
        return f"{cohort.sex}s, {cohort.count}"
    return f"{cohort.count} {cohort.sex}{'' if cohort.count.number == 1 else 's'}"


def _bounds(heat: CohortHeat) -> str:
    """Between what the figure lies, where that is told apart from it."""
    low = f"{heat.low:.0f}"
    high = "any" if heat.high is None else f"{heat.high:.0f}"
    return "" if low == high else f" ({low} to {high})"
