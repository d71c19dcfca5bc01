"""Copies of the store that can be trusted (Q5), and the newest few of them (Q6)."""

import contextlib
import logging
import os
import pwd
import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Protocol

from monitor.errors import RefusedError, StoreError, StoreFullError, UsageError
from monitor.store.connection import connect_reader, translated
from monitor.store.disk import BALLAST_BYTES, disk_share_free, free_bytes
from monitor.store.tally import Tally, tally

BACKUPS = "backups"
"""Name of the directory of backups beside the store."""
KEPT = 14
"""So many backups are kept where nothing else is said."""
LEAST_FREE = 0.05
"""No backup may leave less of the disk free: alarms need room more (Q6)."""
LEFT_OVER = timedelta(days=1)
"""An unfinished copy this old belongs to nobody any more."""
COMPANIONS = ("-wal", "-shm", "-journal")
"""What SQLite may lay beside a file while it is open."""

_STAMP = "%Y%m%dT%H%M%SZ"
_NAME = re.compile(r"rearing-(\d{8}T\d{6}Z)(?:-(\d+))?\.sqlite3(\.partial)?")

log = logging.getLogger(__name__)


class Copied(Protocol):
    """What a copy is made of: `store.Reader`, or the writer's own questions."""

    def backup(self, to: Path) -> None:
        """Copy the store to a file that is checked and durable before it is named."""


@dataclass(frozen=True, slots=True)
class BackupMade:
    """
    A copy that was made.

    Attributes:
        path: Of the copy.
        size: Of its file. [bytes]
        holds: What was counted in the copy itself.
        removed: Older copies that were taken away for it.
    """

    path: Path
    size: int
    holds: Tally
    removed: tuple[Path, ...] = ()


def make_backup(
    reader: Copied, directory: Path, now: datetime, keep: int = KEPT
) -> BackupMade:
    """
    Copy the store into a directory of backups and keep the newest of them.

    Only files that this function named are ever taken away, and never the new one.

    Args:
        reader: Of the store; may be used beside a running daemon.
        directory: Of the backups; made where there is none.
        now: For the name, UTC.
        keep: How many are kept, the new one included; at least 1.

    Raises:
        RefusedError: If root makes it in a directory of another user.
        StoreFullError: If there is no room for it.
        StoreError: If it cannot be made or is not sound.
    """
    if keep < 1:
        raise ValueError(f"at least one backup is kept, got {keep}")
    refuse_root(directory)
    made = copy_to(reader, _free_name(directory, now))
    return BackupMade(
        made.path, made.size, made.holds, _prune(directory, now, keep, made.path)
    )


def copy_to(reader: Copied, to: Path) -> BackupMade:
    """
    Copy the store to a file that is not there yet.

    Raises:
        UsageError: If there is something of that name.
        StoreFullError: If there is no room for the copy.
        StoreError: If it cannot be made or is not sound.
    """
    with _in_words(to):
        if to.is_dir():
            raise UsageError(f"{to}: is a directory; name a file in it")
    if os.path.lexists(to):
        raise UsageError(f"{to}: is there already; name a new file")
    reader.backup(to)
    with translated(to), closing(connect_reader(to)) as copy:
        return BackupMade(to, to.stat().st_size, tally(copy, to))


def own_backups(directory: Path) -> list[Path]:
    """The finished backups that `make_backup` named, the newest first."""
    return [path for path, _ in _own(directory) if path.suffix == ".sqlite3"]


def refuse_root(directory: Path) -> None:
    """
    Keep root from making files that the daemon could not write.

    Raises:
        RefusedError: If the directory, or the nearest one above it that there is,
            belongs to another user; names the user.
    """
    if os.geteuid() != 0:
        return
    there = next(one for one in (directory, *directory.parents) if one.is_dir())
    owner = there.stat().st_uid
    if owner == 0:
        return
    try:
        user = pwd.getpwuid(owner).pw_name
    except KeyError:
        user = f"user {owner}"
    raise RefusedError(
        f"{there} belongs to {user}, and what root makes there the daemon cannot "
        f"write: run this as {user} (runuser -u {user} -- rearing-monitor ...)"
    )


