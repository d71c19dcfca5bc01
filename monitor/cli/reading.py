"""``reading``: what a person reads off a thermometer."""

import argparse

from monitor.cli.ask import change
from monitor.cli.command import Command, Context
from monitor.cli.journal import JOURNAL, WHEN, add_journal


def _add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--place", required=True, metavar="PLACE")
    parser.add_argument(
        "--quantity", required=True, help="such as substrate_temperature"
    )
    parser.add_argument("--value", metavar="V", help="what it says now")
    parser.add_argument("--minimum", metavar="A", help="lowest since the reset")
    parser.add_argument("--maximum", metavar="B", help="highest since the reset")
    parser.add_argument("--since", metavar="TIME", help=f"the reset: {WHEN}")
    parser.add_argument("--unit", help="such as degF; else degC, percent, ppm")
    parser.add_argument("--thermometer", metavar="NAME", help="which one it was")
    add_journal(parser)


def _add(arguments: argparse.Namespace, context: Context) -> int:
    names = ("place", "quantity", "value", "minimum", "maximum", "since")
    more = ("unit", "thermometer", *JOURNAL)
    return change(arguments, context, "reading add", *names, *more)


COMMANDS: tuple[Command, ...] = (
    Command(
        words=("reading", "add"),
        help="enter a reading by hand: a value, or minimum and maximum",
        example=(
            "reading add --place tub-101 --quantity substrate_temperature"
            " --value 24.5 --by ines"
        ),
        arguments=_add_arguments,
        run=_add,
    ),
)
