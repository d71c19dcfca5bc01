"""States of the system itself, turned into events when they begin and end."""

import threading
import time
from collections import deque
from collections.abc import Callable, Iterable
from datetime import datetime, timedelta

from monitor.heart.events import Signal
from monitor.recorder.ledger import Ledger
from monitor.store.rows import NoticeUpdate

BROKER_GONE_S = 60.0
"""A broker that is away for so long is told; shorter ones mend themselves. [s]"""

DISK_LOW, DISK_FINE = 0.15, 0.17
"""Free shares of the disk that begin and end the alarm (Q6). [fraction]"""

LOOK_AT_DISK_S = 30.0
"""How often the disk is looked at. [s]"""

REFUSED_MANY, REFUSED_WITHIN = 20, timedelta(hours=1)
"""So many refused messages within this are told."""

TRIES_IN_VAIN = 3
"""A notice that failed so often in a row is told, though it is tried on."""


class Signals:
    """
    Watches what no reading tells.

    The broker and the disk are watched in real seconds: networks and disks know no
    scaled time.

    Args:
        ledger: Tells of the store and its disk.
        standing: States that held when the daemon last ran.
    """

    def __init__(
        self,
        ledger: Ledger,
        *,
        standing: Iterable[str] = (),
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._ledger, self._monotonic = ledger, monotonic
        self._lock = threading.Lock()
        self._down_since: float | None = monotonic()
        self._down_words = "not connected yet"
        self._looked_at_disk = float("-inf")
        self._refused: deque[tuple[datetime, int]] = deque(maxlen=1000)
        self._active = set(standing)
        self._once: list[tuple[str, str]] = []

    def once(self, kind: str, detail: str) -> None:
        """Tell something that happened once and stays until it is answered."""
        with self._lock:
            self._once.append((kind, detail))

    def broker(self, connected: bool, words: str) -> None:  # noqa: FBT001 - a callback
        """The connection to the broker changed; called in the network thread."""
        with self._lock:
            if connected:
                self._down_since = None
            elif self._down_since is None:
                self._down_since = self._monotonic()
            self._down_words = words

    def refused(self, count: int, now: datetime) -> None:
        """So many messages were no readings."""
        if count > 0:
            self._refused.append((now, count))

    def clock_behind(
        self, newest: datetime, now: datetime, *, behind: bool
    ) -> list[Signal]:
        """The clock is behind what is stored, or no longer."""
        detail = (
            f"It says {now:%Y-%m-%d %H:%M} UTC, "
            f"the newest reading is of {newest:%Y-%m-%d %H:%M} UTC."
        )
        return self._turn("clock-behind", now, active=behind, detail=detail)

    def sending(self, update: NoticeUpdate, now: datetime) -> list[Signal]:
        """What became of a notice."""
        if update.state == "sent":
            return self._turn("mail-failing", now, active=False)
        if update.state == "failed" or update.attempts >= TRIES_IN_VAIN:
            return self._turn(
                "mail-failing", now, active=True, detail=update.last_error
            )
        return []

    def due(self, now: datetime) -> list[Signal]:
        """Signals that begin or end now."""
        with self._lock:
            down, words = self._down_since, self._down_words
            once, self._once = self._once, []
        found = []
        found += [Signal(now, kind, active=True, detail=words) for kind, words in once]
        gone = down is not None and self._monotonic() - down >= BROKER_GONE_S
        if gone or down is None:
            found += self._turn("broker-gone", now, active=gone, detail=words)
        failing = self._ledger.failing
        found += self._turn("store-failing", now, active=bool(failing), detail=failing)
        found += self._disk(now)
        while self._refused and now - self._refused[0][0] > REFUSED_WITHIN:
            self._refused.popleft()
        many = sum(n for _, n in self._refused)
        if many >= REFUSED_MANY or many == 0:
            words = f"{many} messages within an hour were no readings."
            found += self._turn("readings-refused", now, active=many > 0, detail=words)
        return found

    def _disk(self, now: datetime) -> list[Signal]:
        if self._monotonic() - self._looked_at_disk < LOOK_AT_DISK_S:
            return []
        self._looked_at_disk = self._monotonic()
        free = self._ledger.disk_share_free()
        if DISK_LOW <= free < DISK_FINE:
            return []
        words = f"{free:.0%} is free."
        return self._turn("disk-low", now, active=free < DISK_LOW, detail=words)

    def _turn(
        self, kind: str, now: datetime, *, active: bool, detail: str = ""
    ) -> list[Signal]:
        if active == (kind in self._active):
            return []
        (self._active.add if active else self._active.discard)(kind)
        return [Signal(now, kind, active, detail if active else "")]
