"""The picture of ``calc fit``; imported only where ``--plot`` asks for it."""

import os
from collections.abc import Sequence
from contextlib import suppress
from io import BytesIO
from pathlib import Path

import numpy as np

# a Figure of its own: pyplot would keep it and choose a screen (P1)
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from monitor.errors import UsageError
from monitor.science.fitting import Durations, LinearFit
from monitor.science.nonlinear_fit import CurveFit

INK, BLUE, GREEN, ORANGE = "#222222", "#0072b2", "#009e73", "#d55e00"
"""Told apart by colour-blind eyes too; lines differ in their dashes beside."""

STEPS = 400
"""Points of a drawn curve."""


def draw(
    chosen: Durations,
    left_out: Sequence[tuple[float, float | None]],
    lines: LinearFit,
    curve: CurveFit | None,
) -> Figure:
    """
    Rate on temperature, and beside it the Ikemoto-Takai line.

    Args:
        chosen: Rows that the lines were fitted to.
        left_out: Temperature and duration of the others. [degC, d]
        lines: Three methods.
        curve: A fitted rate model, if there is one.
    """
    figure = Figure(figsize=(11, 4.8), dpi=120, layout="constrained")
    left, right = figure.subplots(1, 2)
    _rates(left, chosen, left_out, lines, curve)
    _heat(right, chosen, left_out, lines)
    return figure


def _rates(
    axes: Axes,
    chosen: Durations,
    left_out: Sequence[tuple[float, float | None]],
    lines: LinearFit,
    curve: CurveFit | None,
) -> None:
    best = lines.methods.ols_rate
    hottest = float(chosen.distinct[-1])
    ends = np.array([best.lower_threshold, hottest])
    axes.plot(
        ends,
        (ends - best.lower_threshold) / best.required_degree_days,
        color=BLUE,
        label=f"least squares: {best.lower_threshold:.2f} °C,"
        f" {best.required_degree_days:.1f} °C·d",
    )
    if curve is not None:
        seen = [*chosen.temperatures_c, *(t for t, _ in left_out), *ends]
        grid = np.linspace(min(seen), max(seen) + 2, STEPS)
        label = curve.model + ("" if curve.converged else " (did not converge)")
        axes.plot(grid, curve.rates(grid), "--", color=ORANGE, label=label)
    axes.plot(chosen.temperatures_c, chosen.rates, "o", color=INK, label="rows")
    others = [(t, 1 / d if d else 0.0) for t, d in left_out]
    if others:
        axes.plot(*zip(*others, strict=True), "o", mfc="none", mec=INK, clip_on=False,
                  label="left out of the line")  # fmt: skip
    axes.set(xlabel="temperature (°C)", ylabel="rate of development (1/day)")
    axes.set_ylim(bottom=0)
    axes.legend(frameon=False)


def _heat(
    axes: Axes,
    chosen: Durations,
    left_out: Sequence[tuple[float, float | None]],
    lines: LinearFit,
) -> None:
    days = np.array([chosen.days.min(), chosen.days.max()])
    for found, words, style, colour in (
        (lines.methods.ikemoto_ols, "least squares", "-", BLUE),
        (lines.methods.ikemoto_rma, "reduced major axis", "-.", GREEN),
    ):
        if found is not None:
            axes.plot(
                days,
                found.required_degree_days + found.lower_threshold * days,
                style,
                color=colour,
                label=f"{words}: {found.lower_threshold:.2f} °C,"
                f" {found.required_degree_days:.1f} °C·d",
            )
    axes.plot(chosen.days, chosen.days * chosen.temperatures_c, "o", color=INK)
    others = [(d, d * t) for t, d in left_out if d is not None]
    if others:
        axes.plot(*zip(*others, strict=True), "o", mfc="none", mec=INK)
    axes.set(xlabel="duration D (days)", ylabel="D · T (°C·d)")
    axes.legend(frameon=False)


def save(figure: Figure, path: Path, *, force: bool) -> None:
    """
    Write a picture whole or not at all.

    Raises:
        UsageError: If the file is there already and not forced, or cannot be written.
    """
    picture = BytesIO()
    figure.savefig(picture, format="png")
    beside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        beside.write_bytes(picture.getvalue())
        if not force:
            path.touch(exist_ok=False)
        beside.replace(path)
    except FileExistsError as error:
        raise UsageError(
            f"calc fit: --plot {path}: is there already; give --force to overwrite it"
        ) from error
    except OSError as error:
        raise UsageError(
            f"calc fit: --plot {path}: cannot be written: {error.strerror}"
        ) from error
    finally:
        with suppress(OSError):
            beside.unlink(missing_ok=True)
