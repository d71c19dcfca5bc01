"""``calc``: what the program computes, on numbers and files given to it."""

import argparse
import csv
import json
import math
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import get_args

import numpy as np

from monitor.cli.command import Command, Context
from monitor.clock import from_us, to_us
from monitor.errors import UsageError
from monitor.science import air
from monitor.science.degree_days import (
    Cutoff,
    HeatSum,
    Times,
    Values,
    check_thresholds,
    integrate,
    with_missing,
)
from monitor.site.spans import format_span, parse_span

HEADER = ["time", "temperature"]

ABSOLUTE_ZERO_C = -273.15

HOTTEST_C = 50.0
"""Animals do not live above it, but most rooms read in Fahrenheit are."""


@dataclass(frozen=True, slots=True)
class _Row:
    """A reading of a file and the line that it stands on."""

    line: int
    time_us: int
    value: float


def _number(text: str) -> float:
    try:
        number = _parse_number(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(str(error)) from None
    return number


def _span(text: str) -> timedelta:
    try:
        return parse_span(text)
    except (ValueError, OverflowError) as error:
        raise argparse.ArgumentTypeError(str(error)) from None


def _parse_number(text: str) -> float:
    # float() also takes "1_000" and digits of other scripts
    plain = text.strip()
    try:
        number = float(plain) if plain.isascii() and "_" not in plain else math.nan
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise ValueError(f"{text!r} is not a finite number")
    return number


def _air_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--temperature", type=_number, required=True, metavar="C", help="in °C"
    )
    parser.add_argument(
        "--humidity", type=_number, required=True, metavar="RH", help="relative, in %%"
    )
    parser.add_argument(
        "--pressure",
        type=_number,
        default=air.STANDARD_PA,
        metavar="PA",
        help="of the air, in pascal (else %(default)g)",
    )


def _run_air(arguments: argparse.Namespace, _context: Context) -> int:
    try:
        state = air.describe(
            arguments.temperature, arguments.humidity, pressure_pa=arguments.pressure
        )
    except ValueError as error:
        raise UsageError(f"calc air: {error}") from error
    if arguments.json:
        print(json.dumps(asdict(state)))
        return 0
    print(
        _table(
            [
                (
                    "saturation vapour pressure",
                    f"{state.saturation_vapour_pressure_pa:.1f}",
                    "Pa",
                ),
                (
                    "vapour pressure deficit",
                    f"{state.vapour_pressure_deficit_pa:.1f}",
                    "Pa",
                ),
                ("dew point", f"{state.dew_point_c:.2f}", "°C, over water"),
                ("absolute humidity", f"{state.absolute_humidity_g_m3:.2f}", "g/m³"),
                ("wet bulb", f"{state.wet_bulb_c:.2f}", "°C, over water"),
            ]
        )
    )
    return 0


def _degree_days_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--readings",
        type=Path,
        required=True,
        metavar="FILE",
        help="CSV with the header time,temperature; times with their zone, in °C",
    )
    parser.add_argument(
        "--lower",
        type=_number,
        required=True,
        metavar="C",
        help="lower threshold, in °C",
    )
    parser.add_argument(
        "--upper", type=_number, metavar="C", help="upper threshold, in °C"
    )
    parser.add_argument(
        "--cutoff",
        choices=get_args(Cutoff),
        default="horizontal",
        help="above the upper threshold (else %(default)s)",
    )
    parser.add_argument(
        "--max-gap",
        type=_span,
        default=timedelta(hours=2),
        metavar="SPAN",
        help="longest time between two readings that counts as measured (else 2 h)",
    )


def _run_degree_days(arguments: argparse.Namespace, _context: Context) -> int:
    lower, upper = arguments.lower, arguments.upper
    try:
        check_thresholds(lower, upper, arguments.cutoff)
    except ValueError as error:
        raise UsageError(f"calc degree-days: {error}") from error
    times, values = read_readings(arguments.readings)
    heat = integrate(
        times,
        values,
        lower_c=lower,
        upper_c=upper,
        cutoff=arguments.cutoff,
        max_gap=arguments.max_gap,
    )
    bounds = with_missing(heat, lower_c=lower, upper_c=upper)
    if arguments.json:
        print(json.dumps({"degree_days": heat.degree_days} | asdict(bounds)))
        return 0
    high = "no limit" if bounds.high is None else f"{bounds.high:.2f}"
    guess = "unknown" if bounds.estimate is None else f"{bounds.estimate:.2f}"
    print(
        _table(
            [
                ("measured", f"{heat.degree_days:.2f}", "°C·d"),
                ("estimate for all the time", guess, "°C·d"),
                ("at least", f"{bounds.low:.2f}", "°C·d"),
                ("at most", high, "°C·d" if bounds.high is not None else ""),
                ("time covered", f"{100 * bounds.coverage:.1f}", "%"),
            ]
        )
    )
    print(_explanation(heat, arguments.max_gap))
    return 0


