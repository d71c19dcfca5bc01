"""Rate models: published fits that must agree, roots and optima, laws, refusals."""

import math
from collections import defaultdict

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.science.rate_models import MODELS, model
from tests.science import published_rates as published
from tests.science.published_rates import TEMPERATURES, fits

FITTED = [model(name).fitted(values) for _, _, name, values, _ in fits()]
FITTED += [
    model("sharpe-schoolfield-high").fitted(p) for p in published.KIM_2001.values()
]

EQUATIONS = {
    "linear": lambda t, t0, k: (t - t0) / k,
    "briere-1": lambda t, a, t0, tm: a * t * (t - t0) * math.sqrt(tm - t),
    "briere-2": lambda t, a, t0, tm, m: a * t * (t - t0) * (tm - t) ** (1 / m),
    "logan-6": lambda t, phi, rho, tm, dt: (
        phi * (math.exp(rho * t) - math.exp(rho * tm - (tm - t) / dt))
    ),
    "lactin-1": lambda t, rho, tm, dt: (
        math.exp(rho * t) - math.exp(rho * tm - (tm - t) / dt)
    ),
    "lactin-2": lambda t, rho, tm, dt, lamda: (
        math.exp(rho * t) - math.exp(rho * tm - (tm - t) / dt) + lamda
    ),
    "sharpe-schoolfield-high": lambda t, p25, ha, th, hh: (
        p25
        * ((t + 273.15) / 298)
        * math.exp(ha / 1.987 * (1 / 298 - 1 / (t + 273.15)))
        / (1 + math.exp(hh / 1.987 * (1 / th - 1 / (t + 273.15))))
    ),
    "taylor": lambda t, rm, tm, to: rm * math.exp(-(((t - tm) / to) ** 2) / 2),
}
"""The equations as they are printed, scalar and without any care."""


@pytest.mark.parametrize(
    ("source", "stage", "name", "given", "rates"),
    fits(),
    ids=[f"{f[0]}-{f[1]}-{f[2]}" for f in fits()],
)
def test_published_fits_give_the_rates_computed_elsewhere(
    source, stage, name, given, rates
):
    """At 15, 20, 25 and 30 degC, to the six digits that were kept."""
    fitted = model(name).fitted(given)

    got = [fitted.at(t) for t in TEMPERATURES]

    assert got == pytest.approx(rates, rel=6e-6)


@pytest.mark.parametrize("source", published.AGREEMENT)
def test_models_fitted_to_the_same_animals_agree(source):
    """Between 20 and 30 degC highest and lowest differ by no more than is stated."""
    groups = defaultdict(list)
    for found, stage, name, values, _ in fits():
        if found == source:
            groups[stage].append(model(name).fitted(values))

    spreads = [
        max(f.at(t) for f in group) / min(f.at(t) for f in group)
        for group in groups.values()
        for t in (20, 25, 30)
    ]

    assert len(groups) >= 2
    assert all(len(group) >= 2 for group in groups.values())
    assert 1 < max(spreads) <= published.AGREEMENT[source]


def test_logan_and_lactin_of_one_paper_agree_within_a_thousandth():
    """Egg and three instars, four temperatures each: the strongest block there is."""
    pairs = defaultdict(dict)
    for source, stage, name, values, _ in fits():
        if source == "lactin" and stage != "L4":
            pairs[stage][name] = model(name).fitted(values)

    for pair in pairs.values():
        for t in TEMPERATURES:
            same = pair["lactin-1"].at(t)
            assert pair["logan-6"].at(t) == pytest.approx(same, rel=1e-3)
    assert len(pairs) == 4


def test_a_misprint_shows_by_its_neighbours():
    """Logan-6 of the fourth instar, phi 0.783492: with 10.783492 it agrees."""
    typed = dict(published.LACTIN_L4_LOGAN)
    mended = typed | {"phi": 10.783492}

    assert model("logan-6").fitted(typed).at(20) == pytest.approx(0.0120, abs=5e-5)
    assert model("logan-6").fitted(mended).at(20) == pytest.approx(0.165189, rel=0.002)


@pytest.mark.parametrize("stage", published.KIM_2001)
def test_sharpe_and_schoolfield_as_written(stage):
    """Kim et al. 2001: half inactive at TH, nearly p25 at 25 degC, the equation."""
    given = published.KIM_2001[stage]
    fitted = model("sharpe-schoolfield-high").fitted(given)

    half = fitted.at(given["TH"] - 273.15)
    active = (
        given["p25"]
        * (given["TH"] / 298)
        * math.exp(given["HA"] / 1.987 * (1 / 298 - 1 / given["TH"]))
    )

    assert half == pytest.approx(active / 2, rel=1e-12)
    assert 0.8 * given["p25"] < fitted.at(25) < 1.02 * given["p25"]
    for t in (5, 15, 22.5, 30, 35, 40):
        expected = EQUATIONS["sharpe-schoolfield-high"](t, *given.values())
        assert fitted.at(t) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    "fitted", FITTED, ids=lambda f: f"{f.model.name}-{f.values[0]:g}"
)
def test_rates_are_the_printed_equation_or_zero(fitted):
    """Everywhere the printed equation where that is positive inside the thresholds."""
    corners = fitted.form.corners_c
    low = corners[0] if fitted.model.name in {"linear", "lactin-2"} else -math.inf
    if fitted.model.name.startswith("briere"):
        low = max(fitted.values[1], 0)
    high = math.inf if fitted.model.name == "linear" or not corners else corners[-1]
    points = np.linspace(-20, 60, 1601)

    got = fitted.rates(points)

    inside = (points > low) & (points < high)
    equation = EQUATIONS[fitted.model.name]
    expected = [equation(t, *fitted.values) for t in points[inside]]
    assert got[inside] == pytest.approx(np.array(expected), rel=1e-9, abs=1e-13)
    assert (got[~inside] == 0).all()
    assert inside.any()


