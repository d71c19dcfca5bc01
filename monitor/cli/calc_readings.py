"""A file of readings for ``calc``: a time with its zone and a value on each line."""

import math
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from monitor.cli.calc_input import parse_number
from monitor.cli.calc_limits import (
    COLDEST_READ_C,
    CONVERT,
    HOTTEST_C,
    HOTTEST_READ_C,
    check_reading,
)
from monitor.cli.calc_table import rows_of
from monitor.clock import EPOCH, from_us, to_us
from monitor.errors import UsageError
from monitor.science.curve import DAY_US, Times, Values

END_YEAR = 2200
"""Times are from 1970 and before this year, as no other were measured. (own choice)"""

_END_US = to_us(datetime(END_YEAR, 1, 1, tzinfo=UTC))

Parse = Callable[[str], float]
"""What reads the value of a line; raises ValueError in words where it is none."""


def read_readings(path: Path) -> tuple[Times, Values]:
    """
    Read a CSV file of readings, sorted by time.

    Returns:
        Strictly rising times [us since 1970-01-01 UTC] and temperatures [degC].

    Raises:
        UsageError: If the file cannot be read, a line is wrong or beyond what a
            thermometer reads, one time has two values, there are fewer than two
            readings, or they look like Fahrenheit.
    """
    times, values = _read(path, "temperature", _temperature)
    count = values.size
    if count < 2:  # noqa: PLR2004 - a pair
        raise UsageError(
            f"{path}: a sum needs at least two readings at different times,"
            f" found {count}"
        )
    hot = np.count_nonzero(values > HOTTEST_C)
    if 2 * hot > count:
        raise UsageError(
            f"{path}: {hot} of {count} readings are above {HOTTEST_C:g} °C: they"
            f" look like °F; {CONVERT.replace('it', 'them')}"
        )
    return times, values


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
    times, values = _read(path, "value", _as_sent)
    if not values.size:
        raise UsageError(f"{path}: holds no reading: give lines below the header")
    return times, values


def _read(path: Path, column: str, parse: Parse) -> tuple[Times, Values]:
    """The readings sorted by time, each time once."""
    rows = rows_of(path, f"time,{column}")
    next(rows)
    lines: list[int] = []
    moments: list[int] = []
    figures: list[float] = []
    for line, fields in rows:
        try:
            if len(fields) != 2:  # noqa: PLR2004 - time and value
                raise ValueError(  # noqa: TRY301 - one way out for a line
                    f"two fields are needed, found {len(fields)}"
                )
            moments.append(_time_us(fields[0]))
            figures.append(parse(fields[1]))
        except ValueError as error:
            raise UsageError(f"{path}: line {line}: {error}") from error
        lines.append(line)
    times = np.array(moments, dtype=np.int64)
    values = np.array(figures, dtype=np.float64)
    if (times[1:] > times[:-1]).all():
        return times, values
    order = np.argsort(times, kind="stable")
    times, values = times[order], values[order]
    again = times[1:] == times[:-1]
    one, other = values[:-1], values[1:]
    same = (one == other) | (np.isnan(one) & np.isnan(other))
    if (again & ~same).any():
        at = int(np.argmax(again & ~same))
        first, second = order[at : at + 2].tolist()
        raise UsageError(
            f"{path}: {from_us(int(times[at])).isoformat()} has two values,"
            f" {_shown(figures[first])} (line {lines[first]}) and"
            f" {_shown(figures[second])} (line {lines[second]}): keep one"
        )
    kept = np.append(True, ~again)
    return times[kept], values[kept]


def _time_us(text: str) -> int:
    try:
        at = datetime.fromisoformat(text.strip())
    except ValueError:
        raise ValueError(
            f"{text.strip()!r} is no time: write 2026-03-01T06:00:00Z"
        ) from None
    if at.tzinfo is None:
        raise ValueError(
            f"{text.strip()!r} has no time zone: write Z for UTC, or an offset such as"
            " +01:00"
        )
    # as clock.to_us, which divides, and is slower than all else of a line
    since = at - EPOCH
    found = since.days * DAY_US + since.seconds * 1_000_000 + since.microseconds
    if not 0 <= found < _END_US:
        raise ValueError(
            f"{text.strip()!r} is not between 1970 and {END_YEAR}, in UTC: correct the"
            " year, or the clock that wrote it"
        )
    return found


def _temperature(text: str) -> float:
    value = parse_number(text)
    if not COLDEST_READ_C <= value <= HOTTEST_READ_C:
        check_reading(value)
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


def _shown(value: float) -> str:
    return "none" if math.isnan(value) else f"{value:g}"
