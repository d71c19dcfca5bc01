"""Figures, spans and instants as a keeper reads them."""

from datetime import datetime, timedelta, tzinfo

from monitor.alarms.alarm import Side
from monitor.site.words import Priority, Quantity

_MINUTE = timedelta(minutes=1)
_HOUR = timedelta(hours=1)
_DAY = timedelta(days=1)

PRIORITY = {
    Priority.URGENT: "Urgent",
    Priority.PROMPT: "Prompt",
    Priority.NOTE: "Note",
}
"""The first word of every notice."""

NAME = {
    Quantity.AIR_TEMPERATURE: "air",
    Quantity.RELATIVE_HUMIDITY: "humidity",
    Quantity.SUBSTRATE_TEMPERATURE: "substrate",
    Quantity.SUBSTRATE_MOISTURE: "moisture",
    Quantity.CARBON_DIOXIDE: "carbon dioxide",
    Quantity.AMMONIA: "ammonia",
    Quantity.MAINS: "mains",
    Quantity.HEATER: "heater",
    Quantity.HUMIDIFIER: "humidifier",
    Quantity.LIGHT: "light",
    Quantity.DOOR: "door",
    Quantity.LEAK: "leak sensor",
}
"""What was measured."""

_FORM = {
    Quantity.AIR_TEMPERATURE: (1, "°C", "too cold", "too warm"),
    Quantity.SUBSTRATE_TEMPERATURE: (1, "°C", "too cold", "too warm"),
    Quantity.RELATIVE_HUMIDITY: (0, "%", "too dry", "too damp"),
    Quantity.SUBSTRATE_MOISTURE: (0, "%", "too dry", "too wet"),
    Quantity.CARBON_DIOXIDE: (0, "ppm", "too low", "too high"),
    Quantity.AMMONIA: (0, "ppm", "too low", "too high"),
}
"""Decimals, unit, and the word for each side."""

_ON_OFF = {
    Quantity.DOOR: ("closed", "open"),
    Quantity.LEAK: ("dry", "wet"),
}
_AMPERES = frozenset(
    {Quantity.MAINS, Quantity.HEATER, Quantity.HUMIDIFIER, Quantity.LIGHT}
)
_MOST_DECIMALS = 3


def unit(quantity: Quantity, *, short: bool = False) -> str:
    """The unit of a measured quantity; "" for what is only on or off."""
    form = _FORM.get(quantity)
    if form is None:
        return "A" if quantity in _AMPERES else ""
    return form[1].replace("°", "") if short else form[1]


def is_switched(quantity: Quantity, value: float) -> bool:
    """Tell whether a value is no measure but on or off."""
    return quantity not in _FORM and value in (0, 1)


def amount(
    value: float,
    quantity: Quantity | None,
    *,
    short: bool = False,
    beside: float | None = None,
) -> str:
    """
    Write a value with its unit: "24.5 °C", short "24.5 C"; on, off, open, wet.

    Args:
        value: In the canonical unit of the quantity.
        quantity: What was measured.
        short: For a short message: no degree sign.
        beside: Another figure shown next to it; decimals are added until the two
            differ on screen, so that no notice says "30.0 is above 30.0".
    """
    if quantity is None:
        return f"{value:g}"
    if is_switched(quantity, value):
        return _ON_OFF.get(quantity, ("off", "on"))[value == 1]
    decimals = _FORM[quantity][0] if quantity in _FORM else 2
    if beside is not None and beside != value:
        while (
            f"{value:.{decimals}f}" == f"{beside:.{decimals}f}"
            and decimals < _MOST_DECIMALS
        ):
            decimals += 1
    return f"{value:.{decimals}f} {unit(quantity, short=short)}".rstrip()


def which_way(quantity: Quantity | None, side: Side | None) -> str:
    """Say "too cold" and its kin; "" where there is no side or no measure."""
    form = _FORM.get(quantity) if quantity is not None else None
    if form is None or side is None:
        return ""
    return form[2] if side is Side.BELOW else form[3]


def trend(rate: float, quantity: Quantity, *, short: bool = False) -> str:
    """Say which way it goes: "falling 1.2 °C per hour", or "steady"."""
    decimals = 1 if unit(quantity) != "ppm" else 0
    size = f"{abs(rate):.{decimals}f}"
    if not float(size):
        return "steady"
    way = "rising" if rate > 0 else "falling"
    per = "/h" if short else " per hour"
    return f"{way} {size} {unit(quantity, short=short)}".rstrip() + per


def span(time: timedelta) -> str:
    """Say how long: "25 min", "3 h 10 min", "5 d 2 h"."""
    minutes = max(time, timedelta(0)) // _MINUTE
    if minutes < 1:
        return "less than a minute"
    hours, minutes = divmod(minutes, 60)
    days, hours = divmod(hours, 24)
    if days:
        parts = [f"{days} d", f"{hours} h" if hours else ""]
    elif hours:
        parts = [f"{hours} h", f"{minutes} min" if minutes else ""]
    else:
        parts = [f"{minutes} min"]
    return " ".join(p for p in parts if p)


def instant(at: datetime, now: datetime, zone: tzinfo) -> str:
    """Say when by the site's clock: "Wed 14:05", with the date from six days on."""
    local = at.astimezone(zone)
    if abs(now - at) < 6 * _DAY:
        return f"{local:%a %H:%M}"
    return f"{local:%a} {local.day} {local:%b %H:%M}"


def since(at: datetime, now: datetime, zone: tzinfo) -> str:
    """Say since when: "Wed 14:05, 25 min ago"."""
    ago = now - at
    tail = "just now" if ago < _MINUTE else f"{span(ago)} ago"
    return f"{instant(at, now, zone)}, {tail}"


def plain(text: str, limit: int) -> str:
    """Put foreign words on one line: no control characters, not endless."""
    line = "".join(c if c.isprintable() else " " for c in text)
    line = " ".join(line.split())
    return line if len(line) <= limit else line[: limit - 1].rstrip() + "…"


def sentence(text: str) -> str:
    """Begin with a capital and end with a full stop."""
    if not text:
        return text
    begun = text[0].upper() + text[1:]
    return begun if begun[-1] in ".!?…" else begun + "."
