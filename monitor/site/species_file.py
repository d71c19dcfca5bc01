"""species/*.toml and templates/*.toml: what each stage needs and how it develops."""

from collections.abc import Iterator
from typing import Annotated, Self, TypeVar

from pydantic import Field, PlainValidator, model_validator

from monitor.site.model import Id, Key, Many, Model, Problem, StageId, Text, refuse
from monitor.site.references import repeats, unknown
from monitor.site.sections import registry
from monitor.site.sections.bands import BANDS, Band, Limits, Night
from monitor.site.sections.development import (
    DEVELOPMENT,
    Development,
    Duration,
    Requirement,
)
from monitor.site.sections.section import Read, Section, read
from monitor.site.sources import (
    STANDING_SOURCES,
    HouseSource,
    Source,
    Sourced,
    SourceEntry,
    sources_in,
)
from monitor.site.spans import Span

__all__ = [
    "ACTS",
    "BANDS",
    "DEVELOPMENT",
    "STANDING_SOURCES",
    "Band",
    "Development",
    "Due",
    "Duration",
    "HouseSource",
    "Library",
    "Limits",
    "Night",
    "Requirement",
    "Source",
    "SourceEntry",
    "Species",
    "SpeciesTable",
    "Stage",
    "Survival",
    "source_problems",
]

M = TypeVar("M", bound=Sourced)

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


class Due(Model):
    """A recurring act."""

    act: str
    every: Span


GATHERED = "<sections>"
"""Under this key a stage gathers the tables of its sections; no file may hold it."""


def _read(tables: dict[str, object]) -> Read:
    return read(registry.SECTIONS, tables)


class Stage(Model):
    """[[stage]], with the tables of every section of the registry."""

    id: StageId
    acts: Many[str] = ()
    due: Many[Due] = ()
    unseen: bool = False
    caution: Text | None = None
    sections: Annotated[Read, PlainValidator(_read)] = Field(alias=GATHERED)

    @property
    def bands(self) -> tuple[Band, ...]:
        """Its bands."""
        return self.tables(BANDS)

    @property
    def development(self) -> Development | None:
        """How its development is driven, where that is known."""
        return self.table(DEVELOPMENT)

    def tables(self, section: Section[M]) -> tuple[M, ...]:
        """Every table of a section; () where there is none."""
        rows = next((rows for key, rows in self.sections if key == section.table), ())
        return tuple(row for row in rows if isinstance(row, section.model))

    def table(self, section: Section[M]) -> M | None:
        """The table of a section that may stand once; None where it is absent."""
        if section.many:
            raise ValueError(f"a stage may have several {section.table}: ask tables()")
        return next(iter(self.tables(section)), None)

    @classmethod
    def keys_and_types(cls) -> dict[str, object]:
        """Its own keys, and the tables of its sections."""
        keys = super().keys_and_types()
        del keys[GATHERED]
        return keys | {s.table: s.annotation for s in registry.SECTIONS}

    @model_validator(mode="before")
    @classmethod
    def _gather(cls, given: object) -> object:
        if not isinstance(given, dict):
            return given
        if GATHERED in given:
            refuse([Problem((GATHERED,), "unknown key: leave it out")])
        tables = {s.table for s in registry.SECTIONS}
        kept = {key: value for key, value in given.items() if key not in tables}
        kept[GATHERED] = {key: given[key] for key in given if key in tables}
        return kept

    @model_validator(mode="after")
    def _acts(self) -> Self:
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
        refuse(found)
        return self


class Survival(Sourced):
    """A share of animals, as a fraction."""

    mean: Annotated[float, Field(gt=0, le=1)]
    sd: Annotated[float, Field(ge=0, le=1)]


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


def source_problems(species: Species, known: frozenset[str]) -> list[Problem]:
    """
    Find the sources of a species that no entry of sources.toml explains.

    Args:
        species: A species file.
        known: Ids of sources.toml.
    """
    return [
        Problem(
            path,
            unknown(source, {*known, *STANDING_SOURCES}, "source")
            + " (add it to sources.toml)",
        )
        for path, source in _sources(species)
        if isinstance(source, str)
        and source not in known
        and source not in STANDING_SOURCES
    ]


def _sources(species: Species) -> Iterator[tuple[tuple[Key, ...], Source]]:
    yield from sources_in(species.species, ("species",))
    for i, stage in enumerate(species.stages):
        for section in registry.SECTIONS:
            for j, row in enumerate(stage.tables(section)):
                where = (section.table, j) if section.many else (section.table,)
                yield from sources_in(row, ("stage", i, *where))
