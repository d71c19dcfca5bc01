"""Writing what is neither a reading nor a notice's way: one method for each table."""

import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime

import msgspec

from monitor.alarms.alarm import Alarm
from monitor.alarms.perhaps import PerhapsSince
from monitor.clock import to_us
from monitor.site.journal import Entry
from monitor.store.days import to_day
from monitor.store.rows import (
    AccountDay,
    NewNotice,
    NoticeUpdate,
    Refusable,
    StaleDay,
    StaleSeries,
)

QUARANTINE = 10_000
"""Refused messages that are kept, the newest."""
PAYLOAD = 512
"""Of a refused payload so much is kept. [bytes]"""
TOPIC = 1024
"""Of a refused topic or its reason so much is kept. [characters]"""

_encode = msgspec.json.encode


class Records:
    """Statements on one connection; whoever calls has begun a transaction."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection

    def add_entries(self, entries: Iterable[Entry]) -> list[int]:
        """Append to the journal."""
        return [
            self._insert(
                "INSERT INTO journal (happened_us, entered_us, by, kind, body, note)"
                " VALUES (?, ?, ?, ?, ?, ?)",
                (
                    to_us(entry.happened_at),
                    to_us(entry.entered_at),
                    entry.by,
                    type(entry.fact).__struct_config__.tag,
                    _encode(entry.fact).decode(),
                    entry.note,
                ),
            )
            for entry in entries
        ]

    def save_alarm(
        self, alarm: Alarm, event: str, at: datetime, by: str, note: str
    ) -> None:
        """Set an alarm and append what happened to it."""
        body = _encode(alarm).decode()
        self._connection.execute(
            "INSERT INTO alarm VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"
            " ON CONFLICT DO UPDATE SET state = excluded.state,"
            " priority = excluded.priority, closed_us = excluded.closed_us,"
            " body = excluded.body",
            (
                alarm.id,
                alarm.thing,
                alarm.kind,
                str(alarm.quantity or ""),
                str(alarm.state),
                str(alarm.priority),
                to_us(alarm.raised_at),
                _us(alarm.closed_at),
                body,
            ),
        )
        self._connection.execute(
            "INSERT INTO alarm_change (alarm, at_us, event, by, note, body)"
            " VALUES (?, ?, ?, ?, ?, ?)",
            (alarm.id, to_us(at), event, by, note, body),
        )

    def take_perhaps(self, taken: PerhapsSince) -> None:
        """Append what a cohort is taken to be perhaps in."""
        self._connection.execute(
            "INSERT INTO perhaps (at_us, cohort, stages) VALUES (?, ?, ?)",
            (to_us(taken.at), taken.cohort, _encode(taken.stages).decode()),
        )

    def save_states(self, states: Mapping[str, tuple[int, bytes]]) -> None:
        """Set state records."""
        self._connection.executemany(
            "INSERT INTO state_record VALUES (?, ?, ?) ON CONFLICT DO UPDATE"
            " SET version = excluded.version, body = excluded.body",
            [(key, version, body) for key, (version, body) in states.items()],
        )

    def delete_states(self, keys: Iterable[str]) -> None:
        """Drop state records."""
        self._connection.executemany(
            "DELETE FROM state_record WHERE key = ?", [(key,) for key in keys]
        )

    def add_notices(self, notices: Sequence[NewNotice]) -> list[int]:
        """Put notices into the outbox."""
        return [
            self._insert(
                "INSERT INTO notice (keeper, why, priority, alarms, created_us,"
                " subject, short, long, html, pictures)"
                " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                (
                    notice.keeper,
                    notice.why,
                    str(notice.priority),
                    _encode(notice.alarms).decode(),
                    to_us(notice.created),
                    notice.subject,
                    notice.short,
                    notice.long,
                    notice.html,
                    notice.pictures,
                ),
            )
            for notice in notices
        ]

    def mark_done(self, key: str, at: datetime, detail: str = "") -> None:
        """Note that what comes once a period was done; the first time stays."""
        self._connection.execute(
            "INSERT INTO done VALUES (?, ?, ?) ON CONFLICT DO NOTHING",
            (key, to_us(at), detail),
        )

    def update_notice(self, update: NoticeUpdate) -> None:
        """Set how sending stands."""
        changed = self._connection.execute(
            "UPDATE notice SET state = ?, channel = ?, attempts = ?, next_try_us = ?,"
            " sent_us = ?, last_error = ? WHERE id = ?",
            (
                update.state,
                update.channel,
                update.attempts,
                _us(update.next_try),
                _us(update.sent_at),
                update.last_error,
                update.id,
            ),
        ).rowcount
        if not changed:
            raise ValueError(f"the outbox has no notice {update.id}")

    def quarantine(self, refused: Sequence[Refusable]) -> list[int]:
        """Set messages apart, count them, and drop the oldest beyond the bound."""
        ids = [
            self._insert(
                "INSERT INTO quarantine (at_us, topic, reason, payload, size)"
                " VALUES (?, ?, ?, ?, ?)",
                (
                    to_us(each.at),
                    _printable(each.topic),
                    _printable(each.reason),
                    bytes(each.payload[:PAYLOAD]),
                    len(each.payload),
                ),
            )
            for each in refused
        ]
        if ids:
            self._connection.execute(
                "DELETE FROM quarantine WHERE id <= (SELECT id FROM quarantine"
                " ORDER BY id DESC LIMIT 1 OFFSET ?)",
                (QUARANTINE,),
            )
            self.count("quarantined", len(ids))
        return ids

    def unquarantine(self, ids: Iterable[int]) -> None:
        """Take messages out again that were accepted after all; they count no more."""
        gone = [(number,) for number in ids]
        self._connection.executemany("DELETE FROM quarantine WHERE id = ?", gone)
        if gone:
            self.count("quarantined", -len(gone))

    def add_configuration(self, digest: str, at: datetime, body: str) -> None:
        """Keep an accepted configuration; the first time it was accepted stays."""
        self._connection.execute(
            "INSERT INTO configuration VALUES (?, ?, ?) ON CONFLICT DO NOTHING",
            (digest, to_us(at), body),
        )

    def save_account_days(
        self, days: Iterable[AccountDay], *, settled: Iterable[StaleDay] = ()
    ) -> None:
        """Set cached accounts; *settled* marks go unless they were set anew since."""
        self._connection.executemany(
            "INSERT INTO account_day VALUES (?, ?, ?, ?)"
            " ON CONFLICT DO UPDATE SET body = excluded.body",
            [(day.cohort, day.stage, to_day(day.day), day.body) for day in days],
        )
        self._connection.executemany(
            "DELETE FROM stale_day WHERE cohort = ? AND day = ? AND mark = ?",
            [(stale.cohort, to_day(stale.day), stale.mark) for stale in settled],
        )

    def drop_account_days(self, cohort: int, from_day: date) -> None:
        """Drop the cached account of a cohort from a day on."""
        self._connection.execute(
            "DELETE FROM account_day WHERE cohort = ? AND day >= ?",
            (cohort, to_day(from_day)),
        )

    def set_stale(self, cohort: int, from_day: date, mark: int) -> None:
        """Mark a cohort's account as wrong from a day on."""
        self._connection.execute(
            "INSERT INTO stale_day VALUES (?, ?, ?)"
            " ON CONFLICT DO UPDATE SET mark = excluded.mark",
            (cohort, to_day(from_day), mark),
        )

    def clear_stale_series(self, settled: Iterable[StaleSeries]) -> None:
        """Take marks off days of series unless they were set anew since."""
        self._connection.executemany(
            "DELETE FROM series_stale WHERE day = ? AND mark = ? AND series ="
            " (SELECT id FROM series WHERE sensor = ? AND quantity = ?)",
            [
                (to_day(stale.day), stale.mark, stale.sensor, stale.quantity)
                for stale in settled
            ],
        )

    def count(self, name: str, by: int = 1) -> None:
        """Add to a counter."""
        self._connection.execute(
            "INSERT INTO counter VALUES (?, ?)"
            " ON CONFLICT DO UPDATE SET value = value + excluded.value",
            (name, by),
        )

    def _insert(self, statement: str, values: tuple[object, ...]) -> int:
        number = self._connection.execute(statement, values).lastrowid
        if number is None:
            raise RuntimeError("SQLite gave a new row no id")
        return number


def _us(at: datetime | None) -> int | None:
    return None if at is None else to_us(at)


def _printable(text: str) -> str:
    """Text that SQLite takes: half a surrogate pair would be refused."""
    return text[:TOPIC].encode("utf-8", "replace").decode()
