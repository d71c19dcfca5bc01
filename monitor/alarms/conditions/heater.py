"""A heater that does not heat while it is cold."""

from monitor.alarms.conditions.switch import SwitchCondition
from monitor.alarms.switches import HEATER_GONE
from monitor.alarms.words import ConditionWords
from monitor.site.words import Priority


class HeaterCurrentGone(SwitchCondition):
    """Off, or without current, while the air of its place is below the target."""

    id = HEATER_GONE
    priority = Priority.PROMPT
    words = ConditionWords(
        title="heater does not heat",
        meaning=(
            "The air is below its target and the heater draws no current, or is off. "
            "It gets colder from here on: this comes before the animals are cold."
        ),
        first_action=(
            "Look at the thermostat and its probe, then at plug and fuse. Switch off "
            "at the wall before you touch a mains heater near damp substrate; opening "
            "and repairing it is for a licensed electrician. Have a spare one ready."
        ),
        causes=(
            "heater or its cable broken",
            "fuse, plug or timer",
            "thermostat set too low, or its probe lies in a warm spot",
            "the clamp slipped off its wire",
        ),
    )
