"""What a section of a species file is: tables of a stage that belong together."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated, Any, Generic, TypeVar

from pydantic import AfterValidator, Field, create_model

from monitor.site.model import Many, Model, Problem, refuse
from monitor.site.sources import Sourced

M = TypeVar("M", bound=Sourced)


def none_wrong(_rows: Sequence[Any]) -> Iterable[Problem]:
    """Tables that do not bear on one another."""
    return ()


@dataclass(frozen=True, slots=True, eq=False)
class Section(Generic[M]):
    """
    Tables of one kind that a stage may have.

    Attributes:
        table: Its key in the file: [stage.development], [[stage.band]].
        model: Of one table, with the checks of that table. It is `Sourced`, so that
            no number stands without a source; a number of another source goes into a
            `Sourced` table of its own within it.
        lines: How ``check`` prints one table.
        many: Whether the table is an array, [[stage.band]].
        together: What is wrong only among several tables; paths begin at the index.
    """

    table: str
    model: type[M]
    lines: Callable[[M], Iterable[str]]
    many: bool = False
    together: Callable[[Sequence[M]], Iterable[Problem]] = none_wrong

    @property
    def annotation(self) -> object:
        """The type of what stands under the key, as pydantic reads it."""
        if not self.many:
            return self.model | None

        def agree(rows: tuple[M, ...]) -> tuple[M, ...]:
            refuse(self.together(rows))
            return rows

        # the type is known only when this runs
        return Annotated[Many[self.model], AfterValidator(agree)]  # type: ignore[name-defined]


Read = tuple[tuple[str, tuple[Sourced, ...]], ...]
"""The tables of a stage by the key of their section; no table, no rows."""


def read(sections: tuple[Section[Any], ...], tables: dict[str, object]) -> Read:
    """
    Read the tables of a stage, each by its section.

    Args:
        sections: Every section that there is.
        tables: What stands in the file under their keys.

    Raises:
        ValidationError: With everything that is wrong in any of them.
    """
    found = _model_of(sections).model_validate(tables, by_alias=True, by_name=False)
    every = ((s, getattr(found, _field(i))) for i, s in enumerate(sections))
    return tuple((s.table, _rows(value)) for s, value in every)


def _rows(value: Sourced | tuple[Sourced, ...] | None) -> tuple[Sourced, ...]:
    if value is None:
        return ()
    return value if isinstance(value, tuple) else (value,)


def _field(number: int) -> str:
    # a key of the file may be no name of Python's
    return f"section_{number}"


@lru_cache(maxsize=8)
def _model_of(sections: tuple[Section[Any], ...]) -> type[Model]:
    """One model of all sections, so that pydantic gathers what is wrong in each."""
    fields: dict[str, Any] = {
        _field(i): (
            section.annotation,
            Field(alias=section.table, default=() if section.many else None),
        )
        for i, section in enumerate(sections)
    }
    return create_model("Sections", __base__=Model, **fields)
