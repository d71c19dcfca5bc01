"""Distributions of dates: grids against closed forms, references and draws."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.science.forecast import (
    FINE,
    VALUES,
    Course,
    condensed,
    constant_rate_wait,
    error_of_mean,
    first_ends,
    next_ends,
    paces,
    quantiles,
)
from monitor.science.requirement import HeatRequirement, lognormal_grid, normal_grid

ONE = np.ones(1)


def course(*days, past=None, pace=ONE):
    """A record of some days; the past is the same unless it is given."""
    row = np.array(days, np.float64)
    before = row if past is None else np.array(past, np.float64)
    return Course(row, before, pace, np.ones_like(pace))


def drawn(rng, mean, sd, count):
    """Log-normal draws of a mean and a standard deviation."""
    variance = np.log1p((sd / mean) ** 2)
    z = rng.standard_normal(count)
    return np.exp(np.log(mean) - variance / 2 + np.sqrt(variance) * z)


def test_the_wait_at_one_uncertain_rate():
    """
    K 600 +- 30, 450 accumulated, 12 +- 1 a day: 12.5 d, SD 2.71 d.

    Source: SD(t) = sqrt(sd_K^2 + t^2 sd_r^2) / r, own derivation to the first order.
    """
    wait = constant_rate_wait(mean=600, sd=30, had=450, rate=12, rate_sd=1)

    assert wait.days == pytest.approx(12.5)
    assert wait.sd_days == pytest.approx(2.71, abs=0.005)
    assert wait.sd_days == pytest.approx(math.sqrt(30**2 + 12.5**2) / 12)


def test_the_grid_of_the_same_case_has_the_moments_and_quantiles_of_draws():
    """
    The exact quotient is later and wider than its first order, and skewed.

    Reference: 400,000 draws had mean 12.59, SD 2.75 and 5, 50, 95 % points of 8.24,
    12.51, 17.24 with K normal; log-normal K has its median a trifle earlier.
    """
    rates = Course.steady(12.0, pace=1 + normal_grid(201) / 12)

    ends = first_ends(
        rates, lognormal_grid(600, 30, 200), np.array([450.0]), age_days=40
    )

    assert ends.mean() == pytest.approx(12.59, abs=0.01)
    assert ends.std() == pytest.approx(2.75, abs=0.03)
    low, middle, high = quantiles(ends, (0.05, 0.5, 0.95))
    assert (low, middle, high) == pytest.approx((8.24, 12.51, 17.24), abs=0.12)


def test_draws_agree_with_the_grid():
    """The same, drawn here with the log-normal requirement: within a tenth of a day."""
    rng = np.random.default_rng(7)
    draws = (drawn(rng, 600, 30, 10**6) - 450) / rng.normal(12, 1, 10**6)
    rates = Course.steady(12.0, pace=1 + normal_grid(201) / 12)

    ends = first_ends(
        rates, lognormal_grid(600, 30, 200), np.array([450.0]), age_days=40
    )

    expected = np.quantile(draws, (0.1, 0.5, 0.9))
    assert quantiles(ends) == pytest.approx(tuple(expected), abs=0.02)


def test_a_chain_of_stages_agrees_with_draws():
    """Four stages at one rate: mean, spread and quantiles of a million sums."""
    rng = np.random.default_rng(3)
    needs = ((600, 60), (200, 40), (900, 100), (300, 30))
    total = sum(drawn(rng, mean, sd, 10**6) for mean, sd in needs) / 12
    week = course(12.0, 13.0, 11.0, 12.0, 14.0, 10.0, 12.0)

    ends = first_ends(week, lognormal_grid(600, 60, FINE), np.zeros(1), age_days=0)
    for mean, sd in needs[1:]:
        grid = lognormal_grid(mean, sd, VALUES)
        ends = next_ends(week, condensed(ends), grid)

    assert ends.mean() == pytest.approx(total.mean(), abs=0.1)
    assert ends.std() == pytest.approx(total.std(), rel=0.02)
    expected = np.quantile(total, (0.1, 0.5, 0.9))
    assert quantiles(ends) == pytest.approx(tuple(expected), abs=0.3)
    assert np.ptp(quantiles(ends)) == pytest.approx(np.ptp(expected), rel=0.01)


def test_every_day_of_the_record_begins_a_future():
    """Worked by hand: 2 a day, then 4; three units take 1.25 d, or 0.75 d."""
    got = course(2.0, 4.0).time(np.array([[3.0], [3.0]]))

    assert got.tolist() == [[1.25], [0.75]]


def test_the_record_goes_round():
    """After its last day comes its first: 12 units are two rounds of 2 and 4."""
    got = course(2.0, 4.0).time(np.array([[12.0, 14.0], [12.0, 16.0]]))

    assert got.tolist() == [[4.0, 5.0], [4.0, 5.0]]


def test_what_is_over_is_dated_in_the_past():
    """450 had, 420 needed: 30 degree-days ago, by the days before the present."""
    got = first_ends(
        course(10.0, past=[10.0, 20.0]),
        np.array([420.0]),
        np.array([450.0]),
        age_days=60,
    )

    assert got.tolist() == [[-2.0]]


def test_no_stage_ends_before_it_began():
    """However little it needs."""
    got = first_ends(course(10.0), np.array([1.0]), np.array([450.0]), age_days=5)

    assert got.tolist() == [[-5.0]]


def test_a_later_stage_may_have_begun_in_the_past():
    """It began two days ago at 5 a day; 25 more take three days at 5."""
    got = next_ends(course(5.0), np.array([[-2.0]]), np.array([25.0]))

    assert got.tolist() == [[3.0]]


def test_who_is_warmer_than_the_probe_has_had_more_as_well():
    """Both paces apply: a fifth more so far, a fifth more to come."""
    pace = np.array([1.0, 1.2])
    near = Course(np.array([10.0]), np.array([10.0]), pace, pace)

    got = first_ends(near, np.array([600.0]), np.array([400.0]), age_days=90)

    assert got.ravel().tolist() == pytest.approx([20.0, (600 - 480) / 12])


def test_gaps_widen_a_date():
    """What they may have hidden is added to every requirement."""
    needs = lognormal_grid(600, 30, FINE)
    sure = first_ends(course(12.0), needs, np.array([450.0]), age_days=60)
    unsure = first_ends(
        course(12.0), needs, np.array([390.0, 420.0, 450.0, 480.0, 510.0]), age_days=60
    )

    assert unsure.mean() == pytest.approx(sure.mean())
    assert np.ptp(quantiles(unsure)) > 1.5 * np.ptp(quantiles(sure))


def test_where_nothing_grows_nothing_ends():
    """Below the threshold there is no date, and no error."""
    still = course(0.0, 0.0)

    assert not still.moves
    assert (still.time(np.array([[1.0], [1.0]])) == np.inf).all()


def test_condensing_keeps_the_mean_and_nearly_the_spread():
    """The mean to the last digit in each future, 98 % of the spread, the order."""
    rng = np.random.default_rng(5)
    samples = rng.normal(40.0, 3.0, (4, 625))

    few = condensed(samples)

    assert few.shape == (4, VALUES)
    assert few.mean(axis=1) == pytest.approx(samples.mean(axis=1))
    assert (few.std(axis=1) > 0.98 * samples.std(axis=1)).all()
    assert (np.diff(few, axis=1) >= 0).all()


def test_condensing_equal_values_divides_by_nothing():
    """A requirement without spread at a steady rate."""
    assert (condensed(np.full((2, 50), 3.0)) == 3.0).all()


def test_values_that_do_not_share_out_are_refused():
    """Rather than dropped."""
    with pytest.raises(ValueError, match="do not share out"):
        condensed(np.ones((1, 26)))


def test_quantiles_stand_at_the_middles_of_their_shares():
    """As NumPy's "hazen"."""
    values = np.array([3.0, 1.0, 4.0, 1.0, 5.0, 9.0, 2.0, 6.0])

    expected = np.quantile(values, (0.1, 0.5, 0.9), method="hazen")
    assert quantiles(values) == pytest.approx(tuple(expected))


