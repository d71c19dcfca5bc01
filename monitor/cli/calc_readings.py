"""A file of readings for ``calc``: a time with its zone and a value on each line."""

import csv
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np

from monitor.cli.calc_input import parse_number
from monitor.clock import from_us, to_us
from monitor.errors import UsageError
from monitor.science.curve import Times, Values

ABSOLUTE_ZERO_C = -273.15

HOTTEST_C = 50.0
"""Animals do not live above it, but most rooms read in Fahrenheit are."""

Parse = Callable[[str], float]
"""What reads the value of a line; raises ValueError in words where it is none."""


@dataclass(frozen=True, slots=True)
class _Row:
    """A reading of a file and the line that it stands on."""

    line: int
    time_us: int
    value: float


def read_readings(path: Path) -> tuple[Times, Values]:
    """
    Read a CSV file of readings, sorted by time.

    Returns:
        Strictly rising times [us since 1970-01-01 UTC] and temperatures [degC].

    Raises:
        UsageError: If the file cannot be read, a line is wrong, one time has two
            values, there are fewer than two readings, or they look like Fahrenheit.
    """
    kept = _read(path, "temperature", _temperature)
    if len(kept) < 2:  # noqa: PLR2004 - a pair
        raise UsageError(
            f"{path}: degree-days need at least two readings at different times,"
            f" found {len(kept)}"
        )
    hot = sum(row.value > HOTTEST_C for row in kept)
    if 2 * hot > len(kept):
        raise UsageError(
            f"{path}: {hot} of {len(kept)} readings are above {HOTTEST_C:g} °C: they"
            " look like °F; convert them first: (F - 32) / 1.8"
        )
    return _arrays(kept)


def read_series(path: Path) -> tuple[Times, Values]:
    """
    Read a CSV file of readings of any quantity as a probe sent them, sorted by time.

    An empty value, or nan, is a missing one; an infinite one is kept as it is.

    Returns:
        Strictly rising times [us since 1970-01-01 UTC] and values, NaN where missing.

    Raises:
        UsageError: If the file cannot be read, a line is wrong, one time has two
            values, or there is no reading.
    """
    kept = _read(path, "value", _as_sent)
    if not kept:
        raise UsageError(f"{path}: holds no reading: give lines below the header")
    return _arrays(kept)


def _read(path: Path, column: str, parse: Parse) -> list[_Row]:
    """The rows sorted by time, each time once."""
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            found = _rows(path, csv.reader(file), column, parse)
            rows = sorted(found, key=lambda row: row.time_us)
    except OSError as error:
        raise UsageError(f"{path}: cannot be read: {error.strerror}") from error
    except (UnicodeDecodeError, csv.Error) as error:
        raise UsageError(f"{path}: is no CSV file in UTF-8: {error}") from error
    kept: list[_Row] = []
    for row in rows:
        if not kept or kept[-1].time_us != row.time_us:
            kept.append(row)
        elif not _same(kept[-1].value, row.value):
            raise UsageError(_two_values(path, kept[-1], row))
    return kept


def _arrays(kept: list[_Row]) -> tuple[Times, Values]:
    times = np.array([row.time_us for row in kept], dtype=np.int64)
    return times, np.array([row.value for row in kept], dtype=np.float64)


def _rows(
    path: Path, reader: Iterator[list[str]], column: str, parse: Parse
) -> Iterator[_Row]:
    wanted, header = ["time", column], next(reader, [])
    if [name.strip() for name in header] != wanted:
        raise UsageError(
            f"{path}: line 1: the header must be {','.join(wanted)},"
            f" found {','.join(header)!r}"
        )
    for line, fields in enumerate(reader, start=2):
        if not any(field.strip() for field in fields):
            continue
        try:
            yield _row(line, fields, parse)
        except ValueError as error:
            raise UsageError(f"{path}: line {line}: {error}") from error


def _row(line: int, fields: list[str], parse: Parse) -> _Row:
    if len(fields) != 2:  # noqa: PLR2004 - time and value
        raise ValueError(f"two fields are needed, found {len(fields)}")
    text = fields[0].strip()
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(f"{text!r} is no time: write 2026-03-01T06:00:00Z") from None
    if at.tzinfo is None:
        raise ValueError(
            f"{text!r} has no time zone: write Z for UTC, or an offset such as +01:00"
        )
    return _Row(line, to_us(at), parse(fields[1]))


def _temperature(text: str) -> float:
    value = parse_number(text)
    if value < ABSOLUTE_ZERO_C:
        raise ValueError(f"{value:g} °C is below absolute zero")
    return value


def _as_sent(text: str) -> float:
    plain = text.strip().casefold()
    if plain in {"", "nan"}:
        return math.nan
    if plain.lstrip("+-") in {"inf", "infinity"}:
        return float(plain)
    try:
        return parse_number(text)
    except ValueError:
        raise ValueError(
            f"{text.strip()!r} is no number: leave a missing value empty"
        ) from None


def _same(one: float, other: float) -> bool:
    return one == other or (math.isnan(one) and math.isnan(other))


def _shown(value: float) -> str:
    return "none" if math.isnan(value) else f"{value:g}"


def _two_values(path: Path, one: _Row, other: _Row) -> str:
    return (
        f"{path}: {from_us(one.time_us).isoformat()} has two values,"
        f" {_shown(one.value)} (line {one.line}) and {_shown(other.value)} (line"
        f" {other.line}): keep one"
    )
