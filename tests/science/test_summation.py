"""Rate summation over readings: against adaptive quadrature, laws, refusals."""

import warnings
from datetime import timedelta
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.integrate import quad

from monitor.science.curve import PIECE
from monitor.science.degree_days import integrate
from monitor.science.rate_models import model
from monitor.science.summation import (
    ACCURACY,
    develop,
    mean_rates,
    with_missing,
)
from tests.science import published_rates as published

HOUR = timedelta(hours=1)
HOUR_US = 3_600_000_000
DAY = timedelta(days=1)

FITS = {
    "linear": model("linear").fitted({"T0": 10.3, "K": 76.9}),
    "sharpe-schoolfield-high": model("sharpe-schoolfield-high").fitted(
        published.KIM_2001["pupa"]
    ),
    # the steepest fall that was published: within a tenth of a degree
    "lactin-2 steep": model("lactin-2").fitted(
        {"rho": 0.0012, "Tm": 43.2127, "dT": 0.0957, "lambda": -1.0023}
    ),
}
FITS |= {
    f"{source} {name}": model(name).fitted(values)
    for source, stage, name, values, _ in published.fits()
    if (source, stage) in {("aghdam", "all"), ("lactin", "L3")}
}

any_fit = st.sampled_from(sorted(FITS)).map(FITS.__getitem__)
temperatures = st.floats(-20, 60)


SECONDS = st.integers(1, 7200)


@st.composite
def curves(draw, *, most=30, spacing=SECONDS):
    """Times and temperatures; neighbours from a second to two hours apart."""
    count = draw(st.integers(2, most))
    spans = draw(st.lists(spacing, min_size=count - 1, max_size=count - 1))
    values = draw(st.lists(temperatures, min_size=count, max_size=count))
    times = np.cumsum([0, *spans]).astype(np.int64) * 1_000_000
    return times, np.array(values, dtype=np.float64)


def total(curve, fit, max_gap=DAY):
    return develop(*curve, fit, max_gap=max_gap)


def by_quadrature(fit, one, other):
    """The mean rate from one temperature to another by SciPy, cut at the corners."""
    low, high = min(one, other), max(one, other)
    marks = [*fit.form.corners_c, fit.form.optimum_c or low]
    cuts = sorted({low, high, *(at for at in marks if low < at < high)})
    with warnings.catch_warnings():
        # it warns that it cannot tell the last digits apart, which is the aim
        warnings.simplefilter("ignore")
        parts = [
            quad(fit.at, a, b, epsabs=0, epsrel=1e-13, limit=500)[0]
            for a, b in pairwise(cuts)
        ]
    return sum(parts) / (high - low)


@pytest.mark.parametrize("name", FITS)
def test_mean_rates_agree_with_adaptive_quadrature(name):
    """
    Long and short ways, many ending near a corner: within the accuracy stated.

    Half of them end from a hundred-thousandth of a degree to ten degrees off a corner.
    """
    fit = FITS[name]
    random = np.random.default_rng(11)
    marks = [*fit.form.corners_c, fit.form.optimum_c or 20.0]
    away = random.choice([-1, 1], (2, 40)) * 10 ** random.uniform(-5, 1, (2, 40))
    ends = random.uniform(-5, 50, (2, 40))
    ends[1, ::2] = ends[0, ::2] + random.normal(0, 0.1, 20)
    one, other = np.hstack([ends, random.choice(marks, (2, 40)) + away])

    got = mean_rates(one, other, fit)

    expected = [by_quadrature(fit, a, b) for a, b in zip(one, other, strict=True)]
    top = fit.peak or fit.at(50)
    assert np.abs(got - expected).max() <= ACCURACY * top


@given(curve=curves(), lower=st.floats(0, 20))
def test_the_linear_model_is_degree_days_over_the_requirement(curve, lower):
    """Exactly what the sum of degree-days without an upper threshold gives."""
    fit = model("linear").fitted({"T0": lower, "K": 250})

    got = total(curve, fit)

    heat = integrate(*curve, lower_c=lower, max_gap=DAY)
    assert got.fraction == pytest.approx(heat.degree_days / 250, rel=1e-9, abs=1e-15)
    assert (got.measured, got.missing) == (heat.measured, heat.missing)


@pytest.mark.parametrize("name", FITS)
def test_a_steady_temperature_is_no_special_case(name):
    """A day at one temperature is its rate, also at every corner."""
    fit = FITS[name]
    times = np.array([0, 7, 24], dtype=np.int64) * HOUR_US

    for celsius in (15.0, 25.0, *fit.form.corners_c):
        got = total((times, np.full(3, celsius)), fit)
        assert got.fraction == pytest.approx(fit.at(celsius), rel=1e-12)


@given(fit=any_fit, celsius=temperatures, power=st.integers(-14, -3))
def test_nearly_steady_is_nearly_its_rate(fit, celsius, power):
    """No cancellation, however close two readings are."""
    step = 10.0**power
    one, other = np.array([celsius]), np.array([celsius + step])

    got = mean_rates(one, other, fit)[0]

    ends = fit.rates(np.array([celsius, celsius + step]))
    slack = 1e-4 * (fit.peak or 1)
    assert ends.min() - slack <= got <= ends.max() + slack


@given(curve=curves(), fit=any_fit)
def test_never_negative_and_never_above_the_highest_rate(curve, fit):
    """0 <= development <= peak * days."""
    got = total(curve, fit)

    assert got.fraction >= 0
    if fit.peak is not None:
        assert got.fraction <= fit.peak * (got.measured / DAY) * (1 + 1e-8)