@pytest.mark.parametrize(
    "wrong",
    [
        {"days": np.array([])},
        {"days": np.array([math.nan])},
        {"past": np.array([-1.0])},
        {"pace": np.ones(2)},
    ],
)
def test_no_course_is_made_of_nonsense(wrong):
    """Empty, not finite, backwards, or paces that do not go together."""
    plain = {"days": ONE, "past": ONE, "pace": ONE, "past_pace": ONE}

    with pytest.raises(ValueError, match=r"must"):
        Course(**(plain | wrong))


def test_a_rate_of_nothing_has_no_wait():
    """It is refused, not divided by."""
    with pytest.raises(ValueError, match="rate must be above zero, got 0"):
        constant_rate_wait(mean=600, sd=30, had=450, rate=0)


RECORD = st.lists(st.floats(0.1, 25.0), min_size=1, max_size=28)


@given(days=RECORD, past=RECORD, times=st.lists(st.floats(-90, 400), min_size=1))
def test_times_and_amounts_are_inverse(days, past, times):
    """What is gained by a time is reached at that time, past and future."""
    way = course(*days, past=past)
    asked = np.tile(np.array(times), (way.futures, 1))

    got = way.time(way.amount(asked))

    assert got == pytest.approx(asked, abs=1e-6)


@given(days=RECORD, need=st.floats(1.0, 2000.0), more=st.floats(0.1, 500.0))
def test_who_needs_more_comes_later(days, need, more):
    """In every future."""
    way = course(*days)
    ends = first_ends(way, np.array([need, need + more]), np.zeros(1), age_days=0)

    assert (ends[:, 1] > ends[:, 0]).all()


