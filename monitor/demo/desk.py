"""What the story asks of the daemon, over its control socket as a keeper's command."""

import time
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any, TypeVar

import msgspec

from monitor.control.client import ask
from monitor.errors import UnreachableError

T = TypeVar("T")

POLL_S = 0.15
"""Real seconds between two questions."""


class AlarmRow(msgspec.Struct, frozen=True):
    """An alarm as ``alarms list`` gives it, as far as the story needs it."""

    id: int
    thing: str
    kind: str
    state: str
    priority: str
    value: float | None = None
    limit: float | None = None
    said: str = ""
    title: str = ""
    quantity: str | None = None
    active: bool = True

    @property
    def figures(self) -> str:
        """Value and limit, as far as there are any."""
        if self.value is None or self.limit is None:
            return ""
        return f", {self.value:.1f} with the limit at {self.limit:g}"

    @property
    def words(self) -> str:
        """The alarm in one piece of a line."""
        return f"alarm {self.id}, {self.thing}: {self.title or self.kind}{self.figures}"


class ReadingRow(msgspec.Struct, frozen=True):
    """A reading as ``now`` gives it."""

    quantity: str
    sensor: str | None = None
    value: float | None = None
    time: datetime | None = None
    source: str = msgspec.field(name="from", default="")


class PlaceRow(msgspec.Struct, frozen=True):
    """A place as ``now`` gives it."""

    id: str
    readings: list[ReadingRow] = []

    def own(self, quantity: str) -> float | None:
        """The newest value of the place's own probe."""
        for reading in self.readings:
            if reading.quantity == quantity and reading.source == "own probe":
                return reading.value
        return None


class Now(msgspec.Struct, frozen=True):
    """The answer to ``now``."""

    time: datetime
    daemon: dict[str, Any]
    places: list[PlaceRow]

    def place(self, place: str) -> PlaceRow:
        """A place by id; without readings where it is not known."""
        return next((p for p in self.places if p.id == place), PlaceRow(place))

    @property
    def committed(self) -> int:
        """Readings stored since the daemon's start."""
        return int(self.daemon.get("committed", 0))


class Desk:
    """Asks the daemon; raises `MonitorError` as every command would."""

    def __init__(self, socket: Path) -> None:
        self._socket = socket

    def now(self) -> Now:
        """How the house is."""
        return msgspec.convert(ask(self._socket, "now", {}), Now)

    def alarms(self) -> list[AlarmRow]:
        """What stands."""
        rows = ask(self._socket, "alarms list", {})["alarms"]
        return msgspec.convert(rows, list[AlarmRow])

    def alarm(self, alarm_id: int) -> AlarmRow | None:
        """One alarm, or None once it is closed."""
        return next((a for a in self.alarms() if a.id == alarm_id), None)

    def acknowledge(self, alarm_id: int, *, by: str, note: str) -> None:
        """Answer an alarm."""
        ask(
            self._socket,
            "alarms acknowledge",
            {"id": alarm_id, "by": by, "note": note},
        )

    def answers(self) -> bool:
        """Whether the daemon answers already."""
        try:
            self.now()
        except UnreachableError:
            return False
        return True


def wait_for(
    look: Callable[[], T | None], *, seconds: float, alive: Callable[[], bool]
) -> T | None:
    """
    Look again and again until something is there.

    Args:
        look: Gives it, or None.
        seconds: Real time after which nobody waits any more. [s]
        alive: Whether it can still come; waiting ends when it cannot.

    Returns:
        What was found, or None.
    """
    deadline = time.monotonic() + seconds
    while True:
        found = look()
        if found is not None and found is not False:
            return found
        if time.monotonic() >= deadline or not alive():
            return None
        time.sleep(POLL_S)
