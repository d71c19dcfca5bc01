"""The step driven once more over what was recorded: what would have come."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime, timedelta
from heapq import merge
from itertools import groupby

import msgspec

from monitor.alarms.conditions.silence import silent_after
from monitor.alarms.perhaps import PerhapsSince, perhaps_at
from monitor.alarms.plan import Plan, make_plan
from monitor.alarms.registry import CONDITIONS
from monitor.clock import EPOCH
from monitor.explain.evidence import VERBS
from monitor.heart.drive import TICK, play
from monitor.heart.events import (
    AlarmChanged,
    Answer,
    Event,
    NoticeWanted,
    PlanChanged,
    Reading,
    Readings,
    Signal,
    Started,
    Tick,
)
from monitor.heart.state import State
from monitor.site.house import fold
from monitor.site.journal import Entry
from monitor.site.load import Configuration

WARM_UP = timedelta(hours=26)
"""Readings are played from so long before the beginning, to know what stood then."""

NEVER = datetime.max.replace(tzinfo=UTC)

Key = tuple[str, str, str]


class Word(msgspec.Struct, frozen=True):
    """A keeper's answer that was given, and to which alarm."""

    at: datetime
    key: Key
    answer: Answer


Input = Reading | Word | Signal


class Replayed(msgspec.Struct, frozen=True):
    """
    What came of a replay.

    Attributes:
        changes: Everything that happened to each alarm, in order of raising.
        notices: Every notice that was wanted.
        readings: How many readings were played.
    """

    changes: tuple[tuple[AlarmChanged, ...], ...]
    notices: tuple[NoticeWanted, ...]
    readings: int


def said(changes: Iterable[AlarmChanged]) -> list[Word | Signal]:
    """
    Turn what happened to an alarm into what may happen in a replay.

    Answers of keepers come again, and so do the states of the system, which no
    reading shows.

    Args:
        changes: Of one alarm, in order.
    """
    found: list[Word | Signal] = []
    active = False
    for change in changes:
        alarm = change.alarm
        if alarm.thing == "system" and alarm.kind in CONDITIONS:
            if alarm.active is not active:
                signal = Signal(
                    change.at, alarm.kind, active=alarm.active, detail=alarm.detail
                )
                found.append(signal)
            active = alarm.active
        if change.by and change.event in VERBS:
            answer = Answer(
                change.at,
                alarm.id,
                VERBS[change.event],
                change.by,
                until=alarm.set_aside_until,
                note=change.note,
            )
            found.append(Word(change.at, alarm.key, answer))
    return found


def replay(
    configuration: Configuration,
    entries: Sequence[Entry],
    readings: Iterable[Reading],
    words: Iterable[Word | Signal],
    *,
    begin: datetime,
    end: datetime,
    taken: Sequence[PerhapsSince] = (),
    tick: timedelta = TICK,
) -> Replayed:
    """
    Let readings, journal and answers happen again.

    Args:
        configuration: What they are judged by.
        entries: The whole journal; each counts from when it was entered.
        readings: In order of time, from *begin* on.
        words: Of keepers and of the system, in any order.
        begin: Where it starts, `WARM_UP` before what is asked about. UTC.
        end: Where it stops. UTC.
        taken: What cohorts were taken to be perhaps in, in the order of taking; each
            counts from its instant, as it did then.
        tick: How far ticks lie apart, a whole multiple of 10 s.
    """
    past = _Past(configuration, entries, taken)
    state = State(past.plan(begin))
    playing = _Playing(state, begin, tick)
    playing.happen([Started(begin)])
    later = sorted(words, key=lambda w: w.at)
    inputs: Iterator[tuple[datetime, Input | PlanChanged]] = merge(
        past.plans(begin, end),
        ((r.time, r) for r in readings),
        ((max(w.at, begin), w) for w in later),
        key=lambda pair: pair[0],
    )
    for at, together in groupby(inputs, key=lambda pair: pair[0]):
        if at > end:
            break
        playing.wait(at - timedelta(microseconds=1))
        playing.meet(at, [one for _, one in together])
    playing.wait(end)
    return Replayed(
        tuple(tuple(found) for found in playing.changes.values()),
        tuple(playing.notices),
        playing.readings,
    )