@pytest.mark.parametrize("stage", published.MIRONIDIS_ROOTS)
def test_thresholds_of_lactin_2_are_its_roots(stage):
    """Three stages of one paper, computed elsewhere to a thousandth of a degree."""
    lower, upper, optimum = published.MIRONIDIS_ROOTS[stage]
    given = next(f[3] for f in fits() if f[:3] == ("mironidis", stage, "lactin-2"))

    form = model("lactin-2").fitted(given).form

    assert form.corners_c == pytest.approx((lower, upper), abs=6e-4)
    if optimum is not None:
        assert form.optimum_c == pytest.approx(optimum, abs=6e-4)


@pytest.mark.parametrize(("name", "given", "optimum"), published.BRIERE_OPTIMA)
def test_optimum_of_briere(name, given, optimum):
    """To the four decimals that were computed elsewhere."""
    assert model(name).fitted(given).form.optimum_c == pytest.approx(optimum, abs=6e-5)


def test_a_fit_gives_the_days_that_were_observed():
    """Briere-2 of Helicoverpa armigera against the paper's points, within 9 %."""
    given, observed = published.NOOR_2018
    fitted = model("briere-2").fitted(given)

    for temperature, days in observed.items():
        assert 1 / fitted.at(temperature) == pytest.approx(days, rel=0.09)


def test_briere_1_is_briere_2_with_the_square_root():
    """The two names are one formula."""
    one = model("briere-1").fitted({"a": 2e-5, "T0": 9.6, "Tm": 36.6})
    two = model("briere-2").fitted({"a": 2e-5, "T0": 9.6, "Tm": 36.6, "m": 2})

    points = np.linspace(0, 40, 401)
    assert one.rates(points).tolist() == two.rates(points).tolist()


@st.composite
def any_fit(draw):
    """A model with parameters as fits may have them, good and bad."""
    name = draw(st.sampled_from(sorted(MODELS)))
    lower, width = draw(st.floats(-5, 18)), draw(st.floats(1, 40))
    rho = draw(st.floats(0.0005, 0.2))
    limit, steep = draw(st.floats(25, 50)), draw(st.floats(0.05, 1 / rho * 0.99))
    given = {
        "linear": {"T0": lower, "K": draw(st.floats(10, 3000))},
        "briere-2": {
            "a": draw(st.floats(1e-6, 1e-3)),
            "T0": lower,
            "Tm": max(lower, 0) + width,
            "m": draw(st.floats(0.5, 8)),
        },
        "lactin-2": {
            "rho": rho,
            "Tm": limit,
            "dT": min(steep, 20),
            "lambda": draw(st.floats(-1, 0.05)),
        },
        "sharpe-schoolfield-high": {
            "p25": draw(st.floats(0.001, 1)),
            "HA": draw(st.floats(3000, 40000)),
            "TH": draw(st.floats(295, 318)),
            "HH": draw(st.floats(30000, 250000)),
        },
        "taylor": {
            "Rm": draw(st.floats(0.001, 1)),
            "Tm": draw(st.floats(15, 40)),
            "To": draw(st.floats(0.5, 20)),
        },
    }
    lactin = given["lactin-2"]
    given["lactin-1"] = {key: lactin[key] for key in ("rho", "Tm", "dT")}
    given["logan-6"] = given["lactin-1"] | {"phi": draw(st.floats(0.001, 20))}
    given["briere-1"] = {key: given["briere-2"][key] for key in ("a", "T0", "Tm")}
    try:
        return model(name).fitted(given[name])
    except ValueError as error:
        assert "no rate above zero" in str(error)  # noqa: PT017 - lactin-2 alone
        return model("lactin-1").fitted(given["lactin-1"])


@given(fitted=any_fit(), points=st.lists(st.floats(-273.15, 1000), min_size=1))
def test_rates_are_finite_never_negative_and_never_above_the_peak(fitted, points):
    """At any temperature that there is, and the same one by one."""
    got = fitted.rates(np.array(points))

    assert np.isfinite(got).all()
    assert (got >= 0).all()
    if fitted.peak is not None:
        assert (got <= fitted.peak * (1 + 1e-9)).all()
    assert got.tolist() == [fitted.at(t) for t in points]


