"""
Thresholds and degree-days from durations, against what others published.

Sources of the rows stand in `tests.science.published_durations`.
"""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.stats import linregress

from monitor.science.fitting import durations, fit_lines
from tests.science.published_durations import (
    DORSALIS,
    GASTROPHYSA,
    KAY,
    SCIODREPOIDES_EGG,
    SCIODREPOIDES_L3,
    SCIODREPOIDES_PUPA,
    VARIVESTIS,
)

HOURS_PER_DAY = 24


def upto(hottest, rows):
    """The rows that are not hotter."""
    return [row for row in rows if row[0] <= hottest]


def table(*rows, days_per_unit=1.0, **more):
    """Rows of (temperature, duration) or (temperature, duration, n)."""
    columns = [np.array(column, dtype=float) for column in zip(*rows, strict=True)]
    columns[1] = columns[1] * days_per_unit
    return durations(*columns, **more)


def test_published_constants_of_a_leaf_beetle():
    """7.1 degC, 304.6: the authors took least squares on rate, to the last digit."""
    found = fit_lines(table(*GASTROPHYSA)).methods.ols_rate

    assert found.lower_threshold == pytest.approx(7.1, abs=0.05)
    assert found.required_degree_days == pytest.approx(304.6, abs=0.05)


@pytest.mark.parametrize(
    ("rows", "animals", "threshold", "hours", "r_squared"),
    [
        (SCIODREPOIDES_EGG, 222, (11.400, 0.368), (929.354, 49.111), 0.8134),
        (SCIODREPOIDES_L3, 29, (9.375, 0.846), (2602.996, 297.464), 0.8199),
        (SCIODREPOIDES_PUPA, 12, (12.535, 1.624), (1207.431, 489.288), 0.8563),
    ],
)
def test_published_line_of_degree_hours_with_its_standard_errors(
    rows, animals, threshold, hours, r_squared
):
    """The manuscript's table: D T on D by ordinary least squares, in hours."""
    chosen = table(*rows)

    found = fit_lines(chosen).methods.ikemoto_ols

    assert (chosen.size, chosen.counted) == (animals, "animals")
    assert (found.lower_threshold, found.lower_threshold_se) == pytest.approx(
        threshold, abs=0.00051
    )
    assert (
        found.required_degree_days,
        found.required_degree_days_se,
    ) == pytest.approx(hours, abs=0.0051)
    assert found.r_squared == pytest.approx(r_squared, abs=0.000051)


@pytest.mark.parametrize(
    ("rows", "a", "b"),
    [
        (SCIODREPOIDES_EGG, -6.045e-3, 7.503e-4),
        (SCIODREPOIDES_L3, -1.879e-3, 2.887e-4),
        (SCIODREPOIDES_PUPA, -0.0031100, 0.0004130),
    ],
)
def test_published_rate_line_of_the_same_animals(rows, a, b):
    """The same repository's script: rate per hour a + b T, four digits."""
    found = fit_lines(table(*rows)).methods.ols_rate

    assert 1 / found.required_degree_days == pytest.approx(b, abs=5.1e-8)
    assert -found.lower_threshold / found.required_degree_days == pytest.approx(
        a, abs=5.1e-7
    )


def test_three_methods_disagree_on_the_same_eggs():
    """4.6 degC between the methods: why a constant is stored with its method."""
    methods = fit_lines(table(*SCIODREPOIDES_EGG)).methods

    assert [
        (m.lower_threshold, m.required_degree_days)
        for m in (methods.ols_rate, methods.ikemoto_ols, methods.ikemoto_rma)
    ] == [
        (pytest.approx(8.057, abs=6e-4), pytest.approx(1332.8, abs=0.06)),
        (pytest.approx(11.400, abs=6e-4), pytest.approx(929.354, abs=6e-3)),
        (pytest.approx(12.6395, abs=6e-5), pytest.approx(768.909, abs=6e-4)),
    ]


def test_published_durations_by_both_lines():
    """Epilachna up to 25 degC; constants computed elsewhere from the same table."""
    methods = fit_lines(table(*upto(25, VARIVESTIS))).methods

    assert methods.ols_rate.lower_threshold == pytest.approx(8.4610, abs=6e-5)
    assert methods.ols_rate.required_degree_days == pytest.approx(368.558, abs=6e-4)
    assert methods.ikemoto_rma.lower_threshold == pytest.approx(8.1860, abs=6e-5)
    assert methods.ikemoto_rma.required_degree_days == pytest.approx(379.407, abs=6e-4)


