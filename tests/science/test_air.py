"""Humid air against published tables; the source stands beside each figure."""

import math
from dataclasses import astuple

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.science import air

# ASHRAE Fundamentals 2017, ch. 1, table 3, as cited in psychrolib@3066345
# tests/test_psychrolib_si.py, with that test's tolerance
ASHRAE_TABLE_3 = [(5, 872.6), (25, 3169.7), (50, 12351.3), (100, 101418.0)]

# IAPWS (Wagner and Pruss 2002), package iapws 1.5.5; below 0.01 degC outside its range
IAPWS = [
    (0.01, 611.657),
    (5, 872.530),
    (10, 1228.112),
    (15, 1705.677),
    (20, 2339.194),
    (25, 3169.824),
    (30, 4246.920),
    (35, 5629.057),
    (40, 7385.110),
    (45, 9595.338),
    (50, 12352.479),
]

# PsychroLib 2.5.0 (ASHRAE 2017), then MetPy 1.7.1 (Ambaum 2020; dew point by Bolton),
# both run at 101,325 Pa. Temperature and humidity; of each library saturation
# pressure, deficit, dew point, absolute humidity, wet bulb
TABLE = [
    (
        20,
        50,
        (2338.8, 1169.4, 9.272, 8.643, 13.78),
        (2334.75, 1167.4, 9.256, 8.628, 13.67),
    ),
    (
        22,
        70,
        (2644.75, 793.4, 16.281, 13.591, 18.25),
        (2639.73, 791.9, 16.264, 13.565, 18.18),
    ),
    (
        25,
        80,
        (3169.22, 633.8, 21.309, 18.425, 22.38),
        (3162.35, 632.5, 21.286, 18.385, 22.32),
    ),
    (25, 100, (3169.22, 0, 25.0, 23.032, 25.0), (3162.35, 0, 24.973, 22.982, 24.98)),
    (
        30,
        90,
        (4246.03, 424.6, 28.177, 27.313, 28.59),
        (4234.65, 423.5, 28.136, 27.24, 28.53),
    ),
    (
        15,
        40,
        (1705.448, 1023.3, 1.5216, 5.1296, 8.481),
        (1703.102, 1021.9, 1.5043, 5.1226, 8.361),
    ),
    (
        18,
        30,
        (2064.292, 1445.0, 0.1808, 4.6087, 9.415),
        (2061.027, 1442.7, 0.1594, 4.6014, 9.232),
    ),
    (
        24,
        60,
        (2985.127, 1194.1, 15.763, 13.06, 18.605),
        (2978.933, 1191.6, 15.743, 13.033, 18.497),
    ),
]

temperatures = st.floats(-20, 60)
humidities = st.floats(1, 100)
pressures = st.floats(60_000, 110_000)


@pytest.mark.parametrize(("celsius", "pascal"), ASHRAE_TABLE_3)
def test_saturation_agrees_with_the_ashrae_table(celsius, pascal):
    """Within 3e-4, the tolerance with which the table is cited."""
    got = air.saturation_vapour_pressure_pa(celsius)

    assert got == pytest.approx(pascal, rel=3e-4)


@pytest.mark.parametrize(("celsius", "pascal"), IAPWS)
def test_saturation_agrees_with_iapws(celsius, pascal):
    """Within 0.005 %; the triple point is a published value of IAPWS SR1-86."""
    got = air.saturation_vapour_pressure_pa(celsius)

    assert got == pytest.approx(pascal, rel=5e-5)


def test_saturation_over_supercooled_water():
    """Sonntag 1994 at -20 degC, computed elsewhere: 125.587 Pa, not ice's 103.24."""
    assert air.saturation_vapour_pressure_pa(-20) == pytest.approx(125.587, abs=1e-3)


@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"{row[0]}C-{row[1]}%")
def test_air_agrees_with_two_libraries(row):
    """
    Every figure agrees with both libraries within what both of them pass.

    es 0.5 %, deficit 0.6 % and 1 Pa, dew point 0.31, wet bulb 0.4 degC.
    """
    celsius, percent, ashrae, other = row
    within = [(5e-3, 0), (6e-3, 1), (0, 0.31), (5e-3, 0), (0, 0.4)]

    got = astuple(air.describe(celsius, percent))

    for figure, *published, (rel, near) in zip(got, ashrae, other, within, strict=True):
        assert [figure] * 2 == pytest.approx(published, rel=rel, abs=near)


