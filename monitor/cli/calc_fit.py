"""``calc fit``: threshold, degree-days and curves from durations of a file."""

import argparse
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import get_args

import numpy as np

from monitor.cli.calc_input import dumps, number, parse_number, take_negative_numbers
from monitor.cli.calc_limits import CONVERT, HOTTEST_C, LONGEST_D, SHORTEST_D
from monitor.cli.calc_table import rows_of
from monitor.cli.command import Command, Context
from monitor.errors import UsageError
from monitor.science.fitting import (
    Constants,
    Counted,
    Durations,
    LinearFit,
    durations,
    fit_lines,
)
from monitor.science.nonlinear_fit import CurveFit, fit_curve
from monitor.science.rate_models import MODELS, model

HEADERS = ("temperature,days", "temperature,days,n")

ABSOLUTE_ZERO_C = -273.15

MOST_ANIMALS, DIGITS = 1_000_000, 7
"""Of a row; and the digits of so many."""

METHODS = {
    "ols_rate": "rate on temperature, least squares",
    "ikemoto_ols": "Ikemoto-Takai, least squares",
    "ikemoto_rma": "Ikemoto-Takai, reduced major axis",
}


@dataclass(frozen=True, slots=True)
class Row:
    """
    A line of the file.

    Attributes:
        line: Where it stands.
        temperature: Constant temperature. [degC]
        days: Duration; None where nothing developed. [d]
        n: Animals of the row; None where the file has no such column.
    """

    line: int
    temperature: float
    days: float | None
    n: int | None


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A row that the lines do not see, and why."""

    row: Row
    why: str


def _arguments(parser: argparse.ArgumentParser) -> None:
    take_negative_numbers(parser)
    parser.add_argument(
        "--durations",
        type=Path,
        required=True,
        metavar="FILE",
        help="CSV with the header temperature,days or temperature,days,n; in °C;"
        " days stays empty where nothing developed",
    )
    parser.add_argument(
        "--from",
        dest="coldest",
        type=number,
        metavar="C",
        help="leave out colder rows, in °C",
    )
    parser.add_argument(
        "--to",
        dest="hottest",
        type=number,
        metavar="C",
        help="leave out hotter rows, beyond the straight part, in °C",
    )
    parser.add_argument(
        "--n-counts",
        choices=get_args(Counted),
        help="what n counts: equal animals, or animals behind a mean (else animals"
        " where a temperature has several rows)",
    )
    parser.add_argument(
        "--model",
        metavar="NAME",
        help="fit this rate model too, to all rows: " + ", ".join(MODELS),
    )
    parser.add_argument(
        "--plot", type=Path, metavar="FILE.png", help="draw rows, lines and curve"
    )
    parser.add_argument(
        "--force", action="store_true", help="overwrite the file of --plot"
    )


def _run(arguments: argparse.Namespace, _context: Context) -> int:
    """Everything that can be refused is refused before anything is printed."""
    _check(arguments)
    rows = read_durations(arguments.durations)
    used, left_out = choose(rows, arguments.coldest, arguments.hottest)
    try:
        everything = _table_of(rows, arguments.n_counts)
        lines = fit_lines(chosen := _table_of(used, everything.counted))
        # a curve lives of the hot rows that bend the lines
        curve = fit_curve(arguments.model, everything) if arguments.model else None
    except ValueError as error:
        without = f" (without the {len(left_out)} left out)" if left_out else ""
        raise UsageError(f"{arguments.durations}: {error}{without}") from error
    if arguments.plot is not None:
        # matplotlib takes a second to import
        from monitor.cli.fit_plot import draw, save  # noqa: PLC0415

        save(
            draw(chosen, [(left.row.temperature, left.row.days) for left in left_out],
                 lines, curve),
            arguments.plot,
            force=arguments.force,
        )  # fmt: skip
    if arguments.json:
        print(dumps(_as_json(chosen, lines, curve, left_out)))
    else:
        print("\n".join(_as_text(chosen, lines, curve, left_out)))
    return 0 if curve is None or curve.converged else 1


def _check(arguments: argparse.Namespace) -> None:
    coldest, hottest = arguments.coldest, arguments.hottest
    if coldest is not None and hottest is not None and not coldest < hottest:
        raise UsageError(
            f"calc fit: --from {coldest:g} is not below --to {hottest:g} (swap them?)"
        )
    if arguments.model is not None:
        try:
            model(arguments.model)
        except ValueError as error:
            raise UsageError(f"calc fit: --model: {error}") from error
    plot = arguments.plot
    if plot is not None and plot.suffix.lower() != ".png":
        raise UsageError(f"calc fit: --plot {plot}: give a name that ends in .png")


def read_durations(path: Path) -> list[Row]:
    """
    Read a CSV file of durations at constant temperatures.

    Raises:
        UsageError: If the file cannot be read, or a line is wrong, or the
            temperatures are Fahrenheit.
    """
    rows = list(_rows(path))
    hot = [r for r in rows if r.temperature > HOTTEST_C and r.days is not None]
    if hot:
        raise UsageError(
            f"{path}: line {hot[0].line}: {hot[0].temperature:g} °C, and nothing"
            f" develops above {HOTTEST_C:g} °C ({len(hot)} of {len(rows)} rows are):"
            f" if this is °F, {CONVERT}"
        )
    return rows


def _rows(path: Path) -> Iterator[Row]:
    lines = rows_of(path, *HEADERS)
    _, header = next(lines)
    for line, fields in lines:
        try:
            yield _row(line, [field.strip() for field in fields], len(header))
        except ValueError as error:
            raise UsageError(f"{path}: line {line}: {error}") from error


def _row(line: int, fields: list[str], columns: int) -> Row:
    if len(fields) != columns:
        raise ValueError(f"{columns} fields are needed, found {len(fields)}")
    temperature = parse_number(fields[0])
    if temperature < ABSOLUTE_ZERO_C:
        raise ValueError(f"{temperature:g} °C is below absolute zero")
    days = _days(fields[1])
    n = None
    if columns > 2 and days is not None:  # noqa: PLR2004 - temperature and days
        n = _animals(fields[2])
    return Row(line, temperature, days, n)


def _days(text: str) -> float | None:
    if not text:
        return None
    try:
        days = parse_number(text)
    except ValueError:
        days = 0.0
    if not SHORTEST_D <= days <= LONGEST_D:
        raise ValueError(
            f"{text!r} is no duration: write days, {SHORTEST_D:g} to {LONGEST_D:g}, or"
            " leave the field empty where nothing developed"
        )
    return days


def _animals(text: str) -> int:
    n = int(text) if text.isascii() and text.isdigit() and len(text) <= DIGITS else 0
    if not 1 <= n <= MOST_ANIMALS:
        raise ValueError(
            f"n is {text!r}: write how many animals, 1 to {MOST_ANIMALS:d}"
        )
    return n


def choose(
    rows: list[Row], coldest: float | None, hottest: float | None
) -> tuple[list[Row], list[LeftOut]]:
    """The rows for the lines, and those left out with the reason. [degC]."""
    used: list[Row] = []
    left_out: list[LeftOut] = []
    for row in rows:
        if row.days is None:
            left_out.append(LeftOut(row, "nothing developed"))
        elif coldest is not None and row.temperature < coldest:
            left_out.append(LeftOut(row, f"below --from {coldest:g} °C"))
        elif hottest is not None and row.temperature > hottest:
            left_out.append(LeftOut(row, f"above --to {hottest:g} °C"))
        else:
            used.append(row)
    return used, left_out


def _table_of(rows: list[Row], counted: Counted | None) -> Durations:
    developed = [row for row in rows if row.days is not None]
    n = [row.n for row in developed if row.n is not None]
    return durations(
        np.array([row.temperature for row in developed], dtype=np.float64),
        np.array([row.days for row in developed], dtype=np.float64),
        np.array(n, dtype=np.float64) if n else None,
        counted=counted,
    )


def _as_json(
    chosen: Durations,
    lines: LinearFit,
    curve: CurveFit | None,
    left_out: list[LeftOut],
) -> dict[str, object]:
    best = lines.methods.ols_rate
    told: dict[str, object] = {
        "lower_threshold": best.lower_threshold,
        "required_degree_days": best.required_degree_days,
        "methods": asdict(lines.methods),
        "rows": chosen.days.size,
        "observations": chosen.size,
        "temperatures": chosen.distinct.tolist(),
        "n_counts": chosen.counted,
        "left_out": [asdict(left.row) | {"why": left.why} for left in left_out],
        "notes": list(lines.notes),
    }
    if curve is not None:
        figures = asdict(curve)
        told["model"] = {"name": figures.pop("model")} | figures
    return told


def _as_text(
    chosen: Durations,
    lines: LinearFit,
    curve: CurveFit | None,
    left_out: list[LeftOut],
) -> Iterator[str]:
    yield f"{'':34}{'lower threshold':>20}{'required':>22}{'R²':>7}"
    for name, words in METHODS.items():
        found: Constants | None = getattr(lines.methods, name)
        if found is None:
            yield f"{words:34}{'none, see below':>20}"
            continue
        threshold = f"{found.lower_threshold:.2f} ± {found.lower_threshold_se:.2f} °C"
        heat = (
            f"{found.required_degree_days:.1f} ± {found.required_degree_days_se:.1f}"
            " °C·d"
        )
        yield f"{words:34}{threshold:>20}{heat:>22}{found.r_squared:>7.3f}"
    yield _seen(chosen)
    for left in left_out:
        yield f"left out: line {left.row.line}, {left.row.temperature:g} °C: {left.why}"
    yield from (f"note: {note}" for note in lines.notes)
    if curve is not None:
        yield from _curve_text(curve)


def _seen(chosen: Durations) -> str:
    rows, distinct = chosen.days.size, chosen.distinct
    counted = {
        "animals": f"{rows} rows of n equal animals, {chosen.size} in all",
        "means": f"{rows} means weighted by their n",
        None: f"{rows} rows, used as they are",
    }[chosen.counted]
    return (
        f"from {counted}, at {distinct.size} temperatures from {distinct[0]:g} to"
        f" {distinct[-1]:g} °C; after ± the standard error"
    )


def _curve_text(curve: CurveFit) -> Iterator[str]:
    yield ""
    yield (
        f"{curve.model}, least squares on rate, all {curve.rows} rows with a duration:"
    )
    for p in curve.parameters:
        error = "?" if p.standard_error is None else f"{p.standard_error:.3g}"
        unit = p.unit.replace("degC", "°C")
        yield f"  {p.name} = {p.value:.6g} ± {error} {unit}"
    aicc = "too few rows" if curve.aicc is None else f"{curve.aicc:.2f}"
    yield f"  residual sum {curve.residual_sum:.4g} 1/d², AICc {aicc}"
    if not curve.converged:
        yield f"did not converge: {'; '.join(curve.notes)}"


COMMANDS: tuple[Command, ...] = (
    Command(
        ("calc", "fit"),
        "lower threshold and required degree-days from durations at temperatures",
        "calc fit --durations eggs.csv --to 30",
        _arguments,
        _run,
    ),
)
