"""``cohort``: animals kept and followed together."""

import argparse
from typing import Any

from monitor.cli.ask import Result, change, given, look, stale_line
from monitor.cli.command import Command, Context
from monitor.cli.journal import JOURNAL, add_journal
from monitor.cli.table import Sheet, table


def _add_id(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("id", metavar="ID", help="number of the cohort")


def _add_anyway(parser: argparse.ArgumentParser, what: str) -> None:
    parser.add_argument("--anyway", action="store_true", help=what)


def _start_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--species", required=True, metavar="ID", help="id or name")
    parser.add_argument("--stage", required=True, help="such as egg or L1")
    parser.add_argument(
        "--count", metavar="N", help='12, "12+" (at least), "~12" (about), or unknown'
    )
    parser.add_argument("--place", required=True, metavar="PLACE")
    parser.add_argument("--sex", default="any", help="any, female or male")
    parser.add_argument(
        "--colony", action="store_true", help="mixed stages, never counted"
    )
    _add_anyway(parser, "although those who live there tolerate something else")
    add_journal(parser)


def _start(arguments: argparse.Namespace, context: Context) -> int:
    names = ("species", "stage", "count", "place", "sex", "colony", "anyway")
    return change(arguments, context, "cohort start", *names, *JOURNAL)


def _move_arguments(parser: argparse.ArgumentParser) -> None:
    _add_id(parser)
    parser.add_argument("--to", required=True, metavar="PLACE")
    _add_anyway(parser, "although those who live there tolerate something else")
    add_journal(parser)


def _move(arguments: argparse.Namespace, context: Context) -> int:
    return change(arguments, context, "cohort move", "id", "to", "anyway", *JOURNAL)


def _advance_arguments(parser: argparse.ArgumentParser) -> None:
    _add_id(parser)
    parser.add_argument(
        "--stage",
        help="the stage found (else the next); stages passed over were never seen",
    )
    parser.add_argument(
        "--never-seen",
        action="store_true",
        help="nobody saw this stage either; it is taken to have begun",
    )
    parser.add_argument(
        "--last-seen",
        metavar="TIME",
        help="when the stage before was last seen: the change was after that",
    )
    _add_anyway(parser, "back to an earlier stage, to mend a slip")
    add_journal(parser)


def _advance(arguments: argparse.Namespace, context: Context) -> int:
    names = ("id", "stage", "never_seen", "last_seen", "anyway")
    return change(arguments, context, "cohort advance", *names, *JOURNAL)


def _count_arguments(parser: argparse.ArgumentParser) -> None:
    _add_id(parser)
    parser.add_argument(
        "count", metavar="N", help='12, "12+" (at least), "~12" (about), or unknown'
    )
    add_journal(parser)


def _count(arguments: argparse.Namespace, context: Context) -> int:
    return change(arguments, context, "cohort count", "id", "count", *JOURNAL)


def _end_arguments(parser: argparse.ArgumentParser) -> None:
    _add_id(parser)
    parser.add_argument(
        "--reason", required=True, help="on show, given away, died, ..."
    )
    add_journal(parser)


def _end(arguments: argparse.Namespace, context: Context) -> int:
    return change(arguments, context, "cohort end", "id", "reason", *JOURNAL)


def _list_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--all", action="store_true", help="ended ones too")


def _list(arguments: argparse.Namespace, context: Context) -> int:
    return look(arguments, context, "cohort list", given(arguments, "all"), _show)


def _show(result: Result) -> str:
    sheet = Sheet(result)
    head = ("no.", "species", "stage", "since", "count", "place")
    rows = [
        (
            row["id"],
            row["name"] + (" (provisional)" if row["provisional"] else ""),
            row["stage"] if row["ended_at"] is None else f"ended: {row['end_reason']}",
            sheet.ago(row["stage_since"]).removesuffix(" ago"),
            how_many(row),
            row["place"],
        )
        for row in sheet.rows("cohorts")
    ]
    body = table(head, rows) if rows else "No cohorts."
    return "\n".join([*stale_line(sheet), body])


def how_many(row: dict[str, Any]) -> str:
    """The count of a cohort in a few letters."""
    return "colony" if row["colony"] else str(row["count_spelled"])


COMMANDS: tuple[Command, ...] = (
    Command(
        words=("cohort", "start"),
        help="begin to follow animals of one species",
        example=(
            "cohort start --species dynastes-hercules --stage L1 --count 12"
            " --place tub-101"
        ),
        arguments=_start_arguments,
        run=_start,
    ),
    Command(
        words=("cohort", "move"),
        help="put a cohort into another place",
        example="cohort move 7 --to tub-102",
        arguments=_move_arguments,
        run=_move,
    ),
    Command(
        words=("cohort", "advance"),
        help="say that a cohort was found in a later stage",
        example="cohort advance 7 --stage L2 --last-seen '2026-03-01 09:30'",
        arguments=_advance_arguments,
        run=_advance,
    ),
    Command(
        words=("cohort", "count"),
        help="count a cohort",
        example="cohort count 7 11+ --by ines",
        arguments=_count_arguments,
        run=_count,
    ),
    Command(
        words=("cohort", "end"),
        help="follow a cohort no longer",
        example="cohort end 7 --reason 'on show'",
        arguments=_end_arguments,
        run=_end,
    ),
    Command(
        words=("cohort", "list"),
        help="show the cohorts that are followed",
        example="cohort list --all",
        arguments=_list_arguments,
        run=_list,
    ),
)
