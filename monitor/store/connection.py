"""Connections to the store's file, and what SQLite says, in our own errors."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.resources import files
from pathlib import Path
from urllib.parse import quote

from monitor.errors import StoreError, StoreFullError
from monitor.store.disk import free_bytes

FILE = "rearing.sqlite3"
"""Name of the store's file in the state directory."""
SCHEMA = 1
LATER = ("perhaps",)
"""Tables that came after stores of this schema were in use: made where they lack."""
WAIT_S = 5.0
"""How long a connection waits for another one's lock. [s]"""
WAL_KEPT = 8 * 1024 * 1024
"""The write-ahead log shrinks to this after it was emptied. [bytes]"""
CRUMB = 256 * 1024
"""With less than this free, an I/O error is a full disk (the shm file grows too)."""

DAMAGED = frozenset({sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB})
_PRIMARY = 0xFF  # the primary code is the low byte of an extended one

_FIXED = (
    ((3, 44, 6), (3, 45, 0)),
    ((3, 50, 7), (3, 51, 0)),
)
_BROKEN_FROM, _BROKEN_TO = (3, 7, 0), (3, 51, 2)


class DamagedError(StoreError):
    """The file of the store is damaged."""


def sqlite_in_wal_reset_range(version: str) -> bool:
    """
    Tell whether this SQLite can damage a WAL file that two connections reset (Q1).

    Args:
        version: As `sqlite3.sqlite_version`, such as "3.40.1".
    """
    numbers = [int(part) for part in version.split(".")[:3]]
    number = tuple(numbers + [0] * (3 - len(numbers)))
    if any(low <= number < high for low, high in _FIXED):
        return False
    return _BROKEN_FROM <= number <= _BROKEN_TO


@contextmanager
def translated(path: Path) -> Iterator[None]:
    """Turn SQLite's exceptions into ours; nothing outside this room sees them."""
    try:
        yield
    except sqlite3.Error as exc:
        raise in_our_words(path, exc) from exc


def in_our_words(path: Path, exc: sqlite3.Error) -> StoreError:
    """Say what SQLite said with file, cause and mend."""
    code = getattr(exc, "sqlite_errorcode", sqlite3.SQLITE_ERROR) & _PRIMARY
    free = free_bytes(path.parent)
    starved = code == sqlite3.SQLITE_IOERR and free is not None and free < CRUMB
    if code == sqlite3.SQLITE_FULL or starved:
        return StoreFullError(
            f"{path}: the disk is full ({free} bytes free), nothing more can be "
            "stored; make room"
        )
    if code in DAMAGED:
        return DamagedError(
            f"{path}: the store is damaged ({exc}); restart the daemon: it moves the "
            "file aside and takes the newest good backup"
        )
    if code == sqlite3.SQLITE_BUSY:
        return StoreError(
            f"{path}: another connection held the store for over {WAIT_S:g} s; only "
            "the daemon may write, find what else does"
        )
    if code == sqlite3.SQLITE_READONLY:
        # a reader must make the shared memory file where no daemon has it open
        return StoreError(
            f"{path}: this user may read the store only while the daemon runs ({exc}); "
            "run this as the daemon's user"
        )
    return StoreError(f"{path}: {exc}")


def connect_writer(path: Path) -> sqlite3.Connection:
    """
    Open the one connection that writes and checkpoints (Q1, Q2, Q7, Q9).

    Raises:
        sqlite3.Error: As SQLite says it.
    """
    connection = sqlite3.connect(path, timeout=WAIT_S, isolation_level=None)
    try:
        for pragma in (
            "PRAGMA journal_mode = WAL",
            "PRAGMA synchronous = FULL",
            "PRAGMA foreign_keys = ON",
            f"PRAGMA journal_size_limit = {WAL_KEPT}",
        ):
            connection.execute(pragma).fetchall()
    except BaseException:
        connection.close()
        raise
    return connection


def connect_reader(path: Path) -> sqlite3.Connection:
    """
    Open a connection that cannot write.

    Raises:
        sqlite3.Error: As SQLite says it.
    """
    return sqlite3.connect(
        f"file:{quote(str(path.absolute()))}?mode=ro",
        uri=True,
        timeout=WAIT_S,
        isolation_level=None,
    )


def lay_schema(connection: sqlite3.Connection, *, by: str, identity: str) -> None:
    """
    Make the tables of an empty file, in one transaction.

    Args:
        connection: The writer's.
        by: Version of the program, for people who look into the file.
        identity: Of this store; part of the Message-ID of its notices.
    """
    try:
        connection.executescript(f"BEGIN IMMEDIATE;\n{_script()}")
        connection.executemany(
            "INSERT INTO meta VALUES (?, ?)",
            [("schema", str(SCHEMA)), ("created_by", by), ("identity", identity)],
        )
        connection.execute("COMMIT")
    finally:
        if connection.in_transaction:
            connection.execute("ROLLBACK")


def lay_later(connection: sqlite3.Connection) -> None:
    """
    Make the tables of `LATER` that a store of this schema does not have yet.

    Args:
        connection: The writer's.
    """
    missing = [name for name in LATER if not has_table(connection, name)]
    if not missing:
        return
    try:
        connection.execute("BEGIN IMMEDIATE")
        for statement in _statements(_script()):
            if any(f" {name}" in statement.split("(", 1)[0] for name in missing):
                connection.execute(statement)
        connection.execute("COMMIT")
    finally:
        if connection.in_transaction:
            connection.execute("ROLLBACK")


def has_table(connection: sqlite3.Connection, name: str) -> bool:
    """Whether a store has a table; one that came later an older store has not."""
    found = connection.execute(
        "SELECT 1 FROM sqlite_schema WHERE type = 'table' AND name = ?", (name,)
    ).fetchone()
    return found is not None


def _script() -> str:
    return files("monitor.store").joinpath("schema.sql").read_text("utf-8")


def _statements(script: str) -> Iterator[str]:
    """Statements one by one, comments left out; a trigger is one, with its body."""
    held = ""
    for line in script.splitlines(keepends=True):
        held += "" if line.startswith("--") else line
        if sqlite3.complete_statement(held):
            yield held
            held = ""


def schema_of(connection: sqlite3.Connection, path: Path) -> int:
    """
    Tell the schema of a file; 0 for an empty one.

    Raises:
        StoreError: If the file is not a store, or of a newer program.
    """
    tables = connection.execute(
        "SELECT name FROM sqlite_schema WHERE type = 'table'"
    ).fetchall()
    if not tables:
        return 0
    row = None
    if ("meta",) in tables:
        row = connection.execute(
            "SELECT value FROM meta WHERE key = 'schema'"
        ).fetchone()
    if row is None or not str(row[0]).isdecimal():
        raise StoreError(
            f"{path}: this is no store of the rearing monitor; move it away"
        )
    if int(row[0]) > SCHEMA:
        raise StoreError(
            f"{path}: the store has schema {row[0]}, this program knows up to "
            f"{SCHEMA}; run the newer program, or restore the backup from before the "
            "upgrade"
        )
    return int(row[0])
