"""Arguments that commands share which write into the journal or answer alarms."""

import argparse

WHEN = "site time, such as 14:00 or '2026-03-01 14:00', or with an offset; else now"


def add_note(parser: argparse.ArgumentParser) -> None:
    """--note."""
    parser.add_argument("--note", metavar="WORDS", help="free words, kept with it")


def add_by(parser: argparse.ArgumentParser, *, required: bool) -> None:
    """--by."""
    parser.add_argument(
        "--by", metavar="KEEPER", required=required, help="who says so: a keeper's id"
    )


def add_journal(parser: argparse.ArgumentParser) -> None:
    """--at, --by, --note."""
    parser.add_argument("--at", metavar="TIME", help=f"when it happened: {WHEN}")
    add_by(parser, required=False)
    add_note(parser)


JOURNAL = ("at", "by", "note")
"""Names of the arguments of `add_journal`."""
