"""The daemon and the simulated house as child processes that never stay behind."""

import contextlib
import os
import signal
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Self

from monitor.demo.settings import Directories

STOP_S = 3.0
"""A child that was asked to end gets so long before it is killed [s]."""

_NOT_OURS = (
    "CREDENTIALS_DIRECTORY",
    "NOTIFY_SOCKET",
    "REARING_CONFIG",
    "RUNTIME_DIRECTORY",
    "STATE_DIRECTORY",
    "WATCHDOG_PID",
    "WATCHDOG_USEC",
)
"""What a service manager may have told us is not meant for the demo's daemon."""


def environment(dirs: Directories, clock: str) -> dict[str, str]:
    """
    The environment of both children.

    Args:
        dirs: Of the demo.
        clock: As `monitor.clock.ScaledClock.spelled` gives it.
    """
    ours = {k: v for k, v in os.environ.items() if k not in _NOT_OURS}
    return ours | {
        "PYTHONUNBUFFERED": "1",
        "REARING_CLOCK": clock,
        "REARING_SECRETS": str(dirs.secrets),
        "REARING_SOCKET": str(dirs.socket),
        "REARING_STATE": str(dirs.store),
    }


class Child:
    """
    A process with a log file and a session of its own; use it as a context.

    Its own session keeps the terminal's Ctrl-C from it: we end it in order.
    """

    def __init__(
        self, arguments: Sequence[str], *, env: Mapping[str, str], log: Path
    ) -> None:
        self.log = log
        with log.open("ab") as out:
            self._process = subprocess.Popen(  # noqa: S603 - our own program
                [sys.executable, "-m", *arguments],
                env=dict(env),
                stdin=subprocess.PIPE,
                stdout=out,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.stop()

    @property
    def pid(self) -> int:
        """Its process id."""
        return self._process.pid

    @property
    def ended(self) -> int | None:
        """Its exit code, or None while it runs."""
        return self._process.poll()

    def tell(self, line: str) -> None:
        """Write a line to its standard input."""
        pipe = self._process.stdin
        if pipe is not None:
            pipe.write(line.encode() + b"\n")
            pipe.flush()

    def stop(self) -> None:
        """End it: standard input, SIGTERM, and after `STOP_S` all of its session."""
        pipe = self._process.stdin
        if pipe is not None:
            with contextlib.suppress(BrokenPipeError):
                pipe.close()
        with contextlib.suppress(ProcessLookupError):
            self._process.terminate()
        try:
            with contextlib.suppress(subprocess.TimeoutExpired):
                self._process.wait(STOP_S)
        finally:
            # whatever it started and left behind goes with it
            with contextlib.suppress(ProcessLookupError, PermissionError):
                os.killpg(self._process.pid, signal.SIGKILL)
            self._process.wait()


def start_daemon(dirs: Directories, env: Mapping[str, str]) -> Child:
    """Start the daemon, exactly as a service manager would."""
    return Child(
        ["monitor", "--config", str(dirs.config), "run"], env=env, log=dirs.log
    )


def start_house(dirs: Directories, env: Mapping[str, str], *, port: int) -> Child:
    """Start the simulated house."""
    return Child(
        [
            "monitor.demo.house",
            "--config",
            str(dirs.config),
            "--begin",
            str(dirs.begin),
            "--port",
            str(port),
        ],
        env=env,
        log=dirs.house_log,
    )
