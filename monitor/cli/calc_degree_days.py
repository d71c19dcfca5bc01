"""``calc degree-days``: of one day by its extremes, or of a file of readings."""

import argparse
import json
from dataclasses import asdict
from datetime import timedelta
from pathlib import Path
from typing import get_args

from monitor.cli.calc_input import number, span, table
from monitor.cli.calc_readings import HOTTEST_C, read_readings
from monitor.cli.command import Command, Context
from monitor.clock import from_us
from monitor.errors import UsageError
from monitor.science.daily import F_PER_C, Method, Unit, degree_days
from monitor.science.degree_days import (
    Cutoff,
    HeatSum,
    check_thresholds,
    integrate,
    with_missing,
)
from monitor.site.spans import format_span

_NAME = "calc degree-days"

_OF_A_DAY = ("min", "max", "next_min", "method", "unit")
_OF_READINGS = ("max_gap",)

DEFAULT_GAP = timedelta(hours=2)

HIGHEST_LOWER_C = 40.0
"""No animal begins to develop above it (common practice, no source), but the lower
thresholds that are printed in Fahrenheit stand there."""


def _arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--readings",
        type=Path,
        metavar="FILE",
        help="CSV with the header time,temperature; times with their zone, in °C",
    )
    parser.add_argument(
        "--min", type=number, metavar="T", help="lowest of a day, instead of readings"
    )
    parser.add_argument("--max", type=number, metavar="T", help="highest of that day")
    parser.add_argument(
        "--next-min",
        type=number,
        metavar="T",
        help="lowest of the next day, for the double methods (else that of --min)",
    )
    parser.add_argument(
        "--lower", type=number, required=True, metavar="T", help="lower threshold"
    )
    parser.add_argument("--upper", type=number, metavar="T", help="upper threshold")
    parser.add_argument(
        "--method", choices=get_args(Method), help="how a day runs between --min, --max"
    )
    parser.add_argument(
        "--cutoff",
        choices=get_args(Cutoff),
        default="horizontal",
        help="above the upper threshold (else %(default)s)",
    )
    parser.add_argument(
        "--unit",
        choices=("C", "F"),
        help="of --min, --max, thresholds and result (else C); readings are in °C",
    )
    parser.add_argument(
        "--max-gap",
        type=span,
        metavar="SPAN",
        help="longest time between two readings that counts as measured (else 2 h)",
    )


def _run(arguments: argparse.Namespace, _context: Context) -> int:
    given = {
        name
        for name in (*_OF_A_DAY, *_OF_READINGS)
        if getattr(arguments, name) is not None
    }
    if arguments.readings is not None:
        _refuse(given & {*_OF_A_DAY}, "--min and --max, not to --readings")
        return _run_readings(arguments)
    if not given & {"min", "max"}:
        raise UsageError(f"{_NAME}: give --readings, or --min, --max and --method")
    _refuse(given & {*_OF_READINGS}, "--readings, not to --min and --max")
    lacking = [name for name in ("min", "max", "method") if name not in given]
    if lacking:
        which = f": one of {', '.join(get_args(Method))}" if "method" in lacking else ""
        options = ", ".join(f"--{name}" for name in lacking)
        raise UsageError(f"{_NAME}: a day needs {options} too{which}")
    return _run_day(arguments)


def _refuse(given: set[str], belongs: str) -> None:
    if given:
        option = min(given).replace("_", "-")
        raise UsageError(f"{_NAME}: --{option} belongs to {belongs}")


def _run_day(arguments: argparse.Namespace) -> int:
    unit: Unit = arguments.unit or "C"
    try:
        found = degree_days(
            arguments.min,
            arguments.max,
            lower=arguments.lower,
            upper=arguments.upper,
            method=arguments.method,
            cutoff=arguments.cutoff,
            next_minimum=arguments.next_min,
            unit=unit,
        )
    except ValueError as error:
        raise UsageError(f"{_NAME}: {error}") from error
    if unit == "C":
        _check_celsius(arguments)
    if arguments.json:
        print(json.dumps({"degree_days": found}))
        return 0
    rows = [("degree-days of the day", f"{found:.2f}", f"°{unit}·d")]
    if unit == "F":
        rows.append(("the same in °C", f"{found / F_PER_C:.2f}", "°C·d"))
    print(table(rows))
    cutoff = f", {arguments.cutoff} cutoff" if arguments.upper is not None else ""
    print(f"by {arguments.method}{cutoff}; a requirement holds for its own method only")
    return 0


def _check_celsius(arguments: argparse.Namespace) -> None:
    """Refuse what no animal lives at, and what is an everyday value in Fahrenheit."""
    for name, highest in (
        ("max", HOTTEST_C),
        ("next_min", HOTTEST_C),
        ("lower", HIGHEST_LOWER_C),
        ("upper", HOTTEST_C),
    ):
        value = getattr(arguments, name)
        if value is not None and value > highest:
            option = name.replace("_", "-")
            mend = (
                "if it is, give --unit F"
                if arguments.readings is None
                else "readings are in °C, so convert it first: (F - 32) / 1.8"
            )
            raise UsageError(
                f"{_NAME}: --{option} {value:g} °C is above {highest:g} °C: it looks"
                f" like °F; {mend}"
            )


def _run_readings(arguments: argparse.Namespace) -> int:
    lower, upper = arguments.lower, arguments.upper
    max_gap = arguments.max_gap or DEFAULT_GAP
    try:
        check_thresholds(lower, upper, arguments.cutoff)
    except ValueError as error:
        raise UsageError(f"{_NAME}: {error}") from error
    _check_celsius(arguments)
    times, values = read_readings(arguments.readings)
    heat = integrate(
        times,
        values,
        lower_c=lower,
        upper_c=upper,
        cutoff=arguments.cutoff,
        max_gap=max_gap,
    )
    bounds = with_missing(heat, lower_c=lower, upper_c=upper)
    if arguments.json:
        print(json.dumps({"degree_days": heat.degree_days} | asdict(bounds)))
        return 0
    high = "no limit" if bounds.high is None else f"{bounds.high:.2f}"
    guess = "unknown" if bounds.estimate is None else f"{bounds.estimate:.2f}"
    print(
        table(
            [
                ("measured", f"{heat.degree_days:.2f}", "°C·d"),
                ("estimate for all the time", guess, "°C·d"),
                ("at least", f"{bounds.low:.2f}", "°C·d"),
                ("at most", high, "°C·d" if bounds.high is not None else ""),
                ("time covered", f"{100 * bounds.coverage:.1f}", "%"),
            ]
        )
    )
    print(_explanation(heat, max_gap))
    return 0


def _explanation(heat: HeatSum, max_gap: timedelta) -> str:
    first, last = from_us(heat.first_us), from_us(heat.last_us)
    return (
        f"from {first:%Y-%m-%d %H:%M} to {last:%Y-%m-%d %H:%M} UTC;"
        f" readings more than {format_span(max_gap)} apart count as missing"
    )


COMMANDS: tuple[Command, ...] = (
    Command(
        ("calc", "degree-days"),
        "degree-days of a file of readings with bounds, or of a day's extremes",
        "calc degree-days --readings shelf.csv --lower 10 --upper 32",
        _arguments,
        _run,
    ),
)