class _Past:
    """What was known at each instant of what had to be watched."""

    def __init__(
        self,
        configuration: Configuration,
        entries: Sequence[Entry],
        taken: Sequence[PerhapsSince],
    ) -> None:
        self._configuration = configuration
        self._entries, self._taken = entries, taken

    def plan(self, at: datetime) -> Plan:
        """The plan of an instant."""
        known = [e for e in self._entries if e.entered_at <= at]
        house = fold(self._configuration.site, known)
        return make_plan(
            self._configuration.site,
            self._configuration.library,
            house,
            configuration=self._configuration.hash,
            perhaps=perhaps_at(self._taken, at),
        )

    def plans(
        self, begin: datetime, end: datetime
    ) -> Iterator[tuple[datetime, PlanChanged]]:
        """Each change of plan after the beginning."""
        told = [e.entered_at for e in self._entries] + [t.at for t in self._taken]
        for at in sorted({at for at in told if begin < at <= end}):
            yield at, PlanChanged(at, self.plan(at))


class _Playing:
    """A replay on its way."""

    def __init__(self, state: State, begin: datetime, tick: timedelta) -> None:
        self.state = state
        self.changes: dict[int, list[AlarmChanged]] = {}
        self.notices: list[NoticeWanted] = []
        self.readings = 0
        self._tick, self._next = tick, _first_tick(begin, tick)
        self._heard_until = begin

    def happen(self, events: Iterable[Event]) -> None:
        """Let events happen and keep what came of them."""
        self.state, records = play(self.state, events)
        for record in records:
            if isinstance(record, AlarmChanged):
                self.changes.setdefault(record.alarm.id, []).append(record)
            elif isinstance(record, NoticeWanted):
                self.notices.append(record)

    def meet(self, at: datetime, together: Sequence[Input | PlanChanged]) -> None:
        """Let everything of one instant happen, in the order of a live daemon."""
        self.happen(one for one in together if isinstance(one, PlanChanged | Signal))
        readings = tuple(one for one in together if isinstance(one, Reading))
        if readings:
            self.readings += len(readings)
            self.happen([Readings(at, readings)])
        for one in together:
            if isinstance(one, Word):
                self._answer(one)
            elif not isinstance(one, Reading):
                self._heard_until = at

    def _answer(self, word: Word) -> None:
        """Give the answer to the alarm of the same key, if there is one now too."""
        for alarm in self.state.alarms.values():
            if alarm.key == word.key:
                answer = msgspec.structs.replace(word.answer, alarm=alarm.id)
                self.happen([answer])
                return

    def wait(self, until: datetime) -> None:
        """Let ticks pass up to an instant, without those that can do nothing."""
        while self._next <= until:
            if self._idle():
                self._next = _first_tick(min(self._heard_until, until), self._tick)
            else:
                self.happen([Tick(self._next)])
                self._next += self._tick

    def _idle(self) -> bool:
        """Whether the next tick can do nothing."""
        state = self.state
        if state.timers or state.alarms or state.core.signals:
            return False
        if self._next > self._heard_until:
            self._heard_until = heard_until(state)
        return self._next <= self._heard_until


def _first_tick(after: datetime, tick: timedelta) -> datetime:
    return EPOCH + ((after - EPOCH) // tick + 1) * tick


def heard_until(state: State) -> datetime:
    """
    Tell up to when no sensor can be silent; further readings only move it back.

    Where no limit runs and no alarm is open, ticks up to then can do nothing.
    """
    quiet_from = state.core.quiet_from
    until = NEVER
    for key, rule in state.plan.sensors.items():
        heard = state.series.get(key)
        known = [t for t in (quiet_from, heard.time if heard else None) if t]
        if known:
            until = min(until, max(known) + silent_after(rule.interval))
    return until
