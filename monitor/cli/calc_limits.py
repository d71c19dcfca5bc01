"""
What temperatures and durations ``calc`` takes, and what it says of others.

The limits are our own choice. Beyond some of them no thermometer of an insect house
tells the truth; beyond the others no animal develops, and what is given there is an
everyday value in Fahrenheit.
"""

from monitor.science.daily import Unit

COLDEST_READ_C, HOTTEST_READ_C = -60.0, 100.0
"""Colder than any freezer that animals are killed in, and boiling water."""

HOTTEST_C = 50.0
"""Animals do not live above it, but most rooms read in Fahrenheit are."""

HIGHEST_LOWER_C = 40.0
"""No animal begins to develop above it (common practice, no source), but the lower
thresholds that are printed in Fahrenheit stand there."""

SHORTEST_D, LONGEST_D = 0.001, 36500.0
"""Durations of a stage: from a minute and a half to a hundred years."""

CONVERT = "convert it first: (F - 32) / 1.8"
"""The mend of a value in Fahrenheit where nothing but Celsius is taken."""


def check_reading(celsius: float) -> None:
    """
    Refuse what no thermometer of an insect house reads.

    Raises:
        ValueError: If it is outside `COLDEST_READ_C` to `HOTTEST_READ_C`.
    """
    if COLDEST_READ_C <= celsius <= HOTTEST_READ_C:
        return
    side, limit = _beyond(celsius, COLDEST_READ_C, HOTTEST_READ_C)
    fahrenheit = f"; if it is °F, {CONVERT}" if celsius > 0 else ""
    raise ValueError(
        f"{celsius:g} °C is {side} {limit:g} °C, which no thermometer of an insect"
        f" house reads: leave the line out, and its time counts as missing{fahrenheit}"
    )


def check_option(
    option: str,
    value: float,
    *,
    highest_c: float = HOTTEST_C,
    unit: Unit = "C",
    mend: str = CONVERT,
) -> None:
    """
    Refuse a temperature that no animal develops at.

    Args:
        option: As it is typed.
        value: What was given. [unit]
        highest_c: Limit of the option. [degC]
        unit: Of *value*.
        mend: What to do about a value in Fahrenheit.

    Raises:
        ValueError: If the value is colder than any reading, or above the limit.
    """
    coldest, hottest = (
        limit if unit == "C" else 1.8 * limit + 32
        for limit in (COLDEST_READ_C, highest_c)
    )
    if coldest <= value <= hottest:
        return
    side, limit = _beyond(value, coldest, hottest)
    what = f"{option} {value:g} °{unit} is {side} {limit:g} °{unit}"
    if unit == "C" and value > hottest:
        raise ValueError(f"{what}: it looks like °F; {mend}")
    raise ValueError(f"{what}, and no animal develops there: check the figure")


def _beyond(value: float, coldest: float, hottest: float) -> tuple[str, float]:
    return ("above", hottest) if value > hottest else ("below", coldest)
