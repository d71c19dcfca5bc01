"""What a request is answered from: the state of everything at one instant."""

from collections.abc import Mapping
from datetime import datetime

import msgspec

from monitor.accounts.heat import CohortHeat
from monitor.alarms.alarm import Alarm
from monitor.heart.events import Answer, Reading
from monitor.site.house import House
from monitor.site.journal import Entry
from monitor.site.site_file import Site
from monitor.site.species_file import Library


class SetApart(msgspec.Struct, frozen=True):
    """A message that was no reading, and why."""

    at: datetime
    topic: str
    reason: str


class Health(msgspec.Struct, frozen=True):
    """
    How the daemon itself is.

    Attributes:
        state: "running", "not running", "store failing", "clock behind".
        queue: Messages that wait to be stored.
        quarantined: Messages set apart since the store was made.
        committed: Readings stored since start.
        committed_at: Instant of the last commit, or None.
        counters: Everything else that is counted, by name.
        set_apart: The newest messages set apart, the newest first.
    """

    state: str
    queue: int
    quarantined: int
    committed: int
    committed_at: datetime | None = None
    counters: Mapping[str, int] = {}
    set_apart: tuple[SetApart, ...] = ()


class View(msgspec.Struct, frozen=True):
    """
    Everything that a request may ask about.

    Attributes:
        latest: The newest reading of each (sensor, quantity).
        alarms: Alarms that are not closed, in order of id.
        heat: The degree-day account of each living cohort that has one.
        next_cohort: The id that the next cohort gets.
    """

    now: datetime
    site: Site
    library: Library
    house: House
    alarms: tuple[Alarm, ...]
    latest: Mapping[tuple[str, str], Reading]
    heat: Mapping[int, CohortHeat]
    health: Health
    next_cohort: int


class Request(msgspec.Struct, frozen=True):
    """One line from the socket: what to do, and with what."""

    do: str
    args: dict[str, str | int | float | bool | list[str] | None] = {}


class Outcome(msgspec.Struct, frozen=True):
    """
    What a request comes to: entries and answers to carry out, and what to reply.

    The recorder stores the entries and steps the answers in one transaction and
    only then replies with the result.
    """

    result: dict[str, object]
    entries: tuple[Entry, ...] = ()
    answers: tuple[Answer, ...] = ()
    readings: tuple[Reading, ...] = ()


class Reply(msgspec.Struct, frozen=True):
    """One line to the socket."""

    ok: bool
    result: dict[str, object] = {}
    error: str = ""
    exit: int = 0
