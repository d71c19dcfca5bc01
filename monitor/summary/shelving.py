"""
The summaries on disk: a folder a week, whole or not there, and an index of them.

Folders of old weeks are kept: a year of them takes about as much room as a week of
readings, and nobody else could say how it was.
"""

import contextlib
import errno
import json
import os
import re
import shutil
import time
from collections.abc import Iterator, Mapping
from pathlib import Path

from monitor.errors import StoreError, StoreFullError
from monitor.store.backup import refuse_root, sync
from monitor.summary.making import FIGURES, PAGE, SUMMARIES, Made
from monitor.summary.pages.layout import Listed, index_html

INDEX = "index.html"
_WEEK = re.compile(r"\d{4}-W\d{2}")
_UNFINISHED = re.compile(r"\.(\d{4}-W\d{2}|index\.html)\.(new|old)-\d+")
LEFT_OVER_S = 3600.0
"""What is unfinished for so long belongs to nobody any more. [s]"""
_TRIES = 5


def shelve(made: Made, state: Path) -> Path:
    """
    Put the summary of a week into its folder, and the week into the index.

    A folder of that week is replaced whole: readers see the old one or the new one.

    Args:
        made: The summary.
        state: Directory of the store.

    Returns:
        The folder.

    Raises:
        RefusedError: If root would make files that the daemon could not write.
        StoreFullError: If there is no room.
        StoreError: If it cannot be written.
    """
    shelf = state / SUMMARIES
    refuse_root(shelf)
    with _in_words(shelf):
        shelf.mkdir(exist_ok=True)
        _clear(shelf)
        folder = shelf / made.week
        _replace(folder, made.files())
        _write_index(shelf)
    return folder


def _replace(folder: Path, files: Mapping[str, bytes]) -> None:
    new, old = _beside(folder, "new"), _beside(folder, "old")
    shutil.rmtree(new, ignore_errors=True)
    try:
        new.mkdir()
        for name, content in files.items():
            (new / name).write_bytes(content)
            sync(new / name)
        sync(new)
        _swap(new, folder, old)
    finally:
        shutil.rmtree(new, ignore_errors=True)
        shutil.rmtree(old, ignore_errors=True)
    sync(folder.parent)


def _swap(new: Path, folder: Path, old: Path) -> None:
    """A folder takes no other's name while that one is there: it makes way first."""
    for turn in range(_TRIES):
        with contextlib.suppress(FileNotFoundError):
            folder.rename(old)
        try:
            new.rename(folder)
        except OSError as exc:
            # another run for the same week was quicker: it makes way too
            taken = exc.errno in {errno.ENOTEMPTY, errno.EEXIST}
            if not taken or turn == _TRIES - 1:
                if old.exists() and not folder.exists():
                    old.rename(folder)
                raise
            shutil.rmtree(old, ignore_errors=True)
        else:
            return


def _write_index(shelf: Path) -> None:
    path = shelf / INDEX
    new = _beside(path, "new")
    new.write_text(index_html(list(_listed(shelf))), encoding="utf-8")
    sync(new)
    new.replace(path)


def _listed(shelf: Path) -> Iterator[Listed]:
    """Every week that has a page, the newest first."""
    for folder in sorted(shelf.iterdir(), reverse=True):
        if _WEEK.fullmatch(folder.name) and (folder / PAGE).is_file():
            yield Listed(folder.name, _headline(folder), f"{folder.name}/{PAGE}")


def _headline(folder: Path) -> str:
    try:
        told = json.loads((folder / FIGURES).read_text(encoding="utf-8"))
        return str(told["headline"])
    except (OSError, ValueError, KeyError, TypeError):
        return "its figures cannot be read"


def _beside(path: Path, end: str) -> Path:
    return path.with_name(f".{path.name}.{end}-{os.getpid()}")


def _clear(shelf: Path) -> None:
    """Take away what a killed run left."""
    for path in shelf.iterdir():
        if not _UNFINISHED.fullmatch(path.name):
            continue
        with contextlib.suppress(FileNotFoundError):
            if time.time() - path.stat().st_mtime > LEFT_OVER_S:
                if path.is_dir():
                    shutil.rmtree(path, ignore_errors=True)
                else:
                    path.unlink()


@contextlib.contextmanager
def _in_words(shelf: Path) -> Iterator[None]:
    try:
        yield
    except OSError as exc:
        said = f"{shelf}: the summary cannot be written: {exc.strerror}"
        if exc.errno in {errno.ENOSPC, errno.EDQUOT}:
            raise StoreFullError(f"{said}; make room") from exc
        raise StoreError(f"{said}; mend that and run it again") from exc
