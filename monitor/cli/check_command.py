"""``check``: prove a configuration and tell what it comes to."""

import argparse
import json
from collections.abc import Iterator
from pathlib import Path

from monitor.alarms.plan import delays_for
from monitor.cli.command import Command, Context
from monitor.errors import ConfigError
from monitor.site.effective import effective, warnings
from monitor.site.load import Configuration, load
from monitor.site.secrets import Secrets, needed
from monitor.site.settings import process_settings, unheard
from monitor.site.spans import format_span


def _arguments(_parser: argparse.ArgumentParser) -> None:
    """Nothing beyond what every command has."""


def _run(arguments: argparse.Namespace, context: Context) -> int:
    process_settings()
    configuration = load(context.config)
    secrets = Secrets.from_environment(context.environment)
    names = needed(configuration)
    for name in names:
        secrets.get(name)
    _readable_ca(configuration)
    said = warnings(configuration)
    said += [
        f"the secret {name} can be read by other users: chmod 600 it"
        for name in names
        if secrets.open_to_others(name)
    ]
    said += unheard(context.environment)
    if arguments.json:
        found = {"ok": True, "hash": configuration.hash, "warnings": said}
        print(json.dumps(found, ensure_ascii=False))
        return 0
    print("configuration is good")
    print(effective(configuration, dict.fromkeys(names, True)))
    for line in _delays(configuration):
        print(line)
    if said:
        print()
    for warning in said:
        print(f"# warning: {warning}")
    return 0


def _delays(configuration: Configuration) -> Iterator[str]:
    """Delays of what is measured, for species that name no others."""
    site = configuration.site
    measured = {s.quantity for s in site.sensors} | {n.quantity for n in site.limits}
    if measured:
        yield ""
    for quantity in sorted(measured):
        delays = delays_for(site, quantity)
        yield (
            f"# {quantity}: on-delay {format_span(delays.on)}, off-delay "
            f"{format_span(delays.off)}, deadband {delays.deadband:g}"
        )


def _readable_ca(configuration: Configuration) -> None:
    broker = configuration.site.broker
    if broker is None or not isinstance(broker.tls, str):
        return
    try:
        Path(broker.tls).read_bytes()
    except OSError as error:
        raise ConfigError(
            f'site.toml: broker.tls: "{broker.tls}" cannot be read ({error.strerror}): '
            "give the path of the file with the certificate of the authority"
        ) from None


COMMANDS = (
    Command(
        words=("check",),
        help="prove a configuration, print what it comes to, secrets masked",
        example="check --config /etc/rearing-monitor",
        arguments=_arguments,
        run=_run,
    ),
)
