"""
The week of a place as a PNG.

The only part that draws. It never touches pyplot, which keeps every figure (P1), and it
is optional: whatever fails here, the mail goes without pictures and says so (P4).
"""

import logging
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime

import msgspec
import numpy as np

from monitor.alarms.alarm import Side
from monitor.clock import to_us
from monitor.science.degree_days import Values
from monitor.site.words import TEMPERATURES, Quantity
from monitor.summary.lines import Line, Panel, PlaceChart, limit_steps
from monitor.summary.sheet import Box, Sheet
from monitor.summary.words import brief, unit, value

log = logging.getLogger(__name__)

WIDTH = 340
"""Of a phone's column. [CSS px]"""
TEMPERATURE_HEIGHT = 132
OTHER_HEIGHT = 92
LEFT, RIGHT, HEAD, FOOT, BETWEEN = 34, 8, 20, 32, 22
"""Margins around and between the panels. [CSS px]"""

GROUND, PLOT, NIGHT, HATCH = "#f1ede3", "#fffdf8", "#e3ddcf", "#b7ae98"
"""An opaque pale ground is legible on a light and on a dark page."""
INK, QUIET, BAND, ALARM = "#2a2823", "#8a8472", "#3d6b4b", "#b3261e"

LEAST_HEIGHT = {
    Quantity.RELATIVE_HUMIDITY: 20.0,
    Quantity.SUBSTRATE_MOISTURE: 20.0,
    Quantity.CARBON_DIOXIDE: 500.0,
    Quantity.AMMONIA: 10.0,
}
"""A panel shows at least this, else noise looks like weather. In its unit."""
LEAST_DEGREES = 4.0
NEAR = 0.3
"""A danger limit is drawn if it lies within this share of the rest's height."""
WORDED = 44
"""A gap so wide has room for words. [CSS px]"""
SEEN = 3
"""No mark of a spell is narrower. [CSS px]"""
LATE = 0.8
"""Beyond this share of the width the worst value stands to the left of its mark."""


class Picture(msgspec.Struct, frozen=True):
    """
    A drawn chart.

    Attributes:
        name: Of its file, without ".png".
        png: Its bytes.
        height: [CSS px]; the width is `WIDTH`.
    """

    name: str
    png: bytes
    height: int


class Drawn(msgspec.Struct, frozen=True):
    """
    All charts, or why there are none.

    Attributes:
        pictures: By id of the place.
        failed: Why there are none, in words; "" where they are there.
    """

    pictures: Mapping[str, Picture] = {}
    failed: str = ""


Draw = Callable[[PlaceChart], Picture]


def picture(chart: PlaceChart) -> Picture:
    """Draw a place."""
    tall = HEAD + sum(map(_height, chart.panels)) + FOOT
    tall += BETWEEN * (len(chart.panels) - 1)
    sheet = Sheet(WIDTH, tall, ground=GROUND)
    top = tall - HEAD
    for number, panel in enumerate(chart.panels):
        bottom = top - _height(panel)
        frame = Box(LEFT, bottom, WIDTH - RIGHT, top)
        _Plot(chart, panel, sheet, frame).draw(days=number == len(chart.panels) - 1)
        top = bottom - BETWEEN
    return Picture(chart.place, sheet.png(), tall)


def drawn(charts: Sequence[PlaceChart], draw: Draw = picture) -> Drawn:
    """
    Draw every chart, or none and say why: never raises for what the library does.

    Args:
        charts: One a place.
        draw: Draws one.
    """
    made: dict[str, Picture] = {}
    place = ""
    try:
        for chart in charts:
            place = chart.place
            made[place] = draw(chart)
    except Exception as error:  # P4: a font must not cost the mail
        log.exception("charts failed", extra={"place": place})
        return Drawn(failed=f"the charts could not be drawn ({_reason(error)})")
    return Drawn(made)


