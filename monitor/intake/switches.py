"""The words for on and off that devices send instead of 1 and 0."""

from collections.abc import Mapping

from monitor.site.words import Quantity

ON_OFF: Mapping[str, float] = {"on": 1.0, "off": 0.0, "true": 1.0, "false": 0.0}
"""Words of every quantity that is on or off, in any case."""

OF_QUANTITY: Mapping[Quantity, Mapping[str, float]] = {
    Quantity.DOOR: {"open": 1.0, "closed": 0.0},
    Quantity.LEAK: {"wet": 1.0, "dry": 0.0},
}
"""Further words of one quantity."""


def words_of(quantity: Quantity) -> Mapping[str, float]:
    """
    Tell which words mean on and off.

    Args:
        quantity: One that is on or off.

    Returns:
        Lower-case words to 1 (on, open, wet) and 0 (off, closed, dry).
    """
    return {**ON_OFF, **OF_QUANTITY.get(quantity, {})}
