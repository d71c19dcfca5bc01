"""
The recorder: the one thread that steps, writes and only then acknowledges.

Everything that changes anything passes through its cycle: messages, ticks, keepers'
requests, results of sending, accounts, a new configuration.
"""

import logging
import threading
import time
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime, timedelta

from monitor.accounts.heat import CohortHeat
from monitor.accounts.worker import AccountResults
from monitor.chores import ChoreDone, ChoreFailed
from monitor.clock import Clock
from monitor.desk.desk import VERBS, perform
from monitor.desk.view import Health, Outcome, Reply, Request, SetApart, View
from monitor.errors import MonitorError, RefusedError, StoreError
from monitor.heart.events import (
    AlarmChanged,
    Event,
    NotTold,
    Reading,
    Readings,
    Record,
    Refused,
    Signal,
)
from monitor.heart.saving import saved
from monitor.intake.arrival import Arrival, Inbox
from monitor.intake.decode import Decoder
from monitor.intake.sorting import Sorter
from monitor.recorder.batch import Batch
from monitor.recorder.ledger import Ledger
from monitor.recorder.listening import Listening
from monitor.recorder.living import Living
from monitor.recorder.mailbox import Asked, Mailbox, MaybeHere, Reload
from monitor.recorder.signals import Signals
from monitor.recorder.timing import Timing
from monitor.recorder.upkeep import Upkeep
from monitor.recorder.wording import notices_of
from monitor.site.load import Configuration
from monitor.store.rows import NoticeRow, NoticeUpdate

log = logging.getLogger(__name__)

MOST = 400
"""Messages of one commit: under half of the window that we allow the broker."""

ENOUGH = 80
"""So many are committed at once; fewer wait for more. Under a window of 100."""

LINGER_S = 0.2
"""No message waits longer than this for others. [s]"""

IDLE_S = 0.1
"""How long an idle cycle waits for a first message. [s]"""

SAVE_EVERY = timedelta(minutes=1)
"""The state is saved this often, and with every alarm change."""

SHOWN_APART = 10
"""Messages set apart that `now` shows."""

BEHIND = timedelta(hours=1)
"""A clock so far behind the newest reading is wrong (S8)."""


