"""Copies of the store that can be trusted (Q5)."""

import os
import sqlite3
from contextlib import closing
from pathlib import Path

from monitor.errors import StoreError, StoreFullError
from monitor.store.connection import translated
from monitor.store.disk import BALLAST_BYTES, free_bytes


def back_up(source: sqlite3.Connection, to: Path) -> None:
    """
    Copy a store in one step, check the copy, make it durable, then name it.

    A stepwise copy starts anew at every commit and never ends under load.

    Raises:
        StoreFullError: If there is no room for the copy.
        StoreError: If the copy cannot be made or is not sound.
    """
    partial = to.with_name(to.name + ".partial")
    with translated(to):
        pages = source.execute("PRAGMA page_count").fetchone()[0]
        size = pages * source.execute("PRAGMA page_size").fetchone()[0]
        try:
            to.parent.mkdir(parents=True, exist_ok=True)
            free = free_bytes(to.parent) or 0
            if free < size + BALLAST_BYTES:
                raise StoreFullError(
                    f"{to}: a backup needs {size} bytes and {free} are free; make room"
                )
            partial.unlink(missing_ok=True)
            _copy(source, partial)
            _settle(partial, to)
        except OSError as exc:
            raise StoreError(f"{to}: the backup failed: {exc.strerror}") from exc
        finally:
            partial.unlink(missing_ok=True)


def _copy(source: sqlite3.Connection, partial: Path) -> None:
    with closing(sqlite3.connect(partial, isolation_level=None)) as copy:
        source.backup(copy, pages=-1)
        # one file that needs no companions
        copy.execute("PRAGMA journal_mode = DELETE").fetchall()
        said = copy.execute("PRAGMA integrity_check").fetchall()
    if said != [("ok",)]:
        raise StoreError(f"{partial}: the copy is not sound: {said[0][0]}")


def _settle(partial: Path, to: Path) -> None:
    """Make content and name durable, in that order."""
    _sync(partial)
    partial.replace(to)
    _sync(to.parent)


def _sync(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
