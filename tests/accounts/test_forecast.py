"""The forecast of cohorts: from the account, the place's own days and the species."""

from datetime import timedelta

import msgspec
import numpy as np
import pytest

from monitor.accounts.forecast_gather import forecaster
from monitor.accounts.forecast_needs import file_record, sexes_of
from monitor.accounts.forecast_values import NO_TEMPERATURE, perhaps, question
from monitor.accounts.forecast_warmth import Assumptions
from monitor.science.requirement import HeatRequirement, TimeRequirement
from monitor.site.journal import CohortStarted, Count, HandReading
from monitor.site.species_file import Library, Species
from monitor.site.words import CountKind, Quantity
from tests.accounts.house import (
    DAY,
    HOUR,
    START,
    Declared,
    Memory,
    Told,
    heat,
    lasting,
    site,
    stage,
    steady,
)

NOW = START + 40 * DAY
AIR = Quantity.AIR_TEMPERATURE
HIDDEN = {"unseen": True}


def scarab(*stages):
    """A library of one species with these stages: (name, development, more)."""
    table = {"id": "scarab", "name": "Exemplum", "group": "scarab"}
    rows = [stage(name, **development) | more for name, development, more in stages]
    species = Species.model_validate({"species": table, "stage": rows})
    return Library(species={"scarab": species})


PLAIN = scarab(
    ("egg", heat(), {}),
    ("grub", heat(required_degree_days=[{"mean": 300.0, "sd": 30.0}]), {}),
    ("pupa", heat(), HIDDEN),
    ("adult", {}, {}),
)
"""Egg 200 +- 20, grub 300 +- 30, pupa 200 +- 20 degree-days above 10."""
HIDDEN_WAY = scarab(
    ("egg", heat(), {}),
    ("grub", heat(required_degree_days=[{"mean": 100.0, "sd": 20.0}]), HIDDEN),
    ("pupa", heat(), HIDDEN),
    ("adult", {}, {}),
)


class Stand:
    """A tub on warm-a, where it is 20 degC; warm-b has 25 degC."""

    def __init__(self, library=PLAIN):
        self.library, self.told = library, Told().tub(START)
        self.store = Memory(self.told)
        for sensor, celsius in (("a-air", 20), ("b-air", 25)):
            times, values = steady(START - HOUR, NOW, celsius)
            self.store.put(sensor, times, values)

    def egg(self, ago=10 * DAY, **more):
        self.told.start(NOW - ago, **more)
        return self

    def forecaster(self, now=NOW, **more):
        declared = Declared(site(), self.library)
        return forecaster(self.store, declared, now=now, **more)

    def forecast(self, now=NOW, cohort=1, **more):
        made = self.forecaster(now, **more)
        return made.cohort(made.house.cohorts[cohort]).forecast


def days(stage, now=NOW):
    """The three dates of a stage as days from the present."""
    dates = (stage.p10, stage.p50, stage.p90)
    return tuple((at - now) / DAY for at in dates)


def test_what_is_left_at_the_places_own_rate():
    """
    100 of 200 +- 20 degree-days had, 10 a day: 10 d, and 2.56 d to either side.

    1.28 standard deviations of a log-normal of 10 %, worked by hand.
    """
    (both,) = Stand().egg().forecast().sexes

    assert both.sex == "any"
    assert [s.stage for s in both.stages] == ["grub", "pupa", "adult"]
    assert days(both.stages[0]) == pytest.approx((7.51, 9.90, 12.62), abs=0.05)


def test_stages_add_up():
    """The way to the adult: 100 + 300 + 200 at 10 a day, spreads in quadrature."""
    (both,) = Stand().egg().forecast().sexes

    low, middle, high = days(both.stages[2])
    spread = np.sqrt(2.0**2 + 3.0**2 + 2.0**2)
    assert middle == pytest.approx(60, abs=0.3)
    assert (high - low) / 2 == pytest.approx(1.2816 * spread, rel=0.02)


def test_a_stated_set_point_takes_the_place_of_the_record():
    """At 30 degC, 20 a day: half as long; and mean and spread to the first order."""
    stated = Assumptions(set_point_c=30.0)
    made = Stand().egg().forecast(stated=stated)

    (both,) = made.sexes
    assert days(both.stages[0])[1] == pytest.approx(4.95, abs=0.03)
    assert (both.wait_days, both.wait_sd_days) == pytest.approx((5.0, 1.0))
    assert (made.basis.set_point_c, made.basis.days) == (30.0, 28)


