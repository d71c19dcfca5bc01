"""Daily methods: published values, edges against another program, laws, refusals."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.science.daily import (
    DEFAULT_METHOD,
    degree_days,
    degree_days_of_days,
    method_named,
)
from tests.science import published_days as published
from tests.science.published_days import numbers

PRINTED = 0.0051
"""Of two printed decimals; halves are rounded either way after inexact sums."""

METHODS = (
    "average",
    "clipped-average",
    "single-sine",
    "double-sine",
    "single-triangle",
    "double-triangle",
)
WAVES = ("single-sine", "double-sine", "single-triangle", "double-triangle")
CUTOFFS = ("horizontal", "vertical", "intermediate")

methods = st.sampled_from(METHODS)
cutoffs = st.sampled_from(CUTOFFS)
temperatures = st.floats(-30, 60) | st.sampled_from([10.0, 30.0, 50.0])
days = st.tuples(temperatures, temperatures, temperatures).map(
    lambda t: (min(t[:2]), max(t[:2]), t[2])
)
thresholds = st.just((10.0, 30.0)) | st.tuples(
    st.floats(0, 20), st.floats(0.5, 25)
).map(lambda pair: (pair[0], pair[0] + pair[1]))


def of(day, limits, method, cutoff="horizontal", unit="C"):
    """One day (minimum, maximum, next minimum) between two thresholds."""
    return degree_days(
        day[0],
        day[1],
        next_minimum=day[2],
        lower=limits[0],
        upper=limits[1],
        method=method,
        cutoff=cutoff,
        unit=unit,
    )


@pytest.mark.parametrize(
    "row",
    numbers(published.UC_IPM_50_70_F, skip=1),
    ids=lambda row: "-".join(f"{n:g}" for n in row[:3]),
)
def test_agrees_with_the_calculator_of_uc_ipm(row):
    """All four waves under all three cutoffs, the cap of the intermediate included."""
    day, printed = row[:3], row[3:]

    got = [of(day, (50, 70), m, c, "F") for m in WAVES for c in CUTOFFS]

    assert got == pytest.approx(printed, abs=PRINTED)


def test_the_days_of_uc_ipm_show_the_cap():
    """On some of them the intermediate cutoff takes all that the vertical one does."""
    rows = [row[3:] for row in numbers(published.UC_IPM_50_70_F, skip=1)]

    capped = [r for r in rows if r[1] == r[2] != r[0] or r[4] == r[5] != r[3]]

    assert len(rows) >= 55
    assert len(capped) >= 1


@pytest.mark.parametrize("row", numbers(published.OJAI_12_33_C, skip=1))
def test_agrees_with_a_year_in_celsius(row):
    """Ojai 2016 between 12 and 33 degC, four waves."""
    got = [of(row[:3], (12, 33), method) for method in WAVES]

    assert got == pytest.approx(row[3:], abs=PRINTED)


@pytest.mark.parametrize("row", numbers(published.ZALOM_TABLE_7_55_90_F, skip=1))
def test_agrees_with_table_7_of_zalom_1983(row):
    """All 48 figures but the misprint, for which the leaflet's own formula stands."""
    day, printed = tuple(row[:3]), row[3:]
    expected = list(printed)
    if day == published.ZALOM_MISPRINT:
        assert printed[1] == 24.88
        expected[1] = 27.125
    order = ("single-triangle", "double-triangle", "single-sine", "double-sine")

    got = [of(day, (55, 90), method, unit="F") for method in order]

    assert got == pytest.approx(expected, abs=PRINTED)


@pytest.mark.parametrize("row", numbers(published.MCMASTER_WILHELM_0_C))
def test_the_two_averages_are_those_of_mcmaster_and_wilhelm(row):
    """Flooring the mean, and flooring the extremes before the mean."""
    warmest, coldest, *printed = row

    got = [
        degree_days(coldest, warmest, lower=0, method=method)
        for method in ("average", "clipped-average")
    ]

    assert got == pytest.approx(printed, abs=1e-12)


