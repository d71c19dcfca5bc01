"""A forecast in the keeper's words: weeks, "earliest", and what was assumed."""

import math
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime, timedelta, tzinfo
from itertools import groupby

from monitor.accounts.forecast_show import Hole, Number, ShowForecast, ShowWeek
from monitor.accounts.forecast_values import (
    CohortForecast,
    SexForecast,
    StageForecast,
)
from monitor.accounts.heat import CohortHeat
from monitor.cli.table import WIDTH, cut
from monitor.site.house import Cohort

WEEK = timedelta(days=7)
_DISTANCES = {
    "surveyed": " (surveyed)",
    "neighbours": " (as tubs nearby were surveyed)",
    "assumed": " (assumed: no survey)",
}
_STAGE = 15


class Words:
    """
    Says forecasts to people.

    Args:
        now: The present. UTC.
        zone: Of the site.
        degree_days: Tell them even where the threshold is assumed.
        every: Tell every later stage, not the next and the last alone.
    """

    def __init__(
        self, now: datetime, zone: tzinfo, *, degree_days: bool, every: bool
    ) -> None:
        self._now, self._zone = now, zone
        self._degree_days, self._every = degree_days, every

    def cohort(self, cohort: Cohort, name: str, told: CohortForecast) -> Iterator[str]:
        """All lines of one cohort."""
        count = "colony" if cohort.colony else str(cohort.count)
        yield cut(f"{cohort.id}  {name}, {cohort.stage}, {count} in {cohort.place}")
        if told.trouble:
            yield f"  {told.trouble}"
            return
        if told.ask:
            may_be = " or ".join(told.perhaps)
            yield from _folded(f"perhaps already {may_be}: {told.ask}", "  ")
        yield from self._warmth(told)
        for sex in told.sexes:
            if sex.sex != "any":
                yield f"  {sex.sex}"
            yield from self._stages(sex)
        yield from self._basis(told)

    def show(self, told: ShowForecast) -> Iterator[str]:
        """All lines of what a species has for the show."""
        yield cut(f"{told.name}: adults for the show")
        if not told.counted:
            yield from self._left_out(told)
            return
        if told.hold_back:
            yield f"  {told.hold_back} of each sex held back for breeding"
        yield f"  {'week of':<22}{'females':<14}{'males':<14}".rstrip()
        for rows in _runs(told.weeks):
            first, last = rows[0], rows[-1]
            weeks = self._span(first.monday, last.monday)
            females, males = _number(first.female), _number(first.male)
            yield f"  {weeks:<22}{females:<14}{males:<14}".rstrip()
        for line in self._caveats(told):
            yield from _folded(line, "  ")
        yield from self._left_out(told)
        for alone in told.alone:
            span = self._span(alone.first, alone.last)
            other = "males" if alone.sex == "female" else "females"
            yield from _folded(f"{alone.sex}s without {other}: week of {span}", "  ")
        for hole in told.holes:
            yield from _folded(self._hole(hole, told), "  ")

    def _stages(self, sex: SexForecast) -> Iterator[str]:
        shown = sex.stages
        if not self._every and len(shown) > 1:
            shown = (shown[0], shown[-1])
        for stage in shown:
            yield from _folded(f"{stage.stage:<{_STAGE}}{self.when(stage)}", "  ")
            assumed = _assumed(stage)
            if assumed:
                yield f"  {'':<{_STAGE}}by an assumed {assumed}"
        if sex.stops:
            yield from _folded(f"then: {sex.stops}", "  ")
        elif not sex.stages:
            yield "  the last stage: nothing comes after it"
        if sex.wait_days is not None and sex.wait_sd_days is not None:
            yield (
                f"  at the set point: {sex.wait_days:.1f} d,"
                f" standard deviation {sex.wait_sd_days:.1f} d"
            )

    def when(self, stage: StageForecast) -> str:
        """When a stage is reached, in weeks; never a due date where there is none."""
        if stage.earliest is not None:
            if stage.earliest <= self._now:
                return f"possible since the week of {self._week(stage.earliest)}"
            return f"earliest week of {self._week(stage.earliest)}"
        if stage.p10 is None or stage.p90 is None:
            begin = stage.p10
            return "not known" if begin is None else f"from {self._week(begin)} on"
        return self._between(stage.p10, stage.p90)

    def _between(self, begin: datetime, end: datetime) -> str:
        first, last = self._week(begin), self._week(end)
        if end <= self._now:
            return f"was due by the week of {last}"
        if begin <= self._now:
            return f"perhaps already, by the week of {last}"
        low = math.floor((begin - self._now) / WEEK)
        high = math.ceil((end - self._now) / WEEK)
        weeks = f"in {low} to {high} weeks" if low else f"within {_many(high)}"
        span = f"week of {first}" if first == last else f"{first} to {last}"
        return f"{weeks} ({span})"

    def _warmth(self, told: CohortForecast) -> Iterator[str]:
        heat = told.heat
        if heat is None or (heat.assumed_threshold and not self._degree_days):
            return
        need = "" if heat.required is None else f" of {heat.required:.0f}"
        above = " above an assumed threshold" if heat.assumed_threshold else ""
        yield from _folded(
            f"{heat.degree_days:.0f}{_bounds(heat)}{need} degree-days{above}, "
            f"{100 * heat.coverage:.0f} % of the time measured",
            "  ",
        )

    def _basis(self, told: CohortForecast) -> Iterator[str]:
        basis = told.basis
        if basis is None or not any(sex.stages for sex in told.sexes):
            return
        if basis.set_point_c is not None:
            said = f"at a stated {basis.set_point_c:g} C"
        elif basis.days:
            where = ", ".join(basis.sources)
            said = f"as warm as in {basis.days} of the last 28 days ({where})"
        else:
            return
        if basis.spread_c:
            said += f", give or take {basis.spread_c:.2g} C"
            said += _DISTANCES.get(basis.distance, "")
        yield from _folded(said, "  ")
        if self._every:
            yield from self._sources(told.sexes)

    def _sources(self, sexes: Iterable[SexForecast]) -> Iterator[str]:
        """Where the figures of each stage are from, each source once."""
        found: dict[str, dict[str, None]] = {}
        for sex in sexes:
            for stage, facts in sex.needs:
                found.setdefault(facts.source, {})[stage] = None
        for source, stages in found.items():
            yield from _folded(f"{', '.join(stages)}: {source}", "  ")

    def _caveats(self, told: ShowForecast) -> Iterator[str]:
        if told.earliest:
            yield "at the earliest: heat alone does not decide for all of them"
        if told.survival is None:
            yield "at most: how many survive is not known, all are counted"
        else:
            yield (
                f"{100 * told.survival.mean:.0f} % of eggs become adults"
                f" ({told.survival.source}), each stage costing the same"
            )
        if not told.adult_life:
            yield "how long adults live is not known: nobody is counted out"
        for sex, life in told.adult_life:
            spread = ", spread assumed" if life.sd is None else ""
            yield f"a {sex} lives {life.mean / 7:.0f} weeks ({life.source}{spread})"
        if told.unsexed:
            yield f"not sexed, taken as half females: cohort {_ids(told.unsexed)}"

    def _left_out(self, told: ShowForecast) -> Iterator[str]:
        for why, group in groupby(sorted(told.left_out, key=_why), key=_why):
            numbers = _ids([cohort for cohort, _ in group])
            yield from _folded(f"not counted: cohort {numbers} ({why})", "  ")

    def _hole(self, hole: Hole, told: ShowForecast) -> str:
        said = f"nothing to show: week of {self._span(hole.first, hole.last)}"
        lead = told.lead
        if lead is None or hole.lay_by is None:
            return f"{said}; how long the way from the egg takes is not known"
        weeks = f"{lead.p10_days / 7:.0f} to {lead.p90_days / 7:.0f} weeks"
        if lead.earliest:
            weeks = f"{lead.p10_days / 7:.0f} weeks at the earliest"
        if hole.too_late:
            return (
                f"{said}; too late to fill its beginning: pair and set up a laying tub"
                f" now, from egg to adult it takes {weeks}"
            )
        return (
            f"{said}; pair and set up a laying tub so that eggs are laid in the week"
            f" of {self._week_of(hole.lay_by)} ({weeks} from the egg)"
        )

    def _week(self, at: datetime) -> str:
        day = at.astimezone(self._zone).date()
        return self._week_of(day - timedelta(days=day.weekday()))

    def _week_of(self, monday: date) -> str:
        this = self._now.astimezone(self._zone).year
        year = "" if monday.year == this else f" {monday.year}"
        return f"{monday.day} {monday:%b}{year}"

    def _span(self, first: date, last: date) -> str:
        if first == last:
            return self._week_of(first)
        return f"{self._week_of(first)} to {self._week_of(last)}"


