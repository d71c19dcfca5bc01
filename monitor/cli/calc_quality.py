"""``calc quality``: the flags of a file of readings by a file of checks."""

import argparse
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import numpy as np

from monitor.cli.calc_input import dumps, take_negative_numbers
from monitor.cli.calc_readings import read_series
from monitor.cli.command import Command, Context
from monitor.cli.table import table
from monitor.clock import from_us
from monitor.errors import ConfigError, UsageError
from monitor.science.curve import Times, Values
from monitor.science.quality import Flags, flag
from monitor.science.quality_flags import FAIL, SUSPECT, FlagArray
from monitor.science.stretches import Bools
from monitor.site.checks_file import with_signatures
from monitor.site.load import load_checks
from monitor.site.words import Flag, Quantity

FIRST = 10
"""So many suspect or failed readings are shown to people; the rest is counted."""


def _arguments(parser: argparse.ArgumentParser) -> None:
    take_negative_numbers(parser)
    parser.add_argument(
        "--readings",
        type=Path,
        required=True,
        metavar="FILE",
        help="CSV with the header time,value; times with their zone; empty is missing",
    )
    parser.add_argument(
        "--checks",
        type=Path,
        required=True,
        metavar="FILE",
        help="TOML as in config/checks; limits in the unit of the values",
    )
    parser.add_argument(
        "--quantity",
        choices=[each.value for each in Quantity],
        metavar="NAME",
        help="of the values, to know what probes give when they fail: "
        + ", ".join(Quantity),
    )


def _run(arguments: argparse.Namespace, _context: Context) -> int:
    try:
        checks = load_checks(arguments.checks)
    except ConfigError as error:
        # a file that is named on the command line, and not the house's configuration
        raise UsageError(str(error)) from None
    if arguments.quantity is not None:
        checks = with_signatures(checks, Quantity(arguments.quantity))
    times, values = read_series(arguments.readings)
    flags = flag(times, values, checks)
    if arguments.json:
        print(
            dumps(
                {
                    "flags": flags.aggregate.tolist(),
                    "by_check": {n: f.tolist() for n, f in flags.by_check.items()},
                    "times": [_time(from_us(us)) for us in times.tolist()],
                }
            )
        )
        return 0
    print(_counts(flags))
    for line in _doubtful(times, values, flags):
        print(line)
    return 0


def _counts(flags: Flags) -> str:
    words = [each.name.lower().replace("_", " ") for each in Flag]
    every = {**flags.by_check, "worst of all": flags.aggregate}
    rows = [
        (name, *(str(np.count_nonzero(found == each)) for each in Flag))
        for name, found in every.items()
    ]
    return table(("readings", *words), rows)


def _doubtful(times: Times, values: Values, flags: Flags) -> Iterator[str]:
    found = np.flatnonzero(_bad(flags.aggregate)).tolist()
    yield ""
    if not found:
        yield "nothing is suspect or failed"
        return
    yield "suspect or failed, in UTC:"
    rows = [
        (
            _time(from_us(int(times[i]))),
            f"{values[i]:g}",
            Flag(int(flags.aggregate[i])).name.lower(),
            ", ".join(n for n, f in flags.by_check.items() if _bad(f)[i]),
        )
        for i in found[:FIRST]
    ]
    yield table(("time", "value", "flag", "by"), rows)
    if len(found) > FIRST:
        yield f"and {len(found) - FIRST} more: --json has all"


def _bad(flags: FlagArray) -> Bools:
    return np.isin(flags, (SUSPECT, FAIL))


def _time(at: datetime) -> str:
    return at.isoformat().replace("+00:00", "Z")


COMMANDS: tuple[Command, ...] = (
    Command(
        ("calc", "quality"),
        "quality flags of a file of readings: 1 pass, 2 not evaluated, 3 suspect, "
        "4 fail, 9 missing",
        "calc quality --readings shelf.csv --checks checks.toml",
        _arguments,
        _run,
    ),
)
