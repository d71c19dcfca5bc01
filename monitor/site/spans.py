"""Spans of time as the files write them: "90 s", "5 min", "2 h", "3 d"."""

import re
from datetime import timedelta
from typing import Annotated

from pydantic import BeforeValidator

from monitor.site.checking import spell

_SPAN = re.compile(r"(\d{1,9}(?:\.\d{1,6})?)\s*(s|min|h|d)", re.ASCII)
_SECONDS = {"s": 1, "min": 60, "h": 3600, "d": 86400}
_LONGEST = timedelta(days=3660)


def parse_span(text: object) -> timedelta:
    """
    Read a span such as "5 min".

    Raises:
        ValueError: If it is not a positive number, at most ten years, and one of
            s, min, h, d.
    """
    if isinstance(text, timedelta):
        return text
    match = _SPAN.fullmatch(text) if isinstance(text, str) else None
    if match is None:
        raise ValueError(
            f'{spell(text)} is no span: write "90 s", "5 min", "2 h" or "3 d"'
        )
    seconds = float(match[1]) * _SECONDS[match[2]]
    if seconds <= 0:
        raise ValueError(f"{spell(text)} is no time at all: give a span above zero")
    if seconds > _LONGEST.total_seconds():
        raise ValueError(f"{spell(text)} is longer than ten years: is the unit right?")
    return timedelta(seconds=seconds)


def format_span(span: timedelta) -> str:
    """Write a span in the largest unit that keeps it whole."""
    seconds = span.total_seconds()
    for unit in ("d", "h", "min"):
        if seconds and seconds % _SECONDS[unit] == 0:
            return f"{int(seconds // _SECONDS[unit])} {unit}"
    return f"{seconds:g} s"


Span = Annotated[timedelta, BeforeValidator(parse_span)]
"""A positive span of time in a file."""
