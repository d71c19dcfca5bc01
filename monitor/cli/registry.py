"""Every command; adding one is a file and a line here."""

from monitor.cli.command import Command

COMMANDS: tuple[Command, ...] = ()