@pytest.mark.parametrize("line", published.WSU_F.strip().splitlines())
def test_agrees_with_the_values_of_washington_state(line):
    """Single sine, horizontal and vertical, and the mean; three decimals."""
    cutoff, *row = line.split()
    coldest, warmest, lower, upper, printed = map(float, row)
    method = "average" if cutoff == "-" else "single-sine"

    got = of(
        (coldest, warmest, coldest),
        (lower, upper),
        method,
        "horizontal" if cutoff == "-" else cutoff,
        "F",
    )

    assert got == pytest.approx(printed, abs=0.00051)


@pytest.mark.parametrize("row", numbers(published.DEGDAY_55_93_9_F))
def test_agrees_with_the_example_of_degday(row):
    """Navel orangeworm's thresholds on six days of January."""
    order = ("single-triangle", "single-sine", "double-triangle", "double-sine")

    got = [of(row[:3], (55, 93.9), method, unit="F") for method in order]

    assert got == pytest.approx(row[3:], abs=PRINTED)


@pytest.mark.parametrize("example", published.EXTENSION_F)
def test_agrees_with_worked_examples_of_extension_services(example):
    """Simple and modified averages as farmers are taught them."""
    _source, method, coldest, warmest, lower, upper, printed = example

    got = degree_days(
        coldest, warmest, lower=lower, upper=upper, method=method, unit="F"
    )

    assert got == pytest.approx(printed, abs=1e-9)


def test_agrees_with_the_page_of_a_package_in_celsius():
    """
    From 7 to 14 degC between 12 and 33 a single sine gives 0.47.

    Source: the page "degree_days" of trenchproject/TrenchR (trenchproject.github.io).
    """
    got = degree_days(7, 14, lower=12, upper=33, method="single-sine")

    assert got == pytest.approx(0.47, abs=PRINTED)


@pytest.mark.parametrize(
    ("limits", "table"),
    [((10, 30), published.EDGES_10_30), ((50, 88), published.EDGES_50_88)],
)
def test_edges_are_no_special_cases(limits, table):
    """Minimum = maximum, extremes on and beyond thresholds: 288 figures of degday."""
    order = ("single-sine", "single-triangle", "double-sine", "double-triangle")
    rows = numbers(table)

    got = [[of(row[:3], limits, method, unit="F") for method in order] for row in rows]

    assert len(rows) == 36
    assert np.array(got) == pytest.approx(np.array([r[3:] for r in rows]), abs=2e-6)


@pytest.mark.parametrize("example", published.PRINTED_WRONG)
def test_numbers_that_are_printed_wrong_are_not_reproduced(example):
    """Two packages print what contradicts the integral that they cite."""
    method, coldest, warmest, lower, upper, printed, right = example

    got = of((coldest, warmest, coldest), (lower, upper), method)

    assert got == pytest.approx(right, abs=5e-5)
    assert abs(got - printed) > 1


def test_an_average_caps_the_mean_and_not_the_extremes():
    """
    66 to 87 F between 50 and 86: 26.5 by the mean, 26 with extremes clipped.

    Mixing the two up was seen in a public issue report (case 5 of known pitfalls).
    """
    day, limits = (66, 87, 66), (50, 86)

    assert of(day, limits, "average", unit="F") == 26.5
    assert of(day, limits, "clipped-average", unit="F") == 26


@pytest.mark.parametrize(
    ("method", "cutoff", "expected"),
    [
        # a steady 34 above 30: 20 | nothing | 20 less 4
        ("average", "horizontal", 20),
        ("average", "vertical", 0),
        ("average", "intermediate", 16),
        # half a day at 26, half at 42: (16 + 20) / 2 | 16 / 2 | (16 + 8) / 2
        ("clipped-average", "horizontal", 18),
        ("clipped-average", "vertical", 8),
        ("clipped-average", "intermediate", 12),
    ],
)
def test_averages_under_each_cutoff(method, cutoff, expected):
    """A day from 26 to 42 between 10 and 30, by hand."""
    assert of((26, 42, 26), (10, 30), method, cutoff) == pytest.approx(expected)


def wave(low, high, form):
    """Temperatures of half a day from low to high, at 4,000 middles."""
    middles = (np.arange(4000) + 0.5) / 4000
    if form == "sine":
        return (low + high) / 2 - (high - low) / 2 * np.cos(np.pi * middles)
    return low + (high - low) * middles


