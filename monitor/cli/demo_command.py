"""``demo``: the daemon at work on a simulated house."""

import argparse
import math
from pathlib import Path

from monitor.cli.command import Command, Context
from monitor.errors import UsageError

FASTEST = 600.0
"""Beyond this a house's minute is shorter than the daemon's own commit."""


def _arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--once", action="store_true", help="tell the story once and end"
    )
    parser.add_argument(
        "--state",
        type=Path,
        metavar="DIR",
        help="keep all files in this directory (else a fresh temporary one)",
    )
    parser.add_argument("--rate", type=_rate, default=60.0, help=argparse.SUPPRESS)


def _rate(text: str) -> float:
    try:
        rate = float(text)
    except ValueError:
        rate = math.nan
    if not 1.0 <= rate <= FASTEST:
        raise UsageError(f"--rate {text}: give a number from 1 to {FASTEST:g}")
    return rate


def _run(arguments: argparse.Namespace, context: Context) -> int:
    del context  # the demo has a configuration of its own
    if arguments.json:
        raise UsageError("--json: the demo tells a story for people; leave it out")
    # heavy, and wanted by nobody but the demo
    from monitor.demo.run import run_demo  # noqa: PLC0415

    return run_demo(state=arguments.state, once=arguments.once, rate=arguments.rate)


COMMANDS = (
    Command(
        words=("demo",),
        help="run the daemon on an invented insect house, 60 times as fast as life",
        example="demo --once",
        arguments=_arguments,
        run=_run,
    ),
)
"""What the registry adds."""
