"""Tables and figures for people: narrow, in the time of the site, plain letters."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

WIDTH = 60
"""A telephone held upright shows so many letters in a line."""

UNITS = {"degC": "C", "percent": "%", "ppm": "ppm", "on-off": "", "ampere": "A"}
_BRIEF = {
    "air_temperature": "air",
    "substrate_temperature": "substrate",
    "relative_humidity": "humidity",
    "substrate_moisture": "moisture",
    "carbon_dioxide": "CO2",
}


class Sheet:
    """A result on its way to people: knows the present and the zone of the site."""

    def __init__(self, result: Mapping[str, Any]) -> None:
        self.result = result
        self.now = datetime.fromisoformat(str(result["time"]))
        self._zone = ZoneInfo(str(result["time_zone"]))

    def text(self, *keys: str) -> str:
        """A text some tables down; empty where there is none."""
        found: Any = self.result
        for key in keys:
            found = found.get(key) if isinstance(found, Mapping) else None
        return "" if found is None else str(found)

    def rows(self, key: str) -> list[dict[str, Any]]:
        """The list of tables of that name."""
        return list(self.result.get(key) or [])

    def local(self, at: str) -> str:
        """Site time; the day only where it is not today's."""
        wall = datetime.fromisoformat(at).astimezone(self._zone)
        today = self.now.astimezone(self._zone).date()
        return f"{wall:%H:%M}" if wall.date() == today else f"{wall:%a %d %b %H:%M}"

    def ago(self, at: str | None) -> str:
        """How long ago, in one unit."""
        if at is None:
            return "never"
        return f"{span_words(self.now - datetime.fromisoformat(at))} ago"

    def heading(self) -> str:
        """The present in site time."""
        return f"{self.now.astimezone(self._zone):%a %d %b %H:%M}"


def span_words(span: timedelta) -> str:
    """A span in its largest unit, from minutes up; seconds below one minute."""
    seconds = max(span.total_seconds(), 0.0)
    for unit, length, from_ in (
        ("d", 86400, 172800),
        ("h", 3600, 7200),
        ("min", 60, 60),
    ):
        if seconds >= from_:
            return f"{seconds // length:.0f} {unit}"
    return f"{seconds:.0f} s"


def value_words(value: float | None, unit: str) -> str:
    """A value with its unit."""
    if value is None:
        return "no reading"
    if unit == "on-off":
        return {0.0: "off", 1.0: "on"}.get(value, f"{value:.1f} A")
    if unit == "ppm":
        return f"{value:.0f} ppm"
    if unit == "ampere":
        return f"{value:.2f} A"
    return f"{value:.1f} {UNITS.get(unit, unit)}".rstrip()


def band_words(band: Sequence[float] | None) -> str:
    """The limits of a band."""
    return f"{band[0]:g} to {band[1]:g}" if band else ""


def brief(quantity: str | None) -> str:
    """The short word of a quantity."""
    return _BRIEF.get(quantity or "", (quantity or "").replace("_", " "))


def table(head: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Columns as wide as they must be, two spaces apart."""
    lines = [list(head), *([str(cell) for cell in row] for row in rows)]
    widths = [max(len(line[i]) for line in lines) for i in range(len(head))]
    return "\n".join(
        "  ".join(c.ljust(w) for c, w in zip(line, widths, strict=True)).rstrip()
        for line in lines
    )


def cut(text: str, width: int = WIDTH) -> str:
    """A line that fits, with three dots where something was left out."""
    return text if len(text) <= width else text[: width - 3].rstrip() + "..."
