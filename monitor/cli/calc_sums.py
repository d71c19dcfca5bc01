"""What a sum over readings says: its bounds, its time, and what counts as missing."""

import argparse
from dataclasses import asdict
from datetime import timedelta
from pathlib import Path

from monitor.cli.calc_input import dumps, span, table
from monitor.clock import from_us
from monitor.science.curve import Estimate
from monitor.site.spans import format_span

DEFAULT_GAP = timedelta(hours=2)


def add_readings(parser: argparse.ArgumentParser) -> None:
    """Add the options of a sum over readings."""
    parser.add_argument(
        "--readings",
        type=Path,
        metavar="FILE",
        help="CSV with the header time,temperature; times with their zone, in °C",
    )
    parser.add_argument(
        "--max-gap",
        type=span,
        metavar="SPAN",
        help="longest time between two readings that counts as measured (else"
        f" {format_span(DEFAULT_GAP)})",
    )


def print_json(name: str, measured: float, bounds: Estimate) -> None:
    """Print a sum under its *name*, and its bounds."""
    print(dumps({name: measured} | asdict(bounds)))


def print_table(
    measured: float, bounds: Estimate, *, unit: str, places: int, factor: float = 1.0
) -> None:
    """
    Print a sum and its bounds for people.

    Args:
        measured: The sum of the measured time.
        bounds: With the missing time.
        unit: Of what is printed.
        places: Digits after the point.
        factor: What is printed is so many times the sum.
    """

    def row(words: str, sum_: float | None, none: str = "") -> tuple[str, str, str]:
        if sum_ is None:
            return words, none, ""
        return words, f"{factor * sum_:.{places}f}", unit

    print(
        table(
            [
                row("measured", measured),
                row("estimate for all the time", bounds.estimate, "unknown"),
                row("at least", bounds.low),
                row("at most", bounds.high, "no limit"),
                ("time covered", f"{100 * bounds.coverage:.1f}", "%"),
            ]
        )
    )


def said_of_time(first_us: int, last_us: int, max_gap: timedelta) -> str:
    """The time that a sum is of, and what is missing of it."""
    first, last = from_us(first_us), from_us(last_us)
    return (
        f"from {first:%Y-%m-%d %H:%M} to {last:%Y-%m-%d %H:%M} UTC;"
        f" readings more than {format_span(max_gap)} apart count as missing"
    )
