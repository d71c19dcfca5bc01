"""How every part of a forecast is written: weeks, spans, lists and folded lines."""

import math
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime, timedelta, tzinfo

from monitor.accounts.forecast_values import StageForecast
from monitor.cli.table import WIDTH, cut
from monitor.site.house import Cohort

WEEK = timedelta(days=7)
NAMED = 12
"""So many cohorts stand in a line of notes; the rest are counted."""


class Calendar:
    """
    Writes instants as keepers plan: by weeks, told by their Mondays, and by months.

    Args:
        now: The present, whose year need not be said. UTC.
        zone: Of the site.
    """

    def __init__(self, now: datetime, zone: tzinfo) -> None:
        self.now = now
        self._zone = zone
        self._year = now.astimezone(zone).year

    def monday(self, at: datetime) -> date:
        """The Monday of an instant's week, site time."""
        day = at.astimezone(self._zone).date()
        return day - timedelta(days=day.weekday())

    def week(self, at: datetime) -> str:
        """The week of an instant."""
        return self.week_of(self.monday(at))

    def week_of(self, monday: date) -> str:
        """A week by its Monday."""
        return f"{monday.day} {monday:%b}{self._of_year(monday)}"

    def span(self, first: date, last: date) -> str:
        """Weeks from one to another, by their Mondays."""
        if first == last:
            return self.week_of(first)
        end = self.week_of(last)
        if first.year == last.year:
            return f"{first.day} {first:%b} to {end}"
        return f"{self.week_of(first)} to {end}"

    def months(self, first: date, last: date) -> str:
        """Months from that of one day to that of another."""
        end = f"{last:%b}{self._of_year(last)}"
        if (first.year, first.month) == (last.year, last.month):
            return end
        year = "" if first.year == last.year else self._of_year(first)
        return f"{first:%b}{year} to {end}"

    def when(self, stage: StageForecast) -> str:
        """When a stage is reached, in weeks; never a due date where there is none."""
        if stage.earliest is not None:
            if stage.earliest <= self.now:
                return f"possible since the week of {self.week(stage.earliest)}"
            return f"earliest week of {self.week(stage.earliest)}"
        if stage.p10 is None or stage.p90 is None:
            begin = stage.p10
            return "not known" if begin is None else f"from {self.week(begin)} on"
        return self._between(stage.p10, stage.p90)

    def likely(self, stage: StageForecast) -> str:
        """The middle of what is expected; "" where that says nothing."""
        if stage.p50 is None or (stage.p90 is not None and stage.p90 <= self.now):
            return ""
        since = "since the " if stage.p50 <= self.now else ""
        return f"most likely {since}week of {self.week(stage.p50)}"

    def _between(self, begin: datetime, end: datetime) -> str:
        first, last = self.monday(begin), self.monday(end)
        if end <= self.now:
            return f"was due by the week of {self.week_of(last)}"
        if begin <= self.now:
            return f"perhaps already, by the week of {self.week_of(last)}"
        low = math.floor((begin - self.now) / WEEK)
        high = math.ceil((end - self.now) / WEEK)
        weeks = f"in {low} to {high} weeks" if low else f"within {_many(high)}"
        week = "week of " if first == last else ""
        return f"{weeks} ({week}{self.span(first, last)})"

    def _of_year(self, day: date) -> str:
        return "" if day.year == self._year else f" {day.year}"


def folded(text: str, indent: str = "", hang: str | None = None) -> Iterator[str]:
    """Lines that fit on a telephone; what goes on stands at *hang*, else further in."""
    line, further = indent, f"{indent}  " if hang is None else hang
    for word in text.split(" "):
        if len(line) + len(word) > WIDTH and line.strip():
            yield line.rstrip()
            line = further
        line += f"{word} "
    yield line.rstrip()


def ids(cohorts: Sequence[int]) -> str:
    """Cohorts by number; of many the first are named and the rest counted."""
    named = ", ".join(map(str, cohorts[:NAMED]))
    more = len(cohorts) - NAMED
    words = "cohort" if len(cohorts) == 1 else "cohorts"
    return f"{words} {named}" + (f" and {more} more" if more > 0 else "")


def where(cohorts: Iterable[Cohort], indent: str) -> str:
    """One line of cohorts by number and place; those that do not fit are counted."""
    found: dict[str, list[str]] = {}
    for cohort in cohorts:
        found.setdefault(cohort.place, []).append(str(cohort.id))
    parts = [f"{', '.join(numbers)} in {place}" for place, numbers in found.items()]
    sizes = [len(numbers) for numbers in found.values()]
    for shown in range(len(parts), 0, -1):
        line = indent + ", ".join(parts[:shown])
        if shown < len(parts):
            line += f" and {sum(sizes[shown:])} more"
        if len(line) <= WIDTH:
            return line
    place = next(iter(found)) if len(found) == 1 else f"{len(found)} places"
    return cut(f"{indent}{sum(sizes)} cohorts in {place}")


def _many(weeks: int) -> str:
    return "a week" if weeks == 1 else f"{weeks} weeks"