@pytest.mark.parametrize("method", WAVES)
@given(day=days, limits=thresholds)
def test_agrees_with_brute_force(method, day, limits):
    """Means of 8,000 temperatures of the day, and the rules as they are written."""
    lower, upper = limits
    form = method.split("-")[1]
    second = day[2] if method.startswith("double") else day[0]
    curve = np.concatenate(
        [
            wave(day[0], day[1], form),
            wave(min(second, day[1]), max(second, day[1]), form),
        ]
    )
    warm = np.maximum(curve - lower, 0).mean()
    hot, share = np.maximum(curve - upper, 0).mean(), (curve > upper).mean()
    expected = {
        "horizontal": warm - hot,
        "vertical": warm - hot - (upper - lower) * share,
        "intermediate": warm - hot - min(hot, (upper - lower) * share),
    }

    got = {cutoff: of(day, limits, method, cutoff) for cutoff in CUTOFFS}

    # the share of time is as fine as the middles, and a cosine's slowest are its ends
    coarse = (upper - lower) / 200
    assert got["horizontal"] == pytest.approx(expected["horizontal"], abs=1e-4)
    assert got["vertical"] == pytest.approx(expected["vertical"], abs=coarse)
    assert got["intermediate"] == pytest.approx(expected["intermediate"], abs=coarse)


@given(day=days, limits=thresholds, method=methods, cutoff=cutoffs)
def test_never_negative_never_above_the_highest_rate(day, limits, method, cutoff):
    """0 <= vertical <= intermediate <= horizontal <= upper - lower."""
    got = of(day, limits, method, cutoff)

    assert 0 <= got <= limits[1] - limits[0] + 1e-12
    assert of(day, limits, method, "vertical") <= got + 1e-12
    assert got <= of(day, limits, method) + 1e-12


@given(day=days, limits=thresholds, method=methods, warmer=st.floats(0, 20))
def test_a_warmer_day_never_gives_less(day, limits, method, warmer):
    """Under the horizontal cutoff, and under any while all stays below the upper."""
    warm = tuple(t + warmer for t in day)

    assert of(day, limits, method) <= of(warm, limits, method) + 1e-12
    high = max(warm) + 1
    both = [
        of(d, (limits[0], max(high, limits[1])), method, "vertical")
        for d in (day, warm)
    ]
    assert both[0] <= both[1] + 1e-12


@given(
    # a value on a threshold may fall to its other side when converted
    day=days.filter(lambda d: all(abs(t - 10) > 1e-6 for t in (*d, sum(d[:2]) / 2))),
    limits=st.just((10.0, 70.0)) | st.just((-10.0, 10.0)),
    method=methods,
    cutoff=cutoffs,
)
def test_fahrenheit_is_celsius_times_1_8(day, limits, method, cutoff):
    """Temperatures and thresholds converted as temperatures, days divided by 1.8."""

    def converted(values):
        return tuple(32 + 1.8 * v for v in values)

    got = of(converted(day), converted(limits), method, cutoff, "F")

    assert got / 1.8 == pytest.approx(of(day, limits, method, cutoff), abs=1e-6)


@given(day=days, limits=thresholds, method=methods, cutoff=cutoffs)
def test_without_an_upper_threshold_the_cutoff_means_nothing(
    day, limits, method, cutoff
):
    """It is the same as an upper threshold that no day reaches."""
    got = degree_days(
        day[0],
        day[1],
        next_minimum=day[2],
        lower=limits[0],
        method=method,
        cutoff=cutoff,
    )

    assert got == of(day, (limits[0], 1000.0), method)


@given(day=days, limits=thresholds, cutoff=cutoffs)
def test_the_next_minimum_is_that_of_the_day_where_none_is_given(day, limits, cutoff):
    """A double wave is then a single one; single methods never look at it."""
    for form in ("sine", "triangle"):
        single = of(day, limits, f"single-{form}", cutoff)
        double = degree_days(
            day[0],
            day[1],
            lower=limits[0],
            upper=limits[1],
            method=f"double-{form}",
            cutoff=cutoff,
        )
        assert (
            double == single == of((*day[:2], -99.0), limits, f"single-{form}", cutoff)
        )


