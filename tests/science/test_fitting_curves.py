"""
Rate models fitted to published durations, against fits made elsewhere.

Rows stand in `tests.science.published_durations`.
"""

import random

import numpy as np
import pytest
from scipy.optimize import curve_fit
from scipy.stats import norm

from monitor.science.fit_starts import WAYS
from monitor.science.fitting import durations
from monitor.science.nonlinear_fit import fit_curve
from monitor.science.rate_models import MODELS
from tests.science.published_durations import (
    ABERRANS,
    ARMIGERA,
    BREVIPALPIS,
    DORSALIS,
    ERYSIMI,
    KAY,
    PERSICAE,
    VARIVESTIS,
)

DAYS, HOURS = 1.0, 1 / 24


def table(rows, unit=DAYS, **more):
    """Rows of (temperature, duration) or (temperature, duration, n)."""
    columns = [np.array(column, dtype=float) for column in zip(*rows, strict=True)]
    columns[1] = columns[1] * unit
    return durations(*columns, **more)


def numbers(fit):
    """The parameters alone."""
    return [p.value for p in fit.parameters]


def test_every_rate_model_can_be_fitted():
    """A new model needs a way to be sought, or `calc fit` would fail on it."""
    assert set(WAYS) == set(MODELS)


# Unweighted least squares on rate, computed elsewhere with another SciPy routine and
# many starts from the same rows. a in 1e-4; last the residual sum of squares.
BRIERE = [
    (ARMIGERA, DAYS, (0.759121, 12.2231, 39.4737), 4.78842e-4,
     (1.20007, 10.1821, 37.5198, 3.6475), 1.24039e-4),
    (ABERRANS, HOURS, (1.13735, 10.3780, 36.7821), 1.1286e-4,
     (1.08005, 10.5627, 36.9538, 1.9078), 1.11255e-4),
    (BREVIPALPIS, HOURS, (4.91132, 11.3580, 35.5696), 3.26602e-3,
     (5.95241, 11.0630, 34.7001, 2.3580), 3.10746e-3),
    (DORSALIS, HOURS, (5.58114, 11.0314, 38.7460), 2.46755e-2,
     (9.29104, 9.1006, 36.7285, 4.0489), 1.6645e-3),
    (ERYSIMI, DAYS, (0.924672, 4.1863, 37.1019), 1.17219e-4,
     (1.05163, 3.3609, 36.6131, 2.2837), 9.76067e-5),
    (PERSICAE, DAYS, (0.923386, 1.9087, 34.0443), 2.83293e-4,
     (1.50657, -0.9981, 31.3753, 3.6870), 1.71947e-4),
    (VARIVESTIS, DAYS, (0.268233, 5.6318, 36.6194), 1.02784e-5,
     (0.244036, 5.9059, 37.0611, 1.8642), 1.02117e-5),
]  # fmt: skip


@pytest.mark.parametrize(("rows", "unit", "one", "rest", "two", "less"), BRIERE)
def test_briere_fits_are_those_made_elsewhere(rows, unit, one, rest, two, less):  # noqa: PLR0917 - a row of the table
    """Both forms on seven published tables, every printed digit."""
    first = fit_curve("briere-1", table(rows, unit))
    second = fit_curve("briere-2", table(rows, unit))

    for fit, expected, residual_sum in ((first, one, rest), (second, two, less)):
        a, *others = numbers(fit)
        assert fit.converged
        assert [a * 1e4, *others] == pytest.approx(expected, rel=2e-5, abs=6e-5)
        assert fit.residual_sum == pytest.approx(residual_sum, rel=1e-5)


@pytest.mark.parametrize(
    ("rows", "unit", "residual_sum"),
    [
        (ARMIGERA, DAYS, 1.84142e-4),
        (ABERRANS, HOURS, 1.29999e-4),
        (BREVIPALPIS, HOURS, 3.88267e-3),
        (DORSALIS, HOURS, 4.80305e-3),
        (VARIVESTIS, DAYS, 1.29349e-5),
    ],
)
def test_lactin_fits_are_no_worse_than_those_made_elsewhere(rows, unit, residual_sum):
    """
    Lactin-2 has two valleys; where the two fits differ, this one lies lower.

    On Bactrocera they are the same fit. On the others the fit made elsewhere sits
    beside the lowest residual sum, so that its parameters are no check.
    """
    fit = fit_curve("lactin-2", table(rows, unit))

    assert fit.converged
    assert fit.residual_sum < residual_sum * 1.00001


