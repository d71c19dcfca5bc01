"""Adults for the show in words: a table of weeks or months, holes, what was assumed."""

from collections.abc import Callable, Iterator, Sequence
from datetime import date
from itertools import groupby
from typing import NamedTuple

from monitor.accounts.forecast_show import Hole, Number, ShowForecast, ShowWeek
from monitor.cli.forecast_words import Calendar, folded, ids
from monitor.cli.table import WIDTH, cut, table

_MORE = "+"
"""Stands behind a number that may be larger: of a count of "at least" so many."""

ROWS = 20
"""So many rows are easily read; longer tables go on by months, quarters, years."""

HOLES = 2
"""So many holes of a species stand in the overview of a house."""

_MISSING = {
    "both": "nothing to show",
    "female": "no females to show",
    "male": "no males to show",
}

_Coarse = Callable[[date, date], tuple[object, ...]]
"""Tells the bucket of a week, by its Monday and that of the first; first its kind."""


class _Row(NamedTuple):
    """Weeks told in one line."""

    when: str
    female: str
    male: str


class ShowWords:
    """
    Says what a species has for the show.

    Args:
        calendar: Writes dates.
    """

    def __init__(self, calendar: Calendar) -> None:
        self._calendar = calendar

    def whole(self, told: ShowForecast) -> Iterator[str]:
        """All lines of one species."""
        yield cut(f"{told.name}: adults for the show")
        if not told.counted:
            yield from _left_out(told)
            return
        if told.hold_back:
            yield f"  {told.hold_back} of each sex held back for breeding"
        yield from _table(self._rows(told.weeks))
        for line in _caveats(told):
            yield from folded(line, "  ")
        yield from _left_out(told)
        yield from self._planning(told)

    def brief(self, shows: Sequence[ShowForecast]) -> Iterator[str]:
        """A few lines for each species, and what to do about holes."""
        counted = [told for told in shows if told.counted]
        if not counted:
            return
        yield "FOR THE SHOW (females and males; weeks: --species ID)"
        if counted[0].hold_back:
            yield f"{counted[0].hold_back} of each sex held back for breeding"
        for told in counted:
            yield from folded(f"{told.name}: {self._course(told)}")
            yield from self._planning(told, most=HOLES)
        yield ""

    def _course(self, told: ShowForecast) -> str:
        """What there is now, and the most that there will be, with its week."""
        now = told.weeks[0]
        best = max(told.weeks, key=lambda w: w.female.middle + w.male.middle)
        first = next((week for week in told.weeks if _any(week)), best)
        said = f"{_pair(now)} now" if _any(now) else "none now"
        if told.left_out:
            more = len(told.left_out)
            said += f" ({more} {'cohort' if more == 1 else 'cohorts'} not counted)"
        if first not in (now, best):
            said += f", first {_pair(first)} {self._week(first, told)}"
        if _pair(best) != _pair(now):
            alive = " if all live," if told.survival is None else ""
            said += f", most {_pair(best)}{alive} {self._week(best, told)}"
        return said

    def _planning(
        self, told: ShowForecast, *, most: int | None = None
    ) -> Iterator[str]:
        for alone in told.alone[:most]:
            span = self._calendar.span(alone.first, alone.last)
            other = "males" if alone.sex == "female" else "females"
            yield from folded(f"{alone.sex}s without {other}: week of {span}", "  ")
        for hole in told.holes[:most]:
            yield from folded(self._hole(hole, told), "  ")

    def _hole(self, hole: Hole, told: ShowForecast) -> str:
        span = self._calendar.span(hole.first, hole.last)
        said = f"{_MISSING[hole.sex]}: week of {span}"
        lead = told.lead
        if lead is None or hole.lay_by is None:
            return f"{said}; how long the way from the egg takes is not known"
        weeks = f"{lead.p10_days / 7:.0f} to {lead.p90_days / 7:.0f} weeks"
        before = ""
        if lead.earliest:
            weeks = f"{lead.p10_days / 7:.0f} weeks at the earliest"
            before = " or before"
        if hole.too_late:
            return (
                f"{said}; too late to fill its beginning: pair and set up a laying tub"
                f" now, from egg to adult it takes {weeks}"
            )
        lay_by = self._calendar.week_of(hole.lay_by)
        return (
            f"{said}; to fill it have eggs laid by the week of {lay_by}{before}"
            f" ({weeks} from the egg); {self._pairing(hole)}"
        )

    def _pairing(self, hole: Hole) -> str:
        if hole.pair_by is None:
            return "no pair is expected by then"
        if hole.pair_by == hole.lay_by:
            return "pair before that"
        pair_by = self._calendar.week_of(hole.pair_by)
        return f"pair in the week of {pair_by} or before: later no pair is expected"

    def _rows(self, weeks: Sequence[ShowWeek]) -> list[_Row]:
        rows: list[_Row] = []
        for coarse in _COARSER:
            rows = self._rows_by(weeks, coarse)
            if len(rows) <= ROWS:
                break
        return rows

    def _rows_by(self, weeks: Sequence[ShowWeek], coarse: _Coarse) -> list[_Row]:
        start = weeks[0].monday
        buckets = groupby(weeks, key=lambda week: coarse(week.monday, start))
        parts = [list(group) for _, group in buckets]
        rows = []
        for (female, male), group in groupby(parts, key=_both):
            alike = [week for part in group for week in part]
            first, last = alike[0].monday, alike[-1].monday
            by_week = coarse(first, start)[0] == "week"
            words = self._calendar.span if by_week else self._calendar.months
            rows.append(_Row(words(first, last), female, male))
        return rows

    def _week(self, week: ShowWeek, told: ShowForecast) -> str:
        when = "earliest" if told.earliest else "in the"
        return f"{when} week of {self._calendar.week_of(week.monday)}"