@given(curve=curves(), fit=any_fit, warmer=st.floats(0, 10))
def test_below_the_optimum_warmer_is_never_slower(curve, fit, warmer):
    """While the warmer curve stays below the optimum too."""
    times, values = curve
    ceiling = (fit.form.optimum_c or 60.0) - warmer
    values = np.minimum(values, ceiling)

    cool, warm = total((times, values), fit), total((times, values + warmer), fit)

    assert cool.fraction <= warm.fraction * (1 + 1e-9) + 1e-12


@given(curve=curves(), fit=any_fit, data=st.data())
def test_sums_of_adjoining_spans_add_up(curve, fit, data):
    """Cut at any readings: the parts make the whole."""
    times, values = curve
    last = len(times) - 1
    cuts = data.draw(st.sets(st.integers(0, last)))

    parts = [
        total((times[a : b + 1], values[a : b + 1]), fit, 2 * HOUR)
        for a, b in pairwise(sorted({0, last} | cuts))
    ]

    whole = total(curve, fit, 2 * HOUR)
    got = sum(part.fraction for part in parts)
    assert got == pytest.approx(whole.fraction, rel=1e-7, abs=1e-9)
    assert sum((p.measured for p in parts), timedelta(0)) == whole.measured


@given(curve=curves(), fit=any_fit)
def test_the_way_back_is_as_long_as_the_way_there(curve, fit):
    """Turning time round changes nothing."""
    times, values = curve
    back = (times[-1] - times[::-1], values[::-1])

    got = total(back, fit).fraction

    assert got == pytest.approx(total(curve, fit).fraction, rel=1e-12, abs=1e-15)


@given(
    curve=curves(most=40, spacing=st.integers(600, 1199)), fit=any_fit, data=st.data()
)
def test_bounds_contain_the_truth_when_readings_are_lost(curve, fit, data):
    """Any inner readings removed: low <= sum of the complete series <= high."""
    times, values = curve
    inner = st.lists(st.booleans(), min_size=len(times) - 2, max_size=len(times) - 2)
    kept = np.array([True, *data.draw(inner), True])
    allowed = timedelta(seconds=1199)  # two pairs in one are at least 1,200 s
    assume(fit.peak is not None)

    truth = total(curve, fit, allowed)
    left = total((times[kept], values[kept]), fit, allowed)
    got = with_missing(left, fit)

    assert truth.missing == timedelta(0)
    assert got.low - 1e-9 <= truth.fraction <= got.high + 1e-9
    assert got.coverage == pytest.approx(left.measured / truth.measured)


def test_a_gap_is_missing_not_zero_and_not_carried_forward():
    """Six silent hours in eight: a quarter covered, the mean for the rest."""
    fit = FITS["aghdam taylor"]
    times = np.array([0, 1, 7, 8], dtype=np.int64) * HOUR_US

    got = total((times, np.full(4, 25.0)), fit, 2 * HOUR)
    bounds = with_missing(got, fit)

    assert (got.measured, got.missing) == (2 * HOUR, 6 * HOUR)
    assert bounds.low == got.fraction == pytest.approx(fit.at(25) * 2 / 24)
    assert bounds.estimate == pytest.approx(fit.at(25) * 8 / 24)
    assert bounds.high == pytest.approx(got.fraction + 0.0316 * 6 / 24)
    assert bounds.coverage == 0.25


def test_a_rate_that_rises_for_ever_has_no_upper_bound():
    """The linear model alone: high is None. Unmeasured time has no estimate."""
    fit = FITS["linear"]
    times = np.array([0, 2 * HOUR_US], dtype=np.int64)

    silent = total((times, np.full(2, 25.0)), fit, HOUR)
    got = with_missing(silent, fit)

    assert (silent.measured, silent.missing) == (timedelta(0), 2 * HOUR)
    assert (got.estimate, got.low, got.high, got.coverage) == (None, 0, None, 0)


def test_pieces_lose_no_pair_between_them():
    """Across the edges of pieces the sum is that of all pairs."""
    fit, count = FITS["aghdam briere-1"], 2 * PIECE + 5
    times = np.arange(count, dtype=np.int64) * 60_000_000
    values = 22 + 12 * np.sin(np.arange(count) / 100)
    halves = [
        total((times[part], values[part]), fit)
        for part in (slice(0, 5001), slice(5000, count))
    ]

    got = total((times, values), fit)

    assert got.measured == timedelta(minutes=count - 1)
    assert got.fraction == pytest.approx(sum(half.fraction for half in halves))


def test_temperatures_far_outside_any_house_are_integrated_too():
    """From -150 to 250 degC: cells reach as far as the readings do."""
    fit = FITS["aghdam taylor"]

    got = mean_rates(np.array([-150.0]), np.array([250.0]), fit)[0]

    # a whole bell: Rm To sqrt(2 pi) over the width
    assert got == pytest.approx(0.0316 * 8.599 * np.sqrt(2 * np.pi) / 400, rel=1e-9)


@pytest.mark.parametrize(
    ("hours", "values", "words"),
    [
        ([0, 1, 1], [20, 21, 22], "index 2 holds 3600000000 us after 3600000000 us"),
        ([0, 1, 2], [20, np.nan, 22], "index 1 holds nan"),
        ([0], [20], "at least two readings are needed, got 1"),
        ([0, 1], [20], "one length"),
    ],
)
def test_arrays_that_mean_nothing_are_refused(hours, values, words):
    """The same words as for degree-days, with index and value."""
    times = np.array(hours, dtype=np.int64) * HOUR_US

    with pytest.raises(ValueError, match=words):
        total((times, np.array(values, dtype=np.float64)), FITS["linear"])


def test_a_gap_of_nothing_is_refused():
    """No two readings stand so close."""
    times, values = np.array([0, HOUR_US]), np.array([20.0, 20.0])

    with pytest.raises(ValueError, match="max_gap must be above zero"):
        total((times, values), FITS["linear"], timedelta(0))
