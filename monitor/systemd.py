"""Word to the service manager: ready, alive, stopping (sd_notify(3))."""

import logging
import os
import socket
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import timedelta

from monitor.clock import MICROSECOND
from monitor.logs import Counted

log = logging.getLogger(__name__)
SEND_TIMEOUT = 1.0
"""A manager that does not read must not hold up the main thread. [s]"""


@dataclass(frozen=True, slots=True)
class Notifier:
    """
    Sends one datagram per message; without an address it does nothing.

    A message that cannot be sent is logged and never raised: a missing ping makes
    the manager restart us, and that is its purpose.

    Attributes:
        address: Path of a datagram socket, or ``@name`` in the abstract space.
        watchdog: The manager restarts us after this long without `alive`.
    """

    address: str | None = None
    watchdog: timedelta | None = None
    _failed: Counted = field(default_factory=lambda: Counted(log))

    @classmethod
    def from_environment(
        cls, environment: Mapping[str, str], *, pid: int | None = None
    ) -> "Notifier":
        """
        Read $NOTIFY_SOCKET, $WATCHDOG_USEC and $WATCHDOG_PID.

        Args:
            environment: Of the process.
            pid: Ours; a watchdog that is meant for another process is none.
        """
        address = environment.get("NOTIFY_SOCKET") or None
        if address is not None and address[0] not in "/@":
            log.warning("no such kind of notify socket", extra={"address": address})
            address = None
        return cls(address, _watchdog(environment, os.getpid() if pid is None else pid))

    @property
    def watchdog_interval(self) -> timedelta | None:
        """Half of the watchdog time, as sd_watchdog_enabled(3) advises."""
        return self.watchdog / 2 if self.watchdog else None

    def ready(self, status: str = "") -> None:
        """Start-up is over: configuration and store are open (S6)."""
        self._send("READY=1", *_status(status))

    def alive(self) -> None:
        """Feed the watchdog."""
        self._send("WATCHDOG=1")

    def status(self, text: str) -> None:
        """Show one line in ``systemctl status``."""
        self._send(*_status(text))

    def stopping(self) -> None:
        """Shutdown has begun."""
        self._send("STOPPING=1")

    def extend(self, span: timedelta) -> None:
        """Ask for more time, within which the next word comes (long restores, S6)."""
        self._send(f"EXTEND_TIMEOUT_USEC={span // MICROSECOND}")

    def _send(self, *lines: str) -> None:
        if self.address is None or not lines:
            return
        address = self.address
        if address.startswith("@"):
            address = "\0" + address[1:]
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sender:
                sender.settimeout(SEND_TIMEOUT)
                sender.sendto("\n".join(lines).encode(), address)
        except OSError as error:
            self._failed.again("service manager not told", reason=str(error))


def _status(text: str) -> tuple[str, ...]:
    return (f"STATUS={' '.join(text.split())}",) if text.strip() else ()


def _watchdog(environment: Mapping[str, str], pid: int) -> timedelta | None:
    spelled = environment.get("WATCHDOG_USEC", "")
    meant = environment.get("WATCHDOG_PID", "")
    if not spelled or (meant and meant != str(pid)):
        return None
    if not spelled.isdecimal() or int(spelled) == 0:
        log.warning("WATCHDOG_USEC is no span", extra={"value": spelled})
        return None
    return int(spelled) * MICROSECOND
