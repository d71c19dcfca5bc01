"""
Published thresholds and degree-days beside the durations of the same papers.

Every constant goes both ways: from the temperature to the days that were observed, and
from readings at that temperature over those days back to the degree-days. How far a
paper's own numbers miss each other is the tolerance, row by row.
"""

from datetime import timedelta

import numpy as np
import pytest

from monitor.science.degree_days import DAY_US, integrate
from monitor.science.rate_models import model
from monitor.science.requirement import HeatRequirement
from monitor.science.summation import develop

OBSERVED = [
    # species and stage, lower threshold, degree-days, temperature, days, within
    ("Stethorus vagans", "egg to adult", 9.1, 189.2, 12, 65.2, 0.002),
    ("Shijimiaeoides divinus", "egg", 9.6, 82.6, 30, 4.0, 0.02),
    ("Shijimiaeoides divinus", "larva", 10.7, 306.8, 30, 15.8, 0.01),
    ("Carpophilus hemipterus", "egg to adult", 14.6, 260.4, 20, 47, 0.04),
    ("Carpophilus hemipterus", "egg to adult", 14.6, 260.4, 32.5, 14, 0.04),
    ("Carpophilus mutilatus", "egg to adult", 15.3, 320.0, 20, 65, 0.05),
    ("Carpophilus mutilatus", "egg to adult", 15.3, 320.0, 32.5, 18, 0.05),
    ("Protophormia terraenovae", "egg to adult", 8.95, 240.2, 15, 37.78, 0.06),
    ("Protophormia terraenovae", "egg to adult", 8.95, 240.2, 35, 9.19, 0.01),
    ("Delias nigrina", "L1 to adult", 9.29, 494.3, 19, 52, 0.04),
    ("Delias nigrina", "L1 to adult", 9.29, 494.3, 27, 29, 0.04),
    ("Tenebrio molitor", "larva", 6.0, 2564.1, 17, 244.3, 0.05),
    ("Tenebrio molitor", "larva", 6.0, 2564.1, 30, 110.8, 0.05),
]
"""
Stethorus: Acta Zoologica Hungarica, article 1276 of ojs.mtak.hu. Shijimiaeoides divinus
barine: doi 10.1111/j.1479-8298.2009.00355.x, abstract. Carpophilus: James & Vogele
(2000) Austral J Entomol 39:180-184, abstract, which gives 47 to 65 and 14 to 18 d over
three species; that the slowest is mutilatus is inferred. Protophormia: doi
10.1016/S0379-0738(02)00199-8, abstract; the line misses most near its threshold.
Delias: Braby et al. (2003), abstract, with the line r = -0.018793 + 0.002023 T.
Tenebrio: Koo et al. (2013) Korean J Appl Entomol, JAKO201301369229922.
"""


def named(row):
    return f"{row[0]}-{row[1]}-{row[3]}".replace(" ", "-")


def readings(celsius, days):
    """Hourly readings at one temperature, and the last instant of those days."""
    end = round(days * DAY_US)
    times = np.arange(0, end, 3_600_000_000, dtype=np.int64)
    times = np.append(times, end) if times[-1] < end else times
    return times, np.full(times.size, float(celsius))


@pytest.mark.parametrize(
    "row", OBSERVED, ids=lambda row: named((row[0], row[1], 0, row[3]))
)
def test_a_constant_gives_the_days_that_were_observed(row):
    """Required degree-days over the rate at a temperature."""
    species, _, lower, required, celsius, days, within = row
    record = HeatRequirement(lower_c=lower, mean=required, sd=None, source=species)

    assert record.mean / record.rate(celsius) == pytest.approx(days, rel=within)


@pytest.mark.parametrize(
    "row", OBSERVED, ids=lambda row: named((row[0], row[1], 0, row[3]))
)
def test_readings_over_the_observed_days_give_the_constant(row):
    """By degree-days, and as a whole stage by the linear rate model."""
    _, _, lower, required, celsius, days, within = row
    curve, gap = readings(celsius, days), timedelta(hours=2)

    heat = integrate(*curve, lower_c=lower, max_gap=gap)
    line = model("linear").fitted({"T0": lower, "K": required})
    stage = develop(*curve, line, max_gap=gap)

    assert heat.degree_days == pytest.approx(days * (celsius - lower), rel=1e-12)
    assert heat.degree_days == pytest.approx(required, rel=within)
    assert stage.fraction == pytest.approx(heat.degree_days / required, rel=1e-9)


def test_a_published_sum_that_does_not_follow_from_its_own_days():
    """
    Stethorus at 30 degC: 9.2 d above 9.1 degC are 192.3, where 207.8 is printed.

    The 12 degC of the same table agree (above), so the printed sum is not used.
    """
    heat = integrate(*readings(30, 9.2), lower_c=9.1, max_gap=timedelta(hours=2))

    assert heat.degree_days == pytest.approx(192.28, abs=0.01)
    assert heat.degree_days / 207.8 < 0.93


def test_published_constants_of_each_sex():
    """
    Librodor japonicus at 25 degC: 52.1 d for females, 53.5 for males.

    Okada & Miyatake (2007) Appl Entomol Zool 42:411-417, abstract: female 5.6 degC and
    1010.9, male 5.9 degC and 1022.0; the days were computed apart from this project.
    """
    female, male = (
        HeatRequirement(lower_c=lower, mean=mean, sd=None, source="okada", sex=sex)
        for sex, lower, mean in (("female", 5.6, 1010.9), ("male", 5.9, 1022.0))
    )

    days = [each.mean / each.rate(25) for each in (female, male)]

    assert days == pytest.approx([52.1, 53.5], abs=0.05)


def test_a_line_in_percent_an_hour_is_a_line_per_day():
    """
    Rate = 0.09621 T - 1.128 % per hour is 11.724 degC and 43.31 degree-days.

    Kay (1981) Australian J Entomology 20:155-156, Helicoverpa armigera, egg; 1039.4
    degree-hours were computed apart from this project.
    """
    slope, cut = 0.09621 / 100 * 24, -1.128 / 100 * 24
    line = model("linear").fitted({"T0": -cut / slope, "K": 1 / slope})

    assert line.values == pytest.approx((11.724, 43.31), abs=0.005)
    assert line.at(24.4) == pytest.approx(
        (0.09621 * 24.4 - 1.128) / 100 * 24, rel=1e-12
    )
