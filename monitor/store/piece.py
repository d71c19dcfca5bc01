"""
A sealed day of one series as bytes: delta, byte planes, deflate. Lossless.

Times are stored as the first instant, the greatest common step and the deltas above
the smallest delta; values as whole numbers of 10^-k where that gives back every bit
for a k of 0 to 3, else as the bits of the floats. Each byte plane of the deltas is
deflated by itself, or left as it is where that is shorter: the low plane of a jittery
clock is noise and would spoil the code of its neighbours.
"""

import struct
import zlib

import numpy as np
from numpy.typing import NDArray

Times = NDArray[np.int64]
Values = NDArray[np.float64]

FORMAT = 1
RAW = 255
"""Stands for "bits of the float" where the number of decimals would stand."""
SCALABLE = 1e12
"""Beyond this a value times 1000 is not a whole number that a float holds exactly."""
_HEAD = struct.Struct("<BBIqQQq")
_PLANE = struct.Struct("<BI")
_WORD = 8


def encode(times_us: Times, values: Values) -> bytes:
    """
    Pack readings into a blob.

    Args:
        times_us: Strictly rising, at least one. [µs since 1970 UTC]
        values: As many, finite.

    Raises:
        ValueError: If the lengths differ, nothing is given, or times do not rise.
    """
    n = len(times_us)
    if n == 0 or n != len(values):
        raise ValueError(
            f"a piece needs as many times as values, got {n}, {len(values)}"
        )
    if n > 1 and not bool(np.all(times_us[1:] > times_us[:-1])):
        raise ValueError("the times of a piece must rise strictly")
    steps = np.diff(times_us).view(np.uint64)
    unit = int(np.gcd.reduce(steps)) if n > 1 else 1
    steps //= np.uint64(unit)
    least = int(steps.min()) if n > 1 else 0
    steps -= np.uint64(least)
    decimals, whole = _whole_numbers(values)
    head = _HEAD.pack(FORMAT, decimals, n, int(times_us[0]), unit, least, int(whole[0]))
    return head + _planes(steps) + _planes(_zigzag(np.diff(whole)))


def decode(blob: bytes) -> tuple[Times, Values]:
    """
    Unpack a blob into times [µs since 1970 UTC] and values.

    Raises:
        ValueError: If the blob is of another format or damaged.
    """
    try:
        form, decimals, n, first, unit, least, start = _HEAD.unpack_from(blob)
        if form != FORMAT:
            raise ValueError(f"piece of format {form}, this program knows {FORMAT}")
        steps, at = _gather(blob, _HEAD.size, n - 1)
        turns, _ = _gather(blob, at, n - 1)
    except (struct.error, zlib.error, IndexError) as exc:
        raise ValueError(f"damaged piece: {exc}") from exc
    steps += np.uint64(least)
    steps *= np.uint64(unit)
    times = _sum_up(first, steps.view(np.int64))
    whole = _sum_up(start, _unzigzag(turns))
    if decimals == RAW:
        return times, whole.view(np.float64)
    return times, whole / float(10**decimals)


def _whole_numbers(values: Values) -> tuple[int, NDArray[np.int64]]:
    bits = values.view(np.int64)
    if bool(np.all(np.abs(values) < SCALABLE)):
        for decimals in range(4):
            scale = float(10**decimals)
            whole = np.rint(values * scale)
            if np.array_equal((whole / scale).view(np.int64), bits):
                back = whole.astype(np.int64)
                # a zero with a sign survives only as bits
                if np.array_equal((back / scale).view(np.int64), bits):
                    return decimals, back
    return RAW, bits


def _zigzag(turns: NDArray[np.int64]) -> NDArray[np.uint64]:
    return ((turns << 1) ^ (turns >> 63)).view(np.uint64)


def _unzigzag(coded: NDArray[np.uint64]) -> NDArray[np.int64]:
    sign = -(coded & np.uint64(1)).view(np.int64)
    return (coded >> np.uint64(1)).view(np.int64) ^ sign


def _sum_up(first: int, steps: NDArray[np.int64]) -> NDArray[np.int64]:
    """Undo a difference; wraps as the difference did."""
    whole = np.empty(len(steps) + 1, np.int64)
    whole[0] = first
    whole[1:] = steps
    return np.cumsum(whole, out=whole)


def _planes(numbers: NDArray[np.uint64]) -> bytes:
    width = (int(numbers.max()).bit_length() + 7) // 8 if len(numbers) else 0
    cells = numbers.astype("<u8", copy=False).view(np.uint8).reshape(-1, _WORD)
    parts = [bytes([width])]
    for place in range(width):
        plane = cells[:, place].tobytes()
        packer = zlib.compressobj(6, zlib.DEFLATED, -zlib.MAX_WBITS)
        packed = packer.compress(plane) + packer.flush()
        if len(packed) < len(plane):
            parts += (_PLANE.pack(1, len(packed)), packed)
        else:
            parts += (_PLANE.pack(0, len(plane)), plane)
    return b"".join(parts)


def _gather(blob: bytes, at: int, n: int) -> tuple[NDArray[np.uint64], int]:
    cells = np.zeros((n, _WORD), np.uint8)
    width, at = blob[at], at + 1
    for place in range(width):
        deflated, size = _PLANE.unpack_from(blob, at)
        at += _PLANE.size
        plane = blob[at : at + size]
        at += size
        if deflated:
            plane = zlib.decompress(plane, -zlib.MAX_WBITS, n)
        cells[:, place] = np.frombuffer(plane, np.uint8)
    return cells.view("<u8").reshape(n), at
