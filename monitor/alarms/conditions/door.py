"""A door that stays open."""

from monitor.alarms.conditions.switch import SwitchCondition
from monitor.alarms.switches import DOOR_OPEN
from monitor.alarms.words import ConditionWords
from monitor.site.words import Priority


class DoorOpen(SwitchCondition):
    """The door is open for longer than anybody needs to pass."""

    id = DOOR_OPEN
    priority = Priority.PROMPT
    words = ConditionWords(
        title="door stays open",
        meaning=(
            "The door has been open for the whole delay. The room takes on the air of "
            "the next one, and who can crawl or fly may leave."
        ),
        first_action=(
            "Close it, after a look who is behind it and on the frame. Then look at "
            "the temperature of the room."
        ),
        causes=(
            "left open while carrying tubs",
            "does not latch",
            "sensor or magnet came off",
        ),
    )
