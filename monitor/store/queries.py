"""Every question that the store answers, on whatever connection it is given."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

import msgspec

from monitor.alarms.alarm import Alarm
from monitor.alarms.perhaps import PerhapsSince
from monitor.clock import from_us, to_us
from monitor.heart.events import AlarmChanged
from monitor.site.journal import Entry, Fact
from monitor.site.words import Priority
from monitor.store.backup import back_up
from monitor.store.connection import has_table, translated
from monitor.store.days import from_day
from monitor.store.reading_queries import ReadingQueries
from monitor.store.rows import (
    AccountDay,
    Configuration,
    NoticeRow,
    Quarantined,
    StaleDay,
)

_alarm = msgspec.json.Decoder(Alarm)
_fact = msgspec.json.Decoder(Fact)
_ids = msgspec.json.Decoder(tuple[int, ...])
_stages = msgspec.json.Decoder(tuple[str, ...])

_NOTICES = (
    "SELECT id, keeper, why, priority, alarms, created_us, subject, short, long, html,"
    " pictures, state, channel, attempts, next_try_us, sent_us, last_error FROM notice"
)
_NOTICES_DUE = (
    f"{_NOTICES} WHERE state = 'waiting' AND (next_try_us IS NULL OR next_try_us <= ?)"
)
_OF = "WHERE ? IN (SELECT value FROM json_each(notice.alarms))"
_NOTICES_OF = f"{_NOTICES} {_OF} ORDER BY id"


class Queries(ReadingQueries):
    """All questions; nothing here changes the store."""

    @contextmanager
    def snapshot(self) -> Iterator["Queries"]:
        """
        Answer many questions from one state of the store, over one connection.

        Keep it short: while it is open the write-ahead log cannot shrink (Q4).
        """
        with self._connect() as connection:

            @contextmanager
            def same() -> Iterator[sqlite3.Connection]:
                with translated(self.path):
                    yield connection

            yield Queries(self.path, same, keep_log=True)

    def identity(self) -> str:
        """Name of this store's life: another one after it was made anew or restored."""
        with self._connect() as connection:
            row = connection.execute(
                "SELECT value FROM meta WHERE key = 'identity'"
            ).fetchone()
        return str(row[0])

    def entries(self, *, after: int = 0) -> list[Entry]:
        """The journal in order of entering, from the row after *after*."""
        with self._connect() as connection:
            rows = connection.execute(
                "SELECT happened_us, entered_us, by, body, note, id FROM journal"
                " WHERE id > ? ORDER BY id",
                (after,),
            ).fetchall()
        return [
            Entry(from_us(a), from_us(b), by, _fact.decode(body), note, row)
            for a, b, by, body, note, row in rows
        ]

    def next_cohort_id(self) -> int:
        """One more than the highest id that a cohort ever had."""
        with self._connect() as connection:
            row = connection.execute(
                "SELECT coalesce(max(json_extract(body, '$.cohort')), 0) + 1"
                " FROM journal WHERE kind = 'cohort-started'"
            ).fetchone()
        return int(row[0])

    def alarms(self, *, open_only: bool = False) -> list[Alarm]:
        """Alarms as they stand, in order of id; *open_only* leaves out closed ones."""
        with self._connect() as connection:
            rows = connection.execute(
                "SELECT body FROM alarm WHERE closed_us IS NULL ORDER BY id"
                if open_only
                else "SELECT body FROM alarm ORDER BY id"
            ).fetchall()
        return [_alarm.decode(body) for (body,) in rows]

    def alarm(self, number: int) -> Alarm | None:
        """One alarm as it stands; None if there is no such id."""
        with self._connect() as connection:
            row = connection.execute(
                "SELECT body FROM alarm WHERE id = ?", (number,)
            ).fetchone()
        return _alarm.decode(row[0]) if row else None

    def alarm_changes(self, number: int) -> list[AlarmChanged]:
        """Everything that happened to an alarm, in order."""
        with self._connect() as connection:
            rows = connection.execute(
                "SELECT at_us, body, event, by, note FROM alarm_change"
                " WHERE alarm = ? ORDER BY id",
                (number,),
            ).fetchall()
        return [
            AlarmChanged(from_us(at), _alarm.decode(body), event, by, note)
            for at, body, event, by, note in rows
        ]

    def perhaps(self) -> list[PerhapsSince]:
        """
        All that cohorts were taken to be perhaps in, in the order of taking.

        Nothing in a store that was made before it was recorded.
        """
        with self._connect() as connection:
            if not has_table(connection, "perhaps"):
                return []
            rows = connection.execute(
                "SELECT at_us, cohort, stages FROM perhaps ORDER BY id"
            ).fetchall()
        return [
            PerhapsSince(from_us(at), cohort, _stages.decode(stages))
            for at, cohort, stages in rows
        ]

    def next_alarm_id(self) -> int:
        """One more than the highest id that an alarm ever had."""
        with self._connect() as connection:
            row = connection.execute(
                "SELECT coalesce(max(id), 0) + 1 FROM alarm"
            ).fetchone()
        return int(row[0])

    def states(self) -> dict[str, tuple[int, bytes]]:
        """Version and body of every state record, by key."""
        with self._connect() as connection:
            rows = connection.execute(
                "SELECT key, version, body FROM state_record ORDER BY key"
            ).fetchall()
        return {key: (version, body) for key, version, body in rows}

    def pending_notices(self, now: datetime) -> list[NoticeRow]:
        """Notices that are due for an attempt, the most pressing and oldest first."""
        with self._connect() as connection:
            rows = connection.execute(_NOTICES_DUE, (to_us(now),)).fetchall()
        return sorted(map(_notice, rows), key=lambda row: (row.priority.rank, row.id))

    def notices(self, alarm: int | None = None) -> list[NoticeRow]:
        """All notices, or those that speak of one alarm, in order of id."""
        with self._connect() as connection:
            if alarm is None:
                rows = connection.execute(f"{_NOTICES} ORDER BY id").fetchall()
            else:
                rows = connection.execute(_NOTICES_OF, (alarm,)).fetchall()
        return [_notice(row) for row in rows]

    def notice(self, number: int) -> NoticeRow | None:
        """One notice, or None."""
        with self._connect() as connection:
            row = connection.execute(f"{_NOTICES} WHERE id = ?", (number,)).fetchone()
        return None if row is None else _notice(row)

    def quarantined(self, limit: int) -> list[Quarantined]:
        """The newest refused messages, the newest first."""
        with self._connect() as connection:
            rows = connection.execute(
                "SELECT id, at_us, topic, reason, payload, size FROM quarantine"
                " ORDER BY id DESC LIMIT ?",
                (limit,),
            ).fetchall()
        return [Quarantined(row, from_us(at), *rest) for row, at, *rest in rows]

    def counters(self) -> dict[str, int]:
        """Everything that is counted for good, by name."""
        with self._connect() as connection:
            rows = connection.execute(
                "SELECT name, value FROM counter ORDER BY name"
            ).fetchall()
        return dict(rows)

    def done(self) -> dict[str, datetime]:
        """What comes once a period and was done, by key."""
        with self._connect() as connection:
            rows = connection.execute("SELECT key, at_us FROM done").fetchall()
        return {key: from_us(at) for key, at in rows}

    def made_at(self) -> datetime | None:
        """When this store was first written to; None while it is empty."""
        with self._connect() as connection:
            row = connection.execute("SELECT min(at_us) FROM configuration").fetchone()
        return None if row[0] is None else from_us(row[0])

    def configuration(self, digest: str) -> Configuration | None:
        """A configuration by its hash; None if it was never accepted."""
        with self._connect() as connection:
            row = connection.execute(
                "SELECT hash, at_us, body FROM configuration WHERE hash = ?", (digest,)
            ).fetchone()
        return Configuration(row[0], from_us(row[1]), row[2]) if row else None

    def account_days(self, cohort: int) -> list[AccountDay]:
        """The cached account of a cohort, in order of day."""
        with self._connect() as connection:
            rows = connection.execute(
                "SELECT stage, day, body FROM account_day WHERE cohort = ?"
                " ORDER BY day, stage",
                (cohort,),
            ).fetchall()
        return [
            AccountDay(cohort, stage, from_day(day), body) for stage, day, body in rows
        ]

    def stale_days(self) -> list[StaleDay]:
        """From which days on accounts must be made anew."""
        with self._connect() as connection:
            rows = connection.execute(
                "SELECT cohort, day, mark FROM stale_day ORDER BY cohort, day"
            ).fetchall()
        return [StaleDay(cohort, from_day(day), mark) for cohort, day, mark in rows]

    def backup(self, to: Path) -> None:
        """
        Copy the store to *to* in one step: checked, durable, then named (Q5).

        Raises:
            StoreFullError: If there is no room for the copy.
            StoreError: If the copy cannot be made or is not sound.
        """
        with self._connect() as connection:
            back_up(connection, to)


def _notice(row: tuple[Any, ...]) -> NoticeRow:
    number, keeper, why, priority, alarms, created, *words, state = row[:12]
    subject, short, long, html, pictures = words
    channel, attempts, next_try, sent, last_error = row[12:]
    return NoticeRow(
        id=number,
        keeper=keeper,
        why=why,
        priority=Priority(priority),
        alarms=_ids.decode(alarms),
        created=from_us(created),
        subject=subject,
        short=short,
        long=long,
        html=html,
        pictures=pictures,
        state=state,
        channel=channel,
        attempts=attempts,
        next_try=None if next_try is None else from_us(next_try),
        sent_at=None if sent is None else from_us(sent),
        last_error=last_error,
    )