def _explanation(heat: HeatSum, max_gap: timedelta) -> str:
    first, last = from_us(heat.first_us), from_us(heat.last_us)
    return (
        f"from {first:%Y-%m-%d %H:%M} to {last:%Y-%m-%d %H:%M} UTC;"
        f" readings more than {format_span(max_gap)} apart count as missing"
    )


def _table(rows: list[tuple[str, str, str]]) -> str:
    words = max(len(row[0]) for row in rows)
    figures = max(len(row[1]) for row in rows)
    lines = (f"{a:<{words}}  {b:>{figures}} {c}".rstrip() for a, b, c in rows)
    return "\n".join(lines)


def read_readings(path: Path) -> tuple[Times, Values]:
    """
    Read a CSV file of readings, sorted by time.

    Returns:
        Strictly rising times [us since 1970-01-01 UTC] and temperatures [degC].

    Raises:
        UsageError: If the file cannot be read, a line is wrong, one time has two
            values, there are fewer than two readings, or they look like Fahrenheit.
    """
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            rows = sorted(_rows(path, csv.reader(file)), key=lambda row: row.time_us)
    except OSError as error:
        raise UsageError(f"{path}: cannot be read: {error.strerror}") from error
    except (UnicodeDecodeError, csv.Error) as error:
        raise UsageError(f"{path}: is no CSV file in UTF-8: {error}") from error
    kept: list[_Row] = []
    for row in rows:
        if not kept or kept[-1].time_us != row.time_us:
            kept.append(row)
        elif kept[-1].value != row.value:
            raise UsageError(_two_values(path, kept[-1], row))
    if len(kept) < 2:  # noqa: PLR2004 - a pair
        raise UsageError(
            f"{path}: degree-days need at least two readings at different times,"
            f" found {len(kept)}"
        )
    hot = sum(row.value > HOTTEST_C for row in kept)
    if 2 * hot > len(kept):
        raise UsageError(
            f"{path}: {hot} of {len(kept)} readings are above {HOTTEST_C:g} °C: they"
            " look like °F; convert them first: (F - 32) / 1.8"
        )
    times = np.array([row.time_us for row in kept], dtype=np.int64)
    return times, np.array([row.value for row in kept], dtype=np.float64)


def _rows(path: Path, reader: Iterator[list[str]]) -> Iterator[_Row]:
    header = next(reader, [])
    if [name.strip() for name in header] != HEADER:
        raise UsageError(
            f"{path}: line 1: the header must be {','.join(HEADER)},"
            f" found {','.join(header)!r}"
        )
    for line, fields in enumerate(reader, start=2):
        if not any(field.strip() for field in fields):
            continue
        try:
            yield _row(line, fields)
        except ValueError as error:
            raise UsageError(f"{path}: line {line}: {error}") from error


def _row(line: int, fields: list[str]) -> _Row:
    if len(fields) != len(HEADER):
        raise ValueError(f"two fields are needed, found {len(fields)}")
    text = fields[0].strip()
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(f"{text!r} is no time: write 2026-03-01T06:00:00Z") from None
    if at.tzinfo is None:
        raise ValueError(
            f"{text!r} has no time zone: write Z for UTC, or an offset such as +01:00"
        )
    value = _parse_number(fields[1])
    if value < ABSOLUTE_ZERO_C:
        raise ValueError(f"{value:g} °C is below absolute zero")
    return _Row(line, to_us(at), value)


def _two_values(path: Path, one: _Row, other: _Row) -> str:
    return (
        f"{path}: {from_us(one.time_us).isoformat()} has two values, {one.value:g}"
        f" (line {one.line}) and {other.value:g} (line {other.line}): keep one"
    )


COMMANDS: tuple[Command, ...] = (
    Command(
        ("calc", "air"),
        "vapour pressure deficit, dew point, absolute humidity and wet bulb of air",
        "calc air --temperature 25 --humidity 80",
        _air_arguments,
        _run_air,
    ),
    Command(
        ("calc", "degree-days"),
        "degree-days of a file of readings, with bounds for the missing time",
        "calc degree-days --readings shelf.csv --lower 10 --upper 32",
        _degree_days_arguments,
        _run_degree_days,
    ),
)