def test_the_lactin_fit_on_which_both_agree():
    """Bactrocera dorsalis: four parameters to the printed digits."""
    fit = fit_curve("lactin-2", table(DORSALIS, HOURS))

    assert numbers(fit) == pytest.approx(
        [0.027834, 39.5299, 2.1244, -1.33771], rel=2e-5
    )


def test_a_published_briere_fit_lies_within_its_standard_errors():
    """
    Noor-ul-Ane et al. (2018) print a 3.442e-5, T0 8.205, Tm 38.657, m 3.910.

    Their durations were digitised from a figure and summed over three stages here, so
    that the fit cannot be the same: each parameter within one standard error.
    """
    rows = [(17.5, 92.2), (20, 55.9), (25, 32.6), (27.5, 30.1), (30, 26.8),
            (35, 21.6), (37.5, 25.5)]  # fmt: skip

    fit = fit_curve("briere-2", table(rows))

    for parameter, printed in zip(
        fit.parameters, (3.442e-5, 8.205, 38.657, 3.910), strict=True
    ):
        assert parameter.value == pytest.approx(printed, abs=parameter.standard_error)


# Parameters of published fits: Lactin et al. (1995) Leptinotarsa L1, Aghdam et al.
# (2009) Cydia egg, Noor-ul-Ane et al. (2018), Regniere et al. (2012) Dendroctonus and
# Choristoneura eggs; the linear and the Schoolfield ones are invented.
TRUE = {
    "linear": (10.0, 200.0),
    "briere-1": (0.0001453, 9.645, 37.6185),
    "briere-2": (3.442e-5, 8.205, 38.657, 3.91),
    "logan-6": (0.545306, 0.153768, 38.955903, 6.458533),
    "lactin-1": (0.154034, 38.953357, 6.467896),
    "lactin-2": (0.096314, 44.51412, 10.074502, -0.238647),
    "sharpe-schoolfield-high": (0.16, 16000.0, 305.0, 80000.0),
    "taylor": (0.19, 29.7, 9.5),
}
GRID = np.array([12.0, 15, 18, 21, 24, 27, 30, 33, 35, 37])


@pytest.mark.parametrize("name", MODELS)
def test_rates_of_a_model_give_its_parameters_back(name):
    """Without scatter: found from the rows alone, with no hint where to begin."""
    days = 1 / MODELS[name].formula(GRID, TRUE[name])

    fit = fit_curve(name, durations(GRID, days))

    assert fit.converged
    assert numbers(fit) == pytest.approx(TRUE[name], rel=1e-5)
    assert [p.standard_error for p in fit.parameters] == pytest.approx(
        [0] * len(fit.parameters), abs=1e-3
    )


@pytest.mark.parametrize(
    ("name", "rows", "unit"),
    [
        ("linear", VARIVESTIS, DAYS),
        ("briere-2", DORSALIS, HOURS),
        ("lactin-1", KAY, HOURS),
        ("lactin-2", ERYSIMI, DAYS),
        ("sharpe-schoolfield-high", KAY, HOURS),
        ("taylor", PERSICAE, DAYS),
    ],
)
def test_parameters_and_standard_errors_are_those_of_scipy(name, rows, unit):
    """`scipy.optimize.curve_fit`, begun beside the result, comes back to it."""
    chosen = table(rows, unit)
    fit = fit_curve(name, chosen)

    values, covariance = curve_fit(
        lambda t, *p: MODELS[name].formula(t, p),
        chosen.temperatures_c,
        chosen.rates,
        p0=[value * 1.001 for value in numbers(fit)],
        ftol=1e-13,
        xtol=1e-13,
    )

    assert numbers(fit) == pytest.approx(values, rel=1e-4)
    assert [p.standard_error for p in fit.parameters] == pytest.approx(
        np.sqrt(np.diag(covariance)), rel=5e-3
    )


