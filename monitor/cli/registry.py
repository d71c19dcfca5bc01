"""Every command; adding one is a file and a line here."""

from monitor.cli import (
    backup_command,
    calc,
    calc_fit,
    check_command,
    demo_command,
    explain_command,
    figures_command,
    forecast_command,
    records,
    replay_command,
    restore_command,
    run_command,
    summary_command,
)
from monitor.cli.command import Command

COMMANDS: tuple[Command, ...] = (
    *run_command.COMMANDS,
    *demo_command.COMMANDS,
    *check_command.COMMANDS,
    *records.COMMANDS,
    *summary_command.COMMANDS,
    *forecast_command.COMMANDS,
    *figures_command.COMMANDS,
    *explain_command.COMMANDS,
    *replay_command.COMMANDS,
    *calc.COMMANDS,
    *calc_fit.COMMANDS,
    *backup_command.COMMANDS,
    *restore_command.COMMANDS,
)