def test_the_future_is_spent_where_the_tub_stands_now():
    """Carried to warm-b yesterday: 15 a day from now on, 105 had."""
    stand = Stand().egg()
    stand.told.carry(NOW - DAY, "warm-b")

    made = stand.forecast()

    assert made.heat.degree_days == pytest.approx(105, abs=0.1)
    assert days(made.sexes[0].stages[0])[1] == pytest.approx((199 - 105) / 15, abs=0.05)
    assert made.basis.sources == ("shelf",)


def test_the_record_is_the_places_own_last_28_days():
    """A place that swings: each day begins a future, so a date is as wide as they."""
    stand = Stand().egg()
    times, _ = steady(NOW - 30 * DAY, NOW, 20)
    wave = 20 + 6 * np.sin(np.arange(times.size) / times.size * 30 * 2 * np.pi / 14)
    stand.store.put("a-air", times, wave)
    calm = Stand().egg().forecast().sexes[0].stages[0]

    swinging = stand.forecast().sexes[0].stages[0]

    assert np.ptp(days(swinging)) > 1.15 * np.ptp(days(calm))


def test_what_may_be_here_needs_no_look_further_ahead():
    """Followed no further than they may be by now, cohorts tell the same."""
    stand = Stand(HIDDEN_WAY)
    for cohort in range(1, 30):
        stand.told.start(NOW - cohort * 2 * DAY, cohort=cohort, stage="egg")
    beats = []

    near = stand.forecaster().perhaps(lambda: beats.append(1))

    whole = [work.forecast for work in stand.forecaster().all()]
    assert near == {each.cohort: each.perhaps for each in whole if each.perhaps}
    assert len(set(near.values())) > 1
    assert len(beats) == len(whole)


def test_a_gap_widens_the_date():
    """
    Three days lost in a place that has 4 to 16 degree-days a day.

    What they may have given lies between the least and the most of the record.
    """
    stand = Stand().egg()
    times, _ = steady(NOW - 30 * DAY, NOW, 20)
    days_ago = (times - times[0]) // 86_400_000_000
    stand.store.put("a-air", times, np.where(days_ago % 2, 26.0, 14.0))
    whole = stand.forecast()
    stand.store.drop("a-air", NOW - 8 * DAY, NOW - 5 * DAY)

    holed = stand.forecast()

    assert holed.heat.coverage == pytest.approx(0.7, abs=0.01)
    spread = np.ptp(days(holed.sexes[0].stages[0]))
    assert spread > 1.03 * np.ptp(days(whole.sexes[0].stages[0]))


def test_days_hardly_measured_are_left_out():
    """The record says how many of the 28 it has."""
    stand = Stand().egg()
    stand.store.drop("a-air", NOW - 20 * DAY, NOW - 4 * DAY)

    assert stand.forecast().basis.days == 12


def test_a_stage_that_time_drives_shares_the_doubt_of_those_that_warmth_does():
    """Egg by warmth, rest by time, grub by warmth again: one future for all."""
    rest = lasting(("any", 30.0, 20.0), driven_by="time")
    of = scarab(
        ("egg", heat(), {}), ("rest", rest, {}), ("grub", heat(), {}), ("adult", {}, {})
    )
    exact, rough = (
        Stand(of).egg().forecast(stated=Assumptions(spread_c=k)).sexes[0].stages
        for k in (0.0, 1.0)
    )

    assert [s.stage for s in rough] == ["rest", "grub", "adult"]
    for one, other in zip(exact, rough, strict=True):
        assert np.ptp(days(other)) > np.ptp(days(one))


def test_a_record_that_swings_says_less_of_what_comes():
    """Ten warm days after ten cold ones: the next month may be either."""
    even, swinging = Stand().egg(), Stand().egg()
    times, _ = steady(NOW - 30 * DAY, NOW, 20)
    turns = (times - times[0]) // (10 * 86_400_000_000)
    swinging.store.put("a-air", times, np.where(turns % 2, 23.0, 17.0))

    steadily, widely = (s.forecast().sexes[0].stages[1] for s in (even, swinging))

    assert np.ptp(days(widely)) > 1.5 * np.ptp(days(steadily))


