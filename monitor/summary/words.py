"""How the summary writes instants, spans, values and names in plain letters."""

import textwrap
from datetime import datetime
from zoneinfo import ZoneInfo

from monitor.site.house import HAND, House
from monitor.site.words import TEMPERATURES, Quantity

WIDTH = 72
"""Letters in a line of plain text: RFC 5322 asks for 78, and replies quote it."""

SHORT = {
    Quantity.AIR_TEMPERATURE: ("air", "C", 1),
    Quantity.SUBSTRATE_TEMPERATURE: ("substrate", "C", 1),
    Quantity.RELATIVE_HUMIDITY: ("humidity", "%", 0),
    Quantity.SUBSTRATE_MOISTURE: ("moisture", "%", 0),
    Quantity.CARBON_DIOXIDE: ("CO2", "ppm", 0),
    Quantity.AMMONIA: ("ammonia", "ppm", 0),
}
"""Word, unit and decimals of what is measured; the rest is on or off."""

_MINUTES = 60
_HOURS = 24 * 60


def instant(at: datetime, zone: str) -> str:
    """Site time: "Mon 23 Feb 07:05"."""
    wall = at.astimezone(ZoneInfo(zone))
    return f"{wall:%a} {wall.day} {wall:%b %H:%M}"


def span(seconds: float) -> str:
    """How long, in two units at most: "25 min", "3 h 10 min", "5 d 2 h"."""
    minutes = int(max(seconds, 0) // 60)
    if minutes < _MINUTES:
        return f"{minutes} min"
    if minutes < _HOURS:
        return _two(minutes, _MINUTES, "h", "min")
    return _two(minutes // _MINUTES, 24, "d", "h")


def _two(count: int, per: int, large: str, small: str) -> str:
    whole, rest = divmod(count, per)
    return f"{whole} {large} {rest} {small}" if rest else f"{whole} {large}"


def percent(share: float | None) -> str:
    """A share in whole percent; 100 % and 0 % only where it is all or nothing."""
    if share is None:
        return "-"
    whole = round(share * 100)
    if share < 1:
        whole = min(whole, 99)
    if share > 0:
        whole = max(whole, 1)
    return f"{whole} %"


def value(number: float | None, quantity: Quantity | None) -> str:
    """A value in the decimals of its quantity, without the unit."""
    if number is None:
        return "-"
    decimals = SHORT[quantity][2] if quantity in SHORT else 1
    return f"{number:.{decimals}f}"


def with_unit(number: float, quantity: Quantity | None, degree: str = "") -> str:
    """A value and its unit; *degree* stands before the C of a temperature."""
    return f"{value(number, quantity)} {unit(quantity, degree)}".rstrip()


def unit(quantity: Quantity | None, degree: str = "") -> str:
    """The unit of a quantity; "" for what is on or off."""
    word = SHORT[quantity][1] if quantity in SHORT else ""
    return f"{degree}{word}" if quantity in TEMPERATURES else word


def brief(quantity: Quantity) -> str:
    """The short word of a quantity."""
    return SHORT[quantity][0] if quantity in SHORT else quantity.replace("_", " ")


def where(house: House, thing: str) -> str:
    """Name a place, a sensor or a hand series by its whole way, the room first."""
    if thing in house.probes:
        return f"{where(house, house.probes[thing].place)}, {thing}"
    way = [house.places[p].name for p in house.chain(thing.removeprefix(HAND))]
    return " > ".join(reversed(way)) or thing


def folded(text: str, indent: str = "") -> list[str]:
    """Break a text into lines that fit."""
    return textwrap.wrap(
        " ".join(text.split()),
        WIDTH,
        initial_indent=indent,
        subsequent_indent=f"{indent}  ",
    )


def cut(text: str, width: int = WIDTH) -> str:
    """A text that fits, with three dots where something was left out."""
    return text if len(text) <= width else text[: width - 3].rstrip() + "..."


def many(count: int, one: str, several: str = "") -> str:
    """Count a thing: "1 alarm", "2 alarms"."""
    return f"{count} {one if count == 1 else several or f'{one}s'}"
