"""The steady clock: UTC at start, carried on by CLOCK_BOOTTIME; steps of the wall."""

import os
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Protocol

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MICROSECOND = timedelta(microseconds=1)
STEP = timedelta(seconds=2)
"""A wall clock that differs more than this from the steady one has stepped."""


class Clock(Protocol):
    """Tells the time that the program goes by."""

    def now(self) -> datetime:
        """Aware UTC; never runs backwards."""

    def seconds(self, span: timedelta) -> float:
        """How many real seconds a span of this clock lasts, for waits."""

    def take_step(self) -> timedelta | None:
        """Follow a wall clock that was set; tell by how much, None if it was not."""


def to_us(at: datetime) -> int:
    """Microseconds since 1970-01-01 UTC."""
    return (at - EPOCH) // MICROSECOND


def from_us(us: int) -> datetime:
    """The instant of a count of microseconds."""
    return EPOCH + timedelta(microseconds=us)


class SteadyClock:
    """UTC at start plus the time since boot, so that a set clock moves no delay."""

    def __init__(
        self,
        *,
        wall: Callable[[], float] = time.time,
        boot: Callable[[], float] = lambda: time.clock_gettime(time.CLOCK_BOOTTIME),
    ) -> None:
        self._wall, self._boot = wall, boot
        self._offset = wall() - boot()

    def now(self) -> datetime:
        """Aware UTC; never runs backwards."""
        return datetime.fromtimestamp(self._offset + self._boot(), tz=UTC)

    def seconds(self, span: timedelta) -> float:
        """One second lasts one second."""
        return span.total_seconds()

    def take_step(self) -> timedelta | None:
        """
        Follow a wall clock that was set, and tell by how much; None if it was not.

        Elapsed delays are kept by whoever hears of the step.
        """
        off = timedelta(seconds=self._wall() - self._boot() - self._offset)
        if abs(off) <= STEP:
            return None
        self._offset += off.total_seconds()
        return off


class ScaledClock:
    """A clock of the demo: runs *rate* times as fast from a fixed beginning."""

    def __init__(self, *, rate: float, began_at: datetime, began_boot: float) -> None:
        self.rate, self.began_at, self.began_boot = rate, began_at, began_boot

    def now(self) -> datetime:
        """Aware UTC of the simulated house."""
        gone = time.clock_gettime(time.CLOCK_BOOTTIME) - self.began_boot
        return self.began_at + timedelta(seconds=gone * self.rate)

    def seconds(self, span: timedelta) -> float:
        """Simulated spans pass faster."""
        return span.total_seconds() / self.rate

    def take_step(self) -> timedelta | None:
        """A simulated clock is never set."""
        return None

    def spelled(self) -> str:
        """As REARING_CLOCK carries it to another process of the demo."""
        return f"{self.rate:g}:{to_us(self.began_at)}:{self.began_boot:.6f}"


def clock_from_environment() -> SteadyClock | ScaledClock:
    """The real clock, or the demo's where REARING_CLOCK says so."""
    spelled = os.environ.get("REARING_CLOCK")
    if not spelled:
        return SteadyClock()
    rate, began, boot = spelled.split(":")
    return ScaledClock(
        rate=float(rate), began_at=from_us(int(began)), began_boot=float(boot)
    )
