"""species/*.toml and templates/*.toml: what each stage needs and how it develops."""

from datetime import date
from typing import Literal

from pydantic import Field

from monitor.site.model import Id, Model
from monitor.site.site_file import Range
from monitor.site.spans import Span
from monitor.site.words import Quantity


class HouseSource(Model):
    """A figure of this house: who says so, and since when."""

    house: str
    date: date


Source = str | HouseSource
"""An id of sources.toml, "common-practice", "from-memory", or a house figure."""


class Night(Model):
    """What differs at night."""

    target: Range | None = None
    tolerated: Range | None = None
    danger: Range | None = None


class Band(Model):
    """[[stage.band]]: limits of one quantity, each absent or given, never assumed."""

    quantity: Quantity
    of: Literal["tub", "room"] = "tub"
    target: Range | None = None
    tolerated: Range | None = None
    danger: Range | None = None
    night: Night | None = None
    on_delay: Span | None = None
    off_delay: Span | None = None
    deadband: float | None = None
    source: Source


class Due(Model):
    """A recurring act."""

    act: str
    every: Span


class Requirement(Model):
    """Degree-days that one sex needs. [degC d]"""

    sex: Literal["any", "female", "male"] = "any"
    mean: float
    sd: float


class Duration(Model):
    """Days that one sex took at one temperature. [d] at [degC]"""

    sex: Literal["any", "female", "male"] = "any"
    mean: float
    sd: float
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
    fitted_with: str | None = None
    required_degree_days: tuple[Requirement, ...] = ()
    duration_days: tuple[Duration, ...] = ()
    assumed_lower_threshold: float | None = None
    source: Source


class Stage(Model):
    """[[stage]]."""

    id: Id
    acts: tuple[str, ...] = ()
    due: tuple[Due, ...] = ()
    unseen: bool = False
    caution: str | None = None
    bands: tuple[Band, ...] = Field(alias="band", default=())
    development: Development | None = None


class Survival(Model):
    """A share of animals. [fraction]"""

    mean: float
    sd: float
    source: Source


class SpeciesTable(Model):
    """[species]."""

    id: Id
    name: str
    group: str
    common_name: str | None = None
    eats_its_own: bool = False
    survival_egg_to_adult: Survival | None = None


class Species(Model):
    """The whole of a species file."""

    species: SpeciesTable
    stages: tuple[Stage, ...] = Field(alias="stage")

    @property
    def id(self) -> str:
        """The id of the species."""
        return self.species.id

    def stage(self, stage_id: str) -> Stage | None:
        """Find a stage by id, or None."""
        return next((s for s in self.stages if s.id == stage_id), None)


class Library(Model):
    """Every species that cohorts may be of; provisional ones come from templates."""

    species: dict[str, Species]
    provisional: frozenset[str] = frozenset()

    def stage(self, species_id: str, stage_id: str) -> Stage | None:
        """Find a stage, or None where species or stage is unknown."""
        species = self.species.get(species_id)
        return species.stage(stage_id) if species else None
