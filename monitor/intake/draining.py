"""When the messages that waited for us at the broker have all come."""

import threading
from datetime import datetime, timedelta

from monitor.clock import Clock

SHORTEST_S = 1.0
LONGEST_WITHOUT_MARK_S = 30.0


class Drain:
    """
    Tells whether an untimed message may be an old one.

    A broker sends what it kept in order, then what is new. So we send ourselves a
    mark when subscribed: once it is back, and the inbox was empty after that, the
    old ones are through. Without a mark (the broker may not let us read our own
    topic) a time must do.
    """

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._subscribed_at: datetime | None = None
        self._marked = False
        self._active = True

    @property
    def active(self) -> bool:
        """Old ones may still come."""
        return self._active

    def begin(self) -> None:
        """Connected: what waited for us begins to come."""
        with self._lock:
            self._active, self._marked, self._subscribed_at = True, False, None

    def subscribed(self, at: datetime) -> None:
        """Everything is subscribed to."""
        with self._lock:
            self._subscribed_at = at

    def marked(self) -> None:
        """Our own mark came back."""
        with self._lock:
            self._marked = True

    def empty(self, at: datetime, *, waiting: int) -> None:
        """
        End it if the time has come.

        Args:
            at: Now. UTC.
            waiting: Messages in the inbox at this very moment or before.
        """
        with self._lock:
            if not self._active or self._subscribed_at is None or waiting:
                return
            gone: timedelta = at - self._subscribed_at
            least = SHORTEST_S if self._marked else LONGEST_WITHOUT_MARK_S
            if self._clock.seconds(gone) >= least:
                self._active = False
