"""The house over time: in its bands while it is well, out of them where it fails."""

import itertools
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from monitor.demo.backfill import tracks
from monitor.demo.physics import Weather
from monitor.demo.plan import FAILING_SHELF, Felt, felt
from monitor.demo.residents import journal
from monitor.demo.simulate import LiveHouse, history, snapshot, truth
from monitor.site.house import fold
from monitor.site.load import load, shipped
from monitor.site.words import Quantity

WINTER = datetime(2026, 11, 25, 10, tzinfo=UTC)
SUMMER = datetime(2026, 7, 25, 9, tzinfo=UTC)
SHELF = Felt(FAILING_SHELF, Quantity.AIR_TEMPERATURE)


@pytest.fixture(scope="module")
def configuration():
    return load(shipped())


@pytest.fixture(scope="module", params=[WINTER, SUMMER], ids=["winter", "summer"])
def season(request):
    """A beginning, and the eight weeks before it."""
    return request.param, history(request.param.timestamp(), 56, Weather())


def outside(configuration, began_at, past):
    """Every tolerated band and limit that some minute of the history breaks."""
    site, library = configuration.site, configuration.library
    house = fold(site, journal(began_at=began_at, seed=1))
    bands = [
        (c.place, b.quantity, b.of == "tub", b.tolerated)
        for c in house.living()
        for b in library.stage(c.species, c.stage).bands
        if b.tolerated
    ] + [(m.place, m.quantity, False, m.tolerated) for m in site.limits]
    places = {s.id: s for s in site.sensors}
    for place, quantity, inside, (low, high) in bands:
        feed = house.feed(place, quantity, inside=inside)
        for sensor in feed.sensors:
            hung = places[sensor]
            what = felt(sensor, hung.place, hung.quantity)
            got = truth(past, what, began_at.timestamp())
            if not (low + 0.2 < got.min() and got.max() < high - 0.2):
                yield place, sensor, low, float(got.min()), float(got.max()), high


def test_a_house_that_is_well_stays_in_every_band(configuration, season):
    """Eight weeks keep every tolerated band and limit, with 0.2 to spare."""
    began_at, past = season

    assert list(outside(configuration, began_at, past)) == []


def test_the_history_has_every_minute_once_up_to_the_beginning(season):
    """56 days of minutes without gap, the last one the beginning of the story."""
    began_at, past = season

    assert len(past.epoch_s) == 56 * 1440
    assert set(np.diff(past.epoch_s)) == {60.0}
    assert past.epoch_s[-1] == began_at.timestamp()


def test_days_meet_inside_the_hysteresis(season):
    """Where two days of the back-fill meet, nothing jumps by more than a band."""
    _, past = season
    seams = np.arange(1, 56) * 1440

    jumps = np.abs(past.temperature_c[seams] - past.temperature_c[seams - 1])

    assert jumps.max() < 2.0
    assert np.abs(past.slow_c[seams] - past.slow_c[seams - 1]).max() < 0.1


def test_a_dead_heater_brings_the_shelf_below_its_band_but_not_into_danger(season):
    """
    The shelf passes 20 degC in 13 min and stays above 14 degC for 40.

    So the story has time for the on-delay, and its alarm stays one of tolerated limits.
    """
    began_at, past = season
    live = LiveHouse(snapshot(past), Weather())
    live.set_heater(FAILING_SHELF, works=False)

    got = []
    for minute in range(1, 41):
        live.advance(began_at.timestamp() + 60 * minute)
        got.append(live.feels(SHELF))

    assert got[12] < 20.0
    assert min(got) > 14.5


def test_a_mended_heater_brings_it_back_in_time(season):
    """After 35 cold minutes it is above 20.5 degC within 6, and stays in band."""
    began_at, past = season
    live = LiveHouse(snapshot(past), Weather())
    live.set_heater(FAILING_SHELF, works=False)
    live.advance(began_at.timestamp() + 35 * 60)
    live.set_heater(FAILING_SHELF, works=True)

    live.advance(began_at.timestamp() + 41 * 60)
    after_six = live.feels(SHELF)
    rest = []
    for minute in range(42, 90):
        live.advance(began_at.timestamp() + 60 * minute)
        rest.append(live.feels(SHELF))

    assert after_six > 20.5
    assert min(rest) > 20.5
    assert max(rest) < 27.8


def test_the_live_house_goes_on_where_the_history_ended(season):
    """The first live minute is no step away from the last of the back-fill."""
    began_at, past = season
    live = LiveHouse(snapshot(past), Weather())

    live.advance(began_at.timestamp() + 60)

    assert abs(live.feels(SHELF) - truth(past, SHELF, 0.0)[-1]) < 1.2
    tub = Felt("tub-003", Quantity.SUBSTRATE_TEMPERATURE)
    assert abs(live.feels(tub) - past.slow_c[-1, 0]) < 0.02


def test_tracks_are_five_minute_readings_with_lost_ones(configuration, season):
    """Nearly 56 days of each series, five minutes apart or as declared, some lost."""
    began_at, past = season
    sensors = configuration.site.sensors

    made = list(tracks(sensors, past, began_at=began_at, seed=1))

    assert [t.sensor for t in made] == [s.id for s in sensors]
    apart = np.array([min(300, s.interval.total_seconds()) for s in sensors])
    lengths = np.array([len(t.values) for t in made])
    assert (lengths > 0.99 * 56 * 86_400 / apart).all()
    assert (lengths < 56 * 86_400 / apart).all()
    shortest = np.array([np.diff(t.times_us).min() for t in made])
    assert (shortest == apart * 1_000_000).all()


def test_the_same_seed_makes_the_same_readings(configuration, season):
    """Noise and lost readings are the same each time."""
    began_at, past = season
    sensors = configuration.site.sensors[:2]

    once, again = (
        list(tracks(sensors, past, began_at=began_at, seed=7)) for _ in range(2)
    )

    pairs = list(itertools.zip_longest(once, again))
    assert all(np.array_equal(a.values, b.values) for a, b in pairs)
    assert all(np.array_equal(a.times_us, b.times_us) for a, b in pairs)


def test_bins_heat_up_and_give_off_carbon_dioxide(configuration, season):
    """Self-heating lifts a bin well above its room, below its limit, with the gas."""
    began_at, past = season
    core = Felt("bin-2", Quantity.SUBSTRATE_TEMPERATURE)
    gas = Felt("substrate-room", Quantity.CARBON_DIOXIDE)

    warmth = truth(past, core, began_at.timestamp())
    ppm = truth(past, gas, began_at.timestamp())

    assert 28.0 < warmth.max() < 40.0
    assert 425.0 <= ppm.min() < 600.0 < ppm.max() < 2000.0


def test_a_beginning_at_any_hour_of_the_day_is_possible():
    """The history ends at the minute asked for, not at midnight."""
    end = WINTER + timedelta(hours=5, minutes=17)

    past = history(end.timestamp(), 3, Weather())

    assert past.epoch_s[-1] == end.timestamp()
