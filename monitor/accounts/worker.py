"""The accounts worker: reads the store, computes what is stale, hands results over."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import Protocol

import msgspec

from monitor.accounts.cache import DayPlan, marked_from, packed, touched_by
from monitor.accounts.degree_days import DayHeat, day_heat, total
from monitor.accounts.feeding import DAY
from monitor.accounts.heat import CohortHeat
from monitor.accounts.instruments import Declared
from monitor.accounts.rounds import Account, Drop, Plans, Round, Work
from monitor.science.degree_days import Times, Values
from monitor.site.house import Cohort, House
from monitor.site.journal import Entry
from monitor.site.species_file import Library
from monitor.site.words import Quantity
from monitor.store.rows import AccountDay, StaleDay, StaleSeries

FOLLOWED = timedelta(days=35)
"""An ended cohort's account is still kept right for so long."""


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


class AccountResults(msgspec.Struct, frozen=True):
    """
    What the recorder must write, in this order, in one transaction.

    Attributes:
        drops: Days to drop first.
        days: Days to set; today, which every round computes anew, is not among them.
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


class AccountsWorker:
    """
    Keeps degree-day accounts right. Never writes; **not** thread-safe.

    Args:
        source: The store, for reading.
        configuration: Gives site, species and checks as they hold now.
    """

    def __init__(
        self, source: AccountSource, configuration: Callable[[], Declared]
    ) -> None:
        self._source, self._configuration = source, configuration
        self._entries: list[Entry] = []
        self._plans: Plans | None = None

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

        Marks are settled by a round that found nothing to change. They are read before
        the readings, and the store takes off none that was set anew meanwhile, so no
        late reading slips through.

        Args:
            now: Nothing is counted beyond it. UTC.
        """
        whole = False
        try:
            yield from self._round(now)
            whole = True
        finally:
            if not whole:
                # what was computed may not have been handed over: ask the store again
                self._plans = None

    def _round(self, now: datetime) -> Iterator[AccountResults]:
        settled = tuple(self._source.stale_days())
        settled_series = tuple(self._source.stale_series())
        plans = self._planned(now)
        found = self._take_stock(plans, settled, settled_series, now)
        if found.drops:
            yield AccountResults(drops=tuple(found.drops), days=tuple(found.kept))
        news = bool(found.drops)
        for work in found.blocks():
            made = tuple(self._compute(work, plans, now))
            if made:
                news = True
                yield AccountResults(days=made)
        heats = tuple(_heats(found.accounts, plans.library, now))
        if news:
            # marks stand until the store is seen to hold what the readings say, so
            # that a write that fails leaves nothing wrong behind
            settled, settled_series = (), ()
        yield AccountResults(
            settled=settled, settled_series=settled_series, heats=heats, finished=True
        )

    def _take_stock(
        self,
        plans: Plans,
        marks: Sequence[StaleDay],
        series_marks: Sequence[StaleSeries],
        now: datetime,
    ) -> Round:
        begun = marked_from(marks)
        touched = touched_by(series_marks, plans.instruments)
        found = Round()
        for cohort in _followed(plans.house, now, begun):
            account = plans.accounts.get(cohort.id)
            if account is None or touched or cohort.id in begun:
                account = plans.accounts[cohort.id] = found.sort(
                    cohort,
                    plans.of(cohort, now),
                    self._source.account_days(cohort.id),
                    touched=touched,
                    begun=begun.get(cohort.id),
                )
            found.take(account)
        return found

    def _planned(self, now: datetime) -> Plans:
        declared = self._configuration()
        last = self._entries[-1].id if self._entries else 0
        self._entries += self._source.entries(after=last)
        held = self._plans
        if (
            held is None
            or held.declared is not declared
            or held.entries != len(self._entries)
        ):
            held = self._plans = Plans(declared, self._entries)
        held.begin(now)
        return held

    def _compute(
        self,
        work: list[Work],
        plans: Plans,
        now: datetime,
    ) -> Iterator[AccountDay]:
        """
        Compute days that lie close together, and note them in their accounts.

        A day that is not complete is computed again in every round, so the store is
        spared it, unless it holds an older one.
        """
        series = self._load([each.plan for each in work], plans)
        # tubs on one shelf with one species share their day: compute it once
        shared: dict[tuple[date, str], DayHeat] = {}
        for account, plan, known in work:
            key = plan.day, plan.fingerprint
            if key not in shared:
                shared[key] = day_heat(
                    plan.day, plan.spans, series, plan.rule, plans.instruments, now=now
                )
            heat = shared[key]
            account.add(plan, heat)
            if heat != known and (heat.complete or known is not None):
                yield packed(plan, heat)

    def _load(
        self, days_of: Sequence[DayPlan], plans: Plans
    ) -> dict[tuple[str, str], tuple[Times, Values]]:
        wanted: dict[tuple[str, Quantity], list[date]] = defaultdict(list)
        for plan in days_of:
            for span in plan.parts:
                for sensor in span.sensors:
                    wanted[sensor, span.quantity].append(plan.day)
        return {
            (sensor, quantity.value): plans.instruments.read(
                self._source.readings,
                sensor,
                quantity,
                datetime.combine(min(days), time(), UTC),
                datetime.combine(max(days), time(), UTC) + DAY,
            )
            for (sensor, quantity), days in wanted.items()
        }


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


def _heats(
    accounts: Iterable[Account], library: Library, now: datetime
) -> Iterator[CohortHeat]:
    for account in accounts:
        cohort = account.cohort
        stage = library.stage(cohort.species, cohort.stage)
        if cohort.ended_at is not None or stage is None or stage.development is None:
            continue
        made = total(
            cohort,
            cohort.stage,
            account.tally,
            stage.development,
            known=account.known,
            now=now,
        )
        if made is not None:
            yield made