def test_a_published_line_that_its_own_table_does_not_give():
    """
    Kay (1981) prints rate = 0.09621 T - 1.128 % per hour: L 11.724, K 1039.4 h.

    Least squares on the seven printed means gives 11.439 and 1055.8: the paper fitted
    something else (animals, or other rows). No method here gives its figures, so the
    tolerance is what the two differ by, not what is printed.
    """
    methods = fit_lines(table(*KAY)).methods

    assert methods.ols_rate.lower_threshold == pytest.approx(11.724, abs=0.3)
    assert methods.ols_rate.required_degree_days == pytest.approx(1039.4, rel=0.02)
    assert methods.ols_rate.lower_threshold == pytest.approx(11.4387, abs=6e-5)


def test_published_constants_of_a_fruit_fly_whose_rows_are_not_said():
    """
    Jarosik et al. (2011): 11.5 degC, 21.2 degree-days from Messenger & Flitters' eggs.

    Which rows they took is not said; over the straight part (58 to 90 degF) least
    squares on rate gives 11.58 and 20.12.
    """
    straight = [row for row in DORSALIS if 14 < row[0] < 33]
    rows = table(*straight, days_per_unit=1 / HOURS_PER_DAY)

    found = fit_lines(rows).methods.ols_rate

    assert found.lower_threshold == pytest.approx(11.5, abs=0.15)
    assert found.required_degree_days == pytest.approx(21.2, rel=0.06)


@pytest.mark.parametrize(
    "rows", [GASTROPHYSA, VARIVESTIS, KAY], ids=["gastrophysa", "varivestis", "kay"]
)
def test_lines_and_standard_errors_are_those_of_scipy(rows):
    """`scipy.stats.linregress`, of rate on T and of D T on D; delta method by hand."""
    temperatures, days = np.array(rows, dtype=float).T
    rate, heat = (
        linregress(temperatures, 1 / days),
        linregress(days, days * temperatures),
    )
    covariance = -(rate.stderr**2) * temperatures.mean()
    a, b = rate.intercept, rate.slope
    variance = (
        rate.intercept_stderr**2 / b**2
        + a**2 / b**4 * rate.stderr**2
        - 2 * a / b**3 * covariance
    )

    methods = fit_lines(table(*rows)).methods

    assert methods.ols_rate.lower_threshold == pytest.approx(-a / b)
    assert methods.ols_rate.lower_threshold_se == pytest.approx(math.sqrt(variance))
    assert methods.ols_rate.required_degree_days == pytest.approx(1 / b)
    assert methods.ols_rate.required_degree_days_se == pytest.approx(rate.stderr / b**2)
    assert methods.ols_rate.r_squared == pytest.approx(rate.rvalue**2)
    takai = methods.ikemoto_ols
    assert takai.lower_threshold == pytest.approx(heat.slope)
    assert takai.lower_threshold_se == pytest.approx(heat.stderr)
    assert takai.required_degree_days == pytest.approx(heat.intercept)
    assert takai.required_degree_days_se == pytest.approx(heat.intercept_stderr)


def resampled(draw, method, *, repeats=1000):
    """Mean standard error and true spread of L and of K over seeded draws."""
    found = [
        getattr(fit_lines(durations(*draw())).methods, method) for _ in range(repeats)
    ]
    told = [(f.lower_threshold_se, f.required_degree_days_se) for f in found]
    seen = [(f.lower_threshold, f.required_degree_days) for f in found]
    return np.mean(told, axis=0), np.std(seen, axis=0)


def test_standard_errors_of_the_rate_line_are_the_spread_of_repeats():
    """Residual bootstrap, rates scattered equally: within 6 %."""
    rng = np.random.default_rng(5)
    temperatures = np.repeat([14.0, 17, 20, 23, 26, 29], 6)
    true = (temperatures - 10) / 200

    told, seen = resampled(
        lambda: (temperatures, 1 / (true + rng.normal(0, 0.004, true.size))),
        "ols_rate",
    )

    assert told == pytest.approx(seen, rel=0.06)


@pytest.mark.parametrize("method", ["ikemoto_ols", "ikemoto_rma"])
def test_standard_errors_of_the_takai_lines_are_the_spread_of_repeats(method):
    """Durations that scatter by a share of themselves: within 8 %."""
    rng = np.random.default_rng(6)
    temperatures = np.repeat([14.0, 17, 20, 23, 26, 29], 6)
    true = 200 / (temperatures - 10)

    told, seen = resampled(
        lambda: (temperatures, true * np.exp(rng.normal(0, 0.08, true.size))), method
    )

    assert told == pytest.approx(seen, rel=0.08)


