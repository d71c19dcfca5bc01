"""Committing, and what is done when a commit fails: the only loss, and it is told."""

import logging
from collections import deque
from datetime import datetime

import msgspec

from monitor.accounts.worker import AccountResults
from monitor.alarms.perhaps import PerhapsSince
from monitor.errors import StoreError
from monitor.heart.events import AlarmChanged, Record
from monitor.heart.state import STATE_VERSION
from monitor.logs import Counted
from monitor.recorder.batch import Batch
from monitor.store.disk import disk_share_free
from monitor.store.queries import Queries
from monitor.store.rows import NoticeRow, NoticeUpdate
from monitor.store.writer import Writer

log = logging.getLogger(__name__)
replace = msgspec.structs.replace

MOST_UNSAVED = 5_000
"""Records kept in memory while the store cannot write."""

MOST_UNSENT = 200
"""Notices kept in memory while the store cannot write."""


class Ledger:
    """
    The recorder's hand on the store.

    Attributes:
        committed: Readings stored since the start.
        committed_at: Instant of the last commit.
        lost: Readings that could not be stored.
        failing: Why the store cannot write; "" while it can.
    """

    def __init__(self, writer: Writer) -> None:
        self.writer = writer
        self.committed = 0
        self.committed_at: datetime | None = None
        self.lost = 0
        self.failing = ""
        self._failures = Counted(log)
        self._unsaved: deque[Record] = deque(maxlen=MOST_UNSAVED)
        self._unsent: dict[int, NoticeRow] = {}
        self._next_unsent = -1
        self._held: dict[tuple[str, datetime], int] = {}
        self._saved: dict[str, bytes] = {}
        self._quarantined = 0

    def commit(self, batch: Batch) -> bool:
        """
        Store a batch in one transaction.

        If the disk is full the ballast is freed and the commit tried once more. If
        that fails too, readings are counted as lost, alarm changes and notices stay
        in memory, and `failing` says why.

        Returns:
            Whether it was stored.
        """
        try:
            self._write(batch)
        except StoreError as error:
            self._failures.again("commit failed", reason=str(error))
            if not self._second_try(batch):
                return False
        if self.failing:
            self._failures.over("commit failed", lost=self.lost)
            self.failing = ""
            self.writer.restore_ballast()
        return True

    def _second_try(self, batch: Batch) -> bool:
        try:
            self.writer.free_ballast()
            self._write(batch)
        except StoreError as error:
            self._lose(batch, str(error))
            return False
        return True

    def store_whole(self, batch: Batch) -> None:
        """
        Store a batch that a keeper waits for, whole or not at all.

        Raises:
            StoreError: If it could not be stored.
        """
        self._write(batch)

    def _write(self, batch: Batch) -> None:
        writer = self.writer
        fresh: list[bool] = []
        with writer.transaction():
            if batch.readings:
                fresh = writer.add_readings(batch.readings, now=batch.at)
            if batch.entries:
                writer.add_entries(batch.entries)
            held = self._quarantine(batch)
            self._write_records(batch)
            self._write_notices(batch)
            for results in batch.accounts:
                self._write_accounts(results)
            for chore in batch.chores:
                writer.mark_done(chore.key, batch.at, chore.detail)
            if batch.configuration is not None:
                files = msgspec.json.encode(batch.configuration.text).decode()
                writer.add_configuration(batch.configuration.hash, batch.at, files)
            if batch.states is not None:
                self._write_states(batch.states)
        # only what is committed is taken over
        self._held = held
        self._unsaved.clear()
        self._unsent.clear()
        if batch.states is not None:
            self._saved = batch.states
        self._quarantined += len(batch.rejected) - len(batch.promoted)
        self.committed += sum(fresh)
        self.committed_at = batch.at

    def _write_records(self, batch: Batch) -> None:
        for record in (*self._unsaved, *batch.records):
            if isinstance(record, AlarmChanged):
                self.writer.save_alarm(
                    record.alarm, record.event, record.at, record.by, record.note
                )
            elif isinstance(record, PerhapsSince):
                self.writer.take_perhaps(record)

    def _write_notices(self, batch: Batch) -> None:
        waiting = [row for row in self._unsent.values() if row.state == "waiting"]
        if waiting or batch.notices:
            self.writer.add_notices([*waiting, *batch.notices])
        for update in batch.updates:
            if update.id > 0:
                self.writer.update_notice(update)

    def _write_accounts(self, results: AccountResults) -> None:
        for drop in results.drops:
            self.writer.drop_account_days(drop.cohort, drop.from_day)
        if results.days or results.settled:
            self.writer.save_account_days(results.days, settled=results.settled)
        if results.settled_series:
            self.writer.clear_stale_series(results.settled_series)

    def _quarantine(self, batch: Batch) -> dict[tuple[str, datetime], int]:
        held = dict(self._held)
        if batch.rejected:
            ids = self.writer.quarantine(batch.rejected)
            held |= {
                (r.topic, r.at): i for r, i in zip(batch.rejected, ids, strict=True)
            }
        if batch.promoted:
            gone = [held.pop((p.was.topic, p.was.at), None) for p in batch.promoted]
            self.writer.unquarantine([i for i in gone if i is not None])
            held = {}
        # messages that wait are few: one a series, until the queue is through
        return dict(list(held.items())[-2000:])

    def _write_states(self, states: dict[str, bytes]) -> None:
        changed = {
            key: (STATE_VERSION, body)
            for key, body in states.items()
            if self._saved.get(key) != body
        }
        if changed:
            self.writer.save_states(changed)
        gone = self._saved.keys() - states.keys()
        if gone:
            self.writer.delete_states(sorted(gone))

    def adopt(self, queries: Queries) -> None:
        """Learn what the store holds already, at the start."""
        self._saved = {key: body for key, (_, body) in queries.states().items()}
        self._quarantined = queries.counters().get("quarantined", 0)

    @property
    def quarantined(self) -> int:
        """How many messages were set apart since the store was made."""
        return self._quarantined

    def disk_share_free(self) -> float:
        """Free share of the disk of the store, a fraction."""
        return disk_share_free(self.writer.directory)

    def notice(self, number: int) -> NoticeRow | None:
        """A notice of the outbox, or one that only memory holds."""
        if number < 0:
            return self._unsent.get(number)
        try:
            return self.writer.reader().notice(number)
        except StoreError:
            return None

    def _lose(self, batch: Batch, reason: str) -> None:
        self.failing = reason
        self.lost += len(batch.readings)
        self._unsaved.extend(batch.records)
        for update in batch.updates:
            self._update_unsent(update)
        for notice in batch.notices:
            if len(self._unsent) >= MOST_UNSENT:
                # the oldest goes: the newest says how it stands now
                self._unsent.pop(max(self._unsent))
            row = NoticeRow(id=self._next_unsent, **msgspec.structs.asdict(notice))
            self._unsent[row.id] = row
            self._next_unsent -= 1

    def _update_unsent(self, update: NoticeUpdate) -> None:
        row = self._unsent.get(update.id)
        if row is None:
            return
        if update.state != "waiting":
            del self._unsent[update.id]
            return
        changes = msgspec.structs.asdict(update)
        self._unsent[update.id] = replace(row, **changes)

    def take_updates(self, updates: list[NoticeUpdate]) -> None:
        """Let what was sent from memory be known before it would be stored."""
        for update in updates:
            self._update_unsent(update)

    def unsent(self) -> list[NoticeRow]:
        """Notices that only memory holds."""
        return list(self._unsent.values())