def test_the_distance_of_the_probe_widens_the_date():
    """Half a kelvin of 10 degree-days a day: five per cent either way."""
    near = Stand().egg().forecast().sexes[0].stages[2]
    far = Stand().egg().forecast(stated=Assumptions(spread_c=1.0)).sexes[0].stages[2]

    assert np.ptp(days(far)) > 1.3 * np.ptp(days(near))
    assert days(far)[1] == pytest.approx(days(near)[1], rel=0.02)


def test_without_readings_and_set_point_nothing_is_dated():
    """No band's target is put in their place."""
    stand = Stand().egg()
    stand.store.series.clear()

    made = stand.forecast()

    assert (made.trouble, made.sexes) == (NO_TEMPERATURE, ())
    assert made.trouble == "no temperature known: give --set-point"


def test_a_set_point_mends_that():
    """Time without any reading counts at the set point."""
    stand = Stand().egg()
    stand.store.series.clear()

    made = stand.forecast(stated=Assumptions(set_point_c=20.0))

    assert made.trouble == ""
    assert days(made.sexes[0].stages[0])[1] == pytest.approx(9.9, abs=0.05)


def test_after_heat_alone_there_is_only_an_earliest_date():
    """Here and in every later stage; no due date is anywhere in it."""
    library = scarab(
        ("egg", heat(), {}),
        ("grub", heat(driven_by="heat-earliest"), {}),
        ("pupa", heat(), HIDDEN),
        ("adult", {}, {}),
    )

    grub, pupa, adult = Stand(library).egg().forecast().sexes[0].stages

    assert (grub.earliest, grub.p50 is not None) == (None, True)
    for stage_ in (pupa, adult):
        assert stage_.earliest is not None
        assert (stage_.p10, stage_.p50, stage_.p90) == (None, None, None)
    assert pupa.earliest < NOW + 30 * DAY


def test_what_is_assumed_is_said_with_every_date_that_rests_on_it():
    """Thresholds and spreads, from the stage on."""
    library = scarab(
        ("egg", heat(), {}),
        ("grub", lasting(("any", 20.0, 25.0), assumed_lower_threshold=12.0), {}),
        ("pupa", heat(required_degree_days=[{"mean": 200.0}]), HIDDEN),
        ("adult", {}, {}),
    )

    grub, pupa, adult = Stand(library).egg().forecast().sexes[0].stages

    assert (grub.assumed_threshold, grub.assumed_spread) == ((), ())
    assert (pupa.assumed_threshold, pupa.assumed_spread) == (("grub",), ())
    assert (adult.assumed_threshold, adult.assumed_spread) == (("grub",), ("pupa",))


def test_sexes_are_told_apart_where_they_differ():
    """Males of one stage need longer; a sexed cohort has its own way alone."""
    both = [
        {"sex": "female", "mean": 300.0, "sd": 30.0},
        {"sex": "male", "mean": 400.0, "sd": 30.0},
    ]
    library = scarab(
        ("egg", heat(), {}),
        ("grub", heat(required_degree_days=both), {}),
        ("pupa", {}, {}),
    )

    female, male = Stand(library).egg().forecast().sexes
    (sexed,) = Stand(library).egg(sex="male").forecast().sexes

    assert (female.sex, male.sex) == ("female", "male")
    assert days(male.stages[1])[1] - days(female.stages[1])[1] == pytest.approx(
        10, 0.02
    )
    assert sexed == male


def test_where_time_alone_drives_days_count():
    """Twenty days at any temperature; ten are over, since the start of the stage."""
    library = scarab(
        ("egg", lasting(("any", 20.0, 24.0), driven_by="time"), {}), ("grub", {}, {})
    )
    stand = Stand(library).egg()
    stand.store.series.clear()

    made = stand.forecast()

    assert days(made.sexes[0].stages[0])[1] == pytest.approx(10, abs=0.05)
    assert made.basis.days == 0


def test_a_stage_without_figures_ends_the_forecast():
    """What comes after it is not guessed."""
    library = scarab(("egg", heat(), {}), ("grub", {}, {}), ("adult", {}, {}))

    (both,) = Stand(library).egg().forecast().sexes

    assert [s.stage for s in both.stages] == ["grub"]
    assert both.stops == "how long grub lasts is not known"


