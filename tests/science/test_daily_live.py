"""
The single sine beside another program, run live.

nonlineartemppy 0.201 integrates it by the arc cosine, we by the arc sine; it knows the
part above one threshold, so two calls make a horizontal cutoff. It prints 5 decimals.
"""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from nonlineartemppy import degree_days as above_thresholds

from monitor.science.daily import degree_days_of_days
from monitor.science.degree_days import DAY_US

ROUNDED = 0.5e-5 + 1e-9
"""Of one figure of the other program."""


def others(minima, maxima, *thresholds):
    """Degree-days of each day above each threshold, by the other program."""
    frame = pd.DataFrame(
        {
            "date": pd.date_range("2026-01-01", periods=len(minima)),
            "tmin": minima,
            "tmax": maxima,
        }
    )
    made = above_thresholds(frame, list(thresholds))
    return [made[f"dday{each}C"].to_numpy() for each in thresholds]


def ours(minima, maxima, lower, upper=None):
    """Degree-days of each day, by the single sine."""
    return degree_days_of_days(
        minima, maxima, lower=lower, upper=upper, method="single-sine"
    )


def year(seed):
    """A made year of extremes that lie below, between, across and above thresholds."""
    random = np.random.default_rng(seed)
    middle = 18 - 14 * np.cos(2 * np.pi * np.arange(365) / 365)
    minima = middle - random.uniform(0, 9, 365)
    return minima, middle + random.uniform(0, 9, 365)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_agrees_day_by_day_over_a_year(seed):
    """Without and with an upper threshold, every day of a year."""
    minima, maxima = year(seed)
    lower, upper = 10.0, 28.0
    above_lower, above_upper = others(minima, maxima, lower, upper)

    assert ours(minima, maxima, lower) == pytest.approx(above_lower, abs=ROUNDED)
    assert ours(minima, maxima, lower, upper) == pytest.approx(
        above_lower - above_upper, abs=2 * ROUNDED
    )
    crossing = (minima < lower) & (maxima > lower) | (minima < upper) & (maxima > upper)
    assert crossing.sum() > 100, "the year must cross the thresholds"


@settings(max_examples=50)
@given(
    st.lists(
        st.tuples(st.floats(-20, 45), st.floats(0.01, 25)), min_size=1, max_size=20
    ),
    st.floats(5, 15),
    st.floats(1, 25),
)
def test_agrees_on_any_day(days, lower, width):
    """Any minimum, maximum and pair of thresholds."""
    minima = np.array([low for low, _ in days])
    maxima = minima + np.array([spread for _, spread in days])
    above_lower, above_upper = others(minima, maxima, lower, lower + width)

    assert ours(minima, maxima, lower, lower + width) == pytest.approx(
        above_lower - above_upper, abs=2 * ROUNDED
    )


def test_a_series_resampled_to_days_agrees():
    """Readings every ten minutes, their daily extremes taken by pandas."""
    minutes = np.arange(0, 30 * 1440, 10)
    values = 19 + 11 * np.sin(2 * np.pi * minutes / 1440) + 2 * np.sin(minutes / 5000)
    daily = (
        pd.Series(values, pd.to_datetime(minutes * 60_000_000, unit="us"))
        .resample("D")
        .agg(["min", "max"])
    )
    minima, maxima = daily["min"].to_numpy(), daily["max"].to_numpy()
    (expected,) = others(minima, maxima, 10.0)
    begins = np.flatnonzero(np.diff(minutes * 60_000_000 // DAY_US, prepend=-1))

    mine = ours(
        np.minimum.reduceat(values, begins), np.maximum.reduceat(values, begins), 10.0
    )

    assert mine == pytest.approx(expected, abs=ROUNDED)
