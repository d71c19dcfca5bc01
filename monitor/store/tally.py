"""What a store holds, counted: for a backup and for a restore."""

import sqlite3
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from monitor.clock import to_us
from monitor.heart.events import Reading
from monitor.store.days import DAY_US
from monitor.store.reading_queries import BEGINNING, as_reading, newest_of, unpacked

_SHIFT = -to_us(BEGINNING)  # makes every instant positive: SQL division truncates


@dataclass(frozen=True, slots=True)
class Tally:
    """
    Counts of one store.

    Attributes:
        readings: Each instant of a series once.
        alarms: All that ever were.
        entries: Of the journal: tubs, cohorts, moves and whatever keepers entered.
        newest: The reading that was measured last; None where there is none.
    """

    readings: int
    alarms: int
    entries: int
    newest: Reading | None


def tally(connection: sqlite3.Connection, path: Path) -> Tally:
    """
    Count what a store holds.

    Args:
        connection: To it.
        path: Of its file, for messages.

    Raises:
        sqlite3.Error: As SQLite says it.
        StoreError: If a sealed day is damaged.
    """
    connection.execute("BEGIN")
    try:
        readings, alarms, entries = connection.execute(
            "SELECT (SELECT count(*) FROM reading_log)"
            " + (SELECT coalesce(sum(n), 0) FROM piece),"
            " (SELECT count(*) FROM alarm), (SELECT count(*) FROM journal)"
        ).fetchone()
        twice = _in_both(connection, path)
        return Tally(readings - twice, alarms, entries, _newest(connection))
    finally:
        connection.execute("ROLLBACK")


def _in_both(connection: sqlite3.Connection, path: Path) -> int:
    """How many readings stand in the log and in a piece, as in the midst of sealing."""
    days = connection.execute(
        "SELECT series, (ts_us + ?) / ? - ? AS log_day FROM reading_log"
        " GROUP BY 1, 2 HAVING EXISTS (SELECT 1 FROM piece WHERE"
        " piece.series = reading_log.series AND piece.day = log_day)",
        (_SHIFT, DAY_US, _SHIFT // DAY_US),
    ).fetchall()
    found = 0
    for series, day in days:
        (blob,) = connection.execute(
            "SELECT blob FROM piece WHERE series = ? AND day = ?", (series, day)
        ).fetchone()
        logged = connection.execute(
            "SELECT ts_us FROM reading_log WHERE series = ? AND ts_us >= ?"
            " AND ts_us < ?",
            (series, day * DAY_US, (day + 1) * DAY_US),
        ).fetchall()
        sealed = unpacked(path, blob)[0]
        found += int(np.isin(np.array([t for (t,) in logged]), sealed).sum())
    return found


def _newest(connection: sqlite3.Connection) -> Reading | None:
    newest = newest_of(connection)
    if not newest:
        return None
    series = max(newest, key=lambda one: newest[one][0])
    sensor, quantity = connection.execute(
        "SELECT sensor, quantity FROM series WHERE id = ?", (series,)
    ).fetchone()
    return as_reading(sensor, quantity, *newest[series])