def _bounds(heat: CohortHeat) -> str:
    """Between what the figure lies, where that is told apart from it."""
    low = f"{heat.low:.0f}"
    high = "any" if heat.high is None else f"{heat.high:.0f}"
    return "" if low == high else f" ({low} to {high})"


def _why(left_out: tuple[int, str]) -> str:
    return left_out[1]


def _runs(weeks: Sequence[ShowWeek]) -> Iterator[list[ShowWeek]]:
    for _, group in groupby(weeks, key=lambda w: (w.female, w.male)):
        yield list(group)


def _number(number: Number) -> str:
    if number.low == number.high:
        return str(number.middle)
    return f"{number.middle} ({number.low}-{number.high})"


def _many(weeks: int) -> str:
    return "a week" if weeks == 1 else f"{weeks} weeks"


def _ids(cohorts: Iterable[int]) -> str:
    return ", ".join(map(str, cohorts))


def _assumed(stage: StageForecast) -> str:
    found = []
    if stage.assumed_threshold:
        found.append("threshold")
    if stage.assumed_spread:
        found.append("spread")
    return " and ".join(found)


def _folded(text: str, indent: str) -> Iterator[str]:
    """Lines that fit on a telephone; what goes on stands further in."""
    line = indent
    for word in text.split(" "):
        if len(line) + len(word) > WIDTH and line.strip():
            yield line.rstrip()
            line = f"{indent}  "
        line += f"{word} "
    yield line.rstrip()