def autocorrelated(rng, days, mean, sd, alike):
    """Weather of which each day is like the day before. [degC d/d]."""
    steps = rng.standard_normal(days)
    off = np.empty(days)
    off[0] = steps[0]
    for day in range(1, days):
        off[day] = alike * off[day - 1] + np.sqrt(1 - alike**2) * steps[day]
    return np.maximum(mean + sd * off, 0.1)


@pytest.mark.parametrize("alike", [0.0, 0.3, 0.6])
def test_the_error_of_a_mean_is_what_records_scatter_by(alike):
    """The mean of 28 days of an autoregression, over 4,000 records."""
    rng = np.random.default_rng(5)
    records = [autocorrelated(rng, 28, 12.0, 1.0, alike) for _ in range(4000)]
    scatter = np.std([record.mean() for record in records]) / 12.0

    told = float(np.sqrt(np.mean([error_of_mean(r) ** 2 for r in records])))

    # 28 days tell little of how alike they are: the mean square is near, not equal
    assert told == pytest.approx(scatter, rel=0.2)


@pytest.mark.parametrize(
    ("days", "error"), [([12.0] * 28, 0.0), ([0.0] * 28, 0.0), ([3.0, 9.0], 0.0)]
)
def test_a_mean_without_scatter_has_no_error(days, error):
    """Steady, without warmth, or too short to say."""
    assert error_of_mean(np.array(days)) == error


def test_paces_have_the_spread_that_is_asked_for():
    """Probe and record together in the future, the probe alone in the past."""
    pace, past = paces(0.03, 0.04, 9)

    assert (pace.mean(), past.mean()) == pytest.approx((1, 1))
    assert pace.std() == pytest.approx(0.05)
    # the part of the probe that is known where the sum of both is
    assert past.std() == pytest.approx(0.03**2 / 0.05)
    assert np.corrcoef(pace, past)[0, 1] == pytest.approx(1)


@pytest.mark.parametrize("paced", [False, True])
def test_dates_hold_where_the_weather_swings(paced):
    """
    Days of 12 +- 3 that are 0.6 alike; 600 records of 28 days, 20 needs each.

    Going round in the record alone, less than six dates of ten would hold.
    """
    need = HeatRequirement(
        lower_c=10.0, upper_c=None, mean=300.0, sd=30.0, source="from-memory"
    )
    variance, inside = np.log1p(0.01), 0
    rng = np.random.default_rng(3)
    for _ in range(600):
        weather = autocorrelated(rng, 200, 12.0, 3.0, 0.6)
        record = weather[:28]
        factors = paces(0.0, error_of_mean(record) if paced else 0.0, 5)
        course = Course(record, record, *factors)
        ends = first_ends(course, need.needs(FINE), np.zeros(1), age_days=0.0)
        low, _, high = quantiles(ends)
        z = rng.standard_normal(20)
        needs = np.exp(np.log(300.0) - variance / 2 + np.sqrt(variance) * z)
        gained = np.concatenate(([0.0], np.cumsum(weather[28:])))
        came = np.interp(needs, gained, np.arange(gained.size))
        inside += int(((low <= came) & (came <= high)).sum())

    share = inside / (600 * 20)
    assert 0.70 <= share <= 0.85 if paced else share < 0.62
