"""``place``: tubs that are set up, carried and scrapped."""

import argparse
from typing import Any

from monitor.cli.ask import Result, change, given, look, stale_line
from monitor.cli.command import Command, Context
from monitor.cli.journal import JOURNAL, add_journal
from monitor.cli.table import Sheet, table

_KINDS = ("rearing", "incubator", "fermentation", "exhibit")


def _create_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("ids", nargs="+", metavar="ID", help="such as tub-012")
    parser.add_argument(
        "--kind", default="rearing", help=f"{', '.join(_KINDS)} (default rearing)"
    )
    parser.add_argument(
        "--in", required=True, metavar="PLACE", help="room, shelf or incubator"
    )
    parser.add_argument("--name", help="what people call it")
    add_journal(parser)


def _create(arguments: argparse.Namespace, context: Context) -> int:
    names = ("ids", "kind", "in", "name", *JOURNAL)
    return change(arguments, context, "place create", *names)


def _move_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("ids", nargs="+", metavar="ID")
    parser.add_argument(
        "--to", required=True, metavar="PLACE", help="room, shelf or incubator"
    )
    add_journal(parser)


def _move(arguments: argparse.Namespace, context: Context) -> int:
    return change(arguments, context, "place move", "ids", "to", *JOURNAL)


def _scrap_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("ids", nargs="+", metavar="ID")
    add_journal(parser)


def _scrap(arguments: argparse.Namespace, context: Context) -> int:
    return change(arguments, context, "place scrap", "ids", *JOURNAL)


def _list_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--all", action="store_true", help="scrapped ones too")


def _list(arguments: argparse.Namespace, context: Context) -> int:
    return look(arguments, context, "place list", given(arguments, "all"), _show)


def _show(result: Result) -> str:
    sheet = Sheet(result)
    places = {row["id"]: row for row in sheet.rows("places")}
    off = {key: _off_probe(row.get("distance")) for key, row in places.items()}
    # a house that has no surveys is not told of them
    surveyed = any(off.values())
    rows = []
    for row in places.values():
        depth, parent = 0, row["parent"]
        while parent in places:
            depth, parent = depth + 1, places[parent]["parent"]
        living = ", ".join(map(str, row["cohorts"]))
        gone = row["scrapped_at"]
        rows.append(
            (
                "  " * depth + row["id"],
                row["kind"],
                *([off[row["id"]]] if surveyed else []),
                f"scrapped {sheet.local(gone)}" if gone else living,
            )
        )
    head = ("place", "kind", *(["off its probe"] if surveyed else []), "cohorts")
    return "\n".join([*stale_line(sheet), table(head, rows)])


def _off_probe(distance: dict[str, Any] | None) -> str:
    """Offset and spread that a survey told; a neighbour's is in brackets."""
    if distance is None or distance["how"] not in ("surveyed", "neighbours"):
        return ""
    words = f"{distance['offset_k']:+.1f} +-{distance['spread_k']:.1f} K"
    return words if distance["how"] == "surveyed" else f"({words})"


COMMANDS: tuple[Command, ...] = (
    Command(
        words=("place", "create"),
        help="set up one or several tubs or other enclosures",
        example="place create tub-101 tub-102 --in warm-room-a",
        arguments=_create_arguments,
        run=_create,
    ),
    Command(
        words=("place", "move"),
        help="carry enclosures to another shelf or room",
        example="place move tub-101 tub-102 --to warm-room-b --at 14:00",
        arguments=_move_arguments,
        run=_move,
    ),
    Command(
        words=("place", "scrap"),
        help="take empty enclosures away for good",
        example="place scrap tub-101 --note 'mite trouble'",
        arguments=_scrap_arguments,
        run=_scrap,
    ),
    Command(
        words=("place", "list"),
        help="show rooms, shelves and enclosures, and who lives there",
        example="place list",
        arguments=_list_arguments,
        run=_list,
    ),
)
