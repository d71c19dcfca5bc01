"""What the store holds of a time, for a replay."""

from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta
from heapq import merge

import msgspec

from monitor.alarms.perhaps import PerhapsSince, perhaps_at, within
from monitor.clock import from_us
from monitor.explain.comparing import Compared, Occurrence, compare, occurrences
from monitor.explain.replaying import WARM_UP, Replayed, Word, replay, said
from monitor.heart.events import AlarmChanged, NoticeWanted, Reading, Signal
from monitor.site.journal import Entry
from monitor.site.load import Configuration
from monitor.store.piece import Times, Values
from monitor.store.reader import Reader
from monitor.store.reading_queries import as_reading
from monitor.store.rows import NoticeRow

MICROSECOND = timedelta(microseconds=1)
LATER = timedelta(minutes=1)
"""A change that the last reading made is written a moment after it was measured."""


class Past(msgspec.Struct, frozen=True):
    """
    What happened in a time and shortly before.

    Attributes:
        begin: Where the first reading lies, at most `WARM_UP` before the time.
        start: Of the time asked about.
        end: Of the time asked about, or the newest that the store knows of it.
        entries: The whole journal.
        series: Readings by (sensor, quantity).
        changes: What happened to each alarm, from its beginning.
        words: Answers and states of the system.
        notices: That were made in the time.
        taken: What cohorts were taken to be perhaps in, then and `WARM_UP` before.
    """

    begin: datetime
    start: datetime
    end: datetime
    entries: tuple[Entry, ...]
    series: Mapping[tuple[str, str], tuple[Times, Values]]
    changes: tuple[tuple[AlarmChanged, ...], ...]
    words: tuple[Word | Signal, ...]
    notices: tuple[NoticeRow, ...]
    taken: tuple[PerhapsSince, ...] = ()

    @property
    def perhaps(self) -> bool:
        """Whether any cohort was taken to be perhaps in a stage in what is played."""
        held = perhaps_at(self.taken, self.begin)
        return bool(held) or any(
            change.stages and self.begin < change.at <= self.end
            for change in self.taken
        )

    def readings(self) -> Iterator[Reading]:
        """All readings in order of time."""
        return merge(*map(self._of, self.series), key=lambda r: r.time)

    def _of(self, key: tuple[str, str]) -> Iterator[Reading]:
        times, values = self.series[key]
        for us, value in zip(times.tolist(), values.tolist(), strict=True):
            yield as_reading(*key, us, value)


class WhatIf(msgspec.Struct, frozen=True):
    """
    A replay beside what came.

    Attributes:
        compared: Every alarm that stood in the time, then or now.
        notices_then: Notices of the time as the store has them.
        notices_now: Notices that the replay wants in the time.
        readings: How many readings were played, the warm-up included.
    """

    compared: tuple[Compared, ...]
    notices_then: tuple[NoticeRow, ...]
    notices_now: tuple[NoticeWanted, ...]
    readings: int


def past(reader: Reader, start: datetime, end: datetime) -> Past:
    """
    Read all that a replay needs, from one state of the store.

    Args:
        reader: The store.
        start: Of the time asked about. UTC.
        end: Of the time asked about. UTC.
    """
    since = start - WARM_UP
    with reader.snapshot() as store:
        entries = tuple(store.entries())
        taken = within(store.perhaps(), since, end)
        series = {
            (row.sensor, row.quantity): store.readings(
                row.sensor, row.quantity, since, end + MICROSECOND
            )
            for row in store.series()
        }
        changes = tuple(
            tuple(store.alarm_changes(alarm.id))
            for alarm in store.alarms()
            if alarm.raised_at <= end
            and (alarm.closed_at is None or alarm.closed_at >= since)
        )
        notices = tuple(n for n in store.notices() if start <= n.created <= end)
    edges = [t for times, _ in series.values() if times.size for t in times[[0, -1]]]
    known = [from_us(int(t)) for t in edges]
    known += [c.at for changed in changes for c in changed if since <= c.at <= end]
    # before the first reading nobody was silent, and after the last nobody watched
    begin = max(min(known, default=start) - MICROSECOND, since)
    last = min(max(known, default=end) + LATER, end)
    return Past(
        begin,
        start,
        max(last, start),
        entries,
        series,
        changes,
        tuple(_words(changes, begin)),
        notices,
        taken,
    )


def _words(
    changes: tuple[tuple[AlarmChanged, ...], ...], begin: datetime
) -> Iterator[Word | Signal]:
    """What comes after the beginning, and states of the system that hold at it."""
    for changed in changes:
        words = said(changed)
        held = [w for w in words if isinstance(w, Signal) and w.at <= begin]
        if held and held[-1].active:
            yield held[-1]
        yield from (w for w in words if w.at > begin)


def what_if(then: Past, configuration: Configuration) -> WhatIf:
    """Replay a time under a configuration, and compare."""
    made = replay(
        configuration,
        then.entries,
        then.readings(),
        then.words,
        begin=then.begin,
        end=then.end,
        taken=then.taken,
    )
    return WhatIf(
        compare(_within(then.changes, then), _within(made.changes, then)),
        then.notices,
        _notices(made, then),
        made.readings,
    )


def _within(
    changes: tuple[tuple[AlarmChanged, ...], ...], then: Past
) -> list[Occurrence]:
    return [
        found
        for changed in changes
        for found in occurrences(changed)
        if found.meets(then.start, then.end)
    ]


def _notices(made: Replayed, then: Past) -> tuple[NoticeWanted, ...]:
    return tuple(n for n in made.notices if then.start <= n.at <= then.end)
