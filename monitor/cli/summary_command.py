"""``summary``: the week, from the store alone; printed, or written for its mail."""

import argparse

from monitor.cli.command import Command, Context
from monitor.clock import clock_from_environment
from monitor.errors import UsageError

WRITTEN_ONLY = ("number", "next_due", "late")
"""What makes sense with --write alone."""


def _arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--week",
        metavar="YEAR-Wnn",
        help="an ISO week in site time, as 2026-W09 (else the last whole week)",
    )
    parser.add_argument(
        "--write",
        action="store_true",
        help="write mail, page, figures and pictures into the folder summaries of the "
        "state directory; the same week is replaced, other weeks are kept",
    )
    parser.add_argument(
        "--number", type=_count, metavar="N", help="with --write: its number in the row"
    )
    parser.add_argument(
        "--next-due", metavar="TIME", help="with --write: when the next one is due"
    )
    parser.add_argument(
        "--late", action="store_true", help="with --write: say that it comes late"
    )


def _count(text: str) -> int:
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"{text!r} is no number from 1 on")
    return int(text)


def _run(arguments: argparse.Namespace, context: Context) -> int:
    given = [f"--{w}".replace("_", "-") for w in WRITTEN_ONLY if getattr(arguments, w)]
    if given and not arguments.write:
        raise UsageError(f"{given[0]} needs --write: it stands in the mail alone")
    # NumPy and the sections are loaded only where a summary is made
    from monitor.cli.summary_week import tell  # noqa: PLC0415

    return tell(arguments, context, now=clock_from_environment().now())


COMMANDS: tuple[Command, ...] = (
    Command(
        words=("summary",),
        help="tell a week: alarms, conditions, cohorts and sensors; or write its mail",
        example="summary --week 2026-W09",
        arguments=_arguments,
        run=_run,
    ),
)
