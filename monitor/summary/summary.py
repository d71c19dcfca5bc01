"""The week as figures, as text and for programs."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any, TypeVar, cast

import msgspec

from monitor.summary.registry import SECTIONS
from monitor.summary.section import Section
from monitor.summary.view import WeekView
from monitor.summary.words import cut, folded, instant

_HOUR = timedelta(hours=1)


class Summary(msgspec.Struct, frozen=True):
    """
    A week in figures.

    Attributes:
        week: As ISO 8601 writes it.
        start: Its first instant. UTC.
        end: The first instant of the next. UTC.
        until: What is told ends here. UTC.
        parts: Each section with its figures, in order.
    """

    site: str
    time_zone: str
    week: str
    start: datetime
    end: datetime
    until: datetime
    parts: tuple[tuple[Section[Any], msgspec.Struct], ...]


F = TypeVar("F", bound=msgspec.Struct)


def part_of(summary: Summary, section: Section[F]) -> F | None:
    """The figures of a section; None where it was not asked for."""
    for one, figures in summary.parts:
        if one.id == section.id:
            return cast("F", figures)
    return None


def summarise(view: WeekView, sections: Sequence[Section[Any]] = SECTIONS) -> Summary:
    """Work out every section of a week."""
    return Summary(
        site=view.site.site.name,
        time_zone=view.zone,
        week=str(view.week),
        start=view.start,
        end=view.end,
        until=view.until,
        parts=tuple((section, section.figures(view)) for section in sections),
    )


def as_text(summary: Summary) -> str:
    """The whole week as plain text, in lines of at most 72 letters."""
    lines = folded(f"{summary.site}, week {summary.week}")
    lines += times(summary)
    for section, figures in summary.parts:
        lines += headed(section.title, section.text(figures))
    return "\n".join(lines)


def times(summary: Summary) -> list[str]:
    """From when to when, and whether the week is over."""
    zone = summary.time_zone
    hours = (summary.end - summary.start) / _HOUR
    lines = folded(
        f"{instant(summary.start, zone)} to {instant(summary.end, zone)}, {zone} "
        f"({hours:g} h)"
    )
    if summary.until < summary.end:
        lines.append(
            f"The week is not over: told up to {instant(summary.until, zone)}."
        )
    return lines


def headed(title: str, lines: Sequence[str]) -> list[str]:
    """A part of the plain text under its heading."""
    return ["", title, "-" * len(title), *(cut(line) for line in lines)]


def as_json(summary: Summary) -> dict[str, Any]:
    """The whole week for programs: figures of each section under its id."""
    return {
        "site": summary.site,
        "time_zone": summary.time_zone,
        "week": summary.week,
        "from": msgspec.to_builtins(summary.start),
        "to": msgspec.to_builtins(summary.end),
        "told_to": msgspec.to_builtins(summary.until),
        "over": summary.until == summary.end,
        **{s.id: msgspec.to_builtins(figures) for s, figures in summary.parts},
    }