def test_standard_errors_of_the_reduced_major_axis_are_those_of_resampled_eggs():
    """Bootstrap over the 222 eggs themselves: L and K within 20 %."""
    rng = np.random.default_rng(7)
    rows = table(*SCIODREPOIDES_EGG)
    n = rows.weights.astype(int)
    temperatures, hours = np.repeat(rows.temperatures_c, n), np.repeat(rows.days, n)

    def draw():
        taken = rng.integers(0, n.sum(), n.sum())
        # the one egg at 25 C stays, or some draws would have too few temperatures
        taken[0] = n.sum() - 1
        return temperatures[taken], hours[taken]

    told, seen = resampled(draw, "ikemoto_rma", repeats=400)

    assert told == pytest.approx(seen, rel=0.2)


exact = st.tuples(
    st.floats(-5, 18),
    st.floats(15, 3000),
    st.lists(st.integers(1, 60), min_size=3, max_size=12, unique=True),
)


@settings(max_examples=50)
@given(exact)
def test_data_on_the_line_are_recovered_by_all_three(truth):
    """D = K / (T - L) without scatter: L and K come back, standard errors vanish."""
    threshold, required, above = truth
    assume(abs(threshold) > 0.1)  # at L = 0 all D T are equal and have no axis
    temperatures = threshold + np.array(above) / 2

    methods = fit_lines(
        durations(temperatures, required / (temperatures - threshold))
    ).methods

    for found in (methods.ols_rate, methods.ikemoto_ols, methods.ikemoto_rma):
        assert found.lower_threshold == pytest.approx(threshold, abs=1e-5)
        assert found.required_degree_days == pytest.approx(required, rel=1e-5)
        assert found.lower_threshold_se == pytest.approx(0, abs=1e-5)
        assert found.required_degree_days_se == pytest.approx(0, abs=1e-3)


rows_of_a_table = st.lists(
    st.tuples(st.integers(0, 20), st.floats(0.85, 1.15)), min_size=4, max_size=15
)


def scattered(drawn):
    """Durations about L 8 degC, K 150, at steps from 12 degC."""
    temperatures = np.array([12.0 + step for step, _ in drawn])
    factors = np.array([factor for _, factor in drawn])
    assume(np.unique(temperatures).size >= 3)
    return temperatures, factors * 150 / (temperatures - 8)


@settings(max_examples=50)
@given(rows_of_a_table, st.floats(-30, 30))
def test_a_shifted_thermometer_shifts_the_threshold_alone(drawn, shift):
    """All temperatures c higher: L is c higher, K and all standard errors the same."""
    temperatures, days = scattered(drawn)
    assume(np.polyfit(temperatures, 1 / days, 1)[0] > 1e-3)

    here = fit_lines(durations(temperatures, days)).methods
    there = fit_lines(durations(temperatures + shift, days)).methods

    for name in ("ols_rate", "ikemoto_ols"):
        one, other = getattr(here, name), getattr(there, name)
        assume(one is not None and other is not None)
        assert other.lower_threshold == pytest.approx(
            one.lower_threshold + shift, abs=1e-7
        )
        assert other.required_degree_days == pytest.approx(one.required_degree_days)
        assert other.lower_threshold_se == pytest.approx(
            one.lower_threshold_se, rel=1e-6, abs=1e-9
        )


@settings(max_examples=50)
@given(rows_of_a_table, st.floats(0.01, 100))
def test_another_unit_of_time_scales_the_requirement_alone(drawn, factor):
    """In hours K is 24 times as large and L the same, for all three methods."""
    temperatures, days = scattered(drawn)
    assume(np.polyfit(temperatures, 1 / days, 1)[0] > 1e-3)

    here = fit_lines(durations(temperatures, days)).methods
    there = fit_lines(durations(temperatures, days * factor)).methods

    for name in ("ols_rate", "ikemoto_ols", "ikemoto_rma"):
        one, other = getattr(here, name), getattr(there, name)
        assume(one is not None and other is not None)
        assert other.lower_threshold == pytest.approx(one.lower_threshold)
        assert other.required_degree_days == pytest.approx(
            one.required_degree_days * factor
        )


@settings(max_examples=50)
@given(rows_of_a_table, st.randoms(use_true_random=False))
def test_the_order_of_rows_does_not_matter(drawn, random):
    """A shuffled table is the same table."""
    temperatures, days = scattered(drawn)
    assume(np.polyfit(temperatures, 1 / days, 1)[0] > 1e-3)
    order = list(range(days.size))
    random.shuffle(order)

    here = fit_lines(durations(temperatures, days))
    there = fit_lines(durations(temperatures[order], days[order]))

    one, other = here.methods.ols_rate, there.methods.ols_rate
    assert other.lower_threshold == pytest.approx(one.lower_threshold)
    assert other.required_degree_days_se == pytest.approx(one.required_degree_days_se)


