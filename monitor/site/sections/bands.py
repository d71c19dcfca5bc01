"""[[stage.band]]: what a stage does best in, tolerates, and dies of."""

from collections.abc import Iterator, Sequence
from typing import Annotated, Literal, NamedTuple, Self

from pydantic import Field, model_validator

from monitor.site.model import AQuantity, Model, Problem, Range, refuse
from monitor.site.references import layer_problems
from monitor.site.sections.section import Section
from monitor.site.sources import Sourced
from monitor.site.spans import Span


class Night(Model):
    """What differs at night; of the same source as the day."""

    target: Range | None = None
    tolerated: Range | None = None
    danger: Range | None = None


class Limits(NamedTuple):
    """The limits of a band by day or by night, from the inmost."""

    target: tuple[float, float] | None
    tolerated: tuple[float, float] | None
    danger: tuple[float, float] | None

    def __str__(self) -> str:
        """Write those that there are."""
        return ", ".join(
            f"{name} {pair[0]:g} to {pair[1]:g}"
            for name, pair in zip(self._fields, self, strict=True)
            if pair is not None
        )


class Band(Sourced):
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


def _together(bands: Sequence[Band]) -> Iterator[Problem]:
    seen: set[tuple[str, str]] = set()
    for i, band in enumerate(bands):
        if (band.quantity, band.of) in seen:
            text = f"a second band of {band.quantity} of {band.of}: keep one"
            yield Problem((i, "quantity"), text)
        seen.add((band.quantity, band.of))


def _lines(band: Band) -> Iterator[str]:
    day, night = band.limits(night=False), band.limits(night=True)
    said = str(day) if night == day else f"{day}; at night {night}"
    yield f"{band.quantity} of {band.of}: {said} ({band.source})"


BANDS = Section("band", Band, _lines, many=True, together=_together)
