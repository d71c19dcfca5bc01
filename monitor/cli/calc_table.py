"""A CSV file that ``calc`` is given, line by line; what is wrong names its line."""

import csv
from collections.abc import Iterator
from pathlib import Path
from typing import TextIO

from monitor.errors import UsageError


def rows_of(path: Path, *headers: str) -> Iterator[tuple[int, list[str]]]:
    """
    Read a CSV file: the header as line 1, then each row that is not empty.

    Args:
        path: The file.
        headers: Each one that is allowed, as it is written.

    Yields:
        The line that a row begins on, and its fields.

    Raises:
        UsageError: If the file cannot be read, is no CSV in UTF-8, or has another
            header.
    """
    line = 1
    try:
        # what is no UTF-8 comes as lone surrogates, so that its line can be told
        with path.open(
            encoding="utf-8-sig", errors="surrogateescape", newline=""
        ) as file:
            reader = csv.reader(_checked(path, file))
            header = next(reader, [])
            yield line, _known(path, header, headers)
            # a quoted field may hold line ends: the reader alone knows where it is
            line = reader.line_num + 1
            for fields in reader:
                if "".join(fields).strip():
                    yield line, fields
                line = reader.line_num + 1
    except OSError as error:
        raise UsageError(f"{path}: cannot be read: {error.strerror}") from error
    except csv.Error as error:
        raise UsageError(
            f"{path}: line {line}: this is no CSV file in UTF-8: {error}"
        ) from error


def _checked(path: Path, file: TextIO) -> Iterator[str]:
    for number, text in enumerate(file, start=1):
        if not text.isascii():
            try:
                text.encode()
            except UnicodeEncodeError as error:
                raise UsageError(
                    f"{path}: line {number}: this is no CSV file in UTF-8 (byte"
                    f" {ord(text[error.start]) - 0xDC00:#04x}): save it as UTF-8"
                ) from None
        yield text


def _known(path: Path, header: list[str], known: tuple[str, ...]) -> list[str]:
    names = [name.strip() for name in header]
    if ",".join(names) not in known:
        raise UsageError(
            f"{path}: line 1: the header must be {' or '.join(known)},"
            f" found {','.join(header)!r}"
        )
    return names
