"""How long a cohort has been in a stage that was found between two visits."""

from dataclasses import replace

import numpy as np
import pytest

from monitor.accounts.begins import BEGINS, daily_pace, present_spans, stage_ages
from monitor.accounts.instruments import Instruments
from monitor.accounts.scoring import Hindcaster
from monitor.accounts.sightings import StageSpan
from monitor.science.forecast import FINE, Course, first_ends, quantiles
from monitor.science.requirement import HeatRequirement
from monitor.site.journal import CohortAdvanced
from tests.accounts.house import DAY, START, lasting, site, steady
from tests.accounts.test_forecast import HIDDEN, NOW, PLAIN, Stand, days, heat, scarab

DRAWS = 200_000
RATE = 10.0
"""Shelf warm-a is 20 degC, 10 above the threshold."""


def grubs(found, *, last_seen=None, library=PLAIN):
    """Eggs of 40 days ago that were found to be grubs, in days before NOW."""
    stand = Stand(library).egg(39 * DAY)
    not_before = None if last_seen is None else NOW - last_seen * DAY
    stand.told.advance(NOW - found * DAY, "grub", not_before=not_before)
    return stand


def dates(stand, *, doubt=True):
    """The dates of the end of the present stage, in days from NOW."""
    made = stand.forecaster()
    if not doubt:
        made = replace(made, begun={})
    forecast = made.cohort(made.house.cohorts[1]).forecast
    return days(forecast.sexes[0].stages[0])


def drawn(mean, sd, seed=4):
    """Needs of many cohorts, log-normal."""
    rng = np.random.default_rng(seed)
    sigma = np.sqrt(np.log1p((sd / mean) ** 2))
    return np.exp(rng.normal(np.log(mean) - sigma**2 / 2, sigma, DRAWS)), rng


def tenths(values):
    return np.quantile(values, (0.1, 0.5, 0.9))


def test_what_was_seen_to_begin_has_no_doubt():
    """Seen in the act: to the last digit what the account alone says."""
    stand = grubs(10, last_seen=10)

    assert dates(stand) == dates(stand, doubt=False)


def test_eggs_count_from_the_day_they_are_followed():
    """A cohort that begins with the first stage began when it was entered."""
    stand = Stand().egg()

    assert stand.forecaster().begun[1].begun_by == NOW - 10 * DAY
    assert dates(stand) == dates(stand, doubt=False)


def test_a_wide_visit_interval_widens_the_date():
    """
    Grubs since 3 to 17 days ago, 300 +- 30 degree-days at 10 a day.

    The account counts from half-way. Against brute force over beginnings and needs.
    """
    stand = grubs(3, last_seen=17)
    needs, rng = drawn(300.0, 30.0)

    got, narrow = dates(stand), dates(grubs(10, last_seen=10))

    expected = tenths(needs / RATE - rng.uniform(3, 17, DRAWS))
    assert got == pytest.approx(expected, abs=0.2)
    assert np.ptp(got) > 1.3 * np.ptp(narrow)
    assert got[1] == pytest.approx(narrow[1], abs=0.2)


def test_a_find_without_a_last_look_came_since_the_look_before():
    """Grubs show: they hatched in the week before they were found, not on the day."""
    needs, rng = drawn(300.0, 30.0)

    got = dates(grubs(3))

    expected = tenths(needs / RATE - rng.uniform(3, 10, DRAWS))
    assert got == pytest.approx(expected, abs=0.15)


def test_where_time_drives_the_doubt_is_in_days():
    """30 days +- 1 whatever the warmth: the doubt about the beginning is nearly all."""
    library = scarab(
        ("egg", heat(), {}),
        ("grub", lasting(("any", 30.0, 24.0), driven_by="time"), {}),
        ("adult", {}, {}),
    )
    needs, rng = drawn(30.0, 1.0)

    got = dates(grubs(3, last_seen=17, library=library))

    assert got == pytest.approx(tenths(needs - rng.uniform(3, 17, DRAWS)), abs=0.8)


def test_what_is_found_in_a_stage_has_not_needed_all_of_it_before():
    """
    A pupa dug up today, a grub when last seen 100 days ago; it needs 20 +- 2 days.

    Brute force: any instant of the 100 days, as far as it is a pupa still.
    """
    library = scarab(("grub", heat(), {}), ("pupa", heat(), HIDDEN), ("adult", {}, {}))
    stand = Stand(library).egg(100 * DAY, stage="grub")
    stand.told.advance(NOW, "pupa", not_before=NOW - 99 * DAY)
    needs, rng = drawn(200.0, 20.0)
    ages = rng.uniform(0, 99, DRAWS)

    got = dates(stand)

    left = needs / RATE - ages
    assert got == pytest.approx(tenths(left[left > 0]), abs=1.5)


