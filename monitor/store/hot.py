"""
The hot log: readings in order of arrival, each instant of a series once.

What the file holds is mirrored in memory only as far as refusing repeats needs it:
the instants of each series' unsealed readings. A transaction that is rolled back takes
the mirror back with it.
"""

import sqlite3
from array import array
from bisect import bisect_left
from collections.abc import Iterable, Iterator
from datetime import datetime
from itertools import chain
from pathlib import Path

import numpy as np

from monitor.clock import EPOCH, MICROSECOND, to_us
from monitor.heart.events import Reading
from monitor.store.days import DAY_US, day_of
from monitor.store.joining import join
from monitor.store.piece import Times, Values, encode
from monitor.store.reading_queries import (
    BEGINNING,
    latest_upto,
    newest_of,
    unpacked,
)

NEVER = to_us(BEGINNING) - 1
UNFLUSHED = 10_000
"""Rows of the log after which the table of newest readings is brought up to it."""
LOADED = 200_000
"""Rows of the log that are loaded at once when the store is opened."""
UNPACKED = 64
"""Sealed days kept unpacked to tell repeats among late readings."""


class Series:
    """What is known in memory of one series."""

    __slots__ = ("id", "newest", "sealed_day", "times", "touched", "value")

    def __init__(self, number: int) -> None:
        self.id = number
        self.times = array("q")
        self.newest = NEVER
        self.value = 0.0
        self.sealed_day: int | None = None
        self.touched = 0


