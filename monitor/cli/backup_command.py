"""``backup``: a copy of the store, beside a running daemon or without one."""

import argparse
import json
from pathlib import Path

from monitor.cli.command import Command, Context
from monitor.cli.held import held, held_json, size_words
from monitor.clock import clock_from_environment
from monitor.errors import UnreachableError, UsageError
from monitor.store.backup import BACKUPS, KEPT, BackupMade, copy_to, make_backup
from monitor.store.reader import Reader


def _arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--to",
        metavar="FILE",
        help=f"a new file (else one of its own in {BACKUPS} beside the store)",
    )
    parser.add_argument(
        "--keep",
        metavar="N",
        type=int,
        help=f"keep the newest N that have no --to (else {KEPT})",
    )


def _run(arguments: argparse.Namespace, context: Context) -> int:
    if context.state is None:
        raise UnreachableError(
            "no store: set REARING_STATE to the state directory of the daemon"
        )
    keep = KEPT if arguments.keep is None else arguments.keep
    if keep < 1:
        raise UsageError(f"--keep {keep}: at least 1 is kept, the new one")
    if arguments.to is not None and arguments.keep is not None:
        raise UsageError("--keep: nothing is taken away beside a file named by --to")
    reader = Reader.open(context.state)
    if arguments.to is not None:
        made = copy_to(reader, Path(arguments.to).absolute())
    else:
        now = clock_from_environment().now()
        made = make_backup(reader, context.state.absolute() / BACKUPS, now, keep)
    print(_json(made) if arguments.json else _words(made))
    return 0


def _json(made: BackupMade) -> str:
    found = {
        "path": str(made.path),
        "bytes": made.size,
        **held_json(made.holds),
        "removed": [str(path) for path in made.removed],
    }
    return json.dumps(found, ensure_ascii=False)


def _words(made: BackupMade) -> str:
    lines = [str(made.path), f"  {size_words(made.size)}: {held(made.holds)}"]
    lines += [f"  removed {path}" for path in made.removed]
    return "\n".join(lines)


COMMANDS = (
    Command(
        words=("backup",),
        help="copy the store, beside a running daemon or without one",
        example="backup --to quillmere.sqlite3",
        arguments=_arguments,
        run=_run,
    ),
)