@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"{row[0]}C-{row[1]}%")
def test_air_agrees_closely_with_the_ashrae_library(row):
    """PsychroLib follows the same equations: dew point and wet bulb within 0.02."""
    got = air.describe(row[0], row[1])

    assert (got.dew_point_c, got.wet_bulb_c) == pytest.approx(
        (row[2][2], row[2][4]), abs=0.02
    )


def test_wet_bulb_under_another_pressure():
    """PsychroLib's regression value at 7 degC, 61 %, 100,000 Pa, rel 1e-3."""
    got = air.wet_bulb_c(7, 61, pressure_pa=100_000)

    assert got == pytest.approx(3.92667433781955, rel=1e-3)


def test_ashrae_example_1():
    """
    Dry bulb 40, wet bulb 20 degC: humidity 14 %, dew point 7 degC.

    ASHRAE Fundamentals 2017, ch. 1, example 1; read off a chart, so the dew point
    holds within 0.5 degC only.
    """
    got = air.describe(40, 14)

    assert got.wet_bulb_c == pytest.approx(20, abs=0.1)
    assert got.dew_point_c == pytest.approx(7, abs=0.5)


def test_dew_point_below_zero_is_over_water():
    """At 0 degC, 30 %: -15.54 by MetPy (over water), -13.87 by PsychroLib (ice)."""
    assert air.dew_point_c(0, 30) == pytest.approx(-15.5417, abs=0.05)


def test_dew_point_of_the_vapour_pressure_of_a_docstring():
    """22 hPa: 19.0291 degC by Bolton (MetPy's docstring), within 0.05 of Sonntag."""
    got = air.dew_point_from_vapour_pressure_c(2200)

    assert got == pytest.approx(19.0291018, abs=0.05)


@given(celsius=st.floats(air.COLDEST_C, air.WARMEST_C))
def test_dew_point_is_the_exact_inverse(celsius):
    """The dew point of the saturation pressure is the temperature, to 1e-8."""
    pascal = air.saturation_vapour_pressure_pa(celsius)

    got = air.dew_point_from_vapour_pressure_c(pascal)

    assert got == pytest.approx(celsius, abs=1e-8)


@given(celsius=temperatures, percent=humidities, pascal=pressures)
def test_dew_point_below_wet_bulb_below_air(celsius, percent, pascal):
    """Dew point <= wet bulb <= temperature, and the deficit is never negative."""
    got = air.describe(celsius, percent, pressure_pa=pascal)

    assert got.dew_point_c <= got.wet_bulb_c + 1e-9
    assert got.wet_bulb_c <= celsius + 1e-9
    assert got.vapour_pressure_deficit_pa >= 0


@given(celsius=temperatures, percent=st.floats(1, 99))
def test_more_humidity_raises_every_measure_of_it(celsius, percent):
    """Dew point, absolute humidity and wet bulb rise with relative humidity."""
    dry, damp = air.describe(celsius, percent), air.describe(celsius, percent + 1)

    assert dry.dew_point_c < damp.dew_point_c
    assert dry.absolute_humidity_g_m3 < damp.absolute_humidity_g_m3
    assert dry.wet_bulb_c < damp.wet_bulb_c


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"temperature_c": 100.1}, "between -100 and 100 C, got 100.1"),
        ({"temperature_c": -100.1}, "between -100 and 100 C, got -100.1"),
        ({"temperature_c": math.nan}, "between -100 and 100 C, got nan"),
        ({"humidity_percent": 0}, "perfectly dry air has no dew point"),
        ({"humidity_percent": -1}, "between 0 and 100 %, got -1"),
        ({"humidity_percent": 100.01}, "between 0 and 100 %, got 100.01"),
        ({"humidity_percent": math.nan}, "between 0 and 100 %, got nan"),
        ({"pressure_pa": 1013}, "1013 hPa are 101300 Pa"),
        ({"pressure_pa": math.nan}, "pressure must lie between"),
        ({"temperature_c": 95, "pressure_pa": 70_000}, "water boils at 95 C"),
        ({"temperature_c": -90, "humidity_percent": 1}, "has no dew point"),
    ],
)
def test_what_means_nothing_is_refused_in_words(arguments, words):
    """Each refusal names the value and the limit."""
    usual = {"temperature_c": 25, "humidity_percent": 60, "pressure_pa": 101_325}
    state = usual | arguments
    celsius, percent = state.pop("temperature_c"), state.pop("humidity_percent")

    with pytest.raises(ValueError, match=words):
        air.describe(celsius, percent, **state)