def _reason(error: Exception) -> str:
    said = " ".join(str(error).split())[:120]
    return f"{type(error).__name__}: {said}" if said else type(error).__name__


def _height(panel: Panel) -> int:
    return TEMPERATURE_HEIGHT if panel.quantity in TEMPERATURES else OTHER_HEIGHT


class _Plot:
    """One panel in its frame on the sheet."""

    def __init__(
        self, chart: PlaceChart, panel: Panel, sheet: Sheet, frame: Box
    ) -> None:
        self._chart, self._panel, self._sheet, self._frame = chart, panel, sheet, frame
        self._whole = (chart.until - chart.since).total_seconds()
        self._low, self._high = self._range()

    def draw(self, *, days: bool) -> None:
        """Draw it from the ground up; *days* stand below it."""
        self._grounds()
        self._limits()
        for number, line in enumerate(self._panel.lines):
            self._gaps(line, words=number == 0)
            self._line(line, dashed=number > 0)
        self._spells()
        self._words(days=days)

    def _x(self, at: datetime) -> float:
        share = (at - self._chart.since).total_seconds() / self._whole
        return self._frame.left + share * (self._frame.right - self._frame.left)

    def _xs(self, line: Line) -> Values:
        first, last = to_us(self._chart.since), to_us(self._chart.until)
        share = (line.times_us - first) / (last - first)
        inside = (share >= 0) & (share <= 1)
        xs: Values = np.where(
            inside,
            self._frame.left + share * (self._frame.right - self._frame.left),
            np.nan,
        )
        return xs

    def _ys(self, values: Values) -> Values:
        share = (values - self._low) / (self._high - self._low)
        inside = (share >= 0) & (share <= 1)
        ys: Values = np.where(
            inside,
            self._frame.bottom + share * (self._frame.top - self._frame.bottom),
            np.nan,
        )
        return ys

    def _range(self) -> tuple[float, float]:
        """From bottom to top: all readings and bands, and danger where it is near."""
        held, found = self._panel.held, []
        first, last = to_us(self._chart.since), to_us(self._chart.until)
        for line in self._panel.lines:
            here = (line.times_us >= first) & (line.times_us <= last)
            values = line.values[here & np.isfinite(line.values)]
            found += [float(values.min()), float(values.max())] if values.size else []
        for band in held.tolerated:
            found += [band.low, band.high]
        low, high = (min(found), max(found)) if found else (0.0, 1.0)
        least = LEAST_HEIGHT.get(self._panel.quantity, LEAST_DEGREES)
        rest = max(high - low, least)
        near = [
            limit
            for band in held.danger
            for limit in (band.low, band.high)
            if low - NEAR * rest <= limit <= high + NEAR * rest
        ]
        low, high = min([low, *near]), max([high, *near])
        middle, half = (low + high) / 2, max(high - low, least) * 0.6
        return middle - half, middle + half

    def _grounds(self) -> None:
        chart, frame, sheet = self._chart, self._frame, self._sheet
        sheet.fill(frame, PLOT)
        for begin, end in chart.dark:
            sheet.fill(frame.across(self._x(begin), self._x(end)), NIGHT)
        for at, _ in chart.days[1:]:
            x = self._x(at)
            sheet.line([x, x], [frame.bottom, frame.top], QUIET, wide=0.4)
        if chart.told_to < chart.until:
            sheet.fill(frame.across(self._x(chart.told_to), frame.right), GROUND)

    def _limits(self) -> None:
        held, frame = self._panel.held, self._frame
        for span in held.tolerated:
            low, high = self._ys(np.array([span.low, span.high]))
            if low < high:
                left, right = self._x(span.since), self._x(span.until)
                band = Box(left, float(low), right, float(high))
                self._sheet.fill(band, BAND, solid=0.13)
        # where both are the same limit, that of the tolerated band is seen
        for layer, ink, dash in (
            (held.danger, ALARM, (4.0, 2.0)),
            (held.tolerated, BAND, None),
        ):
            for row in limit_steps(layer):
                x = [self._x(t) for span in row for t in (span.since, span.until)]
                for limits in ([s.low for s in row], [s.high for s in row]):
                    y = self._ys(np.repeat(np.array(limits), 2))
                    self._sheet.line(
                        np.clip(x, frame.left, frame.right), y, ink, dash=dash
                    )

    def _gaps(self, line: Line, *, words: bool) -> None:
        for begin, end in line.gaps:
            gap = self._frame.across(self._x(begin), self._x(end))
            self._sheet.hatch(gap, HATCH)
            wide = gap.right - gap.left
            if words and wide >= WORDED:
                said = "not heard" if wide >= 2 * WORDED else "not\nheard"
                middle = (gap.left + gap.right) / 2, (gap.bottom + gap.top) / 2
                self._sheet.text(middle, said, INK, across="center", box=PLOT)

    def _line(self, line: Line, *, dashed: bool) -> None:
        dash = (3.0, 1.5) if dashed else None
        self._sheet.line(
            self._xs(line), self._ys(line.values), INK, wide=1.2, dash=dash
        )

    def _spells(self) -> None:
        """A thick line, a bar along the bottom, a triangle and the value at worst."""
        frame = self._frame
        for line in self._panel.lines:
            x, y = self._xs(line), self._ys(line.values)
            out = np.zeros(x.size, np.bool_)
            for spell in line.spells:
                left, right = self._x(spell.since), self._x(spell.until)
                out |= (x >= left) & (x <= right)
                spare = max(0.0, SEEN - (right - left)) / 2
                bar = frame.across(left - spare, right + spare)
                self._sheet.fill(bar.low(5), ALARM)
            if line.spells:
                self._sheet.line(x, np.where(out, y, np.nan), ALARM, wide=2.6)
        self._worst()

    def _worst(self) -> None:
        spells = [spell for line in self._panel.lines for spell in line.spells]
        if not spells:
            return
        worst = max(spells, key=lambda s: (s.danger, s.beyond))
        x, y = self._x(worst.worst_at), float(self._ys(np.array([worst.worst]))[0])
        self._sheet.triangle(x, y, ALARM, edge=PLOT, down=worst.side is Side.BELOW)
        late = x > self._frame.left + LATE * (self._frame.right - self._frame.left)
        # above the bar along the bottom
        level = max(y, self._frame.bottom + 12)
        self._sheet.text(
            (x - 7 if late else x + 7, level),
            value(worst.worst, self._panel.quantity),
            ALARM,
            across="right" if late else "left",
            bold=True,
        )

    def _words(self, *, days: bool) -> None:
        quantity, frame, sheet = self._panel.quantity, self._frame, self._sheet
        sign = unit(quantity, "°")
        name = f"{brief(quantity)}, {sign}" if sign else brief(quantity)
        sheet.text((frame.left, frame.top + 8), name, INK, bold=True)
        for mark in round_values(self._low, self._high):
            y = float(self._ys(np.array([mark]))[0])
            sheet.text((frame.left - 4, y), f"{mark:g}", INK, across="right")
        starts = [self._x(at) for at, _ in self._chart.days]
        ends = [*starts[1:], frame.right]
        for (_, day), left, right in zip(self._chart.days, starts, ends, strict=True):
            if days:
                below = (left + right) / 2, frame.bottom - 16
                sheet.text(below, day.replace(" ", "\n"), INK, across="center")


def round_values(low: float, high: float, *, most: int = 4) -> list[float]:
    """Round values between two others, as many as there is room for, evenly apart."""
    size = 10.0 ** np.floor(np.log10(high - low)) / 10
    steps = (size * factor for factor in (1, 2, 5, 10, 20, 50, 100))
    step = next(s for s in steps if (high - low) / s <= most)
    first = int(np.ceil(low / step))
    last = int(np.floor(high / step))
    return [round(number * step, 6) for number in range(first, last + 1)]
