"""
Quality flags of readings, and how the flags of several checks become one.

The numbers are the primary flags of UNESCO/IOC 2013 (IOC Manuals and Guides 54, vol.
3), as the QARTOD manuals use them.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

FlagArray = NDArray[np.int8]

PASS = 1
NOT_EVALUATED = 2
SUSPECT = 3
FAIL = 4
MISSING = 9

BEST_FIRST = (PASS, NOT_EVALUATED, MISSING, SUSPECT, FAIL)
"""
The order of badness. Implementations of QARTOD that let a pass hide what is missing
or was never evaluated are wrong for animals: here a pass hides nothing.
"""

_RANK = np.zeros(max(BEST_FIRST) + 1, dtype=np.int8)
_RANK[list(BEST_FIRST)] = np.arange(len(BEST_FIRST))
_FLAG = np.array(BEST_FIRST, dtype=np.int8)


def worst(flags: Sequence[FlagArray]) -> FlagArray:
    """
    Give the worst flag of each reading: 4, else 3, else 9, else 2, else 1.

    Args:
        flags: One array per check, all of one length; at least one.
    """
    rank = _RANK[flags[0]]
    for more in flags[1:]:
        rank = np.maximum(rank, _RANK[more])
    return _FLAG[rank]


def not_evaluated(readings: int) -> FlagArray:
    """Give 2 for each of so many readings."""
    return np.full(readings, NOT_EVALUATED, dtype=np.int8)


def graded(suspect: NDArray[np.bool_], fail: NDArray[np.bool_] | None) -> FlagArray:
    """Give 4 where it fails, else 3 where it is suspect, else 1."""
    flags = np.where(suspect, np.int8(SUSPECT), np.int8(PASS))
    if fail is not None:
        flags[fail] = FAIL
    return flags