@given(fitted=any_fit(), beyond=st.floats(1e-9, 100))
def test_nothing_develops_outside_the_thresholds(fitted, beyond):
    """Where the model has thresholds, rates are exactly zero on both sides."""
    name, corners = fitted.model.name, fitted.form.corners_c
    hot = name.startswith(("briere", "logan", "lactin"))
    cold = name.startswith(("briere", "linear")) or len(corners) == 2

    if hot:
        assert fitted.at(corners[-1] + beyond) == 0
    if cold:
        # a lower root may lie where no temperature is
        assert fitted.rates(np.array([corners[0] - beyond])) == [0]
    if name in {"taylor", "sharpe-schoolfield-high"}:
        assert corners == ()


@given(fitted=any_fit(), one=st.floats(-10, 60), other=st.floats(-10, 60))
def test_rates_rise_to_the_optimum_and_fall_after_it(fitted, one, other):
    """Each curve has one hill."""
    best = fitted.form.optimum_c
    low, high = sorted((one, other))
    top = fitted.peak or fitted.at(60)

    if best is None or high <= best:
        assert fitted.at(low) <= fitted.at(high) + 1e-12 * top
    elif low >= best:
        assert fitted.at(low) >= fitted.at(high) - 1e-12 * top


def test_near_the_upper_threshold_there_is_no_cancellation():
    """Lactin-1 a billionth of a degree below Tm: slope times distance, to 1e-6."""
    given = {"rho": 0.154034, "Tm": 38.953357, "dT": 6.467896}
    fitted = model("lactin-1").fitted(given)

    got = fitted.at(38.953357 - 1e-9)

    slope = (1 / 6.467896 - 0.154034) * math.exp(0.154034 * 38.953357)
    distance = 38.953357 - (38.953357 - 1e-9)
    assert got == pytest.approx(slope * distance, rel=1e-6)


@pytest.mark.parametrize("name", MODELS)
def test_every_model_says_what_it_is(name):
    """Equation, source, domain, and each parameter in the equation."""
    told = MODELS[name]

    assert told.name == name
    assert told.equation.startswith("r = ")
    assert all(p.name in told.equation for p in told.parameters)
    assert all(p.unit and p.meaning for p in told.parameters)
    assert any(year in told.reference for year in ("(19", "(20"))
    assert told.outside


BRIERE = {"a": 2e-5, "T0": 9.6, "Tm": 36.6}
LACTIN = {"rho": 0.15, "Tm": 38.0, "dT": 6.0, "lambda": -0.1}
SCHOOLFIELD = published.KIM_2001["egg"]


@pytest.mark.parametrize(
    ("name", "given", "words"),
    [
        ("briere", BRIERE, r"no rate model 'briere' \(did you mean briere-\d\?\)"),
        ("mystery", {}, "no rate model 'mystery': there are linear, briere-1, "),
        ("briere-1", {"a": 1}, "lacks T0, Tm: its parameters are a, T0, Tm"),
        ("briere-1", BRIERE | {"m": 2}, "no parameter 'm': its parameters are a, T0"),
        ("briere-1", BRIERE | {"Tm": math.nan}, "Tm must be finite, got nan"),
        ("briere-1", BRIERE | {"T0": 37}, "Tm 36.6 is not above T0 37 .* .swap them"),
        ("briere-1", BRIERE | {"a": 0}, "a must be above zero, got 0"),
        ("briere-2", BRIERE | {"m": -1}, "m must be above zero, got -1"),
        ("linear", {"T0": 10, "K": 0}, "K must be above zero, got 0"),
        ("lactin-2", LACTIN | {"dT": 7}, "rho . dT must be below 1, .* = 1.05"),
        ("lactin-2", LACTIN | {"rho": -1}, "rho must be above zero, got -1"),
        ("lactin-2", LACTIN | {"lambda": -90}, "lambda -90 leaves no rate above zero"),
        ("lactin-2", LACTIN | {"Tm": 9999}, "is no number: rho 0.15 and Tm 9999"),
        ("taylor", {"Rm": 1, "Tm": 30, "To": 0}, "To must be above zero, got 0"),
        (
            "sharpe-schoolfield-high",
            SCHOOLFIELD | {"TH": 31.5},
            "TH is in kelvin, got 31.5: add 273.15",
        ),
        (
            "sharpe-schoolfield-high",
            SCHOOLFIELD | {"HH": 48},
            "HH is in calories per mole, .* got 48",
        ),
    ],
)
def test_parameters_that_make_no_curve_are_refused(name, given, words):
    """With the value, the limit and the mend."""
    with pytest.raises(ValueError, match=words):
        model(name).fitted(given)


@pytest.mark.parametrize("temperature", [math.nan, math.inf, -274])
def test_temperatures_that_there_are_not_are_refused(temperature):
    """NaN, infinite, below absolute zero."""
    with pytest.raises(ValueError, match=r"finite and not below -273\.15 C, got"):
        model("briere-1").fitted(BRIERE).at(temperature)
