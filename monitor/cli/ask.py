"""How a command gets its answer: from the daemon, else from the store, and says so."""

import argparse
import json
import sys
from collections.abc import Callable, Mapping

import msgspec

from monitor.cli.command import Context
from monitor.cli.table import Sheet
from monitor.clock import clock_from_environment
from monitor.control.client import Argument, ask
from monitor.desk.desk import perform
from monitor.desk.offline import NOT_RUNNING, stored_view
from monitor.desk.view import Request
from monitor.errors import UnreachableError

Result = dict[str, object]
Show = Callable[[Result], str]


def given(arguments: argparse.Namespace, *names: str) -> dict[str, Argument]:
    """The named arguments that were given, as a request carries them."""
    found = {name: getattr(arguments, name) for name in names}
    return {n: v for n, v in found.items() if v is not None and v is not False}


def change(
    arguments: argparse.Namespace, context: Context, do: str, *names: str
) -> int:
    """
    Have the daemon change something, and tell what came of it.

    Raises:
        UnreachableError: If there is no daemon: nobody else may write.
        UsageError: If a value is wrong.
        RefusedError: If the daemon says no.
    """
    result = ask(context.socket, do, given(arguments, *names))
    if arguments.json:
        print_json(result)
        return 0
    print(result.get("said", ""))
    warnings = result.get("warnings")
    for warning in warnings if isinstance(warnings, list) else ():
        print(f"Warning: {warning}", file=sys.stderr)
    return 0


def look(
    arguments: argparse.Namespace,
    context: Context,
    do: str,
    args: Mapping[str, Argument],
    show: Show,
) -> int:
    """
    Show something: as the daemon knows it, else as the store last knew it.

    Raises:
        UnreachableError: If neither can be reached.
    """
    try:
        result = ask(context.socket, do, args)
    except UnreachableError as error:
        result = from_store(context, do, args, error)
    if arguments.json:
        print_json(result)
    else:
        print(show(result))
    return 0


def from_store(
    context: Context,
    do: str,
    args: Mapping[str, Argument],
    error: UnreachableError | None = None,
) -> Result:
    """
    Answer from the files alone.

    Raises:
        UnreachableError: If there is no store; *error* where no directory is known.
    """
    if context.state is None and error is not None:
        raise error
    now = clock_from_environment().now()
    closed = args.get("all") is True
    view = stored_view(context.config, context.state, now, closed=closed)
    outcome = perform(Request(do, dict(args)), view)
    daemon = {"state": NOT_RUNNING, "why": str(error or "")}
    known = outcome.result.get("daemon")
    result = outcome.result | {"daemon": {**_table(known), **daemon}}
    # as it would have come over the socket
    return msgspec.json.decode(msgspec.json.encode(result), type=Result)


def _table(found: object) -> dict[str, object]:
    return found if isinstance(found, dict) else {}


def print_json(result: Result) -> None:
    """One JSON object on stdout."""
    print(json.dumps(result, ensure_ascii=False, allow_nan=False))


def stale_line(sheet: Sheet) -> list[str]:
    """A first line that says that nobody watches, where that is so."""
    if sheet.text("daemon", "state") != NOT_RUNNING:
        return []
    newest = sheet.result.get("newest_reading")
    tail = (
        f"newest reading {sheet.ago(newest)} ({sheet.local(newest)})"
        if isinstance(newest, str)
        else "this is what the store last knew"
    )
    return ["NO DAEMON ANSWERS: perhaps nobody watches.", f"  {tail}"]
