"""What the keepers did in eighteen months, and how the step met it."""

from datetime import UTC, datetime, timedelta
from heapq import merge

import msgspec

from monitor.alarms.plan import make_plan
from monitor.clock import from_us
from monitor.heart.events import (
    AlarmChanged,
    Answer,
    NoticeWanted,
    PlanChanged,
    Reading,
    Readings,
    Started,
    Tick,
)
from monitor.heart.state import State
from monitor.heart.step import step
from monitor.site.house import fold
from monitor.site.journal import (
    CohortAdvanced,
    CohortCounted,
    CohortEnded,
    CohortMoved,
    CohortStarted,
    Count,
    Entry,
    PlaceCreated,
    PlaceMoved,
    ProbeMoved,
)
from monitor.site.words import CountKind, PlaceKind
from tests.life.house import (
    BEGIN,
    CURTAIN_OPEN,
    END,
    HELD_BACK,
    PROBE,
    SILENT,
    SPECIES,
    TICK,
)


def utc(year, month, day, hour=9, at_minute=0):
    return datetime(year, month, day, hour, at_minute, tzinfo=UTC)


LAID = utc(2025, 4, 14)
HATCHED = (utc(2025, 5, 10), utc(2025, 5, 12))
TO_TUB = utc(2025, 5, 12, 9, 30)
MOULTED = (utc(2025, 6, 28), utc(2025, 6, 30))
TO_SHELF_B = utc(2025, 7, 20)
MOULTED_AGAIN = (utc(2025, 8, 23), utc(2025, 8, 25))
TUB_7 = utc(2025, 8, 30)
TO_TUB_7, TYPED = utc(2025, 9, 1), utc(2025, 9, 3)
PUPATED = (utc(2026, 5, 3), utc(2026, 5, 25))
"""Last seen as larva, found as pupa: the prepupa was never seen."""
TO_SHELF_C = PUPATED[1]
ECLOSED = (utc(2026, 6, 22), utc(2026, 7, 6))
CAME_UP = (utc(2026, 8, 30), utc(2026, 9, 1))
SHOWN = utc(2026, 10, 12)


def half_way(span):
    """When a change between two visits is taken to have happened."""
    return span[0] + (span[1] - span[0]) / 2


def found(stage, span, *, seen=True):
    return CohortAdvanced(1, stage, seen=seen, not_before=span[0])


def counted(number, kind=CountKind.COUNTED):
    return CohortCounted(1, Count(kind, number))


def tub(place, parent):
    return PlaceCreated(place, PlaceKind.REARING, parent)


def journal():
    """Every entry; only the move of 1 September was typed late."""
    eggs = Count(CountKind.ESTIMATE, 30)
    told = [
        (LAID, CohortStarted(1, SPECIES, "egg", eggs, "incubator-1")),
        (HATCHED[1], found("L1", HATCHED)),
        (HATCHED[1], counted(24, CountKind.AT_LEAST)),
        (TO_TUB, tub("tub-1", "warm-room-a")),
        (TO_TUB, CohortMoved(1, "tub-1")),
        (MOULTED[1], found("L2", MOULTED)),
        (MOULTED[1], counted(22)),
        (TO_SHELF_B, PlaceMoved("tub-1", "warm-room-b")),
        (MOULTED_AGAIN[1], found("L3", MOULTED_AGAIN)),
        (TUB_7, tub("tub-7", "warm-room-b")),
        (TUB_7, ProbeMoved("tub-probe", "tub-7")),
        (TO_TUB_7, CohortMoved(1, "tub-7")),
        (utc(2025, 11, 15), counted(20)),
        (PUPATED[1], found("prepupa", PUPATED, seen=False)),
        (PUPATED[1], found("pupa", PUPATED)),
        (PUPATED[1], counted(17, CountKind.AT_LEAST)),
        (TO_SHELF_C, PlaceMoved("tub-7", "warm-room-c")),
        (TO_SHELF_C, ProbeMoved("tub-probe", "bench")),
        (ECLOSED[1], found("resting-adult", ECLOSED)),
        (CAME_UP[1], found("feeding-adult", CAME_UP)),
        (CAME_UP[1], tub("tub-9", "warm-room-a")),
        (CAME_UP[1], CohortMoved(1, "tub-9")),
        (CAME_UP[1], counted(15)),
        (SHOWN, CohortEnded(1, "exhibited")),
    ]
    late = {TO_TUB_7: TYPED}
    entries = [Entry(at, late.get(at, at), "ines", fact) for at, fact in told]
    entries.sort(key=lambda e: e.entered_at)
    return tuple(
        msgspec.structs.replace(entry, id=row) for row, entry in enumerate(entries, 1)
    )


