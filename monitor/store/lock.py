"""The writer's lock: one process writes a store (M14, Q1)."""

import fcntl
import os
from pathlib import Path

from monitor.errors import StoreBusyError, StoreError

LOCK = "writer.lock"


class WriterLock:
    """An exclusive lock on a file beside the store; ends with the process."""

    def __init__(self, directory: Path) -> None:
        """
        Take the lock, making the directory where there is none.

        Raises:
            StoreError: If the directory cannot be made or written (S7).
            StoreBusyError: If another process holds it.
        """
        self._path = directory / LOCK
        try:
            directory.mkdir(mode=0o750, parents=True, exist_ok=True)
            self._file = os.open(
                self._path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o640
            )
        except OSError as exc:
            raise StoreError(
                f"{directory}: cannot be written ({exc.strerror}); the state "
                "directory must belong to the user of the daemon"
            ) from exc
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as exc:
            holder = os.read(self._file, 32).decode("ascii", "replace").strip()
            os.close(self._file)
            raise StoreBusyError(
                f"{directory}: process {holder or 'unknown'} already writes this "
                "store; stop it, or give this one a directory of its own"
            ) from exc
        self._held = True
        try:
            os.ftruncate(self._file, 0)
            os.pwrite(self._file, f"{os.getpid()}\n".encode(), 0)
        except OSError:
            # a full disk: the lock holds, only its holder stays unnamed
            pass

    def release(self) -> None:
        """Give it back; the file stays, since another may be waiting on it."""
        if self._held:
            # the number may be another file's by now: never close it twice
            self._held = False
            os.close(self._file)
