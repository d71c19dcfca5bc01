"""What the broker handed over, and the bounded queue in which it waits."""

import threading
from collections import deque
from datetime import datetime, timedelta

import msgspec

from monitor.clock import MICROSECOND, Clock

_STEPPED_BACK = timedelta(seconds=1)


class Arrival(msgspec.Struct, frozen=True, gc=False):
    """
    One message as it came, not yet looked at.

    Attributes:
        topic: Its topic; bytes that are no UTF-8 are shown escaped.
        payload: Its bytes.
        retain: The broker had kept it and hands it to every new subscriber.
        dup: The broker sent it before and does not know whether we had it.
        qos: 0 or 1.
        mid: Packet id, for the acknowledgement; only within its generation.
        generation: Which connect it came with.
        arrived_at: When it came; never twice the same in one intake. UTC.
    """

    topic: str
    payload: bytes
    retain: bool
    dup: bool
    qos: int
    mid: int
    generation: int
    arrived_at: datetime


class Stamp:
    """Gives times of arrival, each a microsecond on where the clock has not moved."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._last = clock.now()

    def next(self) -> datetime:
        """Tell the time; a clock that was set back is followed. UTC."""
        now, last = self._clock.now(), self._last
        if now <= last and last - now < _STEPPED_BACK:
            now = last + MICROSECOND
        self._last = now
        return now


class Inbox:
    """
    A bounded queue between the network thread and the recorder.

    One side puts and never waits; the other side, one thread, takes batches. The
    deque carries the order and the event only wakes a taker that found nothing,
    so a busy queue costs no lock per message.
    """

    def __init__(self, limit: int = 20_000) -> None:
        if limit < 1:
            raise ValueError(f"an inbox holds at least one message, got {limit}")
        self.limit = limit
        self._held: deque[Arrival] = deque()
        self._filled = threading.Event()
        self._lock = threading.Lock()
        self._refused = 0

    def __len__(self) -> int:
        return len(self._held)

    @property
    def refused(self) -> int:
        """How many messages found it full since the start."""
        return self._refused

    def put(self, arrival: Arrival) -> bool:
        """Add a message at once, or count it as refused and return False."""
        held = self._held
        if len(held) >= self.limit:
            with self._lock:
                self._refused += 1
            return False
        held.append(arrival)
        if not self._filled.is_set():
            self._filled.set()
        return True

    def take(self, most: int, wait: float) -> list[Arrival]:
        """
        Take what is there, waiting for the first.

        Args:
            most: No more than this many.
            wait: How long to wait for a first message. [s]

        Returns:
            The oldest messages in their order; empty if none came in time.
        """
        held = self._held
        if not held:
            # Cleared before the second look: a put between the two sets it again.
            self._filled.clear()
            if not held and not self._filled.wait(wait):
                return []
        return [held.popleft() for _ in range(min(most, len(held)))]
