"""A whole house on a screen: what to look at now, what comes next, what later."""

from collections.abc import Callable, Iterator, Sequence
from datetime import date, datetime, timedelta
from itertools import groupby
from typing import NamedTuple

from monitor.accounts.forecast_show import ShowForecast
from monitor.accounts.forecast_values import NO_TEMPERATURE
from monitor.cli.forecast_notes import MARK, Told, house_notes, mark
from monitor.cli.forecast_show_words import ShowWords
from monitor.cli.forecast_words import WEEK, Calendar, folded, where

SOON = timedelta(days=28)
"""Until then by weeks, in this and the next quarter by months, then by quarters."""

_TITLES = {
    "now": "LOOK NOW",
    "soon": "THE NEXT FOUR WEEKS (by their Mondays)",
    "later": "LATER",
    "undated": "WITHOUT A DATE",
}


class _Next(NamedTuple):
    """The next stage of a cohort, the sexes together."""

    told: Told
    stage: str
    begin: datetime
    end: datetime | None
    earliest: bool
    due: bool
    marked: bool


class _Group(NamedTuple):
    """Like cohorts, and what is said of them."""

    part: str
    order: tuple[object, ...]
    head: str
    nexts: Sequence[_Next]


class Overview:
    """
    Says what is expected of a house, like cohorts in a line or two.

    Args:
        calendar: Writes dates.
        shows: Says what there is for the show.
    """

    def __init__(self, calendar: Calendar, shows: ShowWords) -> None:
        self._calendar, self._shows = calendar, shows

    def lines(
        self, told: Sequence[Told], shows: Sequence[ShowForecast]
    ) -> Iterator[str]:
        """All lines: groups by what comes first, the show, and what dates rest on."""
        found = [self._next(each) for each in told]
        nexts = [each for each in found if each is not None]
        groups = sorted(self._groups(nexts), key=lambda group: group.order)
        for part, members in groupby(groups, key=lambda group: group.part):
            yield _TITLES[part]
            for group in members:
                yield from folded(group.head)
                yield where((each.told.cohort for each in group.nexts), "  ")
            yield ""
        undated = [each for each, its in zip(told, found, strict=True) if its is None]
        if undated:
            yield _TITLES["undated"]
            yield from _undated(undated)
            yield ""
        yield from self._shows.brief(shows)
        marked = [
            (each.told.name, each.told.forecast.stage) for each in nexts if each.marked
        ]
        yield from house_notes(told, marked)
        yield from folded(
            "Closer: forecast --species ID, forecast --cohort N, or all with --every."
        )

    def _next(self, told: Told) -> _Next | None:
        firsts = [sex.stages[0] for sex in told.forecast.sexes if sex.stages]
        begins = [stage.first for stage in firsts if stage.first is not None]
        if not begins:
            return None
        ends = [stage.p90 for stage in firsts if stage.p90 is not None]
        end = max(ends) if len(ends) == len(firsts) else None
        return _Next(
            told,
            firsts[0].stage,
            min(begins),
            end,
            earliest=any(stage.earliest is not None for stage in firsts),
            due=end is not None and end <= self._calendar.now,
            marked=any(mark(stage) for stage in firsts),
        )

    def _groups(self, nexts: Sequence[_Next]) -> Iterator[_Group]:
        found: dict[tuple[object, ...], list[_Next]] = {}
        for each in nexts:
            forecast = each.told.forecast
            key = (
                each.told.name,
                forecast.stage,
                each.stage,
                each.earliest,
                forecast.perhaps,
                self._slot(each),
            )
            found.setdefault(key, []).append(each)
        for members in found.values():
            members.sort(key=lambda each: each.begin)
            yield self._group(members)

    def _slot(self, each: _Next) -> tuple[str, object]:
        """What begins in the same slot is told together."""
        now, day = self._calendar.now, self._calendar.monday(each.begin)
        if each.begin <= now:
            return "now", each.due
        today = self._calendar.monday(now)
        if day <= today + SOON:
            # the week after next is near enough to the one behind it
            return "soon", min((day - today) / WEEK, 2)
        quarter = _quarter(day)
        if quarter - _quarter(today) > 1:
            return "later", (quarter,)
        return "later", (quarter, day.month)

    def _group(self, members: Sequence[_Next]) -> _Group:
        first = members[0]
        part, _ = self._slot(first)
        said = {"now": self._now, "soon": self._soon, "later": self._later}[part]
        sign = MARK if any(each.marked for each in members) else ""
        name, stage = first.told.name, first.told.forecast.stage
        order = (
            tuple(_TITLES).index(part),
            not first.due,
            not first.told.forecast.ask,
            self._calendar.monday(first.begin),
            name,
            stage,
        )
        ask = first.told.forecast.ask
        head = f"{name}, {stage}: {said(members)}{sign}" + (f"; {ask}" if ask else "")
        return _Group(part, order, head, members)

    def _now(self, members: Sequence[_Next]) -> str:
        first = members[0]
        forecast, stage = first.told.forecast, first.stage
        ends = [each.end for each in members if each.end is not None]
        if first.due:
            return f"{stage} was due by the week of {self._week(min(ends))}"
        if forecast.perhaps:
            return f"perhaps already {' or '.join(forecast.perhaps)}"
        if first.earliest or not ends:
            return f"{stage} possible since the week of {self._week(first.begin)}"
        return f"perhaps already {stage}, by the week of {self._week(max(ends))}"

    def _soon(self, members: Sequence[_Next]) -> str:
        return self._spanned(members, self._calendar.span)

    def _later(self, members: Sequence[_Next]) -> str:
        return self._spanned(members, self._calendar.months)

    def _spanned(
        self, members: Sequence[_Next], words: Callable[[date, date], str]
    ) -> str:
        first, monday = members[0], self._calendar.monday
        begin, last = monday(first.begin), monday(members[-1].begin)
        ends = [each.end for each in members if each.end is not None]
        if first.earliest:
            return f"{first.stage} earliest {words(begin, last)}"
        if len(ends) < len(members):
            return f"{first.stage} from {words(begin, begin)} on"
        return f"{first.stage} {words(begin, monday(max(ends)))}"

    def _week(self, at: datetime) -> str:
        return self._calendar.week(at)


def _quarter(day: date) -> int:
    return day.year * 4 + (day.month - 1) // 3


def _undated(told: Sequence[Told]) -> Iterator[str]:
    found: dict[tuple[str, str, str], list[Told]] = {}
    for each in told:
        forecast = each.forecast
        stops = next((sex.stops for sex in forecast.sexes if sex.stops), "")
        why = forecast.trouble or stops or "the last stage"
        found.setdefault((each.name, forecast.stage, why), []).append(each)
    for (name, stage, why), members in found.items():
        many = "1 cohort" if len(members) == 1 else f"{len(members)} cohorts"
        yield from folded(f"{name}, {stage}, {many}: {why}")
        if why == NO_TEMPERATURE:
            yield where((each.cohort for each in members), "  ")