WORDS = (
    # by Ada in the night, and by Tom when it rang again and the heater was changed
    (utc(2026, 1, 15, 0, 50), "acknowledge", "ada", None),
    (utc(2026, 1, 15, 3, 15), "acknowledge", "tom", None),
    # the battery comes with tomorrow's post
    (SILENT[0] + timedelta(minutes=125), "shelve", "tom", timedelta(hours=23)),
)
"""(when, what, who, how long set aside): each to the one alarm that stands then."""


def is_late(sensor, at):
    """Whether a reading was held back for a day."""
    return sensor == "shelf-a-air" and CURTAIN_OPEN[0] < at < CURTAIN_OPEN[1]


def is_lost(sensor, at):
    """Whether a reading was never sent."""
    return sensor == "shelf-c-air" and SILENT[0] < at < SILENT[1]


def recorded(series):
    """Every reading that ever arrived, in order of time."""
    rows = (
        [
            Reading(sensor, PROBE[sensor][1], at, value)
            for us, value in zip(times.tolist(), values.tolist(), strict=True)
            if not is_lost(sensor, at := from_us(us))
        ]
        for sensor, (times, values) in series.items()
    )
    return list(merge(*rows, key=lambda r: r.time))


class Live:
    """The step as the daemon drives it, and everything that came out of it."""

    def __init__(self, configuration, entries):
        self.configuration, self.entries = configuration, entries
        self.state = State(self.plan(BEGIN))
        self.records = []
        self.happen(Started(BEGIN))

    def plan(self, at):
        """What must be watched, by what was entered until then."""
        known = [e for e in self.entries if e.entered_at <= at]
        made = self.configuration
        house = fold(made.site, known)
        return make_plan(made.site, made.library, house, configuration=made.hash)

    def happen(self, event):
        """One event."""
        self.state, made = step(self.state, event)
        self.records += made

    def answer(self, word):
        """A keeper's word on the one alarm that stands."""
        at, verb, by, aside = word
        [alarm] = self.state.alarms
        self.happen(Answer(at, alarm, verb, by, until=aside and at + aside))

    def run(self, readings, begin=BEGIN, end=END):
        """Let everything happen that arrives later than *begin*, up to *end*."""
        arrivals = {}
        for reading in readings:
            late = is_late(reading.sensor, reading.time)
            at = HELD_BACK if late else reading.time
            if begin < at <= end:
                arrivals.setdefault(at, []).append(reading)
        for at in (e.entered_at for e in self.entries):
            arrivals.setdefault(at, [])
        words = {word[0]: word for word in WORDS}
        ticks = {begin + n * TICK for n in range(1, (end - begin) // TICK + 1)}
        entered = {e.entered_at for e in self.entries}
        for at in sorted(ticks | arrivals.keys() | words.keys()):
            if not begin < at <= end:
                continue
            if at in entered:
                self.happen(PlanChanged(at, self.plan(at)))
            if arrivals.get(at):
                self.happen(Readings(at, tuple(arrivals[at])))
            if at in ticks:
                self.happen(Tick(at))
            if at in words:
                self.answer(words[at])
        return self

    def changes(self):
        """(when, alarm, what happened) of every change that is no told notice."""
        return [
            (r.at, r.alarm.id, r.event)
            for r in self.records
            if isinstance(r, AlarmChanged) and r.event != "told"
        ]

    def alarms(self):
        """Every alarm as it was raised, in order."""
        return [
            r.alarm
            for r in self.records
            if isinstance(r, AlarmChanged) and r.event == "abnormal condition"
        ]

    def notices(self, alarm):
        """(when, keeper, why) of every notice about an alarm."""
        return [
            (r.at, r.keeper, r.why)
            for r in self.records
            if isinstance(r, NoticeWanted) and alarm in r.alarms
        ]
