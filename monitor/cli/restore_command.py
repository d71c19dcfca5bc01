"""``restore``: put a backup in the place of the store."""

import argparse
import json
from pathlib import Path

from monitor.cli.command import Command, Context
from monitor.cli.held import held, held_json, instant
from monitor.clock import clock_from_environment
from monitor.errors import UnreachableError
from monitor.store.restore import Restored, restore


def _arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="the backup")


def _run(arguments: argparse.Namespace, context: Context) -> int:
    if context.state is None:
        raise UnreachableError(
            "no place for the store: set REARING_STATE to the state directory of the "
            "daemon"
        )
    backup = Path(arguments.file).absolute()
    now = clock_from_environment().now()
    done = restore(context.state.absolute(), backup, now)
    print(_json(done, backup) if arguments.json else _words(done, backup))
    return 0


def _json(done: Restored, backup: Path) -> str:
    found = {
        "path": str(done.path),
        "from": str(backup),
        "now": held_json(done.holds),
        "before": None if done.before is None else held_json(done.before),
        "unreadable": done.trouble or None,
        "aside": None if done.aside is None else str(done.aside),
    }
    return json.dumps(found, ensure_ascii=False)


def _words(done: Restored, backup: Path) -> str:
    lines = [
        f"restored {done.path}",
        f"  from {backup}",
        f"  now:    {held(done.holds)}",
    ]
    if done.before is not None:
        lines.append(f"  before: {held(done.before)}")
    if done.trouble:
        lines.append(f"  before: nobody can tell: {done.trouble}")
    if done.aside is not None:
        lines.append(f"The store that was there is kept: {done.aside}")
        lines.append(_lost(done))
    lines.append("Now start the daemon, and look at `now` and `cohort list`.")
    return "\n".join(lines)


def _lost(done: Restored) -> str:
    """What a keeper must enter again."""
    newest = done.holds.newest
    since = "everything" if newest is None else f"what came after {instant(newest)}"
    until = ""
    if done.before is not None and done.before.newest is not None:
        if newest is not None and done.before.newest.time <= newest.time:
            return "No reading is lost; entries of keepers made after the backup are."
        until = f", to {instant(done.before.newest)}"
    return f"Lost: {since}{until}, entries of keepers included."


COMMANDS = (
    Command(
        words=("restore",),
        help="put a backup in the place of the store; the daemon must be stopped",
        example="restore backups/rearing-20260301T031500Z.sqlite3",
        arguments=_arguments,
        run=_run,
    ),
)
