"""``sensor``: probes, where they hang and whom they serve."""

import argparse

from monitor.cli.ask import Result, change, look, stale_line
from monitor.cli.command import Command, Context
from monitor.cli.journal import JOURNAL, add_journal
from monitor.cli.table import Sheet, brief, table, value_words


def _move_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("id", metavar="ID", help="id of the sensor")
    parser.add_argument("--to", required=True, metavar="PLACE")
    add_journal(parser)


def _move(arguments: argparse.Namespace, context: Context) -> int:
    return change(arguments, context, "sensor move", "id", "to", *JOURNAL)


def _no_arguments(parser: argparse.ArgumentParser) -> None:
    del parser


def _list(arguments: argparse.Namespace, context: Context) -> int:
    return look(arguments, context, "sensor list", {}, _show)


def _show(result: Result) -> str:
    sheet = Sheet(result)
    # the longest unheard first: that is what one looks for here
    rows = sorted(
        sheet.rows("sensors"), key=lambda r: (not r["old"], r["time"] or "", r["id"])
    )
    head = ("", "sensor", "reads", "last", "heard", "hangs in", "feeds")
    body = table(
        head,
        [
            (
                "OLD" if row["old"] else "",
                row["id"],
                brief(row["quantity"]),
                value_words(row["value"], row["unit"]),
                sheet.ago(row["time"]),
                row["place"],
                _feeds(row["feeds"]),
            )
            for row in rows
        ],
    )
    return "\n".join([*stale_line(sheet), body if rows else "No sensors."])


def _feeds(places: list[str]) -> str:
    return places[0] if len(places) == 1 else f"{len(places)} places"


COMMANDS: tuple[Command, ...] = (
    Command(
        words=("sensor", "move"),
        help="say that a sensor hangs elsewhere now",
        example="sensor move tub-probe-1 --to tub-101",
        arguments=_move_arguments,
        run=_move,
    ),
    Command(
        words=("sensor", "list"),
        help="show every sensor: last reading, age, place and whom it feeds",
        example="sensor list",
        arguments=_no_arguments,
        run=_list,
    ),
)
