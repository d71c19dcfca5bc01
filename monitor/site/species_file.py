"""species/*.toml and templates/*.toml: what each stage needs and how it develops."""

from datetime import date
from typing import Annotated, Literal, NamedTuple, Self

from pydantic import Discriminator, Field, Tag, model_validator

from monitor.site import development
from monitor.site.model import (
    AQuantity,
    Id,
    Many,
    Model,
    Problem,
    Range,
    StageId,
    Text,
    refuse,
)
from monitor.site.references import layer_problems, repeats, unknown
from monitor.site.spans import Span

ACTS = (
    "look",
    "feed",
    "mist",
    "moisten",
    "carry-level",
    "move",
    "open",
    "dig",
    "weigh",
    "count",
    "sex",
    "separate",
    "pair",
    "collect-eggs",
    "change-substrate",
    "turn-upright",
)
"""What a keeper may be asked or allowed to do with a stage."""

STANDING_SOURCES = ("common-practice", "from-memory")
"""Sources that need no entry in sources.toml."""


class HouseSource(Model):
    """A figure of this house: who says so, and since when."""

    house: Text
    date: date


def _kind_of_source(value: object) -> str:
    return "<house>" if isinstance(value, dict | HouseSource) else "<text>"


Source = Annotated[
    Annotated[str, Tag("<text>")] | Annotated[HouseSource, Tag("<house>")],
    Discriminator(_kind_of_source),
]
"""An id of sources.toml, "common-practice", "from-memory", or a house figure."""


class Night(Model):
    """What differs at night."""

    target: Range | None = None
    tolerated: Range | None = None
    danger: Range | None = None


class Limits(NamedTuple):
    """The limits of a band by day or by night, from the inmost."""

    target: tuple[float, float] | None
    tolerated: tuple[float, float] | None
    danger: tuple[float, float] | None


class Band(Model):
    """[[stage.band]]: limits of one quantity, each absent or given, never assumed."""

    quantity: AQuantity
    of: Literal["tub", "room"] = "tub"
    target: Range | None = None
    tolerated: Range | None = None
    danger: Range | None = None
    night: Night | None = None
    on_delay: Span | None = None
    off_delay: Span | None = None
    deadband: Annotated[float, Field(ge=0)] | None = None
    source: Source

    def limits(self, *, night: bool) -> Limits:
        """The limits by day, or by night with what the day says where night is mute."""
        at_night = self.night if night else None
        if at_night is None:
            return Limits(self.target, self.tolerated, self.danger)
        return Limits(
            at_night.target or self.target,
            at_night.tolerated or self.tolerated,
            at_night.danger or self.danger,
        )

    @model_validator(mode="after")
    def _layers(self) -> Self:
        day = self.limits(night=False)
        found = list(layer_problems(self.quantity, day))
        if not any(day) and self.night is None:
            text = "has no limit at all: give target, tolerated or danger"
            found.append(Problem((), text))
        if self.night is not None and not found:
            found = [
                Problem(("night", *path), text)
                for path, text in layer_problems(self.quantity, self.limits(night=True))
            ]
        refuse(found)
        return self


class Due(Model):
    """A recurring act."""

    act: str
    every: Span


Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]


class Requirement(Model):
    """
    Degree-days that one sex needs, in degC d.

    The spread is None where nobody published one.
    """

    sex: Literal["any", "female", "male"] = "any"
    mean: Positive
    sd: NotNegative | None = None


class Duration(Model):
    """
    Days that one sex took at one temperature, in d at degC.

    The spread is None where nobody published one.
    """

    sex: Literal["any", "female", "male"] = "any"
    mean: Positive
    sd: NotNegative | None = None
    at: float


class Development(Model):
    """
    [stage.development]: thresholds, method, cutoff and requirement are one record.

    A requirement holds only for the thresholds and method it was fitted with.
    """

    driven_by: Literal["heat", "heat-earliest", "time"]
    lower_threshold: float | None = None
    upper_threshold: float | None = None
    cutoff: Literal["horizontal", "intermediate", "vertical"] | None = None
    fitted_with: Text | None = None
    required_degree_days: Many[Requirement] = ()
    duration_days: Many[Duration] = ()
    assumed_lower_threshold: float | None = None
    source: Source

    @model_validator(mode="after")
    def _one_record(self) -> Self:
        refuse(development.problems(self))
        return self


