"""
A sheet to draw on, in CSS px from its lower left corner, and its PNG.

The one module that knows the drawing library. Shapes are put straight on the figure,
without axes, which cost more than all that is drawn in them. The library is imported
where it is used: it is heavy, and only a child process draws.
"""

import io
from collections.abc import Sequence
from typing import Literal, NamedTuple

import numpy as np

from monitor.science.degree_days import Values

SCALE = 2
"""Pixels of the PNG for each CSS px."""
POINTS = 72
"""CSS px and points are one here: 72 to the inch of the library."""
COLOURS = 64
"""Few are enough for lines on flat grounds, and make a third of the bytes."""
LETTERS = 10.0
"""Size of letters. [CSS px]"""

Line = Sequence[float] | Values
Dash = tuple[float, float] | None


class Box(NamedTuple):
    """An upright rectangle; all in CSS px."""

    left: float
    bottom: float
    right: float
    top: float

    def across(self, left: float, right: float) -> "Box":
        """The part of it between two uprights."""
        return Box(max(left, self.left), self.bottom, min(right, self.right), self.top)

    def low(self, height: float) -> "Box":
        """A strip along its bottom."""
        return Box(self.left, self.bottom, self.right, self.bottom + height)


class Sheet:
    """
    A sheet of one size and ground; what is drawn later lies above.

    Args:
        width: [CSS px]
        height: [CSS px]
        ground: Its colour.
    """

    def __init__(self, width: int, height: int, *, ground: str) -> None:
        from matplotlib.figure import Figure  # noqa: PLC0415 - P1: no pyplot
        from matplotlib.transforms import Affine2D  # noqa: PLC0415 - as above

        self._size = width * SCALE, height * SCALE
        self._figure = Figure(
            figsize=(width / POINTS, height / POINTS),
            dpi=POINTS * SCALE,
            facecolor=ground,
        )
        self._place = Affine2D().scale(SCALE)

    def fill(self, box: Box, colour: str, *, solid: float = 1.0) -> None:
        """Fill a rectangle; *solid* below 1 lets the ground shine through."""
        self._rectangle(box, facecolor=colour, alpha=solid, linewidth=0)

    def hatch(self, box: Box, colour: str) -> None:
        """Rule a rectangle with slanting lines."""
        self._rectangle(
            box, facecolor="none", edgecolor=colour, hatch="///", linewidth=0
        )

    def _rectangle(self, box: Box, **style: object) -> None:
        from matplotlib.patches import Rectangle  # noqa: PLC0415 - as above

        wide, tall = box.right - box.left, box.top - box.bottom
        if wide > 0 and tall > 0:
            shape = Rectangle((box.left, box.bottom), wide, tall, **style)  # type: ignore[arg-type]
            shape.set_transform(self._place)
            self._figure.add_artist(shape)

    def line(
        self, x: Line, y: Line, colour: str, *, wide: float = 1.0, dash: Dash = None
    ) -> None:
        """Draw a line through points; it breaks where a coordinate is NaN."""
        from matplotlib.lines import Line2D  # noqa: PLC0415 - as above

        shape = Line2D(
            np.asarray(x),
            np.asarray(y),
            color=colour,
            linewidth=wide,
            linestyle="-" if dash is None else (0, dash),
            solid_capstyle="round",
        )
        shape.set_transform(self._place)
        self._figure.add_artist(shape)

    def triangle(
        self, x: float, y: float, colour: str, *, edge: str, down: bool
    ) -> None:
        """Draw a small triangle around a point, pointing up or down."""
        from matplotlib.patches import Polygon  # noqa: PLC0415 - as above

        tip = -4 if down else 4
        corners = [(x - 4.5, y - tip), (x + 4.5, y - tip), (x, y + tip)]
        shape = Polygon(corners, facecolor=colour, edgecolor=edge, linewidth=0.8)
        shape.set_transform(self._place)
        self._figure.add_artist(shape)

    def text(
        self,
        at: tuple[float, float],
        words: str,
        colour: str,
        *,
        across: Literal["left", "center", "right"] = "left",
        bold: bool = False,
        box: str = "",
    ) -> None:
        """Write words, upright in the middle of a point; *box* is their ground."""
        from matplotlib.text import Text  # noqa: PLC0415 - as above

        shape = Text(
            *at,
            words,
            color=colour,
            fontsize=LETTERS,
            fontweight="bold" if bold else "normal",
            horizontalalignment=across,
            verticalalignment="center",
            multialignment="center",
            linespacing=1.1,
            parse_math=False,
        )
        if box:
            shape.set_bbox({"facecolor": box, "edgecolor": "none", "pad": 2})
        shape.set_transform(self._place)
        self._figure.add_artist(shape)

    def png(self) -> bytes:
        """The sheet as a PNG of few colours, without transparency."""
        from PIL import Image  # noqa: PLC0415 - comes with matplotlib

        raw, out = io.BytesIO(), io.BytesIO()
        self._figure.savefig(raw, format="rgba")
        whole = Image.frombytes("RGBA", self._size, raw.getvalue()).convert("RGB")
        # the quickest ways: a median cut and the best packing take twice the drawing
        few = whole.quantize(
            COLOURS, method=Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE
        )
        few.save(out, "PNG", compress_level=6)
        return out.getvalue()
