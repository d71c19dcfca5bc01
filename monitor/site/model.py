"""Base of every model of a file: strict, frozen, nothing unknown."""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, StringConstraints

Id = Annotated[
    str, StringConstraints(pattern=r"^[a-z0-9][a-z0-9-]*$", max_length=64, strict=True)
]
"""Ids are lower-case letters, digits and hyphens: safe in topics and commands."""


class Model(BaseModel):
    """A table of a file. Every nested model derives from this one (C2, C7–C9)."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        strict=True,
        allow_inf_nan=False,
        validate_default=True,
        populate_by_name=True,
    )
