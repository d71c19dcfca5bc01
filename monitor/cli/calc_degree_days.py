"""``calc degree-days``: of one day by its extremes, or of a file of readings."""

import argparse
from typing import get_args

from monitor.cli.calc_input import dumps, number, table, take_negative_numbers
from monitor.cli.calc_limits import CONVERT, HIGHEST_LOWER_C, HOTTEST_C, check_option
from monitor.cli.calc_readings import read_readings
from monitor.cli.calc_sums import (
    DEFAULT_GAP,
    add_readings,
    print_json,
    print_table,
    said_of_time,
)
from monitor.cli.command import Command, Context
from monitor.errors import UsageError
from monitor.science.daily import F_PER_C, Method, Unit, degree_days
from monitor.science.degree_days import (
    Cutoff,
    check_thresholds,
    integrate,
    with_missing,
)

_NAME = "calc degree-days"

_OF_A_DAY = ("min", "max", "next_min", "method", "unit")
_OF_READINGS = ("max_gap",)

_DOUBLE = tuple(name for name in get_args(Method) if name.startswith("double"))
"""The methods that look at the next day."""


def _arguments(parser: argparse.ArgumentParser) -> None:
    take_negative_numbers(parser)
    add_readings(parser)
    parser.add_argument(
        "--min", type=number, metavar="T", help="lowest of a day, instead of readings"
    )
    parser.add_argument("--max", type=number, metavar="T", help="highest of that day")
    parser.add_argument(
        "--next-min",
        type=number,
        metavar="T",
        help=f"lowest of the next day, for {' and '.join(_DOUBLE)} (else that of"
        " --min)",
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
    if arguments.method not in _DOUBLE:
        _refuse(
            given & {"next_min"},
            f"--method {' and '.join(_DOUBLE)}, not to {arguments.method}: leave it"
            " out, or name one of them",
        )
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
        _check_limits(arguments, unit)
    except ValueError as error:
        raise UsageError(f"{_NAME}: {error}") from error
    if arguments.json:
        print(dumps({"degree_days": found}))
        return 0
    rows = [("degree-days of the day", f"{found:.2f}", f"°{unit}·d")]
    if unit == "F":
        rows.append(("the same in °C", f"{found / F_PER_C:.2f}", "°C·d"))
    print(table(rows))
    cutoff = f", {arguments.cutoff} cutoff" if arguments.upper is not None else ""
    print(f"by {arguments.method}{cutoff}; a requirement holds for its own method only")
    return 0


def _check_limits(arguments: argparse.Namespace, unit: Unit) -> None:
    """Refuse what no animal lives at, and what is an everyday value in Fahrenheit."""
    mend = (
        "if it is, give --unit F"
        if arguments.readings is None
        else f"readings are in °C, so {CONVERT}"
    )
    for name in ("min", "max", "next_min", "lower", "upper"):
        value = getattr(arguments, name)
        if value is not None:
            check_option(
                f"--{name.replace('_', '-')}",
                value,
                highest_c=HIGHEST_LOWER_C if name == "lower" else HOTTEST_C,
                unit=unit,
                mend=mend,
            )


def _run_readings(arguments: argparse.Namespace) -> int:
    lower, upper = arguments.lower, arguments.upper
    max_gap = arguments.max_gap or DEFAULT_GAP
    try:
        check_thresholds(lower, upper, arguments.cutoff)
        _check_limits(arguments, "C")
    except ValueError as error:
        raise UsageError(f"{_NAME}: {error}") from error
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
        print_json("degree_days", heat.degree_days, bounds)
        return 0
    print_table(heat.degree_days, bounds, unit="°C·d", places=2)
    print(said_of_time(heat.first_us, heat.last_us, max_gap))
    return 0


COMMANDS: tuple[Command, ...] = (
    Command(
        ("calc", "degree-days"),
        "degree-days of a file of readings with bounds, or of a day's extremes",
        "calc degree-days --readings shelf.csv --lower 10 --upper 32",
        _arguments,
        _run,
    ),
)
