"""Putting a backup in the place of the store, while no daemon runs."""

import os
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from monitor.errors import StoreBusyError, StoreError, StoreFullError, UsageError
from monitor.store.backup import (
    BACKUPS,
    COMPANIONS,
    clear,
    own_backups,
    refuse_root,
    settle,
    sync,
)
from monitor.store.connection import (
    FILE,
    WAIT_S,
    DamagedError,
    connect_reader,
    in_our_words,
    schema_of,
    translated,
)
from monitor.store.disk import BALLAST_BYTES, free_bytes
from monitor.store.lock import WriterLock
from monitor.store.rescue import aside_name, copy_back
from monitor.store.tally import Tally, tally

REPLACED = "replaced"
"""Part of the name of a store that left its place for a backup."""
_SHOWN = 3
_PRIMARY = 0xFF  # the primary code is the low byte of an extended one


@dataclass(frozen=True, slots=True)
class Restored:
    """
    What came of a restore.

    Attributes:
        path: Of the store.
        aside: Where the store that was there lies now; None where there was none.
        holds: What the store holds now.
        before: What it held; None where there was none or it could not be read.
        trouble: Why it could not be read; "" where it could.
    """

    path: Path
    aside: Path | None
    holds: Tally
    before: Tally | None
    trouble: str


def restore(directory: Path, backup: Path, now: datetime) -> Restored:
    """
    Put a backup in the place of the store; the store that was there is kept aside.

    Killed at any instant, it leaves either the old store or the new one. The new one
    gets an identity of its own, since numbers of notices are given again.

    Args:
        directory: Of the store; made where there is none.
        backup: A file that `store.backup` made.
        now: For names and identity, UTC.

    Raises:
        UsageError: If there is no such file, or it is the store itself.
        RefusedError: If root restores into the directory of another user.
        StoreBusyError: If a daemon runs.
        StoreFullError: If there is no room for the copy.
        StoreError: If the backup is damaged, no store, or of a newer program.
    """
    path = directory / FILE
    with _in_words(path):
        _demand_backup(backup, path, directory / BACKUPS)
        refuse_root(directory)
    with _locked(directory):
        fresh = path.with_name(path.name + ".restoring")
        try:
            with _in_words(path):
                clear(fresh)
                _forget_second_names(path)
                _demand_room(directory, backup)
                holds = _checked_copy(backup, fresh, now)
                present = _look_at(path)
                aside = _set_aside(path, now, fold=present.sound)
                settle(fresh, path)
        finally:
            clear(fresh)
    return Restored(path, aside, holds, present.holds, present.trouble)


@dataclass(frozen=True, slots=True)
class _Present:
    """The store that is to leave: what it holds, or why nobody can tell."""

    holds: Tally | None = None
    trouble: str = ""
    sound: bool = True


def _demand_backup(backup: Path, path: Path, directory: Path) -> None:
    if not backup.is_file():
        known = [str(one) for one in own_backups(directory)[:_SHOWN]]
        there = (
            f"the newest backups are {', '.join(known)}"
            if known
            else (f"there are no backups in {directory}")
        )
        raise UsageError(f"{backup}: there is no such file; {there}")
    if not os.access(backup, os.R_OK):
        raise UsageError(f"{backup}: this user may not read it; chown or chmod it")
    if path.exists() and path.samefile(backup):
        raise UsageError(f"{backup}: is the store itself; name a backup of it")


@contextmanager
def _locked(directory: Path) -> Iterator[None]:
    try:
        lock = WriterLock(directory)
    except StoreBusyError as exc:
        raise StoreBusyError(
            f"{exc} (nothing was changed: a restore needs the daemon stopped, "
            "systemctl stop rearing-monitor)"
        ) from exc
    try:
        yield
    finally:
        lock.release()


@contextmanager
def _in_words(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as exc:
        where = exc.filename or path
        raise StoreError(f"{where}: the restore failed: {exc.strerror}") from exc


def _demand_room(directory: Path, backup: Path) -> None:
    size, free = backup.stat().st_size, free_bytes(directory) or 0
    if free < size + BALLAST_BYTES:
        raise StoreFullError(
            f"{directory}: a restore needs {size} bytes and {free} are free; nothing "
            "was changed; make room"
        )


def _checked_copy(backup: Path, fresh: Path, now: datetime) -> Tally:
    try:
        copy_back(backup, fresh, now)
        with translated(fresh), closing(connect_reader(fresh)) as copy:
            return tally(copy, fresh)
    except DamagedError as exc:
        cause = exc.__cause__ or exc
        raise StoreError(
            f"{backup}: the backup is damaged ({cause}); nothing was changed; take an "
            "older one"
        ) from exc


def _look_at(path: Path) -> _Present:
    if not path.exists():
        return _Present(sound=False)
    try:
        with translated(path), closing(connect_reader(path)) as present:
            if schema_of(present, path) == 0:
                return _Present(trouble=f"{path}: it was empty")
            return _Present(tally(present, path))
    except DamagedError as exc:
        trouble = f"{path}: it is damaged ({exc.__cause__ or exc})"
        return _Present(trouble=trouble, sound=False)
    except StoreError as exc:
        return _Present(trouble=str(exc))


def _set_aside(path: Path, now: datetime, *, fold: bool) -> Path | None:
    """
    Give the store a second name; its first one stays until the new store takes it.

    A sound store is folded into one file before. A damaged one is kept as it is,
    with its log beside it, and only its second name matters from here on.
    """
    if fold:
        _fold(path)
    parts = [
        end for end in ("", *COMPANIONS) if path.with_name(path.name + end).exists()
    ]
    if not parts:
        return None
    aside = aside_name(path, now, REPLACED)
    for end in parts:
        _second_name(path.with_name(path.name + end), aside.with_name(aside.name + end))
    sync(path.parent)
    for end in parts:
        if end:
            # beside the new store they would be taken for its own
            path.with_name(path.name + end).unlink()
    return aside


def _fold(path: Path) -> None:
    """Bring the write-ahead log into the file, unless that turns out to be damaged."""
    try:
        with closing(
            sqlite3.connect(path, timeout=WAIT_S, isolation_level=None)
        ) as present:
            present.execute("PRAGMA journal_mode = DELETE").fetchall()
    except sqlite3.Error as exc:
        if getattr(exc, "sqlite_errorcode", 0) & _PRIMARY == sqlite3.SQLITE_BUSY:
            raise StoreBusyError(
                f"{path}: something still reads the store; nothing was changed; stop "
                "what reads it (a page, an export, a backup)"
            ) from exc
        error = in_our_words(path, exc)
        if not isinstance(error, DamagedError):
            raise error from exc


def _second_name(path: Path, name: Path) -> None:
    try:
        name.hardlink_to(path)
    except OSError:
        # a file system without hard links
        shutil.copy2(path, name)
        sync(name)


def _forget_second_names(path: Path) -> None:
    """Take away second names that a killed restore left to the store in use."""
    if not path.exists():
        return
    for name in path.parent.glob(f"{path.name}.{REPLACED}-*"):
        if name.samefile(path):
            name.unlink()
