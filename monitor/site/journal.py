"""The journal: what moves in the house, append-only, with two dates per entry."""

from datetime import datetime
from typing import ClassVar, Literal

import msgspec

from monitor.site.words import CountKind, PlaceKind, Quantity


class Count(msgspec.Struct, frozen=True):
    """How many animals, and how well that is known; a colony has no number."""

    kind: CountKind
    number: int | None = None

    def __str__(self) -> str:
        """Say it as a keeper would."""
        if self.number is None:
            return "not counted"
        word = {
            CountKind.COUNTED: "",
            CountKind.AT_LEAST: "at least ",
            CountKind.ESTIMATE: "about ",
            CountKind.UNKNOWN: "perhaps ",
        }[self.kind]
        return f"{word}{self.number}"


class PlaceCreated(msgspec.Struct, frozen=True, tag="place-created"):
    """A tub (or other enclosure) was set up."""

    place: str
    kind: PlaceKind
    parent: str
    name: str | None = None


class PlaceMoved(msgspec.Struct, frozen=True, tag="place-moved"):
    """An enclosure was carried to another shelf or room."""

    place: str
    parent: str


class PlaceScrapped(msgspec.Struct, frozen=True, tag="place-scrapped"):
    """An enclosure was emptied and taken away."""

    place: str


class ProbeMoved(msgspec.Struct, frozen=True, tag="probe-moved"):
    """A sensor was hung elsewhere."""

    sensor: str
    place: str


class CohortStarted(msgspec.Struct, frozen=True, tag="cohort-started"):
    """Animals of one species kept and followed together from now on."""

    cohort: int
    species: str
    stage: str
    count: Count
    place: str
    sex: Literal["any", "female", "male"] = "any"
    colony: bool = False


class CohortMoved(msgspec.Struct, frozen=True, tag="cohort-moved"):
    """A cohort was put into another place."""

    cohort: int
    place: str


class CohortAdvanced(msgspec.Struct, frozen=True, tag="cohort-advanced"):
    """
    A cohort was found in a later stage.

    The change happened after ``not_before`` where a keeper saw the earlier stage
    then; a stage that nobody ever saw carries ``seen=False``.
    """

    cohort: int
    stage: str
    seen: bool = True
    not_before: datetime | None = None


class CohortCounted(msgspec.Struct, frozen=True, tag="cohort-counted"):
    """A cohort was counted."""

    cohort: int
    count: Count


class CohortEnded(msgspec.Struct, frozen=True, tag="cohort-ended"):
    """A cohort is no longer followed: exhibited, given away, died."""

    cohort: int
    reason: str


class HandReading(msgspec.Struct, frozen=True, tag="hand-reading"):
    """A value, or minimum and maximum since the reset, read by a person."""

    place: str
    quantity: Quantity
    value: float | None = None
    minimum: float | None = None
    maximum: float | None = None
    since: datetime | None = None
    thermometer: str | None = None


class PlaceSurveyed(msgspec.Struct, frozen=True, tag="place-surveyed"):
    """
    A place was compared with the probe that speaks for it.

    Attributes:
        place: The place.
        quantity: What was measured in it, a temperature.
        reference: The place of the probe that it was compared with.
        reference_quantity: What that probe measures, a temperature.
        offset_k: Place minus reference, above zero where the place is warmer. [K]
        spread_k: Standard deviation of the difference. [K]
        sensor: The probe that was left in the place; None where a keeper states what
            was found otherwise.
        since: When the comparison began. UTC.
        until: When it ended. UTC.
        pairs: How many differences it rests on.
        measured_s: How much of the time was measured. [s]
    """

    place: str
    quantity: Quantity
    reference: str
    reference_quantity: Quantity
    offset_k: float
    spread_k: float
    sensor: str | None = None
    since: datetime | None = None
    until: datetime | None = None
    pairs: int = 0
    measured_s: float = 0.0


Fact = (
    PlaceCreated
    | PlaceMoved
    | PlaceScrapped
    | ProbeMoved
    | CohortStarted
    | CohortMoved
    | CohortAdvanced
    | CohortCounted
    | CohortEnded
    | HandReading
    | PlaceSurveyed
)
"""What an entry says; the tag of each class is its kind in the store."""


class Entry(msgspec.Struct, frozen=True):
    """
    One line of the journal.

    Attributes:
        id: Row in the store; 0 before it is stored.
        happened_at: When it happened in the house. UTC.
        entered_at: When it was told to the program. UTC.
        by: Who said so.
        fact: What happened.
        note: Free words.
    """

    happened_at: datetime
    entered_at: datetime
    by: str
    fact: Fact
    note: str = ""
    id: int = 0

    kinds: ClassVar[tuple[type, ...]] = Fact.__args__
