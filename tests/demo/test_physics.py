"""The laws that the simulated house obeys."""

import math
from dataclasses import replace

import numpy as np
import pytest

from monitor.demo.physics import (
    Air,
    AirNode,
    AirState,
    Broken,
    Weather,
    relax,
    saturation_vapour_g_m3,
    self_heating_k,
)
from monitor.science.air import absolute_humidity_g_m3

SHELF = AirNode(
    id="shelf",
    parent=None,
    heat_capacity_j_k=5280.0,
    loss_w_k=8.0,
    heater_w=64.0,
    set_c=26.0,
    hysteresis_k=0.6,
    exchange_s=1200.0,
    humidifier_g_m3=8.0,
    set_percent=70.0,
)
SURROUNDINGS_C = np.array(21.0)
VAPOUR = np.array(10.0)


def run(air: Air, state: AirState, seconds: float, broken: Broken, **outside):
    """States after each step of 15 s."""
    outside = {"outdoor_c": SURROUNDINGS_C, "outdoor_vapour": VAPOUR} | outside
    states = []
    for _ in range(int(seconds // 15)):
        state = air.step(state, dt_s=15.0, broken=broken, **outside)
        states.append(state)
    return states


@pytest.fixture
def air():
    return Air([SHELF])


@pytest.fixture
def warm(air):
    """A shelf that has stood at its set points for hours."""
    rest = air.at_rest(SURROUNDINGS_C, VAPOUR)
    return run(air, rest, 6 * 3600, air.whole())[-1]


def dead(*, heaters: bool = False, humidifiers: bool = False) -> Broken:
    return Broken(np.array([heaters]), np.array([humidifiers]))


def test_a_thermostat_keeps_its_band(air, warm):
    """With its heater well, a shelf stays inside the hysteresis but for a step."""
    states = run(air, warm, 24 * 3600, air.whole())

    temperatures = np.array([s.temperature_c[0] for s in states])
    assert temperatures.min() > 26.0 - 0.3 - 0.15
    assert temperatures.max() < 26.0 + 0.3 + 0.15
    assert np.ptp(temperatures) > 0.5  # it does switch


def test_a_dead_heater_decays_exponentially_to_the_surroundings(air, warm):
    """T(t) = E + (T0 - E) exp(-t / tau), Newton's law of cooling, within 0.01 K."""
    start = float(warm.temperature_c[0])
    tau = 5280.0 / 8.0

    states = run(air, warm, 3600, dead(heaters=True))

    got = np.array([s.temperature_c[0] for s in states])
    t = 15.0 * np.arange(1, len(states) + 1)
    expected = 21.0 + (start - 21.0) * np.exp(-t / tau)
    assert np.abs(got - expected).max() < 0.01


def test_a_heater_at_work_rises_to_its_power_over_the_loss(air):
    """A heater that is too weak comes to rest at the surroundings + P / UA."""
    weak = Air([replace(SHELF, heater_w=16.0)])

    states = run(weak, weak.at_rest(SURROUNDINGS_C, VAPOUR), 8 * 3600, weak.whole())

    assert states[-1].temperature_c[0] == pytest.approx(21.0 + 16.0 / 8.0, abs=0.01)


def test_heat_flows_from_warm_to_cold_only(air, warm):
    """
    Without a heater a shelf approaches its surroundings, never past them.

    From above it falls, from below it rises.
    """
    cold = replace(warm, temperature_c=np.array([12.0]))

    cooling = run(air, warm, 3600, dead(heaters=True))
    warming = run(air, cold, 3600, dead(heaters=True))

    falls = np.array([s.temperature_c[0] for s in cooling])
    rises = np.array([s.temperature_c[0] for s in warming])
    assert (np.diff(falls) < 0).all()
    assert falls.min() > 21.0
    assert (np.diff(rises) > 0).all()
    assert rises.max() < 21.0


def test_energy_balance_of_one_step(air, warm):
    """
    What the heater gave and the walls took is what the capacity holds.

    C dT = (P - UA (T - E)) dt, to the second order of a short step.
    """
    on = replace(warm, temperature_c=np.array([24.0]), heating=np.array([True]))

    after = air.step(
        on,
        outdoor_c=SURROUNDINGS_C,
        outdoor_vapour=VAPOUR,
        dt_s=1.0,
        broken=air.whole(),
    )

    stored = 5280.0 * (after.temperature_c[0] - 24.0)
    assert stored == pytest.approx(64.0 - 8.0 * 3.0, rel=1e-3)


def test_cooling_units_hold_a_room_below_their_limit():
    """A cooled room stays within the hysteresis of its cooler on a hot day."""
    room = Air(
        [
            AirNode(
                id="room",
                parent=None,
                heat_capacity_j_k=550e3,
                loss_w_k=80.0,
                cooler_w=1200.0,
                cool_above_c=20.0,
                hysteresis_k=0.6,
                exchange_s=7200.0,
            )
        ]
    )
    hot = np.array(29.0)

    states = run(
        room,
        room.at_rest(hot, VAPOUR),
        12 * 3600,
        room.whole(),
        outdoor_c=hot,
    )

    temperatures = np.array([s.temperature_c[0] for s in states])
    assert temperatures.max() < 20.4
    assert temperatures.min() > 19.6


def test_a_hygrostat_keeps_its_band_and_a_dead_humidifier_dries_out(air, warm):
    """With water a shelf stays near 70 %; without, it tends to the vapour around it."""
    wet = run(air, warm, 12 * 3600, air.whole())
    dry = run(air, warm, 12 * 3600, dead(humidifiers=True))

    humidity = np.array([s.humidity_percent[0] for s in wet])
    # the thermostat's 0.6 K moves the humidity by 2.5 % beside the hygrostat's 3 %
    assert humidity.min() > 64.0
    assert humidity.max() < 76.0
    expected = 100 * 10.0 / saturation_vapour_g_m3(dry[-1].temperature_c[0])
    assert dry[-1].humidity_percent[0] == pytest.approx(float(expected), abs=0.1)


@pytest.mark.parametrize("vapour", [0.0, 10.0, 200.0])
def test_humidity_stays_between_0_and_100_percent(air, vapour):
    """Whatever the air around carries, what is above saturation condenses."""
    outside = {"outdoor_vapour": np.array(vapour)}

    states = run(
        air, air.at_rest(SURROUNDINGS_C, VAPOUR), 6 * 3600, air.whole(), **outside
    )

    humidity = np.array([s.humidity_percent[0] for s in states])
    assert humidity.min() >= 0.0
    assert humidity.max() <= 100.0


@pytest.mark.parametrize(
    ("temperature", "published"),
    [(0.0, 4.85), (10.0, 9.39), (20.0, 17.3), (30.0, 30.4)],
)
def test_saturated_air_holds_the_published_mass_of_vapour(temperature, published):
    """
    Saturated air at 0, 10, 20 and 30 degC holds 4.85, 9.39, 17.3 and 30.4 g/m3.

    Figures of the table in common physics handbooks, from memory.
    """
    got = saturation_vapour_g_m3(temperature)

    assert float(got) == pytest.approx(published, rel=0.006)


@pytest.mark.parametrize("temperature", [0.0, 12.0, 24.0, 36.0])
def test_vapour_agrees_with_the_monitor_s_own_formula(temperature):
    """Magnus here and Sonntag 1994 in `science.air` agree within 0.4 %."""
    got = saturation_vapour_g_m3(temperature)

    expected = absolute_humidity_g_m3(temperature, 100.0)
    assert float(got) == pytest.approx(expected, rel=0.004)


def test_substrate_lags_with_its_own_time_constant():
    """After one time constant a tub has gone 1 - 1/e of a step of the air."""
    got = relax(20.0, 30.0, dt_s=3 * 3600.0, constant_s=3 * 3600.0)

    assert float(got) == pytest.approx(20.0 + 10.0 * (1 - 1 / math.e))


def test_two_short_steps_make_one_long_step():
    """The step is exact, so the result does not depend on how it is cut."""
    once = relax(20.0, 30.0, dt_s=600.0, constant_s=10800.0)
    twice = relax(
        relax(20.0, 30.0, dt_s=200.0, constant_s=10800.0),
        30.0,
        dt_s=400.0,
        constant_s=10800.0,
    )

    assert float(once) == pytest.approx(float(twice), abs=1e-12)


def test_a_pile_heats_up_to_its_peak_and_cools_down_again():
    """No heat before it is set up, the highest at the peak, and less ever after."""
    ages = np.array([-5.0, 0.0, 4.0, 9.0, 20.0, 47.0]) * 86400

    got = self_heating_k(ages, highest_k=14.0, peak_s=9 * 86400.0)

    assert got[:2].tolist() == [0.0, 0.0]
    assert float(got[3]) == pytest.approx(14.0)
    assert got[2] < got[3] > got[4] > got[5] > 0.0


def test_outdoors_summer_is_warmer_than_winter_and_day_than_night():
    """The sines have their phases right: July over January, 15:00 over 03:00."""
    calm = Weather(waves_k=0.0)
    january, july = 1767225600.0 + 14 * 86400, 1767225600.0 + 205 * 86400

    assert calm.slow_c(july) - calm.slow_c(january) == pytest.approx(11.0, abs=0.2)
    day = calm.temperature_c(july + 15 * 3600) - calm.temperature_c(july + 3 * 3600)
    assert day == pytest.approx(7.0, abs=0.1)
