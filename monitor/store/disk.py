"""Room on the disk, and the ballast that is thrown off when there is none (Q6)."""

import os
from pathlib import Path

BALLAST = "ballast"
BALLAST_BYTES = 4 * 1024 * 1024
"""Room for some hours of readings and every alarm of them. [bytes]"""
SPARE = 2
"""The ballast is made again once this many times its size is free besides it."""


def disk_share_free(path: Path, *, less: int = 0) -> float:
    """
    Tell the share of the disk of *path* that an ordinary process may still fill.

    Args:
        path: A file or directory on it.
        less: Room that is to be taken besides; may be more than there is. [bytes]

    Raises:
        OSError: If the path does not exist.
    """
    disk = os.statvfs(path)
    usable = (disk.f_blocks - disk.f_bfree + disk.f_bavail) * disk.f_frsize
    return (disk.f_bavail * disk.f_frsize - less) / usable if usable else 0.0


def free_bytes(directory: Path) -> int | None:
    """Room on the disk of a directory; None where it cannot be told."""
    try:
        disk = os.statvfs(directory)
    except OSError:
        return None
    return disk.f_bavail * disk.f_frsize


def drop_ballast(directory: Path) -> bool:
    """Throw off the ballast; False if there was none."""
    try:
        (directory / BALLAST).unlink()
    except OSError:
        return False
    return True


def load_ballast(directory: Path) -> bool:
    """Make the ballast if there is room to spare; tell whether it is there."""
    path = directory / BALLAST
    try:
        if path.exists() and path.stat().st_size == BALLAST_BYTES:
            return True
        if (free_bytes(directory) or 0) < (1 + SPARE) * BALLAST_BYTES:
            return False
        with path.open("wb") as file:
            # allocated for real: a file of holes would free nothing
            os.posix_fallocate(file.fileno(), 0, BALLAST_BYTES)
    except OSError:
        path.unlink(missing_ok=True)
        return False
    return True
