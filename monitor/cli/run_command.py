"""``run``: the daemon."""

import argparse

from monitor.cli.command import Command, Context
from monitor.errors import ConfigError
from monitor.logs import setup


def _arguments(parser: argparse.ArgumentParser) -> None:
    del parser


def _run(arguments: argparse.Namespace, context: Context) -> int:
    # the daemon's libraries are loaded only where the daemon runs
    from monitor.service import Paths, run  # noqa: PLC0415

    del arguments
    setup(context.environment.get("REARING_LOG", "info"))
    if context.state is None:
        raise ConfigError(
            "REARING_STATE: not set: name the directory where readings are kept "
            "(the service unit does so with StateDirectory=)"
        )
    paths = Paths(context.config, context.state, context.socket)
    return run(paths, context.environment)


COMMANDS = (
    Command(
        ("run",),
        "run the daemon: watch the house until it is told to stop",
        "run --config /etc/rearing-monitor",
        _arguments,
        _run,
    ),
)
