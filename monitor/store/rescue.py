"""Opening the store for writing, whatever has become of its file (Q8)."""

import contextlib
import logging
import sqlite3
from contextlib import closing
from datetime import datetime
from pathlib import Path

from monitor import __version__
from monitor.errors import StoreError, StoreFullError
from monitor.store.backup import BACKUPS, COMPANIONS, clear, settle
from monitor.store.connection import (
    FILE,
    DamagedError,
    connect_reader,
    connect_writer,
    lay_later,
    lay_schema,
    schema_of,
    translated,
)
from monitor.store.disk import drop_ballast

log = logging.getLogger(__name__)


def open_sound(directory: Path, now: datetime) -> tuple[sqlite3.Connection, str | None]:
    """
    Open the store of a directory, moving a damaged one aside.

    Returns:
        The writer's connection; and in words what went wrong, if anything did.

    Raises:
        StoreError: If the file is of a newer program or cannot be opened.
    """
    path = directory / FILE
    try:
        return _open(path, now), None
    except StoreFullError:
        # opening writes too: without this a full disk would keep the daemon down
        drop_ballast(directory)
        return _open(path, now), None
    except DamagedError as exc:
        cause = str(exc.__cause__ or exc)
    aside = _move_aside(path, now)
    restored = _restore(directory, path, now)
    mishap = f"The store {path} was damaged ({cause}) and was moved aside to {aside}. "
    if restored is None:
        mishap += "There was no good backup: an empty store was started."
    else:
        mishap += (
            f"The backup {restored.name} was put in its place: what was recorded "
            "after it is missing."
        )
    log.error("store damaged", extra={"aside": str(aside), "restored": str(restored)})
    return _open(path, now), mishap


def _open(path: Path, now: datetime) -> sqlite3.Connection:
    with translated(path):
        connection = connect_writer(path)
    try:
        with translated(path):
            _check(connection)
            if schema_of(connection, path) == 0:
                lay_schema(connection, by=__version__, identity=_identity(now))
            lay_later(connection)
    except BaseException:
        connection.close()
        raise
    return connection


def _check(connection: sqlite3.Connection) -> None:
    said = connection.execute("PRAGMA quick_check(1)").fetchall()
    if said != [("ok",)]:
        raise DamagedError(str(said[0][0]))


def _identity(now: datetime) -> str:
    return f"{now:%Y%m%d%H%M%S}"


def aside_name(path: Path, now: datetime, why: str) -> Path:
    """
    Find a free name beside the store for what leaves its place.

    Args:
        path: Of the store.
        now: Part of the name, UTC.
        why: Part of the name, such as "damaged".
    """
    stamp = f"{now:%Y%m%dT%H%M%SZ}"
    aside = path.with_name(f"{path.name}.{why}-{stamp}")
    turn = 1
    while aside.exists():
        turn += 1
        aside = path.with_name(f"{path.name}.{why}-{stamp}-{turn}")
    return aside


def _move_aside(path: Path, now: datetime) -> Path:
    aside = aside_name(path, now, "damaged")
    for end in ("", *COMPANIONS):
        with contextlib.suppress(FileNotFoundError):
            path.with_name(path.name + end).rename(aside.with_name(aside.name + end))
    return aside


def _restore(directory: Path, path: Path, now: datetime) -> Path | None:
    """Put the newest good backup in place; None if there is none."""
    found = [p for p in (directory / BACKUPS).glob("*.sqlite3") if p.is_file()]
    for backup in sorted(found, key=lambda p: p.stat().st_mtime, reverse=True):
        fresh = path.with_name(path.name + ".restoring")
        try:
            clear(fresh)
            copy_back(backup, fresh, now)
            settle(fresh, path)
        except StoreError as exc:
            log.warning("backup unusable", extra={"path": str(backup), "why": str(exc)})
            clear(fresh)
            continue
        return backup
    return None


def copy_back(backup: Path, fresh: Path, now: datetime) -> None:
    """
    Copy a backup to where it becomes the store, and check the copy.

    Raises:
        StoreError: If the backup cannot be read, is not sound, holds nothing, or is of
            a newer program.
    """
    with (
        translated(backup),
        closing(connect_reader(backup)) as source,
        closing(sqlite3.connect(fresh, isolation_level=None)) as copy,
    ):
        if schema_of(source, backup) == 0:
            raise StoreError(f"{backup}: empty")
        source.backup(copy, pages=-1)
        copy.execute("PRAGMA journal_mode = DELETE").fetchall()
        said = copy.execute("PRAGMA integrity_check(1)").fetchall()
        if said != [("ok",)]:
            raise StoreError(f"{backup}: {said[0][0]}")
        # numbers given after the backup are given again: another identity keeps
        # their Message-IDs apart
        copy.execute(
            "UPDATE meta SET value = ? WHERE key = 'identity'", (_identity(now),)
        )
