"""What is asked about readings: the hot log and the sealed pieces as one."""

import sqlite3
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, closing
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from monitor.clock import from_us, to_us
from monitor.errors import StoreError
from monitor.heart.events import Reading
from monitor.site.house import HAND
from monitor.store.days import day_of, from_day
from monitor.store.joining import Run, between, empty, join
from monitor.store.piece import Times, Values, decode
from monitor.store.rows import LoggedReading, SeriesRow, StaleSeries

Connect = Callable[[], AbstractContextManager[sqlite3.Connection]]

BEGINNING = datetime.min.replace(tzinfo=UTC)
CHUNK = 20_000
"""Rows of the log fetched at once; no cursor stays open between chunks (Q4)."""
ROW = np.dtype([("series", "i8"), ("ts_us", "i8"), ("value", "f8")])


def as_reading(sensor: str, quantity: str, ts_us: int, value: float) -> Reading:
    """Build a reading from what the store keeps of it."""
    return Reading(sensor, quantity, from_us(ts_us), value, sensor.startswith(HAND))


def unpacked(path: Path, blob: bytes) -> Run:
    """Decode a piece; damage is told with the store's path."""
    try:
        return decode(blob)
    except ValueError as exc:
        raise StoreError(f"{path}: {exc}; restore a backup") from exc


class ReadingQueries:
    """
    Questions about readings on connections that *connect* gives.

    Args:
        path: Of the store's file, for messages.
        connect: Gives a connection that sees one state of the store while it is open.
        keep_log: Read the hot log once and keep it: for many series of one snapshot.
    """

    def __init__(self, path: Path, connect: Connect, *, keep_log: bool = False) -> None:
        self.path = path
        self._connect = connect
        self._keep_log = keep_log
        self._kept: dict[int, Run] | None = None

    def series(self) -> Sequence[SeriesRow]:
        """Every series that ever had a reading, in order of id."""
        with self._connect() as connection:
            rows = connection.execute(
                "SELECT id, sensor, quantity FROM series ORDER BY id"
            ).fetchall()
        return [SeriesRow(*row) for row in rows]

    def readings(
        self, sensor: str, quantity: str, start: datetime, end: datetime
    ) -> tuple[Times, Values]:
        """
        Give the readings of a series from *start* to before *end*.

        Returns:
            Times [µs since 1970 UTC], strictly rising, and as many values in the
            canonical unit of the quantity. Both empty for an unknown series.
        """
        first, last = to_us(start), to_us(end)
        with self._connect() as connection:
            series = _series_id(connection, sensor, quantity)
            if series is None:
                return empty()
            blobs = connection.execute(
                "SELECT blob FROM piece WHERE series = ? AND day BETWEEN ? AND ?"
                " ORDER BY day",
                (series, day_of(first), day_of(last)),
            ).fetchall()
            hot = self._hot(connection, series, first, last)
        runs = [unpacked(self.path, blob) for (blob,) in blobs]
        return between(join([*runs, hot]), first, last)

    def _hot(
        self, connection: sqlite3.Connection, series: int, first: int, end: int
    ) -> Run:
        if self._keep_log:
            if self._kept is None:
                self._kept = _by_series(connection)
            return self._kept.get(series, empty())
        rows = connection.execute(
            "SELECT ts_us, value FROM reading_log"
            " WHERE series = ? AND ts_us >= ? AND ts_us < ?",
            (series, first, end),
        ).fetchall()
        return join([_columns(rows)])

    def latest(self) -> Mapping[tuple[str, str], Reading]:
        """The newest reading of each (sensor, quantity)."""
        with self._connect() as connection:
            names = {s: (a, b) for s, a, b in _all_series(connection)}
            newest = newest_of(connection)
        return {
            names[series]: as_reading(*names[series], ts_us, value)
            for series, (ts_us, value) in newest.items()
        }

    def readings_since(
        self, time: datetime, *, after_row: int = 0
    ) -> Iterator[LoggedReading]:
        """
        Give readings of the hot log in order of arrival, to replay them.

        Args:
            time: Only those measured at this instant or later.
            after_row: Only those that arrived after this row.
        """
        with self._connect() as connection:
            names = {s: (a, b) for s, a, b in _all_series(connection)}
        while True:
            with self._connect() as connection:
                rows = connection.execute(
                    "SELECT id, series, ts_us, value FROM reading_log"
                    " WHERE id > ? AND ts_us >= ? ORDER BY id LIMIT ?",
                    (after_row, to_us(time), CHUNK),
                ).fetchall()
                if any(row[1] not in names for row in rows):
                    names = {s: (a, b) for s, a, b in _all_series(connection)}
            for row, series, ts_us, value in rows:
                yield LoggedReading(row, as_reading(*names[series], ts_us, value))
            if len(rows) < CHUNK:
                return
            after_row = rows[-1][0]

    def stale_series(self) -> list[StaleSeries]:
        """Days of series that got readings after they were over."""
        with self._connect() as connection:
            rows = connection.execute(
                "SELECT sensor, quantity, day, mark FROM series_stale"
                " JOIN series ON series.id = series ORDER BY day, series"
            ).fetchall()
        return [StaleSeries(a, b, from_day(day), mark) for a, b, day, mark in rows]


