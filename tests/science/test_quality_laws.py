"""What holds of quality flags for every series."""

import math
import time
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.science.quality import (
    AttenuatedSignal,
    Checks,
    FlatLine,
    Gap,
    GrossRange,
    RateOfChange,
    Signatures,
    Spike,
    flag,
)
from monitor.science.signatures import TEMPERATURE
from monitor.science.stretches import extremes

MINUTE_US = 60_000_000
CHECKS = Checks(
    gross_range=GrossRange((-10, 60), (10, 35)),
    spike=Spike(2, 5),
    rate_of_change=RateOfChange(24, 60),
    flat_line=FlatLine(timedelta(minutes=30), 0.25, timedelta(minutes=50)),
    attenuated_signal=AttenuatedSignal(timedelta(minutes=40), 0.75, 0.5),
    gap=Gap(timedelta(minutes=20)),
    signature=Signatures(TEMPERATURE),
)
BADNESS = [1, 2, 9, 3, 4]

# quarters of a degree are exact, so that a constant added to them stays exact
quarters = st.integers(80, 110).map(lambda n: n / 4)
values = quarters | st.sampled_from([24.0, 24.0, 24.25, 85.0, -127.0, math.nan, 0.0])
apart = st.sampled_from([1, 5, 5, 5, 5, 10, 20, 21, 70])


# around every bound: an hour of signatures, the checks' spans and all bridges
silences = st.sampled_from([1, 5, 5, 5, 10, 20, 21, 30, 31, 59, 60, 61, 90, 91, 400])
failing = st.sampled_from([24.0, 24.0, 24.25, 26.0, 85.0, 85.0, math.nan])
spans = st.sampled_from([5, 10, 20, 30, 60, 90, 300]).map(
    lambda n: timedelta(minutes=n)
)


def us(span):
    """Microseconds of a span."""
    return span // timedelta(microseconds=1)


@st.composite
def series(draw, element=values, steps=apart):
    """Times that rise by minutes, and values with faults."""
    found = draw(st.lists(st.tuples(steps, element), min_size=1, max_size=60))
    minutes = np.cumsum([step for step, _ in found])
    return minutes * MINUTE_US, np.array([value for _, value in found])


@given(series())
def test_the_aggregate_is_the_worst(given_series):
    """In the order 4, 3, 9, 2, 1, whatever the checks found."""
    got = flag(*given_series, CHECKS)

    rows = zip(*(found.tolist() for found in got.by_check.values()), strict=True)
    assert got.aggregate.tolist() == [max(row, key=BADNESS.index) for row in rows]


@given(series())
def test_what_is_missing_is_9_in_every_check(given_series):
    """And 9 is said of nothing else but by the gap."""
    times, found = given_series

    got = flag(times, found, CHECKS)

    for name, flags in got.by_check.items():
        assert (flags[np.isnan(found)] == 9).all()
        assert name == "gap" or (flags[~np.isnan(found)] != 9).all()


@given(series(), st.data())
def test_a_part_with_its_context_has_the_flags_of_the_whole(given_series, data):
    """`Checks.lookback`, one reading more before it and one after it suffice."""
    times, found = given_series
    begin = data.draw(st.integers(0, len(times) - 1))
    end = data.draw(st.integers(begin + 1, len(times)))
    chosen = data.draw(st.sets(st.sampled_from(sorted(CHECKS.given))))
    checks = replace(CHECKS, **dict.fromkeys(chosen))
    oldest = times[begin] - checks.lookback // timedelta(microseconds=1)
    since = max(int(np.searchsorted(times, oldest)) - 1, 0)
    until = min(end + 1, len(times))

    whole = flag(times, found, checks)
    part = flag(times[since:until], found[since:until], checks)

    kept = slice(begin - since, end - since)
    assert part.aggregate[kept].tolist() == whole.aggregate[begin:end].tolist()
    for name, flags in whole.by_check.items():
        assert part.by_check[name][kept].tolist() == flags[begin:end].tolist()


