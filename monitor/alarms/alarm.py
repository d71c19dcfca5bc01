"""An alarm: the state of one thing and of one kind, with all that a keeper asks."""

import enum
from datetime import datetime, timedelta

import msgspec

from monitor.site.words import Priority, Quantity


class AlarmState(enum.StrEnum):
    """States of ANSI/ISA-18.2-2016, figure of alarm state transitions (A to G)."""

    NORMAL = "normal"  # A
    UNACKNOWLEDGED = "unacknowledged"  # B
    ACKNOWLEDGED = "acknowledged"  # C
    RETURNED = "returned-unacknowledged"  # D
    SHELVED = "shelved"  # E
    SUPPRESSED = "suppressed-by-design"  # F
    OUT_OF_SERVICE = "out-of-service"  # G


SAID = {
    AlarmState.NORMAL: "over",
    AlarmState.UNACKNOWLEDGED: "standing",
    AlarmState.ACKNOWLEDGED: "answered",
    AlarmState.RETURNED: "over but unanswered",
    AlarmState.SHELVED: "set aside",
    AlarmState.SUPPRESSED: "covered by another alarm",
    AlarmState.OUT_OF_SERVICE: "taken out of use",
}
"""The keeper's word for each state."""


class Side(enum.StrEnum):
    """On which side of its limits a value lies."""

    BELOW = "below"
    ABOVE = "above"


class Dweller(msgspec.Struct, frozen=True):
    """
    A cohort that an alarm puts at risk, as a keeper must know it.

    Attributes:
        stage: Its stage as far as anybody has seen.
        acts: What may be done; where it may be in later stages, what all allow.
        caution: Of the stage, and of those that it may be in.
        perhaps: Unseen later stages that it may be in.
    """

    cohort: int
    species: str
    stage: str
    count: str
    place: str
    acts: tuple[str, ...] = ()
    caution: str | None = None
    perhaps: tuple[str, ...] = ()


class Told(msgspec.Struct, frozen=True):
    """A keeper who was sent word, and when."""

    keeper: str
    at: datetime
    why: str


class Alarm(msgspec.Struct, frozen=True, kw_only=True):
    """
    One occurrence of an alarm, from its raising until it is over and answered.

    Attributes:
        id: Given in the order of raising; never used again.
        thing: A place, a sensor, or "system".
        kind: Id of the condition, a key of `monitor.alarms.registry.CONDITIONS`.
        quantity: What was measured; None where nothing was.
        sensor: Whose reading decided.
        active: The condition holds now.
        since: When the condition first held (before the on-delay).
        raised_at: When the alarm came (after the on-delay).
        value: The newest value. In the unit of the quantity.
        value_at: When it was measured.
        worst: The value farthest outside while the alarm was active.
        limit: The limit that is broken.
        side: Which way.
        trend_per_hour: Change of the value per hour, where it is known.
        time_left: Until the danger limit at this trend, where it is coming.
        at_risk: Who lives there and is outside its own band.
        detail: Words of a system alarm.
        covered_by: The alarm that covers this one.
    """

    id: int
    thing: str
    kind: str
    state: AlarmState
    active: bool
    priority: Priority
    since: datetime
    raised_at: datetime
    quantity: Quantity | None = None
    sensor: str | None = None
    value: float | None = None
    value_at: datetime | None = None
    worst: float | None = None
    limit: float | None = None
    side: Side | None = None
    trend_per_hour: float | None = None
    time_left: timedelta | None = None
    at_risk: tuple[Dweller, ...] = ()
    detail: str = ""
    answered_by: str | None = None
    answered_at: datetime | None = None
    answered_value: float | None = None
    set_aside_by: str | None = None
    set_aside_until: datetime | None = None
    covered_by: int | None = None
    over_at: datetime | None = None
    closed_at: datetime | None = None
    told: tuple[Told, ...] = ()
    configuration: str = ""

    @property
    def key(self) -> tuple[str, str, str]:
        """What makes two reports the same alarm (RFC 8632, section 3.2)."""
        return (self.thing, self.kind, self.quantity or "")
