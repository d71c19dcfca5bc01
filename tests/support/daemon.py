"""The daemon in a process of its own, and a service manager that hears it."""

import contextlib
import json
import os
import select
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

START = 30.0
"""Longest that a start may take on a busy machine. [s]"""

SITE = """
[site]
name = "Quillmere Insectarium"
time_zone = "Europe/Dublin"

[broker]
{broker}

[[room]]
id = "warm-room"
name = "Warm room"

[[limit]]
place = "warm-room"
quantity = "air_temperature"
tolerated = [20.0, 29.0]
danger = [15.0, 34.0]

[[sensor]]
id = "warm-room-air"
place = "warm-room"
quantity = "air_temperature"
interval = "1 min"
"""


class NotifySocket:
    """The manager's end of $NOTIFY_SOCKET; ``@name`` lies in the abstract space."""

    def __init__(self, address: str) -> None:
        self.address = address
        self.heard: list[str] = []
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind("\0" + address[1:] if address[0] == "@" else address)

    def close(self) -> None:
        """Hear no more."""
        self._socket.close()

    def listen(self, seconds: float) -> None:
        """Take in what comes within a time; at once if there is something."""
        if select.select([self._socket], [], [], seconds)[0]:
            self.heard += self._socket.recv(4096).decode().splitlines()

    def drain(self) -> list[str]:
        """All that was said by now and not heard yet."""
        before = len(self.heard)
        while select.select([self._socket], [], [], 0)[0]:
            self.listen(0)
        return self.heard[before:]


@dataclass
class Daemon:
    """
    ``python -m monitor run`` in a session of its own.

    Attributes:
        folder: Its configuration, secrets, log and, without *state*, its store.
        broker: The text of [broker].
        environment: Set beside what it needs.
        program: What stands for ``-m monitor``, such as a script that breaks it.
        more: Added to site.toml.
    """

    folder: Path
    broker: str
    notify: NotifySocket
    environment: dict[str, str] = field(default_factory=dict)
    state: Path | None = None
    program: tuple[str, ...] = ("-m", "monitor")
    more: str = ""
    process: "subprocess.Popen[bytes] | None" = None

    def start(self) -> "Daemon":
        """Write the site and start."""
        config = self.folder / "config"
        config.mkdir(exist_ok=True)
        text = SITE.format(broker=self.broker) + self.more
        (config / "site.toml").write_text(text)
        (self.folder / "secrets").mkdir(exist_ok=True)
        with (self.folder / "log").open("ab") as log:
            self.process = subprocess.Popen(
                [sys.executable, *self.program, "run", "--config", str(config)],
                cwd=self.folder,
                env=self.variables() | {"NOTIFY_SOCKET": self.notify.address},
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                start_new_session=True,
            )
        return self

    def variables(self) -> dict[str, str]:
        """The environment of the daemon and of its keepers' commands."""
        return {
            "PATH": os.environ["PATH"],
            "REARING_STATE": str(self.state or self.folder / "state"),
            "REARING_SOCKET": str(self.folder / "control.sock"),
            "REARING_SECRETS": str(self.folder / "secrets"),
            **self.environment,
        }

    def ask(self, *words: str) -> dict[str, Any]:
        """Run a command with --json and give its answer."""
        config = str(self.folder / "config")
        ended = subprocess.run(
            [sys.executable, "-m", "monitor", *words, "--json", "--config", config],
            cwd=self.folder,
            env=self.variables(),
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=30,
            check=False,
        )
        assert ended.returncode == 0, f"{words}: {ended.stderr}\n{self.said()}"
        answer: dict[str, Any] = json.loads(ended.stdout)
        return answer

    @property
    def running(self) -> "subprocess.Popen[bytes]":
        """The process."""
        assert self.process is not None
        return self.process

    def wait_for(self, word: str, seconds: float = START) -> None:
        """Wait until it says a word such as READY=1."""
        deadline = time.monotonic() + seconds
        while word not in self.notify.heard:
            left = deadline - time.monotonic()
            assert left > 0, f"no {word} within {seconds} s:\n{self.said()}"
            assert self.running.poll() is None, f"ended:\n{self.said()}"
            self.notify.listen(min(left, 0.1))

    def wait_until_it_catches_sigterm(self) -> None:
        """Wait until the handler is there; before, there is nothing to end."""
        bit = 1 << (signal.SIGTERM - 1)
        status = Path(f"/proc/{self.running.pid}/status")
        deadline = time.monotonic() + START
        while True:
            assert self.running.poll() is None, f"ended:\n{self.said()}"
            caught = status.read_text().split("SigCgt:")[1].split()[0]
            if int(caught, 16) & bit:
                return
            assert time.monotonic() < deadline, f"no handler:\n{self.said()}"
            self.pause(0.01)

    def pause(self, seconds: float) -> None:
        """Let it run for a while; it may end."""
        with contextlib.suppress(subprocess.TimeoutExpired):
            self.running.wait(seconds)

    def end(self, seconds: float = 10.0) -> int:
        """Ask for its end and give the exit code."""
        self.running.send_signal(signal.SIGTERM)
        return self.running.wait(seconds)

    def said(self) -> str:
        """What it wrote to stdout and stderr."""
        return (self.folder / "log").read_text(errors="replace")

    def complaints(self) -> list[str]:
        """Lines that are no log lines."""
        return [li for li in self.said().splitlines() if not li.startswith("time=")]

    def left_behind(self) -> list[str]:
        """Processes of its session that still run."""
        found = []
        for stat in Path("/proc").glob("[0-9]*/stat"):
            with contextlib.suppress(OSError):
                name, rest = stat.read_text().rsplit(")", 1)
                state, _parent, _group, session = rest.split()[:4]
                if int(session) == self.running.pid and state != "Z":
                    found.append(name)
        return found

    def kill(self) -> None:
        """End it and its children, whatever they do."""
        with contextlib.suppress(ProcessLookupError):
            os.killpg(self.running.pid, signal.SIGKILL)
        self.running.wait(10)


@contextlib.contextmanager
def notify_socket(address: str) -> Iterator[NotifySocket]:
    """A notify socket that is closed afterwards."""
    made = NotifySocket(address)
    try:
        yield made
    finally:
        made.close()