def test_a_row_of_n_animals_is_n_rows():
    """A table of individuals: all figures, standard errors included."""
    counted = fit_lines(table(*SCIODREPOIDES_PUPA)).methods
    repeated = fit_lines(
        table(*[(t, d) for t, d, n in SCIODREPOIDES_PUPA for _ in range(n)])
    ).methods

    for name in ("ols_rate", "ikemoto_ols", "ikemoto_rma"):
        one, other = getattr(counted, name), getattr(repeated, name)
        assert other.lower_threshold == pytest.approx(one.lower_threshold)
        assert other.lower_threshold_se == pytest.approx(one.lower_threshold_se)
        assert other.required_degree_days_se == pytest.approx(
            one.required_degree_days_se
        )


def test_means_weighted_by_n_are_numpy_s_weighted_line():
    """One row per temperature: `numpy.polyfit` with weights sqrt(n), 4 - 2 freedom."""
    temperatures, days = np.array(GASTROPHYSA).T
    n = np.array([40.0, 35, 52, 8])
    (b, a), covariance = np.polyfit(temperatures, 1 / days, 1, w=np.sqrt(n), cov=True)

    rows = durations(temperatures, days, n)
    found = fit_lines(rows).methods.ols_rate

    assert (rows.counted, rows.size) == ("means", 4)
    assert found.lower_threshold == pytest.approx(-a / b)
    assert found.required_degree_days_se == pytest.approx(
        math.sqrt(covariance[0, 0]) / b**2
    )


def test_a_thousandfold_n_of_means_makes_no_fit_surer():
    """Means hide the scatter of animals: only the proportions of n count."""
    temperatures, days = np.array(GASTROPHYSA).T
    n = np.array([40.0, 35, 52, 8])

    one, other = (
        fit_lines(durations(temperatures, days, weights)).methods.ikemoto_rma
        for weights in (n, 1000 * n)
    )

    assert other.lower_threshold_se == pytest.approx(one.lower_threshold_se)
    assert other.required_degree_days_se == pytest.approx(one.required_degree_days_se)


def test_what_n_counts_can_be_said():
    """Means of several boxes at one temperature are no animals."""
    rows = table(*SCIODREPOIDES_PUPA, counted="means")

    assert rows.size == len(SCIODREPOIDES_PUPA)


def test_development_that_slows_with_temperature_is_refused():
    """The slope b is below zero: refused in words."""
    rows = table((20, 10), (25, 12), (30, 15))

    with pytest.raises(ValueError, match="does not get faster with temperature"):
        fit_lines(rows)


def test_equal_durations_are_refused():
    """The slope b is zero: no division by it."""
    with pytest.raises(ValueError, match="does not get faster"):
        fit_lines(table((20, 10), (25, 10), (30, 10)))


def test_rows_beyond_the_fastest_temperature_are_noted():
    """They are not dropped in silence, nor kept in silence."""
    notes = fit_lines(table(*VARIVESTIS)).notes

    assert len(notes) == 1
    assert "fastest at 27.5 °C, not at the hottest 32.5 °C" in notes[0]


def test_a_threshold_where_animals_developed_is_noted():
    """15 degC, 100 d, and a threshold above it: the rows lie on no line."""
    notes = fit_lines(table((15, 100), (20, 80), (25, 20), (30, 5))).notes

    assert any(n.startswith("ols_rate: the threshold") for n in notes)


def test_a_takai_line_without_positive_degree_days_is_no_answer():
    """One long duration in the middle: None and a note, no number."""
    fit = fit_lines(table((10, 2), (25, 20), (30, 1), (31, 0.9), (32, 0.8)))

    assert fit.methods.ikemoto_ols is None
    assert any(n.startswith("ikemoto_ols: no constants") for n in fit.notes)


@pytest.mark.parametrize(
    ("columns", "words"),
    [
        (([20, 25], [10, 8]), r"3 or more different temperatures, found 2 \(20, 25\)"),
        (([20, 20, 25, 25], [10, 9, 8, 7]), "found 2"),
        (([], []), r"found 0 \(none\)"),
        (([20, 25, 30], [10, 8]), "equally long"),
        (([20, 25, math.nan], [10, 8, 7]), "finite"),
        (([20, 25, 30], [10, math.inf, 7]), "finite"),
        (([20, 25, 30], [10, 0, 7]), "above zero"),
        (([20, 25, 30], [10, -8, 7]), "above zero"),
        (([20, 25, 30], [10, 8, 7], [3, 0, 3]), "above zero"),
    ],
)
def test_impossible_tables_are_refused(columns, words):
    """A programmer's mistake, or too little to fit."""
    with pytest.raises(ValueError, match=words):
        durations(*(np.array(column, dtype=float) for column in columns))
