"""
Printed days, summed from readings.

A day of the triangle method is a straight line from minimum to maximum and back, so
three readings are that day, and the integral over readings must give what the daily
tables print. A sine is many short lines. Horizontal and vertical cutoffs are the same
pointwise and once a day; the intermediate one is only where a day stays below 2 U - L
(`monitor.science.degree_days`).
"""

from datetime import timedelta

import numpy as np
import pytest

from monitor.science.degree_days import DAY_US, integrate
from tests.science import published_days as published
from tests.science.published_days import numbers

PRINTED = 0.0051
GAP = timedelta(days=1)
EDGES = (
    ((10.0, 30.0), published.EDGES_10_30),
    ((50.0, 88.0), published.EDGES_50_88),
)


def triangle(minimum, maximum, next_minimum):
    """Three readings, twelve hours apart."""
    return (
        np.array([0, DAY_US // 2, DAY_US], dtype=np.int64),
        np.array([minimum, maximum, next_minimum], dtype=np.float64),
    )


def sine(minimum, maximum, next_minimum):
    """A reading every two minutes of half a wave up and half a wave down."""
    times = np.linspace(0, DAY_US, 721).astype(np.int64)
    ends = np.where(times <= DAY_US // 2, minimum, next_minimum)
    wave = np.cos(2 * np.pi * times / DAY_US)
    return times, (maximum + ends) / 2 - (maximum - ends) / 2 * wave


def summed(curve, limits, cutoff="horizontal"):
    lower, upper = limits
    return integrate(
        *curve, lower_c=lower, upper_c=upper, cutoff=cutoff, max_gap=GAP
    ).degree_days


@pytest.mark.parametrize("row", numbers(published.UC_IPM_50_70_F, skip=1))
def test_readings_of_a_day_give_what_uc_ipm_prints(row):
    """Both waves and both halves, horizontal and vertical, at 50/70 F."""
    low, high, after = row[:3]
    single_sine, double_sine, single_triangle, double_triangle = (
        row[start : start + 2] for start in (3, 6, 9, 12)
    )

    for curve, printed in (
        (triangle(low, high, low), single_triangle),
        (triangle(low, high, after), double_triangle),
        (sine(low, high, low), single_sine),
        (sine(low, high, after), double_sine),
    ):
        got = [summed(curve, (50, 70), cutoff) for cutoff in ("horizontal", "vertical")]
        assert got == pytest.approx(printed, abs=PRINTED)


BELOW_90_F = [r for r in numbers(published.UC_IPM_50_70_F, skip=1) if r[1] <= 90]
ABOVE_90_F = [r for r in numbers(published.UC_IPM_50_70_F, skip=1) if r[1] > 90]


@pytest.mark.parametrize("row", BELOW_90_F)
def test_the_intermediate_cutoff_agrees_below_its_limit(row):
    """Up to 2 U - L, 90 F here, pointwise and once a day are one rule."""
    low, high, after = row[:3]

    got = [
        summed(triangle(low, high, low), (50, 70), "intermediate"),
        summed(triangle(low, high, after), (50, 70), "intermediate"),
    ]

    assert got == pytest.approx([row[11], row[14]], abs=PRINTED)


def test_the_intermediate_cutoff_differs_beyond_its_limit():
    """On hotter days the pointwise rule loses less, and never more."""
    pointwise = [summed(triangle(*r[:2], r[0]), (50, 70), "intermediate")
                 for r in ABOVE_90_F]  # fmt: skip
    once_a_day = [row[11] for row in ABOVE_90_F]

    assert len(ABOVE_90_F) >= 8
    assert all(
        ours >= printed - PRINTED
        for ours, printed in zip(pointwise, once_a_day, strict=True)
    )
    assert sum(pointwise) > sum(once_a_day) + 1


@pytest.mark.parametrize(("limits", "table"), EDGES)
def test_readings_on_a_threshold_are_no_special_case(limits, table):
    """72 days of minimum = maximum and extremes on thresholds, as degday has them."""
    for low, high, after, single_sine, single, double_sine, double in numbers(table):
        straight = [triangle(low, high, low), triangle(low, high, after)]
        round_ = [sine(low, high, low), sine(low, high, after)]

        assert [summed(c, limits) for c in straight] == pytest.approx(
            [single, double], abs=1e-6
        )
        assert [summed(c, limits) for c in round_] == pytest.approx(
            [single_sine, double_sine], abs=1e-3
        )


@pytest.mark.parametrize("row", numbers(published.OJAI_12_33_C, skip=1))
def test_readings_of_a_day_in_celsius(row):
    """Ojai 2016 between 12 and 33 degC: the next minimum is where the line goes."""
    low, high, after = row[:3]
    curves = (
        sine(low, high, low),
        sine(low, high, after),
        triangle(low, high, low),
        triangle(low, high, after),
    )

    got = [summed(curve, (12, 33)) for curve in curves]

    assert got == pytest.approx(row[3:], abs=PRINTED)


def test_days_in_a_row_are_the_days_together():
    """Six days of January as one series of readings: their double triangles' sum."""
    rows = numbers(published.DEGDAY_55_93_9_F)
    turns = [value for row in rows for value in row[:2]] + [rows[-1][2]]
    times = np.arange(len(turns), dtype=np.int64) * (DAY_US // 2)

    got = summed((times, np.array(turns)), (55, 93.9))

    assert got == pytest.approx(sum(row[5] for row in rows), abs=len(rows) * 0.005)
