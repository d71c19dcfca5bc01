"""The three forms of a condition: on a watched series, on a sensor, on the system."""

from datetime import datetime, timedelta
from typing import Protocol, runtime_checkable

from monitor.alarms.limits import Timer
from monitor.alarms.plan import Rule, SensorRule
from monitor.alarms.verdict import Verdict
from monitor.alarms.words import ConditionWords
from monitor.site.words import Priority


class Heard(Protocol):
    """What a sensor was last heard to say."""

    @property
    def time(self) -> datetime:
        """When its newest reading was measured."""

    @property
    def value(self) -> float:
        """Its newest value, in the canonical unit."""


@runtime_checkable
class WatchCondition(Protocol):
    """Judges one rule on one series, reading by reading."""

    id: str
    words: ConditionWords
    priority: Priority

    def limits(self, rule: Rule, *, night: bool) -> tuple[float, float] | None:
        """The limits of the rule that this condition guards, or None."""

    def on_reading(
        self,
        timer: Timer,
        rule: Rule,
        value: float,
        at: datetime,
        *,
        band: tuple[float, float],
        by_hand: bool,
    ) -> Timer:
        """Let a reading act."""

    def on_tick(
        self,
        timer: Timer,
        rule: Rule,
        now: datetime,
        *,
        interval: timedelta,
        fresh: bool,
    ) -> Timer:
        """Let time act."""


@runtime_checkable
class SensorCondition(Protocol):
    """Judges a sensor by what it says, or does not say, at every tick."""

    id: str
    words: ConditionWords

    def judge_sensor(
        self,
        rule: SensorRule,
        heard: Heard | None,
        *,
        quiet_from: datetime,
        neighbour_heard: bool,
        now: datetime,
    ) -> Verdict:
        """Tell how the sensor stands."""


class SystemCondition:
    """
    A state of the system itself, signalled by the part that sees it.

    Attributes:
        once: It happened and nothing ends it but an answer.
    """

    def __init__(
        self,
        id_: str,
        words: ConditionWords,
        priority: Priority,
        *,
        once: bool = False,
    ) -> None:
        self.id, self.words, self.priority, self.once = id_, words, priority, once


Condition = WatchCondition | SensorCondition | SystemCondition
