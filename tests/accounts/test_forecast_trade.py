"""
The shipped library's forecast beside what everybody in the trade knows.

Common practice, no source: a large African flower beetle kept near 22 to 26 degC.
"""

import numpy as np
import pytest

from monitor.accounts.forecast_gather import forecaster
from monitor.accounts.forecast_warmth import Assumptions
from monitor.site.journal import CohortStarted, Count
from monitor.site.words import CountKind
from tests.accounts.house import START, Declared, Memory, Told, site
from tests.site.library import shipped

WEEK, MONTH, YEAR = 7.0, 30.4, 365.0
BEETLES = ("mecynorhina-torquata", "goliathus-goliatus")


def medians(species, degc):
    """Days from an egg laid now to each stage, the middle one, by sex and stage."""
    told = Told().tub(START)
    count = Count(CountKind.COUNTED, 10)
    told.tell(START, CohortStarted(1, species, "egg", count, "tub-1"))
    made = forecaster(
        Memory(told),
        Declared(site(), shipped().library),
        now=START,
        stated=Assumptions(set_point_c=degc),
    )
    starts = made.cohort(made.house.cohorts[1]).starts
    return {key: float(np.median(samples)) for key, samples in starts.items()}


@pytest.fixture(params=[22.0, 24.0, 26.0])
def degc(request):
    return request.param


@pytest.mark.parametrize("species", BEETLES)
@pytest.mark.parametrize("sex", ["female", "male"])
def test_an_egg_hatches_after_a_couple_of_weeks(species, sex, degc):
    """One and a half to three."""
    assert 1.5 * WEEK <= medians(species, degc)[sex, "L1"] <= 3 * WEEK


@pytest.mark.parametrize("sex", ["female", "male"])
def test_a_larva_is_big_after_five_to_six_months(sex):
    """In the middle of the range, from hatching to when it looks for a place."""
    days = medians("mecynorhina-torquata", 24.0)

    assert 5 * MONTH <= days[sex, "prepupa"] - days[sex, "L1"] <= 6 * MONTH


@pytest.mark.parametrize("species", BEETLES)
@pytest.mark.parametrize("sex", ["female", "male"])
def test_a_larva_of_either_beetle_is_big_at_five_to_six_months_of_age(species, sex):
    """From the laying on, at some temperature of those at which they are kept."""
    ages = [medians(species, each)[sex, "prepupa"] / MONTH for each in (22, 24, 26)]

    assert ages[0] > ages[1] > ages[2]
    assert any(5 <= age <= 6 for age in ages), ages


@pytest.mark.parametrize("species", BEETLES)
def test_a_cell_takes_two_to_four_months_and_males_are_later(species, degc):
    """From its building to the adult that leaves it."""
    days = medians(species, degc)
    female, male = (
        days[sex, "feeding-adult"] - days[sex, "prepupa"] for sex in ("female", "male")
    )

    assert 2 * MONTH <= female < male <= 4 * MONTH


@pytest.mark.parametrize("species", BEETLES)
@pytest.mark.parametrize("sex", ["female", "male"])
def test_a_fresh_adult_stays_a_couple_of_weeks(species, sex, degc):
    """One and a half to three."""
    days = medians(species, degc)

    rest = days[sex, "feeding-adult"] - days[sex, "resting-adult"]
    assert 1.5 * WEEK <= rest <= 3 * WEEK


@pytest.mark.parametrize("species", BEETLES)
@pytest.mark.parametrize("sex", ["female", "male"])
def test_the_whole_way_takes_many_months_to_two_years(species, sex, degc):
    """From egg to adult."""
    assert 6 * MONTH <= medians(species, degc)[sex, "feeding-adult"] <= 2 * YEAR
