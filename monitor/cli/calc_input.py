"""Numbers and spans as people type them, and figures set for them and for programs."""

import argparse
import json
import math
import re
from datetime import timedelta

from monitor.site.spans import parse_span

_NEGATIVE = re.compile(r"-(?:\.?\d|inf|nan)", re.IGNORECASE)


def take_negative_numbers(parser: argparse.ArgumentParser) -> None:
    """
    Let ``--lower -1e-3`` be a number, as ``--lower -0.001`` is.

    For parsers without an option that looks like a number.
    """
    # argparse takes what this does not match for an option, and then only says that a
    # value is missing; that of Python 3.14 asks for no more than a digit
    parser._negative_number_matcher = _NEGATIVE  # noqa: SLF001 - it offers no other way


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
    # float() also takes "1_000" and digits of other scripts, and strips spaces
    try:
        number = float(text) if text.isascii() and "_" not in text else math.nan
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise ValueError(f"{text!r} is not a finite number")
    return number


def dumps(found: object) -> str:
    """
    Write JSON for programs.

    Raises:
        ValueError: If a number is not finite, for which JSON has no word.
    """
    return json.dumps(found, allow_nan=False)


def table(rows: list[tuple[str, str, str]]) -> str:
    """Set words, figures and units in columns."""
    words = max(len(row[0]) for row in rows)
    figures = max(len(row[1]) for row in rows)
    lines = (f"{a:<{words}}  {b:>{figures}} {c}".rstrip() for a, b, c in rows)
    return "\n".join(lines)
