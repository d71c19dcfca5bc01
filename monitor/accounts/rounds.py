"""A round of the accounts worker: what holds, and what there is to compute."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import NamedTuple

import msgspec

from monitor.accounts.bounded import Bounded
from monitor.accounts.cache import (
    DayPlan,
    Key,
    obsolete_from,
    packed,
    plan_cohort,
    stale,
    unpacked,
)
from monitor.accounts.degree_days import DayHeat, Tally
from monitor.accounts.instruments import Declared, Instruments
from monitor.site.house import Cohort, fold
from monitor.site.journal import Entry
from monitor.store.rows import AccountDay

BLOCK = timedelta(days=8)
"""So many days of readings are in memory at once."""


class Drop(msgspec.Struct, frozen=True):
    """Cached days of a cohort from a day on no longer hold."""

    cohort: int
    from_day: date


class Work(NamedTuple):
    """A day to compute; *known* is what the store holds of it, wrong or incomplete."""

    account: "Account"
    plan: DayPlan
    known: DayHeat | None


class Account:
    """
    A cohort's days: those to compute, and the sums of its present stage.

    Complete days are added up once and kept as a sum, since a full house has
    thousands of them and only the last is still growing. What is known is of the
    days in all its stages: it tells how cold and warm each of its places can be.
    """

    def __init__(self, cohort: Cohort) -> None:
        self.cohort = cohort
        self.open: dict[Key, Work] = {}
        self.closed, self.closed_known = Tally(), Bounded()
        self.tally, self.known = Tally(), Bounded()

    def begin(self) -> None:
        """Count from the closed days on, in a new round."""
        self.tally = self.closed.copy()
        self.known = self.closed_known.copy()

    def hold(self, stage: str, heat: DayHeat) -> None:
        """Count a day that is complete, for this round and those to come."""
        self.closed_known.add(heat)
        if stage == self.cohort.stage:
            self.closed.add(heat)

    def add(self, plan: DayPlan, heat: DayHeat) -> None:
        """Count a day that was computed in this round."""
        self.known.add(heat)
        if plan.stage == self.cohort.stage:
            self.tally.add(heat)
        if heat.complete:
            del self.open[plan.stage, plan.day]
            self.hold(plan.stage, heat)
        elif (work := self.open[plan.stage, plan.day]).known is not None:
            self.open[plan.stage, plan.day] = work._replace(known=heat)


class Plans:
    """All that holds while journal, configuration and date do."""

    def __init__(self, declared: Declared, entries: Sequence[Entry]) -> None:
        self.declared, self.entries = declared, len(entries)
        self.library = declared.library
        self.house = fold(declared.site, entries)
        self.instruments = Instruments(declared.site, entries, declared.checks)
        self.accounts: dict[int, Account] = {}
        self._day: date | None = None
        self._of: dict[int, dict[Key, DayPlan]] = {}

    def begin(self, now: datetime) -> None:
        """Forget what held on another day."""
        if self._day != now.date():
            self._day, self._of, self.accounts = now.date(), {}, {}

    def of(self, cohort: Cohort, now: datetime) -> dict[Key, DayPlan]:
        """All days of a cohort."""
        if cohort.id not in self._of:
            self._of[cohort.id] = plan_cohort(
                self.house,
                cohort,
                self.library,
                self.instruments,
                now=now,
            )
        return self._of[cohort.id]


class Round:
    """What one round found to do."""

    def __init__(self) -> None:
        self.accounts: list[Account] = []
        self.todo: dict[date, list[Work]] = defaultdict(list)
        self.drops: list[Drop] = []
        self.kept: list[AccountDay] = []

    def take(self, account: Account) -> None:
        """Take up what a cohort has to compute."""
        account.begin()
        self.accounts.append(account)
        for key, work in account.open.items():
            self.todo[key[1]].append(work)

    def sort(
        self,
        cohort: Cohort,
        days: Mapping[Key, DayPlan],
        rows: Sequence[AccountDay],
        *,
        touched: frozenset[tuple[str, str, date]],
        begun: date | None,
    ) -> Account:
        """Sort a cohort's days into those that hold and those to compute."""
        known, foreign = unpacked(rows)
        again = stale(days, known, touched=touched, marked_from=begun)
        account = Account(cohort)
        for key in sorted(days.keys() - again):
            account.hold(key[0], known[key])
        account.open = {
            key: Work(account, days[key], known.get(key)) for key in sorted(again)
        }
        drop = date.min if foreign else obsolete_from(days, known)
        if drop is not None:
            # dropping takes later days of every stage along: set them again
            self.drops.append(Drop(cohort.id, drop))
            self.kept += [
                packed(days[key], known[key])
                for key in sorted(days.keys() - again)
                if key[1] >= drop
            ]
        return account

    def blocks(self) -> Iterator[list[Work]]:
        """Give the work in portions of days that lie close together."""
        begin: date | None = None
        block: list[Work] = []
        for day in sorted(self.todo):
            if begin is not None and day - begin >= BLOCK:
                yield block
                begin, block = None, []
            begin = begin or day
            block += self.todo.pop(day)
        if block:
            yield block
