"""Alarms that came beside those that would have come."""

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from typing import Literal

import msgspec

from monitor.alarms.alarm import Alarm
from monitor.heart.events import AlarmChanged

Mark = Literal["same", "only then", "only now"]

NEVER = datetime.max.replace(tzinfo=UTC)


class Occurrence(msgspec.Struct, frozen=True):
    """
    One time that an alarm stood, from its coming until it was over.

    Attributes:
        alarm: As it was when it came.
        at: When it came, delays included.
        over_at: When it was over; None while it stands.
        covered: Another alarm told of it.
    """

    alarm: Alarm
    at: datetime
    over_at: datetime | None = None
    covered: bool = False

    def meets(self, since: datetime, until: datetime) -> bool:
        """Whether it stood at some time between two instants, both in."""
        return self.at <= until and since <= (self.over_at or NEVER)


class Compared(msgspec.Struct, frozen=True):
    """
    What came then beside what came now.

    Attributes:
        mark: "same" where both stood at one time, however long.
        then: As the store has it.
        now: As the replay has it.
    """

    mark: Mark
    then: Occurrence | None
    now: Occurrence | None

    @property
    def at(self) -> datetime:
        """When the first of the two came."""
        return min(o.at for o in (self.then, self.now) if o is not None)


def occurrences(changes: Iterable[AlarmChanged]) -> list[Occurrence]:
    """
    Find every time that an alarm stood.

    An alarm that nobody answers keeps its number and may come again.

    Args:
        changes: Of one alarm, in order.
    """
    found: list[Occurrence] = []
    active = False
    for change in changes:
        alarm = change.alarm
        if alarm.active and not active:
            found.append(Occurrence(alarm, change.at))
        elif active and not alarm.active:
            found[-1] = msgspec.structs.replace(found[-1], over_at=change.at)
        elif active and alarm.covered_by is not None:
            found[-1] = msgspec.structs.replace(found[-1], covered=True)
        active = alarm.active
    return found


def compare(
    then: Iterable[Occurrence], now: Iterable[Occurrence]
) -> tuple[Compared, ...]:
    """Pair what is the same alarm and stood at one time; in order of time."""
    waiting = sorted(now, key=lambda o: o.at)
    found: list[Compared] = []
    for old in sorted(then, key=lambda o: o.at):
        new = _partner(old, waiting)
        if new is None:
            found.append(Compared("only then", old, None))
        else:
            waiting.remove(new)
            found.append(Compared("same", old, new))
    found += [Compared("only now", None, new) for new in waiting]
    return tuple(sorted(found, key=lambda c: c.at))


def _partner(old: Occurrence, waiting: Sequence[Occurrence]) -> Occurrence | None:
    over = old.over_at or NEVER
    for new in waiting:
        if new.alarm.key == old.alarm.key and new.meets(old.at, over):
            return new
    return None
