"""Water where none should be."""

from monitor.alarms.conditions.switch import SwitchCondition
from monitor.alarms.switches import LEAK_WET
from monitor.alarms.words import ConditionWords
from monitor.site.words import Priority


class LeakWet(SwitchCondition):
    """The leak sensor is wet."""

    id = LEAK_WET
    priority = Priority.URGENT
    words = ConditionWords(
        title="water where none should be",
        meaning=(
            "The leak sensor is wet. It may be a spilt can or a burst hose: it does "
            "not tell how much."
        ),
        first_action=(
            "Go and look, and step into no water that plugs, heaters or cables may "
            "stand in: switch that circuit off first, at the board, from a dry place. "
            "Then shut the water, and carry level what stands in it."
        ),
        causes=(
            "humidifier, hose or tank",
            "drain blocked",
            "rain or a pipe",
            "spilt while watering",
        ),
    )