def test_below_the_threshold_nothing_is_dated():
    """It is said why."""
    (both,) = Stand().egg().forecast(stated=Assumptions(set_point_c=9.0)).sexes

    assert both.stages == ()
    assert both.stops == "egg does not go on at this temperature"


def test_nothing_is_dated_beyond_twenty_years():
    """A hundredth of a degree above the threshold."""
    (both,) = Stand().egg().forecast(stated=Assumptions(set_point_c=10.01)).sexes

    assert both.stops == "grub is more than 20 years off"


def test_what_was_learned_stands_before_the_file():
    """By species, stage and sex, in degree-days of the file's thresholds."""
    record = file_record(PLAIN.stage("scarab", "egg").development, "any")
    learned = {
        ("scarab", "egg", "any"): record.learned(mean=150.0, sd=5.0, source="here")
    }

    (both,) = Stand().egg().forecast(learned=learned).sexes

    assert days(both.stages[0])[1] == pytest.approx(5.0, abs=0.05)
    assert dict(both.needs)["egg"].source == "here"


def test_what_was_learned_in_other_degree_days_does_not():
    """The file's threshold was changed since: the sums do not compare."""
    other = HeatRequirement(lower_c=12.0, mean=1.0, sd=0.1, source="here")
    learned = {("scarab", "egg", "any"): other}

    assert Stand().egg().forecast(learned=learned) == Stand().egg().forecast()


def test_what_was_learned_of_both_sexes_does_not_blur_them():
    """The file knows them apart; an unsexed cohort taught one figure."""
    both = [
        {"sex": "female", "mean": 300.0, "sd": 30.0},
        {"sex": "male", "mean": 400.0, "sd": 30.0},
    ]
    library = scarab(("egg", heat(required_degree_days=both), {}), ("grub", {}, {}))
    record = file_record(library.stage("scarab", "egg").development, "any")
    one = record.learned(mean=350.0, sd=60.0, source="here")

    blurred = Stand(library).egg().forecast(learned={("scarab", "egg", "any"): one})

    assert blurred == Stand(library).egg().forecast()


def test_a_thermometer_with_a_memory_is_a_record_too():
    """No probe anywhere near: minimum 15 and maximum 25 read every day."""
    stand = Stand().egg(place="tub-9")
    stand.told.tub(START, "tub-9", "dark")
    for n in range(40, -1, -1):
        extremes = HandReading("tub-9", AIR, minimum=15.0, maximum=25.0)
        stand.told.tell(NOW - n * DAY, extremes)

    made = stand.forecast()

    assert (made.basis.days, made.basis.sources) == (28, ("hand",))
    assert days(made.sexes[0].stages[0])[1] == pytest.approx(9.9, abs=0.2)


def test_whoever_asks_twice_gets_one_answer():
    """To the last digit, from another process's view of the store."""
    one, two = Stand().egg().forecast(), Stand().egg().forecast()

    assert msgspec.json.encode(one) == msgspec.json.encode(two)


def test_nothing_is_written():
    """The accounts are brought up to now in memory alone."""
    stand = Stand().egg()
    stand.forecast()

    assert stand.store.accounts == {}


UNSEEN = scarab(
    ("grub", heat(), {}),
    ("prepupa", heat(), HIDDEN),
    ("pupa", heat(), HIDDEN),
    ("adult", heat(), {}),
    ("guest", {}, {}),
)


def test_unseen_stages_are_perhaps_there_from_their_10_percent_date():
    """Day 17: no one is; day 18: one in ten is; day 36: pupae as well, never adults."""
    found = {}
    for ago in (17, 18, 36, 38):
        made = Stand(UNSEEN).egg(ago * DAY, stage="grub").forecast()
        found[ago] = made.perhaps, made.ask

    assert found == {
        17: ((), ""),
        18: (("prepupa",), "any sign of a cell?"),
        36: (("prepupa",), "any sign of a cell?"),
        38: (("prepupa", "pupa"), "any sign of a cell?"),
    }


def test_a_stage_that_shows_is_never_perhaps_there():
    """Hatched larvae are seen; the date that passed asks for a look by itself."""
    made = Stand().egg(30 * DAY).forecast()

    assert made.sexes[0].stages[0].p90 < NOW
    assert made.perhaps == ()


