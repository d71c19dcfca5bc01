"""Every condition; adding one is a file and a line here."""

from monitor.alarms.condition import (
    Condition,
    SensorCondition,
    WatchCondition,
)
from monitor.alarms.conditions.bands import Danger, OutsideTolerated
from monitor.alarms.conditions.door import DoorOpen
from monitor.alarms.conditions.heater import HeaterCurrentGone
from monitor.alarms.conditions.leak import LeakWet
from monitor.alarms.conditions.mains import MainsGone
from monitor.alarms.conditions.silence import Silent
from monitor.alarms.conditions.system import SYSTEM
from monitor.alarms.words import ConditionWords

CONDITIONS: dict[str, Condition] = {
    c.id: c
    for c in (
        OutsideTolerated(),
        Danger(),
        MainsGone(),
        LeakWet(),
        DoorOpen(),
        HeaterCurrentGone(),
        Silent(),
        *SYSTEM,
    )
}

WATCHING = tuple(c for c in CONDITIONS.values() if isinstance(c, WatchCondition))
LISTENING = tuple(c for c in CONDITIONS.values() if isinstance(c, SensorCondition))
WORDS: dict[str, ConditionWords] = {c.id: c.words for c in CONDITIONS.values()}

ONCE = frozenset(c.id for c in SYSTEM if c.once)
"""What happened once is over when it is answered."""

NEVER_MUTED = frozenset({Danger.id})
"""Neither setting aside nor taking out of use mutes the danger limit."""

COVERS = {(Danger.id, OutsideTolerated.id)}
"""(covering, covered): one cause, one alarm, at the same place and quantity."""
