"""The accounts worker: reads the store, computes what is stale, hands results over."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import Protocol

import msgspec

from monitor.accounts.cache import (
    DayPlan,
    Key,
    marked_from,
    obsolete_from,
    packed,
    plan_cohort,
    stale,
    touched_by,
    unpacked,
)
from monitor.accounts.degree_days import (
    DAY,
    DayHeat,
    Tally,
    day_heat,
    longest_gap,
    total,
)
from monitor.accounts.heat import CohortHeat
from monitor.science.degree_days import Times, Values
from monitor.site.house import Cohort, House, fold
from monitor.site.journal import Entry
from monitor.site.site_file import Site
from monitor.site.species_file import Library
from monitor.store.rows import AccountDay, StaleDay, StaleSeries

FOLLOWED = timedelta(days=35)
"""An ended cohort's account is still kept right for so long."""

BLOCK = timedelta(days=8)
"""So many days of readings are in memory at once."""


class AccountSource(Protocol):
    """What the worker asks of the store; `monitor.store.reader.Reader` answers."""

    def entries(self, *, after: int = 0) -> Sequence[Entry]:
        """The journal in order of entering, from the row after *after*."""

    def readings(
        self, sensor: str, quantity: str, start: datetime, end: datetime
    ) -> tuple[Times, Values]:
        """Readings from *start* to before *end*: times [us], strictly rising."""

    def account_days(self, cohort: int) -> Sequence[AccountDay]:
        """The cached account of a cohort."""

    def stale_days(self) -> Sequence[StaleDay]:
        """From which days on accounts must be made anew."""

    def stale_series(self) -> Sequence[StaleSeries]:
        """Days of series that got readings after they were over."""


class Stop(Protocol):
    """A `threading.Event` that ends the worker."""

    def is_set(self) -> bool:
        """Whether to end."""

    def wait(self, timeout: float) -> bool:
        """Wait for the end, at most so many seconds."""


class Drop(msgspec.Struct, frozen=True):
    """Cached days of a cohort from a day on no longer hold."""

    cohort: int
    from_day: date


class AccountResults(msgspec.Struct, frozen=True):
    """
    What the recorder must write, in this order, in one transaction.

    Attributes:
        drops: Days to drop first.
        days: Days to set.
        settled: Marks on cohorts that are done with.
        settled_series: Marks on series that are done with.
        heats: The accounts of all living cohorts, in the last batch of a round;
            not for the store.
        finished: Whether this batch is the last of its round.
    """

    drops: tuple[Drop, ...] = ()
    days: tuple[AccountDay, ...] = ()
    settled: tuple[StaleDay, ...] = ()
    settled_series: tuple[StaleSeries, ...] = ()
    heats: tuple[CohortHeat, ...] = ()
    finished: bool = False

    @property
    def writes(self) -> bool:
        """Whether there is anything for the store."""
        return bool(self.drops or self.days or self.settled or self.settled_series)


class _Account:
    """A living cohort's present stage in one round, as far as its days are known."""

    def __init__(self, cohort: Cohort) -> None:
        self.cohort = cohort
        self.tally = Tally()

    def add(self, stage: str, heat: DayHeat) -> None:
        """Count a day if it is one of the present stage."""
        if stage == self.cohort.stage:
            self.tally.add(heat)


class _Plans:
    """Every cohort's days; they hold while journal, configuration and day do."""

    def __init__(self, site: Site, library: Library, entries: int, day: date) -> None:
        self.holds_for = (site, library, entries, day)
        self.house = House({}, {}, {}, {})
        self.of: dict[int, dict[Key, DayPlan]] = {}


