"""Upkeep of the store: sealing days that are over, emptying the write-ahead log."""

import logging
import time
from collections.abc import Callable
from datetime import datetime, timedelta

from monitor.errors import StoreError
from monitor.store.writer import Writer

log = logging.getLogger(__name__)

KEPT_HOT = timedelta(days=1)
"""The log keeps yesterday and today: late readings and the start look there."""

QUIET_HOURS = range(3, 6)
"""Sealing a large house takes seconds; it is done in these hours, UTC, if it can."""

SEAL_AT_LAST = timedelta(days=2)
"""A day that was not sealed in quiet hours is sealed at any."""

CHECKPOINT_S = 3600.0
"""The write-ahead log is emptied this often (Q4). [real s]"""

FIRST_S = 60.0
"""Nothing of this in the first minute after a start. [real s]"""


class Upkeep:
    """
    Does what is due; called between cycles.

    Args:
        writer: The store.
        monotonic: Seconds of a clock that is never set.
    """

    def __init__(
        self, writer: Writer, *, monotonic: Callable[[], float] = time.monotonic
    ) -> None:
        self._writer, self._monotonic = writer, monotonic
        self._checkpoint_at = monotonic() + FIRST_S
        self._begin_at = monotonic() + FIRST_S
        self._sealed_at: datetime | None = None

    def look(self, now: datetime) -> None:
        """Do what is due at *now*; what fails is logged and tried again later."""
        try:
            if self._monotonic() >= self._checkpoint_at:
                self._checkpoint_at = self._monotonic() + CHECKPOINT_S
                self._writer.checkpoint()
            if self._must_seal(now):
                self._sealed_at = now
                began = self._monotonic()
                moved = self._writer.seal(now - KEPT_HOT)
                took = f"{self._monotonic() - began:.2f}"
                log.info("sealed", extra={"readings": moved, "seconds": took})
        except StoreError as error:
            log.warning("upkeep failed", extra={"reason": str(error)})

    def _must_seal(self, now: datetime) -> bool:
        if self._monotonic() < self._begin_at:
            return False
        if self._sealed_at is None:
            return True
        if now.date() == self._sealed_at.date():
            return False
        return now.hour in QUIET_HOURS or now - self._sealed_at >= SEAL_AT_LAST
