"""Moving whole days from the hot log into sealed pieces."""

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager

import numpy as np
from numpy.typing import NDArray

from monitor.clock import to_us
from monitor.store.days import DAY_US
from monitor.store.hot import HotLog
from monitor.store.reading_queries import BEGINNING, CHUNK, group

ROWS = 1_000_000
"""Rows of the log held in memory at once while sealing, unless a day has more."""
_ROW = np.dtype([("id", "i8"), ("series", "i8"), ("ts_us", "i8"), ("value", "f8")])
_SHIFT = -to_us(BEGINNING)  # makes every instant positive: SQL division truncates


def seal(
    connection: sqlite3.Connection,
    hot: HotLog,
    before_day: int,
    transaction: Callable[[], AbstractContextManager[object]],
) -> int:
    """
    Seal the days before *before_day* (days since 1970), each in its own transaction.

    Returns:
        How many readings left the log.
    """
    moved = 0
    for first, end in _spans(connection, before_day):
        rows = _fetch(connection, first * DAY_US, end * DAY_US)
        days = rows["ts_us"] // DAY_US
        for day in np.unique(days).tolist():
            mine = rows[days == day]
            with transaction():
                for series, (times, values) in group(mine):
                    hot.seal_piece(series, day, times, values)
                hot.note_sealed((day + 1) * DAY_US)
                connection.executemany(
                    "DELETE FROM reading_log WHERE id BETWEEN ? AND ?",
                    _ranges(mine["id"]),
                )
            hot.forget(day * DAY_US, (day + 1) * DAY_US)
            moved += len(mine)
    return moved


def _spans(
    connection: sqlite3.Connection, before_day: int
) -> Iterator[tuple[int, int]]:
    """Runs of days to fetch together, so that the log is not scanned for each."""
    counted = connection.execute(
        "SELECT (ts_us + ?) / ? - ?, count(*) FROM reading_log WHERE ts_us < ?"
        " GROUP BY 1 ORDER BY 1",
        (_SHIFT, DAY_US, _SHIFT // DAY_US, before_day * DAY_US),
    ).fetchall()
    first, size = None, 0
    for day, n in counted:
        if first is not None and size + n > ROWS:
            yield first, day
            first, size = day, 0
        first, size = (day if first is None else first), size + n
    if first is not None:
        yield first, before_day


def _fetch(connection: sqlite3.Connection, first: int, end: int) -> NDArray[np.void]:
    cursor = connection.execute(
        "SELECT id, series, ts_us, value FROM reading_log"
        " WHERE ts_us >= ? AND ts_us < ? ORDER BY id",
        (first, end),
    )
    try:
        chunks = []
        while rows := cursor.fetchmany(CHUNK):
            chunks.append(np.array(rows, _ROW))
    finally:
        cursor.close()
    return np.concatenate(chunks) if chunks else np.empty(0, _ROW)


def _ranges(ids: NDArray[np.int64]) -> list[tuple[int, int]]:
    """Rising ids as runs without a hole."""
    runs = np.split(ids, np.flatnonzero(np.diff(ids) != 1) + 1)
    return [(int(run[0]), int(run[-1])) for run in runs]
