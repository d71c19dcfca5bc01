"""Base of every model of a file: strict, frozen, nothing unknown."""

from collections.abc import Iterable
from typing import Annotated, NamedTuple, TypeVar

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints
from pydantic_core import PydanticCustomError

from monitor.site import checking
from monitor.site.words import PlaceKind, Quantity, Role, Unit

Key = str | int
"""A step on the way to a value: a key of a table, or an index from 0."""

PROBLEM = "problem"
"""Type of the errors that `refuse` makes."""


class Model(BaseModel):
    """A table of a file. Every nested model derives from this one (C2, C7-C9)."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        strict=True,
        allow_inf_nan=False,
        validate_default=True,
        populate_by_name=True,
    )

    @classmethod
    def keys_and_types(cls) -> dict[str, object]:
        """Every key that may stand in the table, and the type of what stands there."""
        return {f.alias or n: f.annotation for n, f in cls.model_fields.items()}


class Problem(NamedTuple):
    """One thing that is wrong, and the way to it from the table that noticed."""

    path: tuple[Key, ...]
    text: str


def refuse(problems: Iterable[Problem]) -> None:
    """
    Raise for problems that only the whole of a table shows; return if there are none.

    Raises:
        PydanticCustomError: With all of them, for `monitor.site.mending`.
    """
    found = list(problems)
    if found:
        raise PydanticCustomError(
            PROBLEM, "{text}", {"text": found[0].text, "all": found}
        )


T = TypeVar("T")
Many = Annotated[tuple[T, ...], Field(strict=False)]
"""A TOML array; what stands in it stays strict."""

AQuantity = Annotated[Quantity, Field(strict=False)]
AUnit = Annotated[Unit, Field(strict=False)]
ARole = Annotated[Role, Field(strict=False)]
AKind = Annotated[PlaceKind, Field(strict=False)]
"""Words of a list, written as text in a file."""

Id = Annotated[
    str, StringConstraints(pattern=r"^[a-z0-9][a-z0-9-]*$", max_length=64, strict=True)
]
"""Ids are lower-case letters, digits and hyphens: safe in topics and commands."""

StageId = Annotated[
    str,
    StringConstraints(
        pattern=r"^[A-Za-z0-9][A-Za-z0-9-]*$", max_length=64, strict=True
    ),
]
"""As `Id`, and capitals, since keepers write L1 and L3."""

Text = Annotated[str, AfterValidator(checking.clean)]
"""A name or sentence that can stand in a mail header (E10)."""

Address = Annotated[str, AfterValidator(checking.mail_address)]
"""A mail address without a name around it."""

Endpoint = Annotated[str, AfterValidator(checking.endpoint_text)]
"""host:port."""

Port = Annotated[int, Field(ge=1, le=65535)]
"""A TCP port."""

Range = Annotated[
    tuple[float, float], Field(strict=False), AfterValidator(checking.rising)
]
"""Low and high, both inside; low below high (C10)."""
