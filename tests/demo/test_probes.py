"""Noise, resolution, lost radio and faults of the simulated probes."""

import numpy as np
import pytest

from monitor.demo.probes import (
    MAKES,
    LiveProbe,
    Make,
    ProbeFault,
    delivered,
    measure,
)
from monitor.site.words import Quantity

SUBSTRATE = Quantity.SUBSTRATE_TEMPERATURE


def rng():
    return np.random.default_rng(3)


@pytest.fixture
def sure(monkeypatch):
    """A probe whose radio loses nothing and that shows exactly what it feels."""
    monkeypatch.setitem(MAKES, SUBSTRATE, Make(0.0, 0.0625, lost=0.0))
    return LiveProbe(SUBSTRATE, rng())


def test_readings_scatter_by_the_noise_around_the_truth():
    """Mean and standard deviation of many readings are truth and noise."""
    got = measure(np.full(20_000, 24.0), Quantity.AIR_TEMPERATURE, rng())

    assert got.mean() == pytest.approx(24.0, abs=0.002)
    assert got.std() == pytest.approx(MAKES[Quantity.AIR_TEMPERATURE].noise, rel=0.05)


def test_readings_come_in_steps_of_the_resolution():
    """A probe of 0.0625 K shows multiples of it."""
    got = measure(np.linspace(15, 35, 500), SUBSTRATE, rng())

    assert np.abs(got / 0.0625 - np.round(got / 0.0625)).max() < 0.002


def test_humidity_never_leaves_0_to_100():
    """Noise at saturation is cut off as a real probe does it."""
    got = measure(np.full(1000, 100.0), Quantity.RELATIVE_HUMIDITY, rng())

    assert got.max() == 100.0
    assert got.min() > 97.0


def test_the_radio_loses_about_its_share():
    """Of many readings, as many are lost as the make says."""
    got = delivered(100_000, SUBSTRATE, rng())

    assert 1 - got.mean() == pytest.approx(MAKES[SUBSTRATE].lost, rel=0.2)


def test_a_silent_probe_sends_nothing_until_it_is_mended(sure):
    """Silence is no value, not the last one."""
    sure.fault = ProbeFault.SILENT
    silent = [sure.read(20.0 + n) for n in range(3)]
    sure.fault = None

    assert silent == [None, None, None]
    assert sure.read(25.0) == 25.0


def test_a_stuck_probe_repeats_its_last_value(sure):
    """What it felt last is all that it tells."""
    before = sure.read(20.0)
    sure.fault = ProbeFault.STUCK

    assert [sure.read(21.0), sure.read(29.0)] == [before, before]


def test_85_comes_once_and_then_the_truth(sure):
    """A thermometer read before its first conversion tells 85.0 exactly once."""
    sure.fault = ProbeFault.POWER_ON

    assert [sure.read(22.0), sure.read(22.0)] == [85.0, 22.0]


@pytest.mark.parametrize("value", [0.0, 1.0])
def test_a_switch_is_on_or_off_and_nothing_between(value):
    """Neither noise nor resolution move it."""
    got = measure(np.full(500, value), Quantity.MAINS, rng())

    assert set(got) == {value}
