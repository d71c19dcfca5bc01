"""``place survey``: how far a place is from the probe of its shelf or room."""

import argparse

from monitor.cli.ask import change
from monitor.cli.command import Command, Context
from monitor.cli.journal import JOURNAL, add_journal
from monitor.errors import UsageError

_MEASURED = ("since", "until")
_STATED = ("offset", "spread", "against")


def _arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("place", metavar="PLACE", help="the place surveyed")
    parser.add_argument(
        "--sensor", metavar="SENSOR", help="the spare probe that was left in it"
    )
    parser.add_argument(
        "--since",
        metavar="TIME",
        help="with --sensor, from this on; else its whole last stay in the place",
    )
    parser.add_argument("--until", metavar="TIME", help="with --sensor, to this")
    parser.add_argument(
        "--offset", metavar="K", help="your own finding: place minus probe, in K"
    )
    parser.add_argument(
        "--spread", metavar="K", help="your own finding: give or take, in K"
    )
    parser.add_argument(
        "--against",
        metavar="PLACE",
        help="with --offset, where the probe hangs; else what feeds the place now",
    )
    add_journal(parser)


def _run(arguments: argparse.Namespace, context: Context) -> int:
    given = {name for name, value in vars(arguments).items() if value is not None}
    names = ("place", "offset", "spread", "against", *JOURNAL)
    if arguments.sensor is None:
        stray = [f"--{name}" for name in _MEASURED if name in given]
        if stray:
            raise UsageError(f"{' and '.join(stray)}: only together with --sensor")
        return change(arguments, context, "place survey", *names)
    stray = [f"--{name}" for name in _STATED if name in given]
    if stray:
        raise UsageError(
            f"{' and '.join(stray)}: either --sensor, which is compared, or your own"
            " --offset and --spread"
        )
    # NumPy is loaded only where it is needed
    from monitor.cli.survey_measure import measure  # noqa: PLC0415

    found = measure(
        arguments.place, arguments.sensor, arguments.since, arguments.until, context
    )
    full = argparse.Namespace(**(vars(arguments) | found))
    return change(full, context, "place survey", "sensor", *found, *names[:1], *JOURNAL)


COMMANDS: tuple[Command, ...] = (
    Command(
        words=("place", "survey"),
        help="learn how far a place is from the probe of its shelf or room",
        example="place survey tub-101 --sensor spare-probe",
        arguments=_arguments,
        run=_run,
    ),
)
"""Surveys of places."""