def test_aicc_differs_as_likelihoods_do():
    """-2 ln L of normal residuals by SciPy, plus the penalty: equal differences."""
    chosen = table(ERYSIMI)
    n = chosen.size

    def by_likelihood(fit):
        residuals = fit.rates(chosen.temperatures_c) - chosen.rates
        spread = np.sqrt((residuals @ residuals) / n)
        count = len(fit.parameters) + 1
        fall = norm.logpdf(residuals, scale=spread).sum()
        return -2 * fall + 2 * count + 2 * count * (count + 1) / (n - count - 1)

    one, two = (fit_curve(name, chosen) for name in ("briere-1", "lactin-2"))

    assert one.aicc - two.aicc == pytest.approx(by_likelihood(one) - by_likelihood(two))


def test_a_row_of_n_animals_is_n_rows_of_a_curve():
    """Weights and degrees of freedom alike; order does not matter either."""
    counted = [(15, 40, 2), (15, 44, 1), (20, 21, 3), (25, 13, 2), (30, 10, 1),
               (33, 10.5, 2), (35, 14, 1)]  # fmt: skip
    repeated = [(t, d) for t, d, n in counted for _ in range(n)]
    random.Random(3).shuffle(repeated)  # noqa: S311 - a repeatable order

    one = fit_curve("briere-1", table(counted))
    other = fit_curve("briere-1", table(repeated))

    assert (one.rows, one.observations, other.rows) == (7, 12, 12)
    assert numbers(other) == pytest.approx(numbers(one), rel=1e-6)
    assert [p.standard_error for p in other.parameters] == pytest.approx(
        [p.standard_error for p in one.parameters], rel=1e-5
    )
    assert other.residual_sum == pytest.approx(one.residual_sum)
    assert other.aicc == pytest.approx(one.aicc)


def test_parameters_that_the_rows_do_not_decide_are_said():
    """Logan-6 on these eggs shows phi (1 - rho dT) only: no standard error is given."""
    fit = fit_curve("logan-6", table(DORSALIS, HOURS))

    assert not fit.converged
    assert fit.notes == ("the rows do not tell phi, rho and dT apart",)
    assert all(p.standard_error is None for p in fit.parameters)


def test_a_parameter_at_the_limit_of_the_search_is_said():
    """A sharp drop at the hottest row: Tm cannot lie below where animals developed."""
    rows = [(10, 100), (15, 45), (20, 25), (25, 18), (30, 14), (35, 5000)]

    fit = fit_curve("briere-2", table(rows))

    assert not fit.converged
    assert any("Tm went to the limit" in note for note in fit.notes)


def test_too_few_temperatures_for_the_parameters_are_refused():
    """Four parameters through three temperatures are no fit."""
    with pytest.raises(
        ValueError,
        match=r"briere-2 has 4 parameters \(a, T0, Tm, m\): .* found 3 and 3",
    ):
        fit_curve("briere-2", table([(15, 50), (20, 30), (25, 20)]))


def test_as_many_rows_as_parameters_leave_no_scatter():
    """Three rows, three parameters: standard errors would be 0 / 0."""
    with pytest.raises(ValueError, match="4 or more rows, found 3 and 3"):
        fit_curve("taylor", table([(15, 50), (20, 30), (25, 20)]))


def test_few_rows_have_no_aicc():
    """With n = 5 and four parameters counted the small-sample term divides by zero."""
    fit = fit_curve("taylor", table([(15, 50), (20, 30), (25, 20), (30, 18), (33, 21)]))

    assert fit.converged
    assert fit.aicc is None


def test_an_unknown_model_is_refused():
    """With the names that there are."""
    with pytest.raises(ValueError, match=r"no rate model 'briere' .*briere-1"):
        fit_curve("briere", table(VARIVESTIS))


def test_rows_that_only_fall_are_fitted_too():
    """Starts do not hang on a rising part: a bell has a falling side."""
    rows = [(t, 1 / (0.3 * np.exp(-(((t - 20) / 8) ** 2) / 2))) for t in range(22, 36)]

    fit = fit_curve("taylor", table(rows))

    assert numbers(fit) == pytest.approx([0.3, 20, 8], rel=1e-4)
