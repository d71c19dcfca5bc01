"""``calc rate --readings``: development summed over a file, as the program tells it."""

import json
import math
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad

from monitor.science.rate_models import model
from tests.science import published_rates as published

START = datetime(2026, 3, 1, tzinfo=UTC)
TAYLOR = "--model taylor --parameter Rm=0.0316 Tm=29.9478 To=8.599"
LINEAR = "--model linear --parameter T0=10 K=250"


@pytest.fixture
def readings(tmp_path):
    """Write readings from pairs of hours and degC, and give the options for them."""

    def write(*pairs):
        path = tmp_path / "shelf.csv"
        lines = [f"{(START + timedelta(hours=h)).isoformat()},{c!r}" for h, c in pairs]
        path.write_text("\n".join(["time,temperature", *lines]) + "\n", "utf-8")
        return ["--readings", str(path)]

    return write


FITS = [fit for fit in published.fits() if fit[:2] == ("aghdam", "all")] + [
    ("kim", "pupa", "sharpe-schoolfield-high", published.KIM_2001["pupa"], []),
    published.fits()[0],
]


@pytest.mark.parametrize("fit", FITS, ids=lambda fit: fit[2])
def test_the_sum_is_that_of_adaptive_quadrature(command, readings, fit):
    """Three uneven days from 4 to 41 degC, by scipy.integrate.quad to 1e-8."""
    _, _, name, given, _ = fit
    random = np.random.default_rng(5)
    hours = np.cumsum([0, *random.uniform(0.2, 1.9, 70)]).round(4)
    celsius = (22 + 14 * np.sin(hours / 4) + random.uniform(-4, 5, 71)).round(2)
    options = [f"{key}={value!r}" for key, value in given.items()]

    asked = readings(*zip(hours.tolist(), celsius.tolist(), strict=True))
    said = command("calc", "rate", "--model", name, "--parameter", *options, *asked,
                   "--json")  # fmt: skip

    rate = model(name).fitted(given)
    corners = [*rate.form.corners_c, rate.form.optimum_c or 0.0]
    whole = 0.0
    for (h0, h1), (c0, c1) in zip(pairwise(hours), pairwise(celsius), strict=True):
        turns = [h0 + (h1 - h0) * (at - c0) / (c1 - c0) for at in corners]
        marks = sorted({h0, h1, *(at for at in turns if h0 < at < h1)})
        slope = (c1 - c0) / (h1 - h0)

        def pace(hour, h0=h0, c0=c0, slope=slope):
            return rate.at(c0 + slope * (hour - h0)) / 24

        for left, right in pairwise(marks):
            whole += quad(pace, left, right, epsabs=1e-12, epsrel=1e-10)[0]
    found = json.loads(said.out)
    assert (said.code, said.err) == (0, "")
    assert found["development"] == pytest.approx(whole, rel=1e-8)
    assert found["coverage"] == 1
    assert found["low"] == found["estimate"] == found["development"]


@pytest.mark.parametrize("celsius", [25, 27.5, 30])
def test_a_stage_is_over_in_the_days_that_were_observed(command, readings, celsius):
    """
    Helicoverpa armigera from egg to adult: 100 % within 9 %.

    Noor-ul-Ane et al. (2018), see published_rates; a reader of its figure found the fit
    within 9 %. Published sums over changing temperatures were not found.
    """
    given, days = published.NOOR_2018
    options = [f"{key}={value!r}" for key, value in given.items()]
    asked = readings(*((h, celsius) for h in np.linspace(0, 24 * days[celsius], 700)))

    said = command("calc", "rate", "--model", "briere-2", "--parameter", *options,
                   *asked, "--max-gap", "2h", "--json")  # fmt: skip

    assert json.loads(said.out)["development"] == pytest.approx(1, abs=0.09)


def test_missing_time_is_bounded_by_nothing_and_the_highest_rate(command, readings):
    """Two hours measured of eight: the keys of degree-days, in parts of the stage."""
    asked = readings((0, 25.0), (1, 25.0), (7, 25.0), (8, 25.0))

    said = command("calc", "rate", *TAYLOR.split(), *asked, "--json")

    at_25 = 0.0316 * math.exp(-(((25 - 29.9478) / 8.599) ** 2) / 2)
    assert json.loads(said.out) == {
        "development": pytest.approx(at_25 / 12),
        "estimate": pytest.approx(at_25 / 3),
        "low": pytest.approx(at_25 / 12),
        "high": pytest.approx(at_25 / 12 + 0.0316 / 4),
        "coverage": pytest.approx(0.25),
    }


def test_a_longer_gap_counts_as_measured_where_it_is_allowed(command, readings):
    """The linear model has no highest rate: high is null, in words no limit."""
    asked = [*LINEAR.split(), *readings((0, 20.0), (6, 20.0))]

    missing = command("calc", "rate", *asked, "--json")
    measured = command("calc", "rate", *asked, "--max-gap", "6 h", "--json")
    said = command("calc", "rate", *asked).out

    assert json.loads(missing.out) == {
        "development": 0,
        "estimate": None,
        "low": 0,
        "high": None,
        "coverage": 0,
    }
    assert json.loads(measured.out)["development"] == pytest.approx(10 / 250 / 4)
    assert "unknown" in said
    assert "no limit" in said


def test_people_get_percent_of_the_stage(command, readings):
    """15.5 days at 20 degC are 155 of 250 degree-days."""
    asked = readings(*((h, 20.0) for h in range(373)))

    said = command("calc", "rate", *LINEAR.split(), *asked).out

    lines = [" ".join(line.split()) for line in said.splitlines()]
    assert lines[0] == "measured 62.0 % of the stage"
    assert lines[4] == "time covered 100.0 %"
    assert lines[5].startswith(
        "from 2026-03-01 00:00 to 2026-03-16 12:00 UTC; readings"
    )
    assert lines[6] == "r = (T - T0) / K"


def test_more_than_a_whole_stage_is_said_to_be_over(command, readings):
    """30 days at 20 degC are 120 %: the figure goes on, and the words say so."""
    asked = readings(*((h, 20.0) for h in range(721)))

    said = command("calc", "rate", *LINEAR.split(), *asked).out

    assert " 120.0 % of the stage" in said
    assert "the stage was over before the last reading" in said