def newest_of(connection: sqlite3.Connection) -> dict[int, tuple[int, float]]:
    """The newest (µs, value) of each series id: the table and the log's tail."""
    newest: dict[int, tuple[int, float]] = {
        series: (ts_us, value)
        for series, ts_us, value in connection.execute("SELECT * FROM latest")
    }
    tail = connection.execute(
        "SELECT series, ts_us, value FROM reading_log WHERE id > ? ORDER BY id",
        (latest_upto(connection),),
    ).fetchall()
    for series, ts_us, value in tail:
        if series not in newest or ts_us > newest[series][0]:
            newest[series] = (ts_us, value)
    return newest


def latest_upto(connection: sqlite3.Connection) -> int:
    """The row of the log up to which the table of newest readings holds."""
    row = connection.execute(
        "SELECT value FROM meta WHERE key = 'latest_upto'"
    ).fetchone()
    return int(row[0]) if row else 0


def arrays(cursor: sqlite3.Cursor) -> Iterator[NDArray[np.void]]:
    """Give the rows (series, ts_us, value) of a cursor as arrays; closes it."""
    with closing(cursor):
        while rows := cursor.fetchmany(CHUNK):
            yield np.array(rows, ROW)


def group(rows: NDArray[np.void]) -> Iterator[tuple[int, Run]]:
    """Split rows into one rising run a series; the first of a repeat stays."""
    order = np.argsort(rows["series"], kind="stable")
    series = rows["series"][order]
    for part in np.split(order, np.flatnonzero(np.diff(series)) + 1):
        if len(part):
            mine = rows[part]
            run = (mine["ts_us"].astype(np.int64), mine["value"].astype(np.float64))
            yield int(mine["series"][0]), join([run])


def _by_series(connection: sqlite3.Connection) -> dict[int, Run]:
    cursor = connection.execute(
        "SELECT series, ts_us, value FROM reading_log ORDER BY id"
    )
    return dict(group(np.concatenate([np.empty(0, ROW), *arrays(cursor)])))


def _columns(rows: list[tuple[int, float]]) -> Run:
    if not rows:
        return empty()
    times, values = zip(*rows, strict=True)
    return np.array(times, np.int64), np.array(values, np.float64)


def _all_series(connection: sqlite3.Connection) -> list[tuple[int, str, str]]:
    return connection.execute("SELECT id, sensor, quantity FROM series").fetchall()


def _series_id(
    connection: sqlite3.Connection, sensor: str, quantity: str
) -> int | None:
    row = connection.execute(
        "SELECT id FROM series WHERE sensor = ? AND quantity = ?",
        (sensor, str(quantity)),
    ).fetchone()
    return int(row[0]) if row else None