def test_a_night_warmer_than_the_noon_before_changes_places():
    """A house that warms up: from 10 to 20, then on to a next minimum of 30."""
    got = of((10, 20, 30), (10, 40), "double-triangle")

    assert got == pytest.approx((5 + 15) / 2)


@given(
    many=st.lists(days, min_size=1, max_size=20),
    limits=thresholds,
    method=methods,
    cutoff=cutoffs,
    data=st.data(),
)
def test_many_days_are_each_for_itself_in_any_order(many, limits, method, cutoff, data):
    """The vectorised sum of shuffled days is that of single days."""
    mixed = data.draw(st.permutations(many))
    low, high, following = np.array(mixed).T

    got = degree_days_of_days(
        low,
        high,
        next_minima=following,
        lower=limits[0],
        upper=limits[1],
        method=method,
        cutoff=cutoff,
    )

    assert got.tolist() == [of(day, limits, method, cutoff) for day in mixed]
    assert math.fsum(got) == math.fsum(of(d, limits, method, cutoff) for d in many)


def test_a_value_that_rounding_puts_beyond_the_wave_is_no_error():
    """Minimum = upper threshold = 88 and maximum 110.8: the sine's argument is -1."""
    got = of((88, 110.8, 88), (50, 88), "single-sine", unit="F")

    assert got == 38


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"minimum": 25, "maximum": 20}, r"minimum 25 is above maximum 20 \(swap"),
        ({"lower": 30, "upper": 10}, "lower threshold 30 is not below .* 10 .swap"),
        ({"lower": 10, "upper": 10}, "lower threshold 10 is not below .* 10"),
        ({"minimum": math.nan}, "minimum must be finite .* got nan"),
        ({"maximum": math.nan}, "maximum must be finite .* got nan"),
        ({"maximum": math.inf}, "maximum must be finite .* got inf"),
        ({"next_minimum": math.nan}, "next minimum must be finite .* got nan"),
        ({"lower": math.nan}, "lower threshold must be finite, got nan"),
        ({"minimum": -274}, "minimum must be finite and not below -273.15 C, got -274"),
        ({"lower": -300}, "lower threshold -300 is below absolute zero, -273.15 C"),
        ({"method": "mean"}, "method must be one of average, .* got 'mean'"),
        ({"cutoff": "none"}, "cutoff must be one of .* got 'none'"),
        ({"unit": "K"}, "unit must be C or F, got 'K'"),
    ],
)
def test_a_day_that_means_nothing_is_refused(changes, words):
    """With the value, or both values, and the mend."""
    given = {
        "minimum": 15.0,
        "maximum": 25.0,
        "lower": 10.0,
        "upper": 30.0,
        "method": "double-sine",
    }

    with pytest.raises(ValueError, match=words):
        degree_days(**(given | changes))


def test_of_many_days_the_bad_one_is_named():
    """The message has its index."""
    low, high = np.array([10.0, 12.0, 25.0]), np.array([20.0, 21.0, 22.0])

    with pytest.raises(ValueError, match="minimum 25 is above maximum 22 at index 2"):
        degree_days_of_days(low, high, lower=10, method="average")
    with pytest.raises(ValueError, match=r"of one length, got \(3,\), \(2,\) and"):
        degree_days_of_days(low, high[:2], lower=10, method="average")


# words


@pytest.mark.parametrize("method", METHODS)
def test_a_method_is_known_by_its_words(method):
    """As the command line writes it, as papers do, and with more said about it."""
    words = method.replace("-", " ")

    for said in (method, words.upper(), f"daily {words}, horizontal cutoff"):
        assert method_named(said) == method
    assert method_named(f"{words} method of daily  extremes") == method


@pytest.mark.parametrize(
    "said",
    [
        None,
        "",
        "constant temperatures",
        "linear rate above the threshold of the stage itself, as tabled",
        "durations averaged over 3 cages, average of both sexes",
        "degree-months above 13 degC from monthly means",
        "double sine in the field, single triangle in the house",
        "double sinew",
    ],
)
def test_other_words_are_no_method(said):
    """Nor are two methods one: then the single sine counts."""
    assert method_named(said) == DEFAULT_METHOD == "single-sine"
