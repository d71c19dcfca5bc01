"""Whether the daemon lives: heartbeats, supervised threads, the watchdog's ping."""

import faulthandler
import logging
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta

from monitor.systemd import Notifier

log = logging.getLogger(__name__)


@dataclass(slots=True)
class _Heart:
    limit: float
    beaten: float
    busy_until: float = float("-inf")


class Heartbeats:
    """
    The signs of life of every thread that must not hang.

    Safe for use from several threads. All instants are of one monotonic clock, in
    real seconds: the service manager knows no scaled time.
    """

    def __init__(self, monotonic: Callable[[], float] = time.monotonic) -> None:
        self._monotonic = monotonic
        self._lock = threading.Lock()
        self._hearts: dict[str, _Heart] = {}

    def register(self, name: str, limit: timedelta) -> None:
        """
        Expect a beat of *name* at least every *limit*, from now on.

        Raises:
            ValueError: The name is taken: two threads would hide each other.
        """
        with self._lock:
            if name in self._hearts:
                raise ValueError(f"heartbeat {name!r} is registered already")
            self._hearts[name] = _Heart(limit.total_seconds(), self._monotonic())

    def beat(self, name: str) -> None:
        """Say that *name* did its work, or had none; ends `busy`."""
        with self._lock:
            heart = self._hearts[name]
            heart.beaten = self._monotonic()
            heart.busy_until = float("-inf")

    def busy(self, name: str, span: timedelta) -> None:
        """Let *name* be silent for *span*: it waits for something with a deadline."""
        with self._lock:
            heart = self._hearts[name]
            heart.beaten = self._monotonic()
            heart.busy_until = heart.beaten + span.total_seconds()

    def forget(self, name: str) -> None:
        """Expect nothing more of *name*; it ended in good order."""
        with self._lock:
            self._hearts.pop(name, None)

    @property
    def names(self) -> tuple[str, ...]:
        """Who is expected to beat."""
        with self._lock:
            return tuple(self._hearts)

    def stale(self, now: float) -> list[str]:
        """
        Names whose beat is overdue.

        Args:
            now: Of the same monotonic clock. [s]
        """
        with self._lock:
            return [
                name
                for name, heart in self._hearts.items()
                if now > max(heart.beaten + heart.limit, heart.busy_until)
            ]


class Watch:
    """
    Pings the watchdog while every heart beats (S1).

    The main thread calls `look` in its loop; a main thread that hangs pings no more
    either.
    """

    def __init__(
        self,
        hearts: Heartbeats,
        notifier: Notifier,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._hearts, self._notifier, self._monotonic = hearts, notifier, monotonic
        self._stale: list[str] = []

    def look(self) -> list[str]:
        """Ping, or name those that hang and let the watchdog run out."""
        stale = self._hearts.stale(self._monotonic())
        if stale != self._stale:
            if stale:
                log.critical("threads hang", extra={"threads": ",".join(stale)})
                # where they hang is what the next reader of the log asks
                faulthandler.dump_traceback()
            else:
                log.warning("threads move again")
        self._stale = stale
        if not stale:
            self._notifier.alive()
        return stale


class Supervised:
    """
    A thread that lives as long as the process, or ends it (S5).

    If *target* raises, or returns before *stop* is set, that is logged once as
    CRITICAL, *fatal* is set, and *stop* with it, so that the main thread, which waits
    on *stop*, shuts down and exits with `exit_code`.
    """

    def __init__(
        self,
        name: str,
        target: Callable[[], None],
        *,
        stop: threading.Event,
        fatal: threading.Event,
    ) -> None:
        self.name = name
        self._target, self._stop, self._fatal = target, stop, fatal
        # daemonic: one that hangs must not keep the process from its end
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)

    def start(self) -> None:
        """Begin; only `monitor.service` does."""
        self._thread.start()

    @property
    def alive(self) -> bool:
        """Whether it runs."""
        return self._thread.is_alive()

    def join(self, timeout: float) -> bool:
        """Wait for its end, at most *timeout* seconds; False if it still runs."""
        self._thread.join(timeout)
        if self._thread.is_alive():
            log.error("thread did not end", extra={"which": self.name})
            return False
        return True

    def _run(self) -> None:
        try:
            self._target()
        except BaseException:
            # SystemExit too: in a thread it would end nothing but the thread
            log.critical("thread died", extra={"which": self.name}, exc_info=True)
        else:
            if self._stop.is_set():
                return
            log.critical("thread ended early", extra={"which": self.name})
        self._fatal.set()
        self._stop.set()


def watch_other_threads(*, stop: threading.Event, fatal: threading.Event) -> None:
    """Treat the death of any thread, a library's too, like that of our own (S5)."""

    def died(args: threading.ExceptHookArgs) -> None:
        if args.exc_type is SystemExit:
            return
        name = args.thread.name if args.thread else "unknown"
        info = (args.exc_type, args.exc_value or args.exc_type(), args.exc_traceback)
        log.critical("thread died", extra={"which": name}, exc_info=info)
        fatal.set()
        stop.set()

    threading.excepthook = died


def exit_code(fatal: threading.Event) -> int:
    """What the process ends with after *stop*: 1 if a thread ended it, else 0."""
    return 1 if fatal.is_set() else 0


def bound_shutdown(span: timedelta) -> None:
    """
    End the process after *span*, whatever hangs: stacks to stderr and exit 1 (S4).

    Needs no thread, and is called off by nothing but the end of the process.
    """
    faulthandler.dump_traceback_later(span.total_seconds(), exit=True)
