"""A sensor that is not heard."""

from datetime import datetime, timedelta

from monitor.alarms.condition import Heard
from monitor.alarms.defaults import (
    SILENT_AT_LEAST,
    SILENT_INTERVALS,
    UNTRUSTED_URGENT,
)
from monitor.alarms.plan import SensorRule
from monitor.alarms.verdict import Verdict
from monitor.alarms.words import ConditionWords
from monitor.site.words import PlaceKind, Priority


def silent_after(interval: timedelta) -> timedelta:
    """How long a sensor of this interval may be quiet."""
    return max(SILENT_INTERVALS * interval, SILENT_AT_LEAST)


class Silent:
    """No reading for three intervals; who depends on it makes the priority."""

    id = "silent"
    words = ConditionWords(
        title="sensor not heard",
        meaning=(
            "No reading has come from this sensor. The animals may be well or not: "
            "nothing is known. Its last value is old and proves nothing."
        ),
        first_action=(
            "Read a hand thermometer at the place and enter it with `reading add`. "
            "Then look at the sensor: battery, plug, radio, cable."
        ),
        causes=(
            "battery or power supply of the sensor",
            "radio or network",
            "the sensor was carried away or buried",
        ),
    )

    def judge_sensor(
        self,
        rule: SensorRule,
        heard: Heard | None,
        *,
        quiet_from: datetime,
        neighbour_heard: bool,
        now: datetime,
    ) -> Verdict:
        """
        Tell whether the sensor is silent.

        Args:
            rule: What its silence means.
            heard: Its newest reading, or None if it was never heard.
            quiet_from: Silence before this is not the sensor's (our start, or the
                broker's return).
            neighbour_heard: Another probe that can stand in is being heard.
            now: The instant.
        """
        last = quiet_from if heard is None else max(heard.time, quiet_from)
        quiet = now - last
        active = quiet > silent_after(rule.interval)
        return Verdict(
            thing=rule.sensor,
            kind=self.id,
            active=active,
            priority=self._priority(rule, quiet, neighbour_heard=neighbour_heard),
            quantity=rule.quantity,
            sensor=rule.sensor,
            since=last if active else None,
            value=None if heard is None else heard.value,
            value_at=None if heard is None else heard.time,
            # who lives there once it is over was not at risk
            at_risk=rule.dwellers if active else (),
            detail="" if heard else "It has never been heard.",
        )

    def _priority(
        self, rule: SensorRule, quiet: timedelta, *, neighbour_heard: bool
    ) -> Priority:
        if not rule.needed or neighbour_heard:
            return Priority.NOTE
        if rule.dwellers and (rule.delicate or quiet >= UNTRUSTED_URGENT):
            return Priority.URGENT
        if rule.kind is PlaceKind.ROOM:
            return Priority.URGENT
        return Priority.PROMPT
