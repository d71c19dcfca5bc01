"""What a condition finds: the one form in which all of them report."""

from datetime import datetime

import msgspec

from monitor.alarms.alarm import Dweller, Side
from monitor.site.words import Priority


class Verdict(msgspec.Struct, frozen=True, kw_only=True):
    """
    How one condition stands for one thing at one instant.

    Attributes:
        thing: A place, a sensor, or "system".
        kind: Id of the condition.
        active: It holds, delays included.
        since: When it began, before the delay; None where it does not hold.
    """

    thing: str
    kind: str
    active: bool
    priority: Priority
    quantity: str | None = None
    sensor: str | None = None
    since: datetime | None = None
    value: float | None = None
    value_at: datetime | None = None
    limit: float | None = None
    side: Side | None = None
    danger: float | None = None
    at_risk: tuple[Dweller, ...] = ()
    detail: str = ""
