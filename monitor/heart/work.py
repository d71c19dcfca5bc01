"""The bench of one step: copies that it may change, and the records that it makes."""

from datetime import datetime

import msgspec

from monitor.alarms.alarm import Alarm, AlarmState
from monitor.alarms.life import (
    SILENT_STATES,
    covering,
    moved,
    raised,
    updated,
)
from monitor.alarms.registry import LISTENING, ONCE
from monitor.alarms.states import Move
from monitor.alarms.verdict import Verdict
from monitor.heart.events import AlarmChanged, Answer, Record, Refused
from monitor.heart.state import State

replace = msgspec.structs.replace


class Work:
    """
    What one step changes.

    Attributes:
        rung: Alarms that ask for a keeper now, with the reason.
        over: Alarms that ended now and somebody was told of.
        missed: (keeper, alarm) that no channel could reach.
    """

    def __init__(self, state: State) -> None:
        self.plan = state.plan
        self.series = dict(state.series)
        self.timers = dict(state.timers)
        self.alarms = dict(state.alarms)
        self.core = state.core
        self.records: list[Record] = []
        self.rung: dict[int, str] = {}
        self.over: list[Alarm] = []
        self.missed: set[tuple[str, int]] = set()
        self._by_key = {a.key: a.id for a in self.alarms.values()}

    def finished(self) -> tuple[State, tuple[Record, ...]]:
        """The new state and the records."""
        state = State(self.plan, self.series, self.timers, self.alarms, self.core)
        return state, tuple(self.records)

    def has(self, thing: str, kind: str, quantity: str | None) -> Alarm | None:
        """The live alarm of this key, if any."""
        found = self._by_key.get((thing, kind, quantity or ""))
        return None if found is None else self.alarms[found]

    def keep(
        self, alarm: Alarm, event: str, at: datetime, by: str = "", note: str = ""
    ) -> None:
        """Store an alarm as it is now, and say so in a record."""
        self.records.append(AlarmChanged(at, alarm, event, by, note))
        if alarm.state is AlarmState.NORMAL:
            self.alarms.pop(alarm.id, None)
            self._by_key.pop(alarm.key, None)
        else:
            self.alarms[alarm.id] = alarm
            self._by_key[alarm.key] = alarm.id

    def move(
        self,
        alarm: Alarm,
        move: Move,
        at: datetime,
        *,
        by: str = "",
        note: str = "",
        why: str = "",
    ) -> bool:
        """Carry out a move of the standard; False where there is no such move."""
        after = moved(alarm, move, at)
        if after is None:
            return False
        if move is Move.ACKNOWLEDGE:
            after = replace(
                after, answered_by=by, answered_at=at, answered_value=alarm.value
            )
        self.keep(after, move.value, at, by, note)
        if after.state is AlarmState.UNACKNOWLEDGED:
            self.rung[after.id] = why or "raised"
        else:
            self.rung.pop(after.id, None)
        if move is Move.RETURN and alarm.told and alarm.kind not in ONCE:
            self.over.append(after)
        return True

    def refuse(self, answer: Answer, reason: str) -> None:
        """Say why an answer is not carried out."""
        self.records.append(Refused(answer.at, answer.alarm, reason))

    def apply(self, verdict: Verdict, at: datetime) -> None:
        """Let a verdict act on the alarm of its key."""
        alarm = self.has(verdict.thing, verdict.kind, verdict.quantity)
        if alarm is None:
            if verdict.active:
                self._raise(verdict, at)
            return
        alarm = updated(alarm, verdict)
        self.alarms[alarm.id] = alarm
        if verdict.active and not alarm.active:
            self._became_active(alarm, at)
        elif not verdict.active and alarm.active:
            self._became_quiet(alarm, at)
        elif verdict.active and verdict.priority.rank < alarm.priority.rank:
            self._worsened(replace(alarm, priority=verdict.priority), at)

    def _raise(self, verdict: Verdict, at: datetime) -> None:
        alarm = raised(verdict, self.core.next_alarm, at, self.plan.configuration)
        self.core = replace(self.core, next_alarm=alarm.id + 1)
        self.keep(alarm, Move.ABNORMAL.value, at)
        self.rung[alarm.id] = "raised"
        above = covering(self.alarms, alarm)
        if above is not None:
            self.move(replace(alarm, covered_by=above.id), Move.SUPPRESS, at)
        self._cover_others(alarm, at)

    def _cover_others(self, alarm: Alarm, at: datetime) -> None:
        for other in list(self.alarms.values()):
            if other.state in SILENT_STATES or other.id == alarm.id:
                continue
            above = covering(self.alarms, other)
            if above is not None and above.id == alarm.id:
                self.move(replace(other, covered_by=alarm.id), Move.SUPPRESS, at)

    def _became_active(self, alarm: Alarm, at: datetime) -> None:
        alarm = replace(alarm, active=True, over_at=None)
        if alarm.state in SILENT_STATES:
            self.keep(alarm, "active again", at)
            return
        above = covering(self.alarms, alarm)
        if above is not None:
            self.move(replace(alarm, covered_by=above.id), Move.SUPPRESS, at)
            return
        self.move(alarm, Move.ABNORMAL, at)
        self._cover_others(alarm, at)

    def _became_quiet(self, alarm: Alarm, at: datetime) -> None:
        alarm = replace(alarm, active=False, over_at=at)
        if alarm.state in SILENT_STATES:
            # still shelved, covered or out of service; nothing to tell
            self.keep(alarm, "no longer active", at)
        else:
            self.move(alarm, Move.RETURN, at)
        for other in list(self.alarms.values()):
            if other.covered_by == alarm.id:
                self._uncover(other, alarm, at)

    def _uncover(self, other: Alarm, above: Alarm, at: datetime) -> None:
        self.move(other, Move.UNSUPPRESS, at)
        freed = self.alarms.get(other.id)
        if freed is not None and above.answered_by:
            # whoever answered for the danger answered for this as well
            self.move(freed, Move.ACKNOWLEDGE, at, by=above.answered_by)

    def _worsened(self, alarm: Alarm, at: datetime) -> None:
        if alarm.state is AlarmState.ACKNOWLEDGED:
            self.alarms[alarm.id] = alarm
            self.move(alarm, Move.REALARM, at, why="worse")
            return
        self.keep(alarm, "worse", at)
        if alarm.state is AlarmState.UNACKNOWLEDGED:
            self.rung[alarm.id] = "worse"

    def forget_sensors(self, known: set[str], at: datetime) -> None:
        """End alarms about sensors that are no longer declared."""
        kinds = {c.id for c in LISTENING}
        for alarm in list(self.alarms.values()):
            if alarm.kind in kinds and alarm.thing not in known and alarm.active:
                self._became_quiet(alarm, at)