class Stage(Model):
    """[[stage]]."""

    id: StageId
    acts: Many[str] = ()
    due: Many[Due] = ()
    unseen: bool = False
    caution: Text | None = None
    bands: Many[Band] = Field(alias="band", default=())
    development: Development | None = None

    @model_validator(mode="after")
    def _acts_and_bands(self) -> Self:
        found = [
            Problem(("acts", i), f'"{act}" is no act: write {", ".join(ACTS)}')
            for i, act in enumerate(self.acts)
            if act not in ACTS
        ]
        found += [
            Problem(
                ("due", i, "act"),
                f'"{due.act}" is due but is not among the acts of the stage: '
                f"{', '.join(self.acts) or 'none'}",
            )
            for i, due in enumerate(self.due)
            if due.act not in self.acts
        ]
        seen: set[tuple[str, str]] = set()
        for i, band in enumerate(self.bands):
            if (band.quantity, band.of) in seen:
                text = f"a second band of {band.quantity} of {band.of}: keep one"
                found.append(Problem(("band", i, "quantity"), text))
            seen.add((band.quantity, band.of))
        refuse(found)
        return self


class Survival(Model):
    """A share of animals, as a fraction."""

    mean: Annotated[float, Field(gt=0, le=1)]
    sd: Annotated[float, Field(ge=0, le=1)]
    source: Source


class SpeciesTable(Model):
    """[species]."""

    id: Id
    name: Text
    group: Text
    common_name: Text | None = None
    eats_its_own: bool = False
    survival_egg_to_adult: Survival | None = None


class Species(Model):
    """The whole of a species file."""

    species: SpeciesTable
    stages: Annotated[Many[Stage], Field(min_length=1)] = Field(alias="stage")

    @property
    def id(self) -> str:
        """The id of the species."""
        return self.species.id

    def stage(self, stage_id: str) -> Stage | None:
        """Find a stage by id, in capitals or not, or None."""
        wanted = stage_id.casefold()
        return next((s for s in self.stages if s.id.casefold() == wanted), None)

    @model_validator(mode="after")
    def _stages_differ(self) -> Self:
        named = ((("stage", i, "id"), s.id) for i, s in enumerate(self.stages))
        refuse(repeats(named, "stage"))
        return self


class Library(Model):
    """Every species that cohorts may be of; provisional ones come from templates."""

    species: dict[str, Species]
    provisional: frozenset[str] = frozenset()

    def stage(self, species_id: str, stage_id: str) -> Stage | None:
        """Find a stage, or None where species or stage is unknown."""
        species = self.species.get(species_id)
        return species.stage(stage_id) if species else None


class SourceEntry(Model):
    """
    A table of sources.toml: where a number was read.

    Attributes:
        title: Of the work.
        authors: Who wrote it.
        year: When.
        where: DOI, journal with pages, or address.
        grade: A the abstract of the paper was read; B a published constant was read
            in a secondary database; C published durations or ranges were read; D a
            hobby, trade or unreviewed text was read; "compiled" where the note
            says what came from where, and what from memory.
        note: What the reader must know before relying on it.
    """

    title: Text
    authors: Text | None = None
    year: Annotated[int, Field(ge=1700, le=2100)] | None = None
    where: Text
    grade: Literal["A", "B", "C", "D", "compiled", "standard"]
    note: Text | None = None


def source_problems(species: Species, known: frozenset[str]) -> list[Problem]:
    """
    Find the sources of a species that no entry of sources.toml explains.

    Args:
        species: A species file.
        known: Ids of sources.toml.
    """
    survival = species.species.survival_egg_to_adult
    given: list[tuple[tuple[str | int, ...], object]] = []
    if survival is not None:
        given.append((("species", "survival_egg_to_adult"), survival.source))
    for i, stage in enumerate(species.stages):
        for j, band in enumerate(stage.bands):
            given.append((("stage", i, "band", j), band.source))
        if stage.development is not None:
            given.append((("stage", i, "development"), stage.development.source))
    return [
        Problem(
            (*path, "source"),
            unknown(source, {*known, *STANDING_SOURCES}, "source")
            + " (add it to sources.toml)",
        )
        for path, source in given
        if isinstance(source, str)
        and source not in known
        and source not in STANDING_SOURCES
    ]
