"""The intake, as the recorder sees it."""

from collections.abc import Sequence
from datetime import datetime
from typing import Protocol

from monitor.intake.arrival import Arrival


class Listening(Protocol):
    """Messages come from it, and it is told what became of them."""

    @property
    def draining(self) -> bool:
        """The backlog since the last connect is not through yet."""

    def note_empty(self, now: datetime) -> None:
        """The inbox was found empty."""

    def acknowledge(self, arrivals: Sequence[Arrival]) -> None:
        """These are durable, or set apart."""
