"""``alarms``: what stands, and keepers' answers."""

import argparse
from collections.abc import Callable
from typing import Any

from monitor.cli.ask import (
    Result,
    change,
    from_store,
    given,
    look,
    print_json,
    stale_line,
)
from monitor.cli.command import Command, Context
from monitor.cli.journal import add_by, add_note
from monitor.cli.table import Sheet, brief, cut, value_words

Run = Callable[[argparse.Namespace, Context], int]


def _list_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--all", action="store_true", help="those that are over too, from the store"
    )


def _list(arguments: argparse.Namespace, context: Context) -> int:
    args = given(arguments, "all")
    if not arguments.all or context.state is None:
        return look(arguments, context, "alarms list", args, _show)
    # the daemon knows only what is not over; the store keeps every alarm
    result = from_store(context, "alarms list", args)
    result["daemon"] = {"state": "not asked"}
    if arguments.json:
        print_json(result)
    else:
        print(_show(result))
    return 0


def _show(result: Result) -> str:
    sheet = Sheet(result)
    rows = sheet.rows("alarms")
    lines = stale_line(sheet)
    if not rows:
        lines.append("No alarm stands.")
    for row in rows:
        lines += alarm_lines(row, sheet)
    return "\n".join(lines)


def alarm_lines(row: dict[str, Any], sheet: Sheet) -> list[str]:
    """An alarm in two or three lines that fit a telephone."""
    head = f"{row['id']:>4} {row['priority'].upper()} {row['thing']}"
    if row["quantity"]:
        head += f" {brief(row['quantity'])}"
    if row["value"] is not None:
        head += f" {value_words(row['value'], row['unit'])}"
    if row["limit"] is not None and row["unit"] != "on-off":
        head += f" {row['side'] or 'limit'} {row['limit']:g}"
    state = row["said"]
    if row["set_aside_until"]:
        state += f" until {sheet.local(row['set_aside_until'])}"
    if row["answered_by"]:
        state += f" by {row['answered_by']}"
    lines = [
        cut(head),
        cut(f"     {row['title']}; since {sheet.local(row['since'])}; {state}"),
    ]
    if row["detail"]:
        lines.append(cut(f"     {row['detail']}"))
    if row["at_risk"]:
        who = ", ".join(f"{d['species']} {d['stage']}" for d in row["at_risk"])
        lines.append(cut(f"     at risk: {who}"))
    return lines


def _answer_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("id", metavar="ID", help="number of the alarm")
    add_by(parser, required=True)
    add_note(parser)


def _shelve_arguments(parser: argparse.ArgumentParser) -> None:
    _answer_arguments(parser)
    parser.add_argument(
        "--for",
        metavar="SPAN",
        help='how long, such as "30 min" (default 2 h, at most 24 h)',
    )


def _answer(do: str, *more: str) -> Run:
    def run(arguments: argparse.Namespace, context: Context) -> int:
        return change(arguments, context, do, "id", "by", "note", *more)

    return run


COMMANDS: tuple[Command, ...] = (
    Command(
        words=("alarms", "list"),
        help="show the alarms that stand, the most pressing first",
        example="alarms list",
        arguments=_list_arguments,
        run=_list,
    ),
    Command(
        words=("alarms", "acknowledge"),
        help="say that you know of an alarm and see to it",
        example="alarms acknowledge 12 --by ines --note 'heater is off, going'",
        arguments=_answer_arguments,
        run=_answer("alarms acknowledge"),
    ),
    Command(
        words=("alarms", "shelve"),
        help="set an alarm aside for a time; never the danger limit",
        example="alarms shelve 12 --for 2h --by ines",
        arguments=_shelve_arguments,
        run=_answer("alarms shelve", "for"),
    ),
    Command(
        words=("alarms", "unshelve"),
        help="set an alarm aside no longer",
        example="alarms unshelve 12 --by ines",
        arguments=_answer_arguments,
        run=_answer("alarms unshelve"),
    ),
    Command(
        words=("alarms", "out-of-service"),
        help="take an alarm out of use until it is returned; needs a note",
        example="alarms out-of-service 12 --by ines --note 'probe sent for repair'",
        arguments=_answer_arguments,
        run=_answer("alarms out-of-service"),
    ),
    Command(
        words=("alarms", "return"),
        help="take an alarm back into use",
        example="alarms return 12 --by ines",
        arguments=_answer_arguments,
        run=_answer("alarms return"),
    ),
)
