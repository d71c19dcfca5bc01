"""Values that probes give when they fail, and honest values that look like them."""

from datetime import timedelta

import numpy as np
import pytest

from monitor.science.quality import Checks, Signatures, flag
from monitor.science.signatures import HUMIDITY, TEMPERATURE, Signature

MINUTE_US = 60_000_000
OF_C, OF_PERCENT = Signatures(TEMPERATURE), Signatures(HUMIDITY)


def flags(values, known=OF_C, minutes=5, bridge=None):
    times = np.arange(len(values), dtype=np.int64) * minutes * MINUTE_US
    found, checks = np.array(values, dtype=np.float64), Checks(signature=known)
    got = flag(times, found, checks, bridge=bridge)
    return got.by_check["signature"].tolist()


@pytest.mark.parametrize(
    "value",
    [
        -127.0,  # disconnected, by the library that most firmware uses
        127.94,  # 0x07FF / 16, as two digits tell it
        127.9375,  # the same in full
        130.0,  # -45 + 175 * 65535 / 65535
        -254.0,
        -253.0,
        -252.0,
        -143.2,  # bad contact; -140 to -150 in reports
        -126.9999,  # -127 by way of degF and back
    ],
)
def test_some_values_are_certain_alone(value):
    """No temperature of a house; each source stands beside the value in the module."""
    assert flags([value]) == [4]
    assert flags([24.0, value, 24.0]) == [1, 4, 1]


@pytest.mark.parametrize("value", [85.0, -40.0, -45.0])
def test_some_values_are_certain_by_a_jump(value):
    """Register after power-on, clamp and dead line: once or again and again."""
    assert flags([24.0, value, 24.1]) == [1, 4, 1]
    assert flags([24.0, value, value, value]) == [1, 4, 4, 4]
    assert flags([value, 24.0]) == [4, 1]


def test_a_value_without_neighbours_is_not_judged():
    """One reading of exactly 85 may be a heap; nobody can tell."""
    assert flags([85.0]) == [2]
    assert flags([85.0, -127.0]) == [2, 4]


def test_what_comes_after_more_than_the_bridge_is_no_evidence():
    """Whoever reads a part of a series reads no further ahead."""
    half, more = timedelta(minutes=30), timedelta(minutes=40)
    assert flags([85.0, 24.0], minutes=40) == [4, 1]
    assert flags([85.0, 24.0], minutes=40, bridge=more) == [4, 1]
    assert flags([85.0, 24.0], minutes=40, bridge=half) == [2, 1]
    # what came within the hour before is read anyway
    assert flags([24.0, 85.0], minutes=40, bridge=half) == [1, 4]


def test_a_heap_that_heats_through_85_is_believed():
    """What comes there by degrees must never be silenced."""
    assert flags([83.5, 84.0, 84.5, 85.0, 85.5]) == [1] * 5
    assert flags([68.0, 85.0], minutes=30) == [1, 1]


def test_what_stays_for_an_hour_is_believed_again():
    """Silence about a fire is worse than an alarm about a probe."""
    got = flags([24.0, *[85.0] * 14])

    assert got == [1, *[4] * 11, 2, 2, 2]


def test_a_jump_is_seen_against_honest_readings_alone():
    """Another failure value is no evidence against a heap."""
    assert flags([84.0, -127.0, 85.0, 84.0]) == [1, 4, 1, 1]


@pytest.mark.parametrize("value", [84.9375, 85.0625, 25.0, -39.9, 0.0])
def test_neighbouring_steps_and_honest_values_pass(value):
    """The next step of the chip is a reading; so is 25.0, which some copies give."""
    assert flags([50.0, value, 50.0]) == [1, 1, 1]


def test_a_missing_value_is_no_neighbour():
    """Evidence is looked for beyond it, and it stays 9."""
    assert flags([24.0, np.nan, 85.0, np.nan]) == [1, 9, 4, 9]


def test_humidity_of_nothing_is_a_dead_line():
    """0 % out of 80 %; a dry box that sinks to 0 is believed, and 100 % is honest."""
    assert flags([80.0, 0.0, 80.0], OF_PERCENT) == [1, 4, 1]
    assert flags([9.0, 4.0, 0.0], OF_PERCENT) == [1, 1, 1]
    assert flags([60.0, 100.0, 100.0], OF_PERCENT) == [1, 1, 1]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((2.0, 1.0), "low 2.0 is above high 1.0"),
        ((1.0, 1.0, 0.0), "jump 0.0 must be above zero"),
        ((1.0, 1.0, float("nan")), "jump nan must be above zero"),
    ],
)
def test_a_signature_that_contradicts_itself_is_refused(words, said):
    """With value, limit and mend."""
    with pytest.raises(ValueError, match=said):
        Signature(*words)