def test_nothing_is_known_of_what_came_in_its_stage_or_is_only_taken_to_be_in_it():
    """A grub that was bought; a pupa that a date told of and nobody saw."""
    bought = Stand().egg(stage="grub")
    taken = Stand().egg(39 * DAY, stage="grub")
    taken.told.tell(NOW - 5 * DAY, advanced("pupa", seen=False))

    for stand in (bought, taken):
        house = stand.told.house()
        spans = present_spans(house, PLAIN, stand.told.entries, now=NOW)
        assert spans == {}
        assert dates(stand) == dates(stand, doubt=False)


def advanced(stage, **more):
    return CohortAdvanced(1, stage, **more)


def test_a_stage_told_twice_counts_from_the_first_time():
    """A date told of the pupa on day -12, a keeper saw it on day -2."""
    stand = Stand().egg(39 * DAY, stage="grub")
    stand.told.tell(NOW - 12 * DAY, advanced("pupa", seen=False))
    stand.told.tell(NOW - 2 * DAY, advanced("pupa", not_before=NOW - 14 * DAY))
    needs, rng = drawn(200.0, 20.0)

    got = dates(stand)

    assert got == pytest.approx(
        tenths(needs / RATE - rng.uniform(2, 14, DRAWS)), abs=0.25
    )


def test_a_gap_beside_the_doubt_stays_within_a_few_values():
    """Both widen; a forecast costs no more than with one of them."""
    stand = grubs(3, last_seen=17)
    stand.store.put("a-air", *changing())
    whole = dates(stand)
    stand.store.drop("a-air", NOW - 8 * DAY, NOW - 3 * DAY)
    made = stand.forecaster()
    cohort = made.house.cohorts[1]

    way = made.way(cohort, PLAIN.species["scarab"], "any")

    assert way.had.shape == (BEGINS,)
    assert np.ptp(dates(stand)) > np.ptp(whole)


def changing():
    """A month of warm and cold days in turn: one tells nothing of the next."""
    times, _ = steady(NOW - 30 * DAY, NOW, 20)
    days = (times - times[0]) // 86_400_000_000
    return times, np.where(days % 2, 26.0, 14.0)


# scoring


def span(after, by):
    at = {"begun_after": START + after * DAY, "begun_by": START + by * DAY}
    return StageSpan(cohort=1, stage="grub", ended_after=START, ended_by=None, **at)


def test_eight_of_ten_come_in_time_whatever_the_visits():
    """
    Stages begin anywhere between two visits and are forecast from half-way.

    Of many cohorts 80 % end between the 10 and the 90 % date; with the beginning
    taken as known it would be fewer.
    """
    need = HeatRequirement(lower_c=10, mean=300, sd=20, source="from-memory")
    course = Course.steady(RATE)
    needs, rng = drawn(300.0, 20.0)
    shares = []
    for width in (0.0, 7.0, 14.0):
        ages = stage_ages(span(0, width), START + width / 2 * DAY, course, need)
        had = ages * daily_pace(course)
        ends = first_ends(course, need.needs(FINE), had, age_days=float(ages.max()))
        low, _, high = quantiles(ends)
        came = needs / RATE + rng.uniform(-width / 2, width / 2, DRAWS)
        shares.append(np.mean((low <= came) & (came <= high)))
        plain = quantiles(need.needs(FINE) / RATE)
        if width:
            assert np.mean((plain[0] <= came) & (came <= plain[2])) < shares[-1] - 0.04

    assert shares == pytest.approx([0.8, 0.8, 0.8], abs=0.01)


def test_a_score_allows_for_the_doubt_about_the_beginning():
    """Found between day 5 and 19, the forecast is of day 12 and wider for it."""
    made = {}
    for name, after, by in (("seen", 12, 12), ("doubtful", 5, 19)):
        stand = Stand().egg(NOW - START)
        stand.told.advance(START + by * DAY, "grub", not_before=START + after * DAY)
        stand.told.advance(NOW, "pupa", not_before=NOW - DAY)
        stand.store.put("a-air", *steady(START - 30 * DAY, NOW, 20))
        (row,) = (
            row
            for row in Hindcaster(
                Instruments(site(), stand.told.entries),
                PLAIN,
                stand.told.house(),
                stand.store.readings,
                now=NOW,
            ).scored(stand.told.entries, since=START, most=9)
            if row.stage == "grub"
        )
        made[name] = row

    seen, doubtful = made["seen"], made["doubtful"]
    assert seen.made_at == doubtful.made_at == START + 12 * DAY
    assert (doubtful.p50 - seen.p50) / DAY == pytest.approx(0, abs=0.2)
    assert doubtful.p90 - doubtful.p10 > 1.3 * (seen.p90 - seen.p10)
