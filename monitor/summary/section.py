"""What a section of the summary is: figures of the week, and the same as text."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic, TypeVar

import msgspec

from monitor.summary.view import WeekView

F = TypeVar("F", bound=msgspec.Struct)


@dataclass(frozen=True, slots=True)
class Section(Generic[F]):
    """
    A part of the summary.

    Attributes:
        id: Its key among the figures.
        title: Its heading.
        figures: The week as figures; pure.
        text: The figures as lines of at most `monitor.summary.words.WIDTH` letters.
        brief: The same for the mail, where that is shorter; None for *text*.
    """

    id: str
    title: str
    figures: Callable[[WeekView], F]
    text: Callable[[F], list[str]]
    brief: Callable[[F], list[str]] | None = None