class HotLog:
    """
    Writes readings; every method runs inside a transaction of *connection*.

    Attributes:
        mark: Rises with every row and every mark of a stale day.
    """

    def __init__(self, connection: sqlite3.Connection, path: Path) -> None:
        self._connection, self._path = connection, path
        self._series: dict[tuple[str, str], Series] = {}
        self._by_id: dict[int, Series] = {}
        self._unpacked: dict[tuple[int, int], Times] = {}
        self._transaction = 0
        self._added: list[list[tuple[int, int, int, float]]] = []
        self._before: list[tuple[Series, int, float, int | None]] = []
        self._made: list[tuple[str, str]] = []
        self._flushed = latest_upto(connection)
        self._sealed_before = self._meta("sealed_before", NEVER)
        self._load()
        self._marks = (self.mark, self._flushed, self._sealed_before)

    def _meta(self, key: str, default: int) -> int:
        row = self._connection.execute(
            "SELECT value FROM meta WHERE key = ?", (key,)
        ).fetchone()
        return int(row[0]) if row else default

    def _load(self) -> None:
        ask = self._connection.execute
        for number, sensor, quantity in ask("SELECT * FROM series").fetchall():
            series = self._enter((sensor, quantity), number)
            (series.sealed_day,) = ask(
                "SELECT max(day) FROM piece WHERE series = ?", (number,)
            ).fetchone()
        for number, (ts_us, value) in newest_of(self._connection).items():
            series = self._by_id[number]
            series.newest, series.value = ts_us, value
        for numbers, times in _logged_times(self._connection):
            for number, mine in _group_times(numbers, times):
                self._by_id[number].times.frombytes(mine.tobytes())
        for series in self._by_id.values():
            mine = np.array(series.times, np.int64)
            if not bool(np.all(mine[1:] > mine[:-1])):
                series.times = array("q", np.unique(mine).tobytes())
        (last,) = ask("SELECT coalesce(max(id), 0) FROM reading_log").fetchone()
        self.mark: int = max(last, self._flushed)

    def _enter(self, key: tuple[str, str], number: int) -> Series:
        series = self._series[key] = self._by_id[number] = Series(number)
        return series

    def begin(self) -> None:
        """Remember how things stand, to return to it."""
        self._transaction += 1
        self._added, self._before, self._made = [], [], []
        self._marks = (self.mark, self._flushed, self._sealed_before)

    def roll_back(self) -> None:
        """Forget what the transaction did."""
        for _, ts_us, number, _ in chain.from_iterable(self._added):
            times = self._by_id[number].times
            del times[bisect_left(times, ts_us)]
        for series, newest, value, sealed_day in self._before:
            series.newest, series.value = newest, value
            series.sealed_day = sealed_day
        for key in self._made:
            del self._by_id[self._series.pop(key).id]
        self._unpacked.clear()
        self.mark, self._flushed, self._sealed_before = self._marks

    def _find(self, key: tuple[str, str]) -> Series:
        series = self._series.get(key)
        if series is None:
            sensor, quantity = str(key[0]), str(key[1])
            cursor = self._connection.execute(
                "INSERT INTO series (sensor, quantity) VALUES (?, ?)",
                (sensor, quantity),
            )
            number = cursor.lastrowid
            if number is None:
                raise RuntimeError("SQLite gave a new series no id")
            series = self._enter((sensor, quantity), number)
            self._made.append((sensor, quantity))
        return series

    def _touch(self, series: Series) -> None:
        if series.touched == self._transaction:
            return
        series.touched = self._transaction
        self._before.append((series, series.newest, series.value, series.sealed_day))

    def add(self, readings: Iterable[Reading], now: datetime) -> list[bool]:
        """
        Append what is new.

        Returns:
            For each reading whether it was new; False for a repeat.
        """
        today = day_of(to_us(now)) * DAY_US
        late_before = max(today, self._sealed_before)
        known, transaction, before = self._series, self._transaction, self._before
        rows: list[tuple[int, int, int, float]] = []
        self._added.append(rows)
        stale: set[tuple[int, int]] = set()
        fresh: list[bool] = []
        row = self.mark
        for reading in readings:
            key = (reading.sensor, reading.quantity)
            series = known.get(key) or self._find(key)
            ts_us = (reading.time - EPOCH) // MICROSECOND
            if series.touched != transaction:
                series.touched = transaction
                before.append((series, series.newest, series.value, series.sealed_day))
            if ts_us > series.newest:
                series.times.append(ts_us)
                series.newest, series.value = ts_us, reading.value
            elif not self._insert(series, ts_us):
                fresh.append(False)
                continue
            if ts_us < late_before:
                stale.add((series.id, day_of(ts_us)))
            row += 1
            rows.append((row, ts_us, series.id, reading.value))
            fresh.append(True)
        self.mark = row
        self._connection.executemany(
            "INSERT INTO reading_log VALUES (?, ?, ?, ?)", rows
        )
        self._mark_stale(stale)
        if row - self._flushed > max(UNFLUSHED, 4 * len(self._series)):
            self.flush_latest()
        return fresh

    def _insert(self, series: Series, ts_us: int) -> bool:
        """Put an instant among the older ones; False if it is there already."""
        times = series.times
        at = bisect_left(times, ts_us)
        if at < len(times) and times[at] == ts_us:
            return False
        if series.sealed_day is not None and day_of(ts_us) <= series.sealed_day:
            sealed = self._sealed_times(series.id, day_of(ts_us))
            place = int(np.searchsorted(sealed, ts_us))
            if place < len(sealed) and sealed[place] == ts_us:
                return False
        times.insert(at, ts_us)
        return True

    def _sealed_times(self, series: int, day: int) -> Times:
        key = (series, day)
        if key not in self._unpacked:
            while len(self._unpacked) >= UNPACKED:
                del self._unpacked[next(iter(self._unpacked))]
            self._unpacked[key] = self._piece(series, day)[0]
        return self._unpacked[key]

    def _piece(self, series: int, day: int) -> tuple[Times, Values]:
        row = self._connection.execute(
            "SELECT blob FROM piece WHERE series = ? AND day = ?", (series, day)
        ).fetchone()
        return unpacked(self._path, row[0]) if row else join([])

    def _mark_stale(self, days: Iterable[tuple[int, int]]) -> None:
        for series, day in days:
            self._connection.execute(
                "INSERT INTO series_stale VALUES (?, ?, ?)"
                " ON CONFLICT DO UPDATE SET mark = excluded.mark",
                (series, day, self.mark),
            )

    def next_mark(self) -> int:
        """Give a number above all that were given."""
        self.mark += 1
        return self.mark

    def flush_latest(self) -> None:
        """Bring the table of newest readings up to the log."""
        self._save_latest(self._by_id.values())
        self._flushed = self.mark
        self._keep("latest_upto", self._flushed)

    def _save_latest(self, changed: Iterable[Series]) -> None:
        self._connection.executemany(
            "INSERT INTO latest VALUES (?, ?, ?) ON CONFLICT DO UPDATE"
            " SET ts_us = excluded.ts_us, value = excluded.value",
            [(s.id, s.newest, s.value) for s in changed if s.newest > NEVER],
        )

    def _keep(self, key: str, value: int) -> None:
        self._connection.execute(
            "INSERT INTO meta VALUES (?, ?)"
            " ON CONFLICT DO UPDATE SET value = excluded.value",
            (key, str(value)),
        )

    def import_run(
        self, sensor: str, quantity: str, times_us: Times, values: Values
    ) -> int:
        """Seal readings that never were in the log; tell how many were new."""
        series = self._find((sensor, quantity))
        self._touch(series)
        new = ~np.isin(times_us, np.array(series.times, np.int64))
        # a zero with a sign would not survive the log either
        times, values = times_us[new], values[new] + 0.0
        if not len(times):
            return 0
        self.next_mark()
        added = 0
        for part in np.split(
            np.arange(len(times)), np.flatnonzero(np.diff(times // DAY_US)) + 1
        ):
            day = day_of(int(times[part[0]]))
            more = self.seal_piece(series.id, day, times[part], values[part])
            if more:
                self._mark_stale([(series.id, day)])
            added += more
        if int(times[-1]) > series.newest:
            series.newest, series.value = int(times[-1]), float(values[-1])
            self._save_latest([series])
        return added

    def seal_piece(self, number: int, day: int, times: Times, values: Values) -> int:
        """
        Merge a day's readings into its piece; what is sealed stays.

        Returns:
            How many were new.
        """
        series = self._by_id[number]
        self._touch(series)
        old = self._piece(number, day)
        times, values = join([old, (times, values)])
        if len(times) == len(old[0]):
            return 0
        with np.errstate(over="ignore", invalid="ignore"):
            total = float(np.sum(values))
        self._connection.execute(
            "INSERT OR REPLACE INTO piece VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                number,
                day,
                len(times),
                float(values.min()),
                float(values.max()),
                total if np.isfinite(total) else None,
                int(times[0]),
                int(times[-1]),
                encode(times, values),
            ),
        )
        self._unpacked.pop((number, day), None)
        if series.sealed_day is None or day > series.sealed_day:
            series.sealed_day = day
        return len(times) - len(old[0])

    def note_sealed(self, before_us: int) -> None:
        """Days before this instant are sealed; the log may lose rows after this."""
        if before_us > self._sealed_before:
            self._sealed_before = before_us
            self._keep("sealed_before", before_us)
        self.flush_latest()

    def forget(self, first_us: int, end_us: int) -> None:
        """Drop a sealed day from memory, once its transaction is committed."""
        for series in self._by_id.values():
            times = series.times
            low, high = bisect_left(times, first_us), bisect_left(times, end_us)
            del times[low:high]


def _logged_times(connection: sqlite3.Connection) -> Iterator[tuple[Times, Times]]:
    """Series ids and instants of the log, some rows at a time."""
    last = 0
    while True:
        # joined and parsed as text: a third of the time that row tuples take
        last, numbers, times = connection.execute(
            "SELECT max(id), group_concat(series), group_concat(ts_us) FROM"
            " (SELECT id, series, ts_us FROM reading_log WHERE id > ?"
            " ORDER BY id LIMIT ?)",
            (last, LOADED),
        ).fetchone()
        if last is None:
            return
        yield (
            np.fromstring(numbers, np.int64, sep=","),
            np.fromstring(times, np.int64, sep=","),
        )


def _group_times(numbers: Times, times: Times) -> Iterator[tuple[int, Times]]:
    order = np.argsort(numbers, kind="stable")
    cuts = np.flatnonzero(np.diff(numbers[order])) + 1
    for part in np.split(order, cuts):
        yield int(numbers[part[0]]), times[part]