# one check alone has the shortest context
@pytest.mark.parametrize("names", [CHECKS.given.keys(), *({n} for n in CHECKS.given)])
@given(series(failing, silences), spans, spans, st.data())
def test_with_a_bridge_a_bounded_context_is_enough(
    names, given_series, bridge, longest, data
):
    """
    Every reading within lookback and bridge before, and within the bridge after.

    However long silences are, and whether gaps of the house are longer than the bridge
    or shorter.
    """
    times, found = given_series
    checks = replace(CHECKS, rate_of_change=RateOfChange(1, 4), gap=Gap(longest))
    checks = replace(checks, **dict.fromkeys(CHECKS.given.keys() - names))
    begin = data.draw(st.sampled_from(times.tolist())) - data.draw(st.integers(0, 1))
    end = data.draw(st.sampled_from(times.tolist())) + data.draw(st.integers(0, 1))
    end = max(begin, end)
    bounds = (begin - us(checks.lookback + bridge), begin, end, end + us(bridge))
    since, first, last, until = np.searchsorted(times, bounds)

    whole = flag(times, found, checks, bridge=bridge)
    part = flag(times[since:until], found[since:until], checks, bridge=bridge)

    kept = slice(first - since, last - since)
    assert part.aggregate[kept].tolist() == whole.aggregate[first:last].tolist()
    for name, flags in whole.by_check.items():
        assert part.by_check[name][kept].tolist() == flags[first:last].tolist(), name


@given(series())
def test_a_bridge_over_everything_changes_only_the_first_gap(given_series):
    """Before the first reading nothing is seen: 9; all else is as without a bridge."""
    free = flag(*given_series, CHECKS)
    bound = flag(*given_series, CHECKS, bridge=timedelta(days=9))

    gap = bound.by_check["gap"]
    assert gap[0] == 9
    assert gap[1:].tolist() == free.by_check["gap"][1:].tolist()
    for name in CHECKS.given.keys() - {"gap"}:
        assert bound.by_check[name].tolist() == free.by_check[name].tolist()


@given(series(quarters | st.just(math.nan)), st.integers(-400, 400))
def test_a_constant_changes_nothing(given_series, many):
    """Added to readings and limits alike; only known failure values stand still."""
    (times, found), more = given_series, many / 4
    checks = replace(CHECKS, signature=None)
    moved = GrossRange((-10 + more, 60 + more), (10 + more, 35 + more))

    before = flag(times, found, checks)
    after = flag(times, found + more, replace(checks, gross_range=moved))

    assert before.aggregate.tolist() == after.aggregate.tolist()
    for name, flags in before.by_check.items():
        assert flags.tolist() == after.by_check[name].tolist()


@given(series(st.floats(allow_nan=True, allow_infinity=True)))
def test_every_number_gets_a_flag_of_the_standard(given_series):
    """Huge, tiny and infinite values raise nothing and warn of nothing."""
    got = flag(*given_series, CHECKS)

    for flags in (got.aggregate, *got.by_check.values()):
        assert flags.dtype == np.int8
        assert np.isin(flags, [1, 2, 3, 4, 9]).all()
    assert (got.aggregate[np.isinf(given_series[1])] == 4).all()


@given(st.lists(st.integers(-50, 50), min_size=1, max_size=70), st.data())
def test_extremes_of_a_window_are_those_of_its_readings(numbers, data):
    """Against the plain minimum and maximum of each window."""
    found = np.array(numbers, dtype=np.float64)
    first = [data.draw(st.integers(0, i)) for i in range(len(numbers))]

    lowest, highest = extremes(found, np.array(first))

    windows = [numbers[begin : i + 1] for i, begin in enumerate(first)]
    assert lowest.tolist() == [min(window) for window in windows]
    assert highest.tolist() == [max(window) for window in windows]


def test_a_year_by_the_minute_is_flagged_at_once():
    """
    Faults of a year are found where they were put, in work that grows by n log n.

    The bound is of processor time and twenty times what is needed; work that grows by
    n squared would take hours.
    """
    count = 525_600
    times = np.arange(count, dtype=np.int64) * MINUTE_US
    rng = np.random.default_rng(4)
    found = 24 + 0.5 * rng.standard_normal(count).clip(-2, 2)
    found[100_000:101_500] = 24.0
    found[300_000] = 85.0
    checks = replace(
        CHECKS,
        spike=Spike(20),
        rate_of_change=RateOfChange(600),
        flat_line=FlatLine(timedelta(days=1), 0.0),
        attenuated_signal=None,
    )
    began = time.process_time()

    got = flag(times, found, checks)

    assert time.process_time() - began < 10
    stuck = np.flatnonzero(got.by_check["flat_line"] == 3)
    assert (stuck[0], stuck[-1]) == (100_000 + 1440, 101_499)
    assert np.flatnonzero(got.by_check["signature"] == 4).tolist() == [300_000]
    assert np.flatnonzero(got.by_check["rate_of_change"] == 3).tolist() == [
        300_000,
        300_001,
    ]
