"""A requirement is one value; needs are log-normal."""

import copy
import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from monitor.science.requirement import (
    ASSUMED_SPREAD,
    HeatRequirement,
    TimeRequirement,
    lognormal_grid,
)


def heat(**more):
    """Thresholds 10 and 30, a sum of 600 +- 30."""
    plain = {
        "lower_c": 10.0,
        "upper_c": 30.0,
        "mean": 600.0,
        "sd": 30.0,
        "source": "from-memory",
        "fitted_with": "constant temperatures",
    }
    return HeatRequirement(**(plain | more))


@pytest.mark.parametrize("name", ["mean", "facts", "_bounds", "lower_c", "other"])
def test_no_part_can_be_set(name):
    """Neither sum nor thresholds are ever exchanged under the other."""
    one = heat()

    with pytest.raises(AttributeError, match="one value"):
        setattr(one, name, 1.0)
    with pytest.raises(AttributeError, match="one value"):
        del one.facts
    assert one == heat()


def test_thresholds_are_no_attributes():
    """Code cannot read a threshold to use it with another sum."""
    shown = {name for name in dir(heat()) if not name.startswith("_")}

    assert shown == {
        "counts_like",
        "facts",
        "learned",
        "mean",
        "needs",
        "rate",
        "spread",
        "summed_by",
    }


def test_what_was_learned_keeps_thresholds_and_method():
    """Another sum comes only in degree-days of the same thresholds."""
    learned = heat().learned(mean=640.0, sd=20.0, source="this house")

    assert learned.counts_like(heat())
    assert learned.facts.fitted_with == "constant temperatures"
    assert (learned.mean, learned.spread) == (640.0, 20.0)
    assert learned.mean / learned.rate(20.0) == 64.0
    assert not learned.counts_like(heat(lower_c=11.0))


def test_equal_values_are_one_key():
    """They can be kept in sets, and a copy is as good."""
    assert {heat(), heat(), copy.copy(heat())} == {heat()}
    assert heat() != heat(source="common-practice")
    assert heat() != TimeRequirement(mean=600.0, sd=30.0, source="from-memory")


def test_rate_follows_its_own_thresholds():
    """Linear between them, level above, nothing below."""
    rates = [heat().rate(t) for t in (5.0, 10.0, 22.0, 30.0, 35.0)]

    assert rates == pytest.approx([0.0, 0.0, 12.0, 20.0, 20.0])


def test_an_unknown_spread_is_assumed_and_said():
    """A tenth of the mean, and the value tells that nobody published it."""
    silent = heat(sd=None)

    assert silent.spread == ASSUMED_SPREAD * 600.0
    assert (silent.facts.sd, silent.facts.assumed_sd) == (None, 60.0)
    assert heat().facts.assumed_sd is None
    assert silent.needs(100).std() == pytest.approx(60.0, rel=0.02)


def test_a_known_spread_of_nothing_is_taken_at_its_word():
    """Zero is known, and no case of its own."""
    assert heat(sd=0.0).needs(5) == pytest.approx([600.0] * 5)


@pytest.mark.parametrize(
    ("wrong", "part"),
    [
        ({"mean": 0.0}, "mean must be above zero"),
        ({"mean": math.nan}, "mean must be above zero"),
        ({"sd": -1.0}, "sd must be finite"),
        ({"sd": math.inf}, "sd must be finite"),
        ({"lower_c": 31.0}, "swap them"),
        ({"lower_c": math.nan}, "lower threshold must be finite"),
    ],
)
def test_nonsense_is_refused(wrong, part):
    """One line that names the limit and the value."""
    with pytest.raises(ValueError, match=part):
        heat(**wrong)


@pytest.mark.parametrize("sd", [1.0, 30.0, 250.0])
def test_parts_agree_with_scipy(sd):
    """SciPy's log-normal of the same mean and standard deviation."""
    variance = math.log(1 + (sd / 600.0) ** 2)
    scale = 600.0 / math.sqrt(1 + (sd / 600.0) ** 2)
    reference = stats.lognorm(s=math.sqrt(variance), scale=scale)

    got = lognormal_grid(600.0, sd, 10)

    assert reference.mean() == pytest.approx(600.0)
    assert reference.std() == pytest.approx(sd)
    edges = reference.ppf(np.arange(11) / 10)
    parts = [10 * reference.expect(lb=low, ub=high) for low, high in pairwise(edges)]
    assert got == pytest.approx(parts, rel=1e-6)


@given(
    mean=st.floats(0.1, 1e4),
    ratio=st.floats(0.0, 1.0),
    count=st.integers(1, 60),
)
def test_a_grid_rises_and_is_never_negative(mean, ratio, count):
    """Whatever the spread; and its mean is the mean."""
    grid = lognormal_grid(mean, ratio * mean, count)

    assert grid.size == count
    assert (grid > 0).all()
    assert (np.diff(grid) >= -1e-12 * mean).all()
    assert grid.mean() == pytest.approx(mean)


def test_an_empty_grid_is_refused():
    """There is no distribution of no value."""
    with pytest.raises(ValueError, match="at least 1"):
        lognormal_grid(1.0, 0.1, 0)
