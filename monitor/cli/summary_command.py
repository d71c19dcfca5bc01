"""``summary``: the week, from the store alone."""

import argparse
import json

from monitor.cli.command import Command, Context
from monitor.clock import clock_from_environment
from monitor.errors import UnreachableError, UsageError
from monitor.site.load import load
from monitor.store.reader import Reader
from monitor.summary.week import parse_week, week_asked


def _arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--week",
        metavar="YEAR-Wnn",
        help="an ISO week in site time, as 2026-W09 (else the last whole week)",
    )


def _run(arguments: argparse.Namespace, context: Context) -> int:
    # NumPy and the sections are loaded only where a summary is made
    from monitor.summary.gather import view_of  # noqa: PLC0415
    from monitor.summary.summary import as_json, as_text, summarise  # noqa: PLC0415

    text, now = arguments.week, clock_from_environment().now()
    try:
        if text is not None:
            parse_week(text)
        if context.state is None:
            raise UnreachableError(
                "no store: set REARING_STATE to the state directory of the daemon"
            )
        reader = Reader.open(context.state)
        configuration = load(context.config)
        week = week_asked(text, now=now, zone=configuration.site.site.time_zone)
    except UsageError as error:
        raise UsageError(f"--week: {error}") from None
    with view_of(reader, configuration, week, now=now) as view:
        summary = summarise(view)
    if arguments.json:
        print(json.dumps(as_json(summary), ensure_ascii=False))
    else:
        print(as_text(summary))
    return 0


COMMANDS: tuple[Command, ...] = (
    Command(
        words=("summary",),
        help="tell a week: alarms, conditions, cohorts and sensors",
        example="summary --week 2026-W09",
        arguments=_arguments,
        run=_run,
    ),
)