def test_a_forecast_of_another_stage_says_nothing():
    """The keeper has told a change since it was made."""
    stand = Stand(UNSEEN).egg(25 * DAY, stage="grub")
    made = stand.forecaster()
    cohort = made.house.cohorts[1]
    forecast = made.cohort(cohort).forecast
    later = msgspec.structs.replace(cohort, stage="prepupa")

    assert perhaps(cohort, forecast, NOW) == ("prepupa",)
    assert perhaps(later, forecast, NOW) == ()
    assert perhaps(cohort, forecast, NOW - 20 * DAY) == ()


def test_the_house_is_told_in_one_mapping():
    """As a plan of what is watched takes it."""
    stand = (
        Stand(UNSEEN).egg(25 * DAY, stage="grub").egg(5 * DAY, cohort=2, stage="grub")
    )

    assert stand.forecaster().perhaps() == {1: ("prepupa",)}


@pytest.mark.parametrize(
    ("stages", "asked"),
    [
        ((), ""),
        (("pupa",), "any sign of a cell?"),
        (("prepupa", "pupa"), "any sign of a cell?"),
        (("chrysalis",), "any sign of a chrysalis?"),
        (("resting-adult",), "any sign of an adult?"),
        (("L1",), "any sign of L1?"),
    ],
)
def test_the_question_fits_the_stage(stages, asked):
    """A cell is what shows of a beetle's pupa."""
    assert question(stages) == asked


@pytest.mark.parametrize(
    ("more", "part"),
    [
        ({"species": "no-such"}, "no file describes the species no-such"),
        ({"stage": "nymph"}, "the file of scarab has no stage nymph"),
        ({"colony": True}, "a colony has mixed stages"),
    ],
)
def test_what_cannot_be_forecast_says_why(more, part):
    """A species or stage whose file is gone; mixed stages."""
    stand = Stand()
    count = Count(CountKind.COUNTED, 12)
    plain = {"species": "scarab", "stage": "egg", "count": count, "place": "tub-1"}
    stand.told.tell(NOW - DAY, CohortStarted(1, **(plain | more)))

    made = stand.forecast()

    assert part in made.trouble
    assert made.sexes == ()


def test_the_last_stage_has_none_after_it():
    """And needs no temperature."""
    stand = Stand().egg(stage="adult")
    stand.store.series.clear()

    made = stand.forecast()

    assert (made.trouble, made.sexes[0].stages, made.sexes[0].stops) == ("", (), "")


def test_a_record_binds_what_the_file_says():
    """Durations at two temperatures: the account's mean, the spreads' mean square."""
    made = lasting(
        ("any", 20.0, 20.0), ("any", 12.0, 25.0), assumed_lower_threshold=10.0
    )
    library = scarab(("egg", made, {}), ("grub", {}, {}))

    record = file_record(library.stage("scarab", "egg").development, "female")

    assert isinstance(record, HeatRequirement)
    assert record.mean == pytest.approx((200.0 + 180.0) / 2)
    assert record.spread == pytest.approx(np.sqrt((10.0**2 + 15.0**2) / 2))
    assert record.facts.assumed_threshold
    assert record.facts.observed == ((20.0, 20.0), (12.0, 25.0))


def test_a_record_of_time_counts_days():
    """Of the sex asked for."""
    rows = (("female", 250.0, 22.0), ("male", 42.0, 22.0))
    library = scarab(
        ("egg", heat(), {}), ("adult", lasting(*rows, driven_by="time"), {})
    )
    species = library.species["scarab"]

    record = file_record(species.stage("adult").development, "male")

    assert isinstance(record, TimeRequirement)
    assert (record.mean, record.spread, record.facts.unit) == (42.0, 1.0, "d")
    assert sexes_of(species, "any", {}) == ("female", "male")
    assert sexes_of(PLAIN.species["scarab"], "any", {}) == ("any",)


def test_a_house_of_three_hundred_tubs_is_forecast_in_seconds():
    """What tubs on one shelf share is computed once."""
    stand = Stand()
    for cohort in range(1, 301):
        stand.told.start(NOW - 10 * DAY - cohort * timedelta(hours=1), cohort=cohort)
    made = stand.forecaster()
    stand.store.asked.clear()

    works = made.all()

    assert len(works) == 300
    assert len(stand.store.asked) == 1
