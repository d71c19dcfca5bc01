"""What the conditions on mains, leak, door and heater have in common."""

from datetime import datetime, timedelta

from monitor.alarms.limits import Timer, judge, pass_time
from monitor.alarms.rule import Rule
from monitor.alarms.words import ConditionWords
from monitor.site.words import Priority


class SwitchCondition:
    """
    Not as it should be, for as long as the on-delay of its quantity.

    Attributes:
        id: The rules of `monitor.alarms.switches` name it.
    """

    id: str
    words: ConditionWords
    priority: Priority

    def limits(self, rule: Rule, *, night: bool) -> tuple[float, float] | None:
        """Where all is well; None for rules of other conditions."""
        del night
        return rule.usual if rule.condition == self.id else None

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
        """Nobody enters a switch by hand: all readings have the same delays."""
        del by_hand
        return judge(timer, value, at, band=band, delays=rule.delays)

    def on_tick(
        self,
        timer: Timer,
        rule: Rule,
        now: datetime,
        *,
        interval: timedelta,
        fresh: bool,
    ) -> Timer:
        """Delays end between readings while the last one is fresh."""
        del interval
        return pass_time(timer, now, delays=rule.delays, fresh=fresh)
