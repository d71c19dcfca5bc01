"""What enters the pure step and what comes out of it."""

from datetime import datetime, timedelta
from typing import Literal

import msgspec

from monitor.alarms.alarm import Alarm
from monitor.alarms.perhaps import PerhapsSince
from monitor.alarms.plan import Plan
from monitor.site.words import Priority


class Reading(msgspec.Struct, frozen=True):
    """
    One value of one series, in its canonical unit.

    Attributes:
        sensor: The sensor, or "hand-<place>".
        quantity: What it measures (a `Quantity` value).
        time: When it was measured. UTC.
        value: In the canonical unit of the quantity; always finite.
        by_hand: A person read it: judged at once, never by silence.
    """

    sensor: str
    quantity: str
    time: datetime
    value: float
    by_hand: bool = False


class Readings(msgspec.Struct, frozen=True):
    """A batch of readings that arrived together, each series in order of time."""

    at: datetime
    readings: tuple[Reading, ...]


class Tick(msgspec.Struct, frozen=True):
    """Time passed: a whole multiple of 10 s."""

    at: datetime


class Answer(msgspec.Struct, frozen=True):
    """A keeper's word on an alarm."""

    at: datetime
    alarm: int
    verb: Literal["acknowledge", "shelve", "unshelve", "out-of-service", "return"]
    by: str
    until: datetime | None = None
    note: str = ""


class Signal(msgspec.Struct, frozen=True):
    """
    A condition of the system itself began or ended.

    Attributes:
        kind: A system condition of the registry, such as "broker-gone".
        active: Whether it holds.
        detail: Words for the keeper.
    """

    at: datetime
    kind: str
    active: bool
    detail: str = ""


class ClockStepped(msgspec.Struct, frozen=True):
    """The wall clock was set; *at* is the new time, *by* the difference."""

    at: datetime
    by: timedelta


class PlanChanged(msgspec.Struct, frozen=True):
    """An entry, a configuration or the forecast changed what must be watched."""

    at: datetime
    plan: Plan


class Started(msgspec.Struct, frozen=True):
    """The daemon started: silence before this is not the sensors'."""

    at: datetime


class NotTold(msgspec.Struct, frozen=True):
    """A keeper could not be reached by any channel: the next one is told at once."""

    at: datetime
    keeper: str
    alarms: tuple[int, ...]


Event = (
    Readings | Tick | Answer | Signal | ClockStepped | PlanChanged | Started | NotTold
)


class AlarmChanged(msgspec.Struct, frozen=True):
    """An alarm as it stands after a change of state or of what it says."""

    at: datetime
    alarm: Alarm
    event: str
    by: str = ""
    note: str = ""


class NoticeWanted(msgspec.Struct, frozen=True):
    """
    A keeper must be told.

    Attributes:
        at: When it was decided.
        keeper: Whom to tell.
        why: "raised", "worse", "again", "escalated", "over".
        alarms: Ids, the most pressing first.
        priority: Of the most pressing.
    """

    at: datetime
    keeper: str
    why: str
    alarms: tuple[int, ...]
    priority: Priority


class Refused(msgspec.Struct, frozen=True):
    """An answer that the rules do not allow, in words."""

    at: datetime
    alarm: int
    reason: str


Record = AlarmChanged | NoticeWanted | Refused | PerhapsSince
