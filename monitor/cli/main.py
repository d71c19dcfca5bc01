"""``rearing-monitor``: find the command, run it, end with one line if it fails."""

import argparse
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import NoReturn

from monitor import __version__
from monitor.cli.command import Command, Context
from monitor.cli.registry import COMMANDS
from monitor.errors import MonitorError, UsageError

DEFAULT_CONFIG = "/etc/rearing-monitor"
GROUPS = {
    "alarms": "what stands, and answers to it",
    "calc": "computations on numbers given here",
    "cohort": "animals kept and followed together",
    "export": "records out of the store",
    "place": "rooms, shelves, tubs",
    "reading": "readings by hand",
    "sensor": "probes and where they hang",
}


class _Parser(argparse.ArgumentParser):
    """A parser whose complaint is one line."""

    def error(self, message: str) -> NoReturn:
        raise UsageError(f"{self.prog}: {message} (see {self.prog} --help)")


def build_parser(commands: Sequence[Command] = COMMANDS) -> argparse.ArgumentParser:
    """The parser of all commands, each with help and an example."""
    common = _Parser(add_help=False)
    common.add_argument(
        "--config",
        metavar="DIR",
        default=argparse.SUPPRESS,
        help=f"directory of site.toml (else $REARING_CONFIG, else {DEFAULT_CONFIG})",
    )
    parser = _Parser(
        prog="rearing-monitor",
        description="Watches an insect house and wakes the keeper on call.",
        parents=[common],
    )
    parser.add_argument("--version", action="version", version=__version__)
    top = parser.add_subparsers(metavar="COMMAND", required=True, dest="command")
    groups: dict[str, argparse._SubParsersAction[_Parser]] = {}
    plain: dict[str, _Parser] = {}
    for command in commands:
        where = top
        if len(command.words) > 1:
            group = command.words[0]
            if group not in groups:
                # a plain command of that word, listed before, is what no verb means
                held = plain.get(group) or top.add_parser(
                    group, help=GROUPS.get(group), parents=[common]
                )
                groups[group] = held.add_subparsers(
                    metavar="VERB", required=group not in plain, dest="verb"
                )
            where = groups[group]
        made = where.add_parser(
            command.words[-1],
            help=command.help,
            description=command.help,
            epilog=f"Example:\n  rearing-monitor {command.example}",
            formatter_class=argparse.RawDescriptionHelpFormatter,
            parents=[common],
        )
        made.add_argument(
            "--json", action="store_true", help="print one JSON object for programs"
        )
        command.arguments(made)
        made.set_defaults(run=command.run)
        if where is top:
            plain[command.words[0]] = made
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; a user's mistake is one line on stderr and an exit code."""
    try:
        arguments = build_parser().parse_args(argv)
        config = getattr(arguments, "config", None) or os.environ.get(
            "REARING_CONFIG", DEFAULT_CONFIG
        )
        code: int = arguments.run(arguments, Context(Path(config)))
    except MonitorError as error:
        print(" ".join(str(error).split()), file=sys.stderr)
        return error.exit_code
    except BrokenPipeError:
        # the reader of our pipe went away, as `| head` does
        sys.stderr.close()
        return 0
    except KeyboardInterrupt:
        return 130
    return code


if __name__ == "__main__":
    sys.exit(main())