def _coarse(by_week: int, by_month: int, by_quarter: int) -> _Coarse:
    """So many months by week, quarters by month and years by quarter, then years."""

    def bucket(day: date, first: date) -> tuple[object, ...]:
        year, month, quarter = day.year, day.month, (day.month - 1) // 3
        years = year - first.year
        if years * 12 + month - first.month < by_week:
            return "week", day
        if years * 4 + quarter - (first.month - 1) // 3 < by_month:
            return "month", year, month
        return ("quarter", year, quarter) if years < by_quarter else ("year", year)

    return bucket


_COARSER: tuple[_Coarse, ...] = (
    _coarse(120, 0, 0),
    _coarse(6, 40, 0),
    _coarse(2, 40, 0),
    _coarse(2, 3, 10),
    _coarse(1, 2, 2),
    _coarse(1, 1, 1),
)
"""Ways to shorten a table, each shorter than the one before."""


def _both(weeks: Sequence[ShowWeek]) -> tuple[str, str]:
    return (
        _numbers([week.female for week in weeks]),
        _numbers([week.male for week in weeks]),
    )


def _numbers(numbers: Sequence[Number]) -> str:
    """The middles of some weeks and, in brackets, the 10 and 90 % points of all."""
    low, high = min(n.low for n in numbers), max(n.high for n in numbers)
    middles = [n.middle for n in numbers]
    least, most = min(middles), max(middles)
    more = _MORE if any(n.at_least for n in numbers) else ""
    said = f"{least}{more}" if least == most else f"{least}-{most}{more}"
    return said if (low, high) == (least, most) else f"{said} ({low}-{high}{more})"


def _table(rows: Sequence[_Row]) -> Iterator[str]:
    """Columns that never touch; where they are too wide, a row takes two lines."""
    made = table(("week of", "females", "males"), rows).splitlines()
    if max(map(len, made)) + 2 <= WIDTH:
        yield from (f"  {line}" for line in made)
        return
    for row in rows:
        yield f"  {row.when}"
        yield from folded(f"females {row.female}, males {row.male}", "    ")


def _any(week: ShowWeek) -> bool:
    return bool(week.female.middle or week.male.middle)


def _pair(week: ShowWeek) -> str:
    return " and ".join(
        f"{number.middle}{_MORE if number.at_least else ''}"
        for number in (week.female, week.male)
    )


def _caveats(told: ShowForecast) -> Iterator[str]:
    if told.earliest:
        yield "at the earliest: heat alone does not decide for all of them"
    if told.survival is None:
        yield "if all live: how many survive is not known"
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
    if told.counts_at_least:
        yield f'{_MORE} or more, counted as "at least": {ids(told.counts_at_least)}'
    if told.counts_about:
        yield f'wider, counted as "about": {ids(told.counts_about)}'
    shared = f"{100 * told.shared_need:.0f} %"
    yield f"assumed: {shared} of the spread in development is common to a cohort"
    if told.unsexed:
        yield f"not sexed, taken as half females: {ids(told.unsexed)}"


def _left_out(told: ShowForecast) -> Iterator[str]:
    for why, group in groupby(sorted(told.left_out, key=_why), key=_why):
        numbers = ids([cohort for cohort, _ in group])
        yield from folded(f"not counted: {numbers} ({why})", "  ")


def _why(left_out: tuple[int, str]) -> str:
    return left_out[1]
