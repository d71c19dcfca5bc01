"""What a command is: its words, its help with an example, its arguments, its run."""

import argparse
import os
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Context:
    """
    Where a command finds things.

    Attributes:
        config: Directory of site.toml: ``--config``, else $REARING_CONFIG, else /etc.
        environment: The process environment.
    """

    config: Path
    environment: dict[str, str] = field(default_factory=lambda: dict(os.environ))

    @property
    def state(self) -> Path | None:
        """$REARING_STATE, else $STATE_DIRECTORY; None where neither is set."""
        found = self.environment.get("REARING_STATE") or self.environment.get(
            "STATE_DIRECTORY"
        )
        return Path(found) if found else None

    @property
    def socket(self) -> Path | None:
        """$REARING_SOCKET, else control.sock in $RUNTIME_DIRECTORY; None if neither."""
        found = self.environment.get("REARING_SOCKET")
        if found:
            return Path(found)
        runtime = self.environment.get("RUNTIME_DIRECTORY")
        return Path(runtime) / "control.sock" if runtime else None


@dataclass(frozen=True, slots=True)
class Command:
    """
    One command of ``rearing-monitor``.

    Attributes:
        words: ("now",) or ("alarms", "acknowledge").
        help: One line.
        example: A line that works, without the leading ``rearing-monitor``.
        arguments: Adds arguments to a parser that has ``--config`` and ``--json``.
        run: Does it; prints to stdout; returns the exit code. What goes wrong is
            raised as `MonitorError`.
    """

    words: tuple[str, ...]
    help: str
    example: str
    arguments: Callable[[argparse.ArgumentParser], None]
    run: Callable[[argparse.Namespace, Context], int]