class Recorder:
    """
    Owns the store's connection and the state of the step.

    Args:
        living: What is true at the start.
        ledger: The hand on the store.
        inbox: Where messages arrive.
        intake: Acknowledges them.
        clock: Tells the time.
        latest: The newest stored reading of each series; kept up to date.
        beat: Called once a cycle.
        wake_sender: Called when a notice was stored.
        counted: What the intake counts, by name, for `now`.
    """

    def __init__(
        self,
        *,
        living: Living,
        ledger: Ledger,
        inbox: Inbox,
        intake: Listening,
        clock: Clock,
        latest: dict[tuple[str, str], Reading],
        beat: Callable[[], None] = lambda: None,
        wake_sender: Callable[[], None] = lambda: None,
        counted: Callable[[], Mapping[str, int]] = dict,
    ) -> None:
        self._living, self._ledger = living, ledger
        self._inbox, self._intake, self._clock = inbox, intake, clock
        self._latest = latest
        self._heat: dict[int, CohortHeat] = {}
        self._beat, self._wake_sender, self._counted = beat, wake_sender, counted
        self._mail, self._timing = Mailbox(), Timing(clock)
        self._upkeep = Upkeep(ledger.writer)
        self.signals = Signals(ledger, standing=living.state.core.signals)
        self._sorter = Sorter(
            Decoder(living.configuration.site.sensors),
            {sensor: r.value for (sensor, _), r in latest.items()},
        )
        self._was_draining = True
        self._saved_at = clock.now()
        self._counters: dict[str, int] = {}
        self._set_apart: deque[SetApart] = deque(maxlen=SHOWN_APART)

    # Called by other threads

    def ask(self, request: Request) -> Reply:
        """Let the recorder answer a request; bounded in time."""
        return self._mail.ask(request)

    def report(self, update: NoticeUpdate) -> None:
        """Take what became of a notice."""
        self._mail.put(update)

    def take_accounts(self, results: AccountResults) -> None:
        """Take recomputed accounts."""
        self._mail.put(results)

    def take_chore(self, chore: ChoreDone | ChoreFailed) -> None:
        """Take what a chore brought."""
        self._mail.put(chore)

    def reload(self, configuration: Configuration) -> None:
        """Go by another configuration from the next cycle on."""
        self._mail.put(Reload(configuration))

    def take_perhaps(self, stages: Mapping[int, tuple[str, ...]]) -> None:
        """Take which cohorts may be in a stage that nobody sees."""
        self._mail.put(MaybeHere(stages))

    def unsent(self) -> list[NoticeRow]:
        """Notices that only memory holds while the store cannot write."""
        return self._ledger.unsent()

    @property
    def living(self) -> Living:
        """What is true now; a value, safe to read from any thread."""
        return self._living

    # The loop

    def run(self, stop: threading.Event) -> None:
        """Cycle until *stop*; then store what is left."""
        while not stop.is_set():
            self.cycle(self._gather())
            self._upkeep.look(self._clock.now())
            self._beat()
        self.finish()

    def finish(self) -> None:
        """Store the state as it is, before the end."""
        batch = Batch(self._clock.now(), states=saved(self._living.state))
        self._ledger.commit(batch)

    def _gather(self) -> list[Arrival]:
        """Messages for one commit: many at once, or what came within the linger."""
        wait = IDLE_S if self._mail.empty else 0.0
        found = self._inbox.take(MOST, wait)
        if not found or len(found) >= ENOUGH:
            return found
        until = time.monotonic() + LINGER_S
        while len(found) < ENOUGH and self._mail.empty:
            left = until - time.monotonic()
            if left <= 0:
                break
            found += self._inbox.take(MOST - len(found), left)
        return found

    def cycle(self, arrivals: Sequence[Arrival]) -> None:
        """One round: sort, step, commit, acknowledge, answer."""
        now = self._clock.now()
        batch = Batch(now)
        events: list[Event] = self._timing.events(now)
        self._sort(arrivals, batch, now)
        asked = self._take_mail(batch, events, now)
        events += self.signals.due(now)
        if batch.readings:
            events.append(Readings(now, tuple(batch.readings)))
        if self._held(now, events):
            events = [e for e in events if isinstance(e, Signal)]
        self._happen(events, batch)
        self._commit(batch, now)
        # acknowledged even where the store failed: that loss is counted and told
        self._intake.acknowledge(arrivals)
        self._remember(batch)
        for message in asked:
            self._attend(message, now)

    def _sort(self, arrivals: Sequence[Arrival], batch: Batch, now: datetime) -> None:
        draining = self._intake.draining
        if arrivals:
            found = self._sorter.sort(arrivals, draining=draining)
            batch.readings += found.readings
            batch.rejected += found.rejected
            self._count("retained_untimed", found.retained_untimed)
            self._count("untimed_repeat", found.untimed_repeat)
            self.signals.refused(len(found.rejected) - len(found.waiting), now)
        if draining:
            self._intake.note_empty(now)
            draining = self._intake.draining
        if self._was_draining and not draining:
            batch.promoted += self._sorter.drained()
            batch.readings += [p.reading for p in batch.promoted]
        self._was_draining = draining

    def _held(self, now: datetime, events: list[Event]) -> bool:
        """Whether the clock is so wrong that no alarm may change (S8)."""
        newest = max((r.time for r in self._latest.values()), default=now)
        behind = newest - now > BEHIND
        events += self.signals.clock_behind(newest, now, behind=behind)
        return behind

    def _happen(self, events: list[Event], batch: Batch) -> None:
        self._living, records = self._living.stepped(events)
        batch.records += records
        batch.notices += notices_of(self._living, records)

    def _commit(self, batch: Batch, now: datetime) -> None:
        changed = any(isinstance(r, AlarmChanged) for r in batch.records)
        if changed or now - self._saved_at >= SAVE_EVERY:
            batch.states = saved(self._living.state)
            self._saved_at = now
        if batch.empty:
            return
        stored = self._ledger.commit(batch)
        if stored:
            self._sorter.stored(batch.readings)
        if batch.notices:
            self._wake_sender()

    def _remember(self, batch: Batch) -> None:
        for reading in batch.readings:
            key = (reading.sensor, reading.quantity)
            known = self._latest.get(key)
            if known is None or reading.time > known.time:
                self._latest[key] = reading
        promoted = {(p.was.topic, p.was.at) for p in batch.promoted}
        if promoted:
            apart = [a for a in self._set_apart if (a.topic, a.at) not in promoted]
            self._set_apart = deque(apart, SHOWN_APART)
        for refused in batch.rejected[-SHOWN_APART:]:
            self._set_apart.appendleft(
                SetApart(refused.at, refused.topic, refused.reason)
            )
        for results in batch.accounts:
            if results.finished:
                self._heat = {heat.cohort: heat for heat in results.heats}

    # Mail from other threads

    def _take_mail(
        self, batch: Batch, events: list[Event], now: datetime
    ) -> list[Asked | Reload | MaybeHere]:
        later: list[Asked | Reload | MaybeHere] = []
        for message in self._mail.take():
            match message:
                case NoticeUpdate():
                    batch.updates.append(message)
                    self._sent_or_not(message, events, now)
                case AccountResults():
                    batch.accounts.append(message)
                case ChoreDone():
                    batch.chores.append(message)
                    batch.notices += message.notices
                case ChoreFailed(signal):
                    events.append(signal)
                case _:
                    later.append(message)
        self._ledger.take_updates(batch.updates)
        return later

    def _sent_or_not(
        self, update: NoticeUpdate, events: list[Event], now: datetime
    ) -> None:
        if update.state == "failed":
            row = self._ledger.notice(update.id)
            if row is not None:
                events.append(NotTold(now, row.keeper, row.alarms))
        events += self.signals.sending(update, now)

    def _attend(self, message: Asked | Reload | MaybeHere, now: datetime) -> None:
        if isinstance(message, Reload):
            self._reconfigure(message.configuration, now)
        elif isinstance(message, MaybeHere):
            self._foresee(message, now)
        else:
            message.reply.set_result(self.serve(message.request, now))

    def serve(self, request: Request, now: datetime) -> Reply:
        """Answer a request; for the recorder's own thread, see `ask`."""
        try:
            return Reply(ok=True, result=self._carry_out(request, now))
        except MonitorError as error:
            return Reply(ok=False, error=str(error), exit=error.exit_code)
        except Exception as error:
            # one request must never end the recorder
            log.exception("request failed", extra={"do": request.do})
            return Reply(ok=False, error=f"internal error: {error!r}", exit=70)

    def _carry_out(self, request: Request, now: datetime) -> dict[str, object]:
        outcome = perform(request, self._view(now))
        verb = VERBS.get(request.do)
        if verb is not None and not verb.changes:
            return outcome.result
        batch = Batch(now, entries=outcome.entries, readings=list(outcome.readings))
        living, records = self._changed(outcome, now)
        batch.records += records
        batch.notices += notices_of(living, records)
        refused = [r for r in records if isinstance(r, Refused)]
        if refused:
            raise RefusedError(refused[0].reason)
        batch.states = saved(living.state)
        try:
            self._ledger.store_whole(batch)
        except StoreError as error:
            raise StoreError(f"nothing was changed: {error}") from error
        self._living = living
        self._remember(batch)
        if batch.notices:
            self._wake_sender()
        return outcome.result

    def _changed(
        self, outcome: Outcome, now: datetime
    ) -> tuple[Living, tuple[Record, ...]]:
        living = self._living
        records: tuple[Record, ...] = ()
        if outcome.entries:
            living, records = living.with_entries(outcome.entries, now)
        events: list[Event] = list(outcome.answers)
        if outcome.readings:
            events.append(Readings(now, outcome.readings))
        living, more = living.stepped(events)
        return living, (*records, *more)

    def _reconfigure(self, configuration: Configuration, now: datetime) -> None:
        batch = Batch(now)
        self._living, records = self._living.with_configuration(configuration, now)
        self._sorter.decoder = Decoder(configuration.site.sensors)
        batch.records += records
        batch.notices += notices_of(self._living, records)
        batch.states = saved(self._living.state)
        batch.configuration = configuration
        self._ledger.commit(batch)
        log.info("configuration in force", extra={"hash": configuration.hash})

    def _foresee(self, message: MaybeHere, now: datetime) -> None:
        if message.stages == self._living.perhaps:
            return
        batch = Batch(now)
        self._living, records = self._living.with_perhaps(message.stages, now)
        batch.records += records
        batch.notices += notices_of(self._living, records)
        self._commit(batch, now)

    def _view(self, now: datetime) -> View:
        return self._living.view(
            now, latest=self._latest, heat=self._heat, health=self.health()
        )

    def _count(self, name: str, by: int) -> None:
        if by:
            self._counters[name] = self._counters.get(name, 0) + by

    def health(self) -> Health:
        """How the daemon is."""
        ledger = self._ledger
        state = "running"
        if ledger.failing:
            state = "store failing"
        elif "clock-behind" in self._living.state.core.signals:
            state = "clock behind"
        counters = {
            **self._counters,
            **self._counted(),
            "lost": ledger.lost,
            "inbox_refused": self._inbox.refused,
        }
        return Health(
            state,
            len(self._inbox),
            ledger.quarantined,
            ledger.committed,
            ledger.committed_at,
            counters,
            tuple(self._set_apart),
        )
