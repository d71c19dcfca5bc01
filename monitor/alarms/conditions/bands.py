"""Outside the tolerated band; outside the danger limit."""

from datetime import datetime, timedelta

from monitor.alarms.limits import Delays, Timer, judge, pass_time
from monitor.alarms.plan import Rule
from monitor.alarms.words import ConditionWords
from monitor.site.words import Priority

_NOW = timedelta(0)


class OutsideTolerated:
    """A value outside what the animals tolerate, for as long as the on-delay."""

    id = "outside-tolerated"
    priority = Priority.PROMPT
    words = ConditionWords(
        title="outside what they tolerate",
        meaning=(
            "The value has been outside the tolerated band for the whole delay. "
            "The animals are not in danger yet, but nothing brings it back by itself."
        ),
        first_action=(
            "Look at the probe and a second thermometer, then at heater, humidifier, "
            "doors and fans. Mains heaters near damp substrate: switch off at the wall "
            "before you touch them; wiring is for a licensed electrician."
        ),
        causes=(
            "heater or humidifier off, tripped or empty",
            "a door or lid left open",
            "a cold or hot spell outdoors",
            "the probe was moved",
        ),
    )

    def limits(self, rule: Rule, *, night: bool) -> tuple[float, float] | None:
        """The tolerated band of day or night."""
        return rule.night_tolerated if night else rule.tolerated

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
        """A person's reading counts at once: no second one is coming."""
        delays = rule.delays
        if by_hand:
            delays = Delays(_NOW, _NOW, delays.deadband)
        return judge(timer, value, at, band=band, delays=delays)

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


class Danger:
    """A value outside the danger limit: a second reading or 1.5 intervals do."""

    id = "danger"
    priority = Priority.URGENT
    intervals = 1.5
    words = ConditionWords(
        title="outside the danger limit",
        meaning=(
            "Animals die or are harmed for life at such values. Two readings in a row "
            "say so, or one that nothing has taken back."
        ),
        first_action=(
            "Go now. Read a second thermometer. Too hot: heaters off at the wall, open "
            "the room, carry level what may be carried. Too cold: warm the room, not "
            "the tub. Mains heaters near damp substrate: switch off at the wall before "
            "you touch them."
        ),
        causes=(
            "heater stuck on, or off for hours",
            "room heating or cooling failed",
            "direct sun on the tubs",
            "substrate that heats up again",
        ),
    )

    def limits(self, rule: Rule, *, night: bool) -> tuple[float, float] | None:
        """The danger limits of day or night."""
        return rule.night_danger if night else rule.danger

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
        """The second reading in a row raises it; a person's reading does so alone."""
        off = _NOW if by_hand else rule.delays.off
        delays = Delays(timedelta.max, off, rule.delays.deadband, 1 if by_hand else 2)
        return judge(timer, value, at, band=band, delays=delays)

    def on_tick(
        self,
        timer: Timer,
        rule: Rule,
        now: datetime,
        *,
        interval: timedelta,
        fresh: bool,
    ) -> Timer:
        """One reading that nothing takes back for 1.5 intervals raises it."""
        delays = Delays(
            interval * self.intervals, rule.delays.off, rule.delays.deadband
        )
        return pass_time(timer, now, delays=delays, fresh=fresh)
