"""No mains in a room."""

from monitor.alarms.conditions.switch import SwitchCondition
from monitor.alarms.switches import MAINS_GONE
from monitor.alarms.words import ConditionWords
from monitor.site.words import Priority


class MainsGone(SwitchCondition):
    """The mains sensor says off: everything that keeps this room alive stands still."""

    id = MAINS_GONE
    priority = Priority.URGENT
    words = ConditionWords(
        title="mains gone",
        meaning=(
            "The room has no mains, so heaters, humidifiers, fans and lights in it "
            "stand still. How long its animals have depends on the room: watch the "
            "temperature. A sensor or monitor on the same circuit may fall silent next."
        ),
        first_action=(
            "Look whether the house, the street or one circuit is off. Keep doors and "
            "lids shut. Let a tripped breaker be, unless you know why it tripped: damp "
            "substrate and mains heaters are a danger to life; a licensed electrician "
            "finds the fault. When it is back, see that each heater starts again."
        ),
        causes=(
            "power cut",
            "breaker or residual-current device tripped by a damp heater or plug",
            "plug pulled, or the sensor's own supply",
        ),
    )