def _own(directory: Path) -> list[tuple[Path, datetime]]:
    """Our own files, finished or not, with their instant, the newest first."""
    found = []
    for path in directory.iterdir() if directory.is_dir() else ():
        named = _NAME.fullmatch(path.name)
        with contextlib.suppress(ValueError):  # digits that are no date
            if named and path.is_file() and not path.is_symlink():
                at = datetime.strptime(named[1], _STAMP).replace(tzinfo=UTC)
                found.append((at, int(named[2] or 1), path))
    return [(path, at) for at, _, path in sorted(found, reverse=True)]


def _free_name(directory: Path, now: datetime) -> Path:
    stem = f"rearing-{now.astimezone(UTC):{_STAMP}}"
    path, turn = directory / f"{stem}.sqlite3", 1
    while path.exists():
        turn += 1
        path = directory / f"{stem}-{turn}.sqlite3"
    return path


def _prune(directory: Path, now: datetime, keep: int, made: Path) -> tuple[Path, ...]:
    older = [path for path in own_backups(directory) if path != made]
    gone = [path for path in older[keep - 1 :] if _removed(path)]
    for path, at in _own(directory):
        if path.suffix == ".partial" and now - at > LEFT_OVER:
            clear(path)
    return tuple(gone)


def _removed(path: Path) -> bool:
    try:
        path.unlink()
    except OSError as exc:
        # the new backup stands; one too many is no reason to say that it failed
        log.warning("old backup stays", extra={"path": path, "reason": exc.strerror})
        return False
    return True


def back_up(source: sqlite3.Connection, to: Path) -> None:
    """
    Copy a store in one step, check the copy, make it durable, then name it.

    A stepwise copy starts anew at every commit and never ends under load.

    Raises:
        StoreFullError: If there is no room for the copy.
        StoreError: If the copy cannot be made or is not sound.
    """
    partial = to.with_name(to.name + ".partial")
    with translated(to), _in_words(to):
        pages = source.execute("PRAGMA page_count").fetchone()[0]
        size = pages * source.execute("PRAGMA page_size").fetchone()[0]
        to.parent.mkdir(parents=True, exist_ok=True)
        _demand_room(to, size)
        try:
            clear(partial)
            _copy(source, partial)
            settle(partial, to)
        finally:
            clear(partial)


@contextlib.contextmanager
def _in_words(to: Path) -> Iterator[None]:
    try:
        yield
    except OSError as exc:
        raise StoreError(f"{to}: the backup failed: {exc.strerror}") from exc


def _demand_room(to: Path, size: int) -> None:
    free = free_bytes(to.parent) or 0
    if free < size + BALLAST_BYTES:
        raise StoreFullError(
            f"{to}: a backup needs {size} bytes and {free} are free; make room"
        )
    if disk_share_free(to.parent, less=size) < LEAST_FREE:
        raise StoreFullError(
            f"{to}: a backup of {size} bytes would leave less than {LEAST_FREE:.0%} of "
            f"the disk free ({free} bytes are free); make room, or use another disk"
        )


def _copy(source: sqlite3.Connection, partial: Path) -> None:
    with closing(sqlite3.connect(partial, isolation_level=None)) as copy:
        source.backup(copy, pages=-1)
        # one file that needs no companions
        copy.execute("PRAGMA journal_mode = DELETE").fetchall()
        said = copy.execute("PRAGMA integrity_check").fetchall()
    if said != [("ok",)]:
        raise StoreError(f"{partial}: the copy is not sound: {said[0][0]}")


def clear(path: Path) -> None:
    """Take away a file of ours that is not finished, and what lies beside it."""
    # a journal left by a killed copy would be played into the next one
    for end in ("", *COMPANIONS):
        path.with_name(path.name + end).unlink(missing_ok=True)


def settle(partial: Path, to: Path) -> None:
    """Make content and name durable, in that order."""
    sync(partial)
    partial.replace(to)
    sync(to.parent)


def sync(path: Path) -> None:
    """Make a file, or the names in a directory, durable."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