class AccountsWorker:
    """
    Keeps degree-day accounts right. Never writes; **not** thread-safe.

    Args:
        source: The store, for reading.
        configuration: Gives site and species as they hold now.
    """

    def __init__(
        self,
        source: AccountSource,
        configuration: Callable[[], tuple[Site, Library]],
    ) -> None:
        self._source, self._configuration = source, configuration
        self._entries: list[Entry] = []
        self._plans: _Plans | None = None

    def run(
        self,
        stop: Stop,
        hand_over: Callable[[AccountResults], None],
        *,
        now: Callable[[], datetime],
        pause_s: float,
        beat: Callable[[], None] = lambda: None,
    ) -> None:
        """
        Work in rounds until *stop*; for a thread of the service.

        Args:
            stop: Ends it, within a batch.
            hand_over: Takes each batch; the recorder writes it.
            now: The instant of a round. UTC.
            pause_s: Rest between rounds. [s]
            beat: Called at every batch, to show that the thread lives.
        """
        while not stop.is_set():
            for batch in self.batches(now()):
                beat()
                hand_over(batch)
                if stop.is_set():
                    return
            beat()
            stop.wait(pause_s)

    def run_once(self, now: datetime) -> AccountResults:
        """Work one round and give all its batches as one."""
        batches = list(self.batches(now))
        return AccountResults(
            drops=tuple(d for b in batches for d in b.drops),
            days=tuple(d for b in batches for d in b.days),
            settled=batches[-1].settled,
            settled_series=batches[-1].settled_series,
            heats=batches[-1].heats,
            finished=True,
        )

    def batches(self, now: datetime) -> Iterator[AccountResults]:
        """
        Work one round, batch by batch, so that no write grows large.

        Marks are settled in the last batch only: whoever stops before it finds them
        again. They are read before the readings, and the store takes off none that
        was set anew meanwhile, so no late reading slips through.

        Args:
            now: Nothing is counted beyond it. UTC.
        """
        settled = tuple(self._source.stale_days())
        settled_series = tuple(self._source.stale_series())
        site, library = self._configuration()
        gap = longest_gap(site)
        plans = self._planned(site, library, now)
        begun, touched = marked_from(settled), touched_by(settled_series, gap)
        accounts: list[_Account] = []
        todo: dict[date, list[tuple[_Account, DayPlan]]] = defaultdict(list)
        drops: list[Drop] = []
        kept: list[AccountDay] = []
        for cohort in _followed(plans.house, now, begun):
            if cohort.id not in plans.of:
                plans.of[cohort.id] = plan_cohort(
                    plans.house, cohort, library, gap, now=now
                )
            days = plans.of[cohort.id]
            known, foreign = unpacked(self._source.account_days(cohort.id))
            again = stale(
                days, known, touched=touched, marked_from=begun.get(cohort.id)
            )
            account = _Account(cohort)
            accounts.append(account)
            for key in days.keys() - again:
                account.add(key[0], known[key])
            for key in again:
                todo[key[1]].append((account, days[key]))
            drop = date.min if foreign else obsolete_from(days, known)
            if drop is not None:
                # dropping takes later days of every stage along: set them again
                drops.append(Drop(cohort.id, drop))
                kept += [
                    packed(days[key], known[key])
                    for key in days.keys() - again
                    if key[1] >= drop
                ]
        if drops:
            yield AccountResults(drops=tuple(drops), days=tuple(kept))
        for block in _blocks(sorted(todo)):
            work = [pair for day in block for pair in todo.pop(day)]
            yield AccountResults(days=tuple(self._compute(work, gap, now)))
        heats = tuple(_heats(accounts, library, now))
        yield AccountResults(
            settled=settled, settled_series=settled_series, heats=heats, finished=True
        )

    def _planned(self, site: Site, library: Library, now: datetime) -> _Plans:
        last = self._entries[-1].id if self._entries else 0
        self._entries += self._source.entries(after=last)
        fresh = _Plans(site, library, len(self._entries), now.date())
        old = self._plans
        if old is not None and all(
            a is b for a, b in zip(old.holds_for[:2], fresh.holds_for[:2], strict=True)
        ):
            if old.holds_for[2:] == fresh.holds_for[2:]:
                return old
            if old.holds_for[2] == fresh.holds_for[2]:
                fresh.house = old.house
        if not fresh.house.places:
            fresh.house = fold(site, self._entries)
        self._plans = fresh
        return fresh

    def _compute(
        self,
        work: list[tuple[_Account, DayPlan]],
        gap: Callable[[str], timedelta],
        now: datetime,
    ) -> Iterator[AccountDay]:
        """Compute days that lie close together, and note them in their accounts."""
        series = self._load([plan for _, plan in work], gap)
        # tubs on one shelf with one species share their day: compute it once
        shared: dict[tuple[date, str], DayHeat] = {}
        for account, plan in work:
            key = plan.day, plan.fingerprint
            if key not in shared:
                shared[key] = day_heat(
                    plan.day, plan.spans, series, plan.rule, gap, now=now
                )
            account.add(plan.stage, shared[key])
            yield packed(plan, shared[key])

    def _load(
        self, plans: Sequence[DayPlan], gap: Callable[[str], timedelta]
    ) -> dict[tuple[str, str], tuple[Times, Values]]:
        wanted: dict[tuple[str, str], list[date]] = defaultdict(list)
        for plan in plans:
            for span in plan.parts:
                for sensor in span.sensors:
                    wanted[sensor, span.quantity.value].append(plan.day)
        found: dict[tuple[str, str], tuple[Times, Values]] = {}
        for (sensor, quantity), days in wanted.items():
            reach = gap(sensor)
            begin = datetime.combine(min(days), time(), UTC) - reach
            end = datetime.combine(max(days), time(), UTC) + DAY + reach
            found[sensor, quantity] = self._source.readings(
                # the reading exactly one gap after the day still closes its pair
                sensor,
                quantity,
                begin,
                end + timedelta(microseconds=1),
            )
        return found


def _followed(
    house: House, now: datetime, marked: Mapping[int, date]
) -> Iterable[Cohort]:
    return (
        cohort
        for cohort in house.cohorts.values()
        if cohort.ended_at is None
        or cohort.ended_at > now - FOLLOWED
        or cohort.id in marked
    )


def _blocks(days: Sequence[date]) -> Iterator[list[date]]:
    block: list[date] = []
    for day in days:
        if block and day - block[0] >= BLOCK:
            yield block
            block = []
        block.append(day)
    if block:
        yield block


def _heats(
    accounts: Iterable[_Account], library: Library, now: datetime
) -> Iterator[CohortHeat]:
    for account in accounts:
        cohort = account.cohort
        stage = library.stage(cohort.species, cohort.stage)
        if cohort.ended_at is not None or stage is None or stage.development is None:
            continue
        made = total(cohort, cohort.stage, account.tally, stage.development, now=now)
        if made is not None:
            yield made
