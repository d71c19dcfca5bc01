"""The one writer of a store: the recorder's."""

import logging
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager, nullcontext
from datetime import date, datetime
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np

from monitor.alarms.alarm import Alarm
from monitor.alarms.perhaps import PerhapsSince
from monitor.clock import to_us
from monitor.errors import StoreError
from monitor.heart.events import Reading
from monitor.site.journal import Entry
from monitor.store import disk, sealing
from monitor.store.connection import (
    FILE,
    WAIT_S,
    in_our_words,
    sqlite_in_wal_reset_range,
    translated,
)
from monitor.store.days import day_of
from monitor.store.hot import HotLog
from monitor.store.lock import WriterLock
from monitor.store.piece import Times, Values
from monitor.store.queries import Queries
from monitor.store.records import Records
from monitor.store.rescue import open_sound
from monitor.store.rows import (
    AccountDay,
    Checkpoint,
    NewNotice,
    NoticeUpdate,
    Refusable,
    StaleDay,
    StaleSeries,
)

WAL_LIMIT = 64 * 1024 * 1024
"""A write-ahead log above this is worth a warning (Q4). [bytes]"""

log = logging.getLogger(__name__)


class Writer:
    """
    Changes the store, inside `transaction` alone. **Not** thread-safe: one thread.

    Attributes:
        directory: Of the store.
        mishap: What had become of the store when it was opened, in the keeper's
            words; None if nothing had.
    """

    def __init__(
        self,
        directory: Path,
        lock: WriterLock,
        connection: sqlite3.Connection,
        mishap: str | None,
    ) -> None:
        self.directory, self.mishap = directory, mishap
        self._path = directory / FILE
        self._lock, self._connection = lock, connection
        self._records = Records(connection)
        self._hot = HotLog(connection, self._path)
        self._within = False
        self._failed: sqlite3.Error | None = None

    @classmethod
    def open(cls, directory: Path, *, now: datetime) -> "Writer":
        """
        Take the writer's lock and open the store, making it where there is none.

        A damaged store is moved aside, and the newest good backup put in its place;
        `mishap` tells.

        Raises:
            StoreBusyError: If another process writes this store.
            StoreError: If the directory cannot be written or the store is of a newer
                program.
        """
        lock = WriterLock(directory)
        try:
            connection, mishap = open_sound(directory, now)
            try:
                with translated(directory / FILE):
                    writer = cls(directory, lock, connection, mishap)
            except BaseException:
                connection.close()
                raise
        except BaseException:
            lock.release()
            raise
        writer.restore_ballast()
        version = sqlite3.sqlite_version
        log.info(
            "store opened sqlite=%s reset_bug=%s",
            version,
            "in range, one writer only" if sqlite_in_wal_reset_range(version) else "no",
        )
        return writer

    def close(self) -> None:
        """End the connection and give the lock back; a second time does nothing."""
        with translated(self._path):
            self._connection.close()
        self._lock.release()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        exc: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """
        Do everything in the block or nothing of it.

        Raises:
            StoreFullError: If the disk has no room for it.
            StoreError: If the store cannot do it, or a statement in the block failed
                and its error was swallowed.
        """
        if self._within:
            raise RuntimeError("a transaction of the store is open already")
        with translated(self._path):
            self._connection.execute("BEGIN IMMEDIATE")
            self._within, self._failed = True, None
            self._hot.begin()
            try:
                yield
                self._commit()
            except BaseException:
                self._hot.roll_back()
                # a full disk may have ended the transaction already
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
                raise
            finally:
                self._within = False

    def _commit(self) -> None:
        if self._failed is not None:
            raise self._failed
        self._connection.execute("COMMIT")

    @contextmanager
    def _inside(self) -> Iterator[Records]:
        """Statements of an open transaction; a failed one dooms the transaction."""
        if not self._within:
            raise RuntimeError("the store is written inside transaction() only")
        try:
            yield self._records
        except sqlite3.Error as exc:
            self._failed = exc
            raise in_our_words(self._path, exc) from exc

    def _own_transaction(self) -> AbstractContextManager[None]:
        return nullcontext() if self._within else self.transaction()

    def add_readings(self, readings: Iterable[Reading], *, now: datetime) -> list[bool]:
        """
        Append readings that are new; a day that was over by *now* is marked stale.

        Returns:
            For each reading whether it was new; False for a repeat of a sensor,
            quantity and time, whose first value stays.
        """
        with self._inside():
            return self._hot.add(readings, now)

    def add_entries(self, entries: Iterable[Entry]) -> list[int]:
        """Append to the journal; returns the rows."""
        with self._inside() as records:
            return records.add_entries(entries)

    def save_alarm(
        self, alarm: Alarm, event: str, at: datetime, by: str = "", note: str = ""
    ) -> None:
        """Set an alarm as it stands and append what happened to it."""
        with self._inside() as records:
            records.save_alarm(alarm, event, at, by, note)

    def take_perhaps(self, taken: PerhapsSince) -> None:
        """Append what a cohort is taken to be perhaps in."""
        with self._inside() as records:
            records.take_perhaps(taken)

    def save_states(self, states: Mapping[str, tuple[int, bytes]]) -> None:
        """Set state records: key to version and body."""
        with self._inside() as records:
            records.save_states(states)

    def delete_states(self, keys: Iterable[str]) -> None:
        """Drop state records."""
        with self._inside() as records:
            records.delete_states(keys)

    def add_notices(self, notices: Sequence[NewNotice]) -> list[int]:
        """Put notices into the outbox; returns their ids."""
        with self._inside() as records:
            return records.add_notices(notices)

    def mark_done(self, key: str, at: datetime, detail: str = "") -> None:
        """Note that what comes once a period was done; the first time stays."""
        with self._inside() as records:
            records.mark_done(key, at, detail)

    def update_notice(self, update: NoticeUpdate) -> None:
        """
        Set how sending of a notice stands.

        Raises:
            ValueError: If there is no such notice.
        """
        with self._inside() as records:
            records.update_notice(update)

    def quarantine(self, refused: Sequence[Refusable]) -> list[int]:
        """Set refused messages apart, the newest 10,000; counts "quarantined"."""
        with self._inside() as records:
            return records.quarantine(refused)

    def unquarantine(self, ids: Iterable[int]) -> None:
        """Take messages out again that were accepted after all; the count stays."""
        with self._inside() as records:
            records.unquarantine(ids)

    def add_configuration(self, digest: str, at: datetime, body: str) -> None:
        """Keep an accepted configuration under its hash."""
        with self._inside() as records:
            records.add_configuration(digest, at, body)

    def save_account_days(
        self, days: Iterable[AccountDay], *, settled: Iterable[StaleDay] = ()
    ) -> None:
        """Set cached accounts; takes off *settled* marks not set anew since."""
        with self._inside() as records:
            records.save_account_days(days, settled=settled)

    def drop_account_days(self, cohort: int, from_day: date) -> None:
        """Drop the cached account of a cohort from a day on."""
        with self._inside() as records:
            records.drop_account_days(cohort, from_day)

    def mark_stale(self, cohort: int, from_day: date) -> None:
        """Mark a cohort's account as wrong from a day on."""
        with self._inside() as records:
            records.set_stale(cohort, from_day, self._hot.next_mark())

    def clear_stale_series(self, settled: Iterable[StaleSeries]) -> None:
        """Take marks off days of series unless they were set anew since."""
        with self._inside() as records:
            records.clear_stale_series(settled)

    def count(self, name: str, by: int = 1) -> None:
        """Add to a counter."""
        with self._inside() as records:
            records.count(name, by)

    def import_day(
        self, sensor: str, quantity: str, times_us: Times, values: Values
    ) -> int:
        """
        Seal readings of the past directly; what is stored already stays.

        Commits by itself, or belongs to the transaction that is open. May span days.

        Args:
            sensor: Its id.
            quantity: What it measures.
            times_us: Strictly rising. [µs since 1970 UTC]
            values: As many, finite, in the canonical unit.

        Returns:
            How many readings were new.

        Raises:
            ValueError: If lengths differ, times do not rise or a value is not finite.
        """
        times = np.asarray(times_us, np.int64)
        numbers = np.asarray(values, np.float64)
        if times.shape != numbers.shape or times.ndim != 1:
            raise ValueError(
                f"{sensor} {quantity}: {times.shape} times, {numbers.shape} values"
            )
        if not (np.all(times[1:] > times[:-1]) and np.all(np.isfinite(numbers))):
            raise ValueError(
                f"{sensor} {quantity}: times must rise strictly and values be finite"
            )
        with self._own_transaction(), self._inside():
            return self._hot.import_run(sensor, quantity, times, numbers)

    def seal(self, before: datetime) -> int:
        """
        Move whole UTC days that ended by *before* from the log into pieces.

        Returns:
            How many readings were moved.
        """
        with translated(self._path):
            return sealing.seal(
                self._connection, self._hot, day_of(to_us(before)), self.transaction
            )

    def checkpoint(self) -> Checkpoint:
        """Empty the write-ahead log as far as readers let it (Q4)."""
        ask = self._connection.execute
        with translated(self._path):
            # no waiting: a reader that stays must not hold up the recorder
            ask("PRAGMA busy_timeout = 0").fetchall()
            try:
                busy = ask("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
            finally:
                ask(f"PRAGMA busy_timeout = {int(WAIT_S * 1000)}").fetchall()
        wal = self._path.with_name(FILE + "-wal")
        size = wal.stat().st_size if wal.exists() else 0
        warning = None
        if size > WAL_LIMIT:
            warning = (
                f"{wal} has grown to {size >> 20} MiB because something reads the "
                "store without end; stop what reads it (a page, an export, a backup)"
            )
            log.warning("write-ahead log grows bytes=%d", size)
        return Checkpoint(size, bool(busy), warning)

    def backup(self, to: Path) -> None:
        """
        Copy the store in one step, checked and durable; holds up writing meanwhile.

        Raises:
            StoreFullError: If there is no room for the copy.
            StoreError: If the copy cannot be made or is not sound.
        """
        if self._within:
            raise StoreError(f"{to}: no backup inside a transaction; commit first")
        self.reader().backup(to)

    def reader(self) -> Queries:
        """Questions over the writer's connection; they see an open transaction."""
        return Queries(self._path, self._same)

    @contextmanager
    def _same(self) -> Iterator[sqlite3.Connection]:
        with translated(self._path):
            yield self._connection

    def free_ballast(self) -> bool:
        """Throw off the ballast to make room; False if it was gone already."""
        return disk.drop_ballast(self.directory)

    def restore_ballast(self) -> bool:
        """Make the ballast if there is room to spare; tell whether it is there."""
        return disk.load_ballast(self.directory)
