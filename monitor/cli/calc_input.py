"""What the ``calc`` commands have in common: numbers, spans and tables of figures."""

import argparse
import math
from datetime import timedelta

from monitor.site.spans import parse_span


def number(text: str) -> float:
    """Read the number of an option."""
    try:
        found = parse_number(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(str(error)) from None
    return found


def span(text: str) -> timedelta:
    """Read the span of an option."""
    try:
        return parse_span(text)
    except (ValueError, OverflowError) as error:
        raise argparse.ArgumentTypeError(str(error)) from None


def parse_number(text: str) -> float:
    """
    Read a finite number in plain digits.

    Raises:
        ValueError: If it is none.
    """
    # float() also takes "1_000" and digits of other scripts
    plain = text.strip()
    try:
        number = float(plain) if plain.isascii() and "_" not in plain else math.nan
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise ValueError(f"{text!r} is not a finite number")
    return number


def table(rows: list[tuple[str, str, str]]) -> str:
    """Set words, figures and units in columns."""
    words = max(len(row[0]) for row in rows)
    figures = max(len(row[1]) for row in rows)
    lines = (f"{a:<{words}}  {b:>{figures}} {c}".rstrip() for a, b, c in rows)
    return "\n".join(lines)
