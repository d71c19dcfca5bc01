import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from monitor.store.piece import decode, encode

instants = st.lists(
    st.integers(-(2**62), 2**62), min_size=1, max_size=60, unique=True
).map(sorted)
finite = st.floats(allow_nan=False, allow_infinity=False)
decimal = st.integers(-(10**7), 10**7).map(lambda whole: whole / 1000)


def same_bits(a: np.ndarray, b: np.ndarray) -> bool:
    return np.array_equal(a.view(np.int64), b.view(np.int64))


@settings(deadline=None)
@given(data=st.data(), times=instants, element=st.sampled_from([finite, decimal]))
def test_a_piece_gives_back_every_bit(data, times, element):
    """Any finite floats at any rising instants come back bit by bit, one included."""
    at = np.array(times, np.int64)
    values = data.draw(hnp.arrays(np.float64, len(at), elements=element))

    got_times, got_values = decode(encode(at, values))

    assert np.array_equal(got_times, at)
    assert same_bits(got_values, values)


@pytest.mark.parametrize(
    "values",
    [
        [-0.0, 0.0, 1.0],
        [1e308, -1e308, 5e-324],
        [0.1, 0.25, 0.125],
        [1e12, 1e15, 2.0**53],
        [24.35, 24.36, 24.34],
    ],
)
def test_awkward_values_survive(values):
    """Signed zero, extremes and whole numbers at the edge of a float are kept."""
    at = np.arange(len(values), dtype=np.int64)
    array = np.array(values)

    _, got = decode(encode(at, array))

    assert same_bits(got, array)


def test_a_day_of_minutes_takes_under_four_bytes_a_reading():
    """Noise of 0.05 degC and arrival jitter of 2 s in microseconds stay below 4."""
    noise = np.random.default_rng(7)
    at = np.arange(1440) * 60_000_000 + noise.integers(0, 2_000_000, 1440)
    wave = 24 + 2 * np.sin(np.arange(1440) / 1440 * 2 * np.pi)
    values = np.round(wave + noise.normal(0, 0.05, 1440), 2)

    size = len(encode(at, values))

    assert size / 1440 < 4


@pytest.mark.parametrize(
    ("times", "values"),
    [([], []), ([1, 2], [1.0]), ([2, 1], [1.0, 1.0]), ([1, 1], [1.0, 1.0])],
)
def test_unordered_or_uneven_readings_are_refused(times, values):
    """A piece holds at least one reading, strictly rising, one value each."""
    with pytest.raises(ValueError, match="piece"):
        encode(np.array(times, np.int64), np.array(values, np.float64))


@pytest.mark.parametrize("cut", [0, 10, 45, 60])
def test_a_cut_blob_is_named_damaged(cut):
    """A blob that ends early never decodes to something else."""
    at = np.arange(50, dtype=np.int64) ** 2
    blob = encode(at, np.sin(at))

    with pytest.raises(ValueError, match=r"damaged|broadcast|size"):
        decode(blob[:cut])


def test_another_format_is_refused():
    """A blob of a newer program is not guessed at."""
    blob = encode(np.array([1], np.int64), np.array([1.0]))

    with pytest.raises(ValueError, match="format 9"):
        decode(b"\x09" + blob[1:])
