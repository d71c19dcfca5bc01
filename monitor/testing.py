"""Fakes that tests put in place of the clock and of the ways out of the house."""

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Generic, TypeVar

T = TypeVar("T")
R = TypeVar("R")

NOON = datetime(2026, 3, 1, 12, tzinfo=UTC)


class FakeClock:
    """
    A clock that stands still until it is told to move.

    It goes like `monitor.clock.SteadyClock`: `step` makes the wall clock jump, and
    the clock follows when `take_step` is asked.

    Attributes:
        at: The instant that `now` tells. UTC; may be set.
    """

    def __init__(self, at: datetime = NOON) -> None:
        self.at = at
        self._stepped = timedelta()

    def now(self) -> datetime:
        """The instant that was set."""
        return self.at

    def advance(self, span: timedelta) -> datetime:
        """
        Let time pass, and tell the new instant.

        Raises:
            ValueError: The span is negative: this clock never runs backwards.
        """
        if span < timedelta():
            raise ValueError(f"a clock only goes forward, got {span}; set `at` instead")
        self.at += span
        return self.at

    def seconds(self, span: timedelta) -> float:
        """One second lasts one second."""
        return span.total_seconds()

    def step(self, by: timedelta) -> None:
        """Set the wall clock by a difference that may be negative."""
        self._stepped += by

    def take_step(self) -> timedelta | None:
        """Follow the wall clock, and tell by how much; None if it was not set."""
        by, self._stepped = self._stepped, timedelta()
        self.at += by
        return by or None


@dataclass(frozen=True, slots=True)
class Attempt(Generic[T]):
    """What a fake channel was given, and until when it had time."""

    notice: T
    deadline: datetime


class FakeChannel(Generic[T, R]):
    """
    A way to reach a keeper that gives the answers it was told to give.

    Args:
        results: What `send` returns in turn; an exception is raised instead. The
            last one is given for ever.

    Attributes:
        sent: All that it was given, the oldest first.
    """

    def __init__(self, results: Iterable[R | Exception]) -> None:
        self._results = deque(results)
        if not self._results:
            raise ValueError("a fake channel needs at least one result")
        self.sent: list[Attempt[T]] = []

    def send(self, notice: T, *, deadline: datetime) -> R:
        """Keep the notice and give the next result."""
        self.sent.append(Attempt(notice, deadline))
        last = len(self._results) == 1
        result = self._results[0] if last else self._results.popleft()
        if isinstance(result, Exception):
            raise result
        return result
