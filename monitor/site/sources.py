"""Where a number comes from: the source that every record of numbers carries."""

from collections.abc import Iterator
from datetime import date
from typing import Annotated, Literal

from pydantic import Discriminator, Field, Tag

from monitor.site.model import Key, Model, Text

STANDING_SOURCES = ("common-practice", "from-memory")
"""Sources that need no entry in sources.toml."""


class HouseSource(Model):
    """A figure of this house: who says so, and since when."""

    house: Text
    date: date

    def __str__(self) -> str:
        """Say who and when."""
        return f"{self.house}, {self.date}"


def _kind_of_source(value: object) -> str:
    return "<house>" if isinstance(value, dict | HouseSource) else "<text>"


Source = Annotated[
    Annotated[str, Tag("<text>")] | Annotated[HouseSource, Tag("<house>")],
    Discriminator(_kind_of_source),
]
"""An id of sources.toml, "common-practice", "from-memory", or a house figure."""


class Sourced(Model):
    """A table of numbers; without a source it is refused."""

    source: Source


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


def sources_in(
    value: object, path: tuple[Key, ...]
) -> Iterator[tuple[tuple[Key, ...], Source]]:
    """
    Find every source in a table and in the tables within it.

    Args:
        value: A table, an array of tables, or anything else, which has none.
        path: The way to it, as the file has it.
    """
    if isinstance(value, Sourced):
        yield (*path, "source"), value.source
    if isinstance(value, Model):
        for name, field in type(value).model_fields.items():
            way = (*path, field.alias or name)
            yield from sources_in(getattr(value, name), way)
    elif isinstance(value, tuple):
        for i, row in enumerate(value):
            yield from sources_in(row, (*path, i))
