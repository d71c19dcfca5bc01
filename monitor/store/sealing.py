"""Moving whole days from the hot log into sealed pieces."""

import sqlite3
from collections.abc import Callable
from contextlib import AbstractContextManager

import numpy as np
from numpy.typing import NDArray

from monitor.clock import to_us
from monitor.store.days import DAY_US, day_of
from monitor.store.hot import HotLog
from monitor.store.reading_queries import BEGINNING, ROW, arrays, group

ROWS = 250_000
"""Readings held in memory at once while sealing. [readings]"""
_SHIFT = -to_us(BEGINNING)  # makes every instant positive: SQL division truncates


def seal(
    connection: sqlite3.Connection,
    hot: HotLog,
    before_day: int,
    transaction: Callable[[], AbstractContextManager[object]],
) -> int:
    """
    Seal the days before *before_day* (days since 1970).

    Pieces are written in transactions of a bounded size, then the days leave the log
    in one. In between a reading stands in both; readers and repeats tell each instant
    once, and a seal that was cut short does no harm when it is begun again.

    Returns:
        How many readings left the log.
    """
    moved = 0
    for first_day, end_day, size in _spans(connection, before_day):
        first, end = first_day * DAY_US, end_day * DAY_US
        for low, high in _shares(connection, size):
            rows = _fetch(connection, (first, end, low, high))
            with transaction():
                _write_pieces(hot, rows)
        with transaction():
            hot.note_sealed(end)
            moved += connection.execute(
                "DELETE FROM reading_log WHERE ts_us >= ? AND ts_us < ?", (first, end)
            ).rowcount
        hot.forget(first, end)
    return moved


def _write_pieces(hot: HotLog, rows: NDArray[np.void]) -> None:
    for series, (times, values) in group(rows):
        cuts = np.flatnonzero(np.diff(times // DAY_US)) + 1
        for part in np.split(np.arange(len(times)), cuts):
            day = day_of(int(times[part[0]]))
            hot.seal_piece(series, day, times[part], values[part])


def _shares(connection: sqlite3.Connection, size: int) -> list[tuple[int, int]]:
    """Ranges of series ids that hold about ROWS readings each, of *size* in all."""
    (highest,) = connection.execute("SELECT max(id) FROM series").fetchone()
    width = max(1, highest * ROWS // size)
    return [(low, low + width) for low in range(1, highest + 1, width)]


def _spans(
    connection: sqlite3.Connection, before_day: int
) -> list[tuple[int, int, int]]:
    """Runs of days, with their readings, to seal together: the log has no index."""
    counted = connection.execute(
        "SELECT (ts_us + ?) / ? - ?, count(*) FROM reading_log WHERE ts_us < ?"
        " GROUP BY 1 ORDER BY 1",
        (_SHIFT, DAY_US, _SHIFT // DAY_US, before_day * DAY_US),
    ).fetchall()
    spans: list[tuple[int, int, int]] = []
    for day, n in counted:
        if spans and spans[-1][2] + n <= ROWS:
            first, _, size = spans.pop()
            spans.append((first, day + 1, size + n))
        else:
            spans.append((day, day + 1, n))
    return spans


def _fetch(
    connection: sqlite3.Connection, bounds: tuple[int, int, int, int]
) -> NDArray[np.void]:
    cursor = connection.execute(
        "SELECT series, ts_us, value FROM reading_log WHERE ts_us >= ? AND ts_us < ?"
        " AND series >= ? AND series < ? ORDER BY id",
        bounds,
    )
    return np.concatenate([np.empty(0, ROW), *arrays(cursor)])
