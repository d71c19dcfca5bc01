"""Minimum and maximum read by hand, as the degree-day account counts them."""

from datetime import timedelta
from itertools import pairwise
from typing import get_args

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.accounts.bounded import HeatRule, measure
from monitor.accounts.by_hand import HAND_GAP, cut_by, hand_logs, without_extremes
from monitor.accounts.feeding import FedSpan
from monitor.accounts.instruments import Instruments
from monitor.accounts.worker import AccountsWorker
from monitor.clock import to_us
from monitor.heart.events import Reading
from monitor.science.daily import Method, degree_days
from monitor.science.degree_days import integrate_between
from monitor.site.journal import HandReading
from monitor.site.words import Quantity
from monitor.store.reader import Reader
from monitor.store.writer import Writer
from tests.accounts import house as quillmere
from tests.accounts.house import AIR, DAY, HOUR, START, SUBSTRATE, Told
from tests.accounts.test_worker import Shop

HAND = "hand-tub-1"
NEXT_WEEK = START + 7 * DAY


def read(told, at, *, lowest=None, highest=None, value=None, **more):
    """A reading by hand at the tub on the shelf without a probe."""
    quantity = more.pop("quantity", Quantity.AIR_TEMPERATURE)
    fact = HandReading("tub-1", quantity, value, lowest, highest, **more)
    return told.tell(at, fact)


def in_the_dark():
    """A tub on the shelf without a probe, eggs in it since the start."""
    return Told().tub(START, parent="dark").start(START)


def kept(told):
    """A shop whose store holds what the desk gives it: the value, else the maximum."""
    shop = Shop(told)
    for entry in told.entries:
        fact = entry.fact
        if isinstance(fact, HandReading):
            value = fact.maximum if fact.value is None else fact.value
            at = np.array([to_us(entry.happened_at)], np.int64)
            shop.store.put(HAND, at, value, fact.quantity.value)
    return shop


def pairs(told):
    log = hand_logs(told.entries)["tub-1", Quantity.AIR_TEMPERATURE]
    return [
        ((e.since - START) / HOUR, (e.until - START) / HOUR, e.lowest, e.highest)
        for e in log.extremes
    ]


def sine(low, high, cutoff="horizontal"):
    """Degree-days of a day between 10 and 30."""
    return degree_days(
        low, high, lower=10, upper=30, method="single-sine", cutoff=cutoff
    )


def test_a_pair_counts_its_time_by_a_single_sine():
    """
    Reset at the start, read after 24 h: measured in full, as one day of the sine.

    It may have been 8 nearly all day, or 24: nothing, or 14 above 10.
    """
    told = read(in_the_dark(), START + DAY, lowest=8, highest=24, since=START)

    got = kept(told).heat(START + DAY)

    assert got.degree_days == pytest.approx(sine(8, 24))
    assert (got.coverage, got.sources) == (1, ("hand",))
    assert (got.low, got.high) == pytest.approx((0, 14))


def test_daily_readings_reach_back_to_one_another():
    """Without a told reset the one before was the reset: three days, three pairs."""
    told = read(in_the_dark(), START, lowest=15, highest=20)
    for n, (low, high) in enumerate([(8, 24), (12, 34), (20, 20)], start=1):
        read(told, START + n * DAY, lowest=low, highest=high)

    got = kept(told).heat(START + 3 * DAY)

    assert pairs(told) == [(0, 24, 8, 24), (24, 48, 12, 34), (48, 72, 20, 20)]
    assert got.degree_days == pytest.approx(sine(8, 24) + sine(12, 34) + 10)
    assert got.coverage == 1


def test_the_sum_is_spread_over_days_and_stages_evenly():
    """A pair from noon to noon gives half to each day, a third to a stage of 8 h."""
    noon = START + 12 * HOUR
    told = read(in_the_dark(), noon + DAY, lowest=8, highest=24, since=noon)
    told.advance(noon + 16 * HOUR, "grub")
    shop = kept(told)

    shop.work(NEXT_WEEK)

    days = shop.store.days()
    whole = sine(8, 24)
    first = START.date()
    assert days["egg", first].degree_days == pytest.approx(whole / 2)
    assert days["egg", first + DAY].degree_days == pytest.approx(whole / 6)
    assert days["grub", first + DAY].degree_days == pytest.approx(
        degree_days(8, 24, lower=10, upper=32, method="single-sine") / 3
    )


@pytest.mark.parametrize("cutoff", ["vertical", "intermediate"])
def test_the_stage_has_its_own_cutoff(cutoff):
    """A day that rises above the upper threshold, under the daily rule."""
    told = read(in_the_dark(), START + DAY, lowest=20, highest=40, since=START)

    got = fitted(told, "constant temperatures", cutoff=cutoff).heat(START + DAY)

    assert got.degree_days == pytest.approx(sine(20, 40, cutoff))


# the daily method


def fitted(told, with_, **changes):
    """A shop whose eggs have a sum that was fitted with some method."""
    shop = kept(told)
    egg = quillmere.heat(fitted_with=with_, **changes)
    shop.library = Shop(told, egg=egg).library
    return shop


@pytest.mark.parametrize("method", get_args(Method))
def test_a_pair_counts_by_the_method_of_the_sum(method):
    """A requirement holds only for days that are formed as those it was fitted with."""
    told = read(in_the_dark(), START + DAY, lowest=8, highest=24, since=START)
    words = f"daily {method.replace('-', ' ')}, horizontal cutoff"

    got = fitted(told, words).heat(START + DAY)

    expected = degree_days(8, 24, lower=10, upper=30, method=method)
    assert got.degree_days == pytest.approx(expected)


def test_a_double_method_goes_on_to_the_minimum_of_the_next_pair():
    """Three pairs in a row: of the last one nobody knows the night that follows."""
    told = read(in_the_dark(), START, lowest=15, highest=20)
    for n, (low, high) in enumerate([(8, 24), (12, 34), (6, 20)], start=1):
        read(told, START + n * DAY, lowest=low, highest=high)

    got = fitted(told, "double sine").heat(START + 3 * DAY)

    expected = [
        degree_days(*day, lower=10, upper=30, method="double-sine", next_minimum=then)
        for day, then in [((8, 24), 12), ((12, 34), 6), ((6, 20), None)]
    ]
    assert got.degree_days == pytest.approx(sum(expected))


@pytest.mark.parametrize(("pause", "then"), [(1, 14), (3, None)])
def test_a_pair_that_begins_later_is_of_another_night(pause, then):
    """An hour between reading and reset is a slow hand; after three nobody knows."""
    told = read(in_the_dark(), START + 20 * HOUR, lowest=8, highest=24, since=START)
    reset = START + (20 + pause) * HOUR
    read(told, START + 40 * HOUR, lowest=14, highest=20, since=reset)

    first, _ = hand_logs(told.entries)["tub-1", Quantity.AIR_TEMPERATURE].extremes

    assert first.next_lowest == then


@pytest.mark.parametrize(
    ("words", "changed"), [("single sine", [1]), ("double sine", [0, 1])]
)
def test_the_next_pair_makes_the_day_before_anew_where_it_counts(words, changed):
    """Only a double method looks ahead: the others keep the day that they have."""
    told = read(in_the_dark(), START + DAY, lowest=8, highest=24, since=START)
    shop = fitted(told, words)
    shop.work(START + 3 * DAY)

    read(told, START + 2 * DAY, lowest=16, highest=20)
    got = shop.work(START + 3 * DAY)

    assert [(row.day - START.date()).days for row in got.days] == changed


@settings(max_examples=60, deadline=None)
@given(
    curve=st.lists(st.floats(0, 45), min_size=2, max_size=12),
    cutoff=st.sampled_from(["horizontal", "vertical", "intermediate"]),
    words=st.sampled_from(get_args(Method)),
    piece=st.tuples(st.integers(0, 47), st.integers(1, 48)),
)
def test_the_bounds_hold_the_truth_of_any_curve(curve, cutoff, words, piece):
    """
    Whatever ran between the two extremes, and of any piece of the time.

    The truth is the exact integral over the curve; `science.degree_days` has its own
    checks.
    """
    begin = START + min(piece[0], 47) * HOUR / 2
    until = min(begin + piece[1] * HOUR / 2, START + DAY)
    times = to_us(START) + np.linspace(0, 24, len(curve)) * 3_600_000_000
    rule = HeatRule(10.0, 30.0, cutoff, assumed=False, method=words)
    span = FedSpan(
        begin,
        until,
        (HAND,),
        Quantity.AIR_TEMPERATURE,
        "tub-1",
        "hand",
        extremes=(min(curve), max(curve)),
        next_lowest=-5.0,
    )

    got = measure(
        span,
        until,
        readings={},
        rule=rule,
        instruments=Instruments(quillmere.site()),
        now=NEXT_WEEK,
    ).sum

    truth = integrate_between(
        times.astype(np.int64),
        np.array(curve),
        since_us=to_us(begin),
        until_us=to_us(until),
        lower_c=10.0,
        upper_c=30.0,
        cutoff=cutoff,
        max_gap=DAY,
    ).degree_days
    assert got.least - 1e-6 <= truth <= got.most + 1e-6
    assert got.least <= got.degree_days <= got.most


def test_no_more_than_26_hours_count():
    """Extremes of a week speak for its last 26 h, the rest of it is missing."""
    told = read(in_the_dark(), NEXT_WEEK, lowest=8, highest=24, since=START)

    got = kept(told).heat(NEXT_WEEK)

    assert pairs(told) == [(7 * 24 - 26, 7 * 24, 8, 24)]
    assert got.degree_days == pytest.approx(sine(8, 24) * 26 / 24)
    assert got.coverage == pytest.approx(26 / 168)
    assert got.high == pytest.approx(14 * 26 / 24 + 20 * (168 - 26) / 24)


def test_a_first_reading_without_a_reset_has_no_time():
    """Nobody knows how long its extremes reach back; the next one reaches to it."""
    told = read(in_the_dark(), START + 8 * HOUR, lowest=8, highest=24)

    first = kept(told).heat(START + 8 * HOUR)
    read(told, START + 20 * HOUR, lowest=14, highest=16)
    second = kept(told).heat(START + 20 * HOUR)

    assert (first.degree_days, first.coverage) == (0, 0)
    assert second.degree_days == pytest.approx(5 * 12 / 24)
    assert second.coverage == pytest.approx(12 / 20)


def test_a_reset_told_from_before_the_last_reading_begins_there():
    """Times never overlap: each reading's extremes count up to it."""
    told = read(in_the_dark(), START + 10 * HOUR, lowest=15, highest=15, since=START)
    read(told, START + 20 * HOUR, lowest=20, highest=20, since=START + 5 * HOUR)

    got = kept(told).heat(START + 20 * HOUR)

    assert pairs(told) == [(0, 10, 15, 15), (10, 20, 20, 20)]
    assert got.degree_days == pytest.approx((5 * 10 + 10 * 10) / 24)


def test_time_after_the_last_reading_is_open_for_26_hours():
    """The next reading may still bridge it; after that it is missing."""
    read_at = START + 20 * HOUR
    told = read(in_the_dark(), read_at, lowest=8, highest=24, since=START)
    shop = kept(told)

    soon = shop.heat(START + 23 * HOUR)
    last = shop.heat(read_at + HAND_GAP)
    late = shop.heat(read_at + HAND_GAP + HOUR)

    assert (soon.coverage, soon.up_to) == (1, read_at)
    assert last.coverage == 1
    assert late.coverage == pytest.approx(20 / 47)


def test_the_maximum_is_not_the_temperature_of_its_instant():
    """
    A value before and one after a pair join by themselves, not through its maximum.

    The store holds 34, which the alarms were judged by; the account must not.
    """
    told = read(in_the_dark(), START, value=20)
    read(told, START + 10 * HOUR, lowest=19, highest=34, since=START + 9 * HOUR)
    read(told, START + 20 * HOUR, value=20)

    got = kept(told).heat(START + 20 * HOUR)

    assert got.degree_days == pytest.approx((10 * 19 + sine(19, 34)) / 24)
    assert got.coverage == 1


def test_a_value_beside_the_extremes_is_one_of_its_instant():
    """Value, minimum and maximum in one reading: the value begins the next line."""
    told = read(in_the_dark(), START, lowest=5, highest=35, value=20)
    read(told, START + 10 * HOUR, value=22)

    got = kept(told).heat(START + 10 * HOUR)

    assert got.degree_days == pytest.approx(11 * 10 / 24)


def test_a_probe_comes_before_a_hand():
    """While a probe feeds the place, extremes read by hand count nothing."""
    told = Told().tub(START).start(START)
    read(told, START + DAY, lowest=30, highest=30, since=START)
    shop = kept(told)
    times = to_us(START) + np.arange(300, dtype=np.int64) * 300_000_000
    shop.store.put("a-air", times, 20)

    got = shop.heat(START + DAY)

    assert got.sources == ("shelf",)
    assert got.degree_days == pytest.approx(10)


def test_a_reading_typed_in_late_makes_its_days_anew():
    """Told a week later: the two days that it is of, and no others."""
    noon = START + 36 * HOUR
    shop = kept(in_the_dark())
    read(shop.told, START, value=20)
    shop.work(NEXT_WEEK)

    read(shop.told, noon, lowest=14, highest=16, since=noon - DAY)
    got = shop.work(NEXT_WEEK)

    changed = sorted((row.day - START.date()).days for row in got.days)
    assert changed == [0, 1]
    assert got.heats[0].degree_days == pytest.approx(5)


def test_through_the_real_store(tmp_path):
    """Journal and reading written as the desk does; the day is computed and kept."""
    now = START + DAY + HOUR
    told = read(in_the_dark(), START + DAY, lowest=8, highest=24, since=START)
    with Writer.open(tmp_path, now=now) as writer:
        with writer.transaction():
            writer.add_entries(told.entries)
            writer.add_readings(
                [Reading(HAND, AIR, START + DAY, 24.0, by_hand=True)], now=now
            )
        reader = Reader.open(tmp_path)
        site, library = quillmere.site(), quillmere.library()
        declared = quillmere.Declared(site, library)
        worker = AccountsWorker(reader, lambda: declared)

        got = worker.run_once(now)

    assert got.heats[0].degree_days == pytest.approx(sine(8, 24))
    assert (got.heats[0].coverage, got.heats[0].up_to) == (1, START + DAY)
    assert [row.day for row in got.days] == [START.date()]


def test_substrate_and_air_are_apart():
    """A dial thermometer in the substrate tells nothing of the air."""
    told = in_the_dark()
    read(
        told,
        START + DAY,
        lowest=30,
        highest=30,
        since=START,
        quantity=Quantity.SUBSTRATE_TEMPERATURE,
    )

    logs = hand_logs(told.entries)

    assert set(logs) == {("tub-1", Quantity.SUBSTRATE_TEMPERATURE)}
    assert kept(told).heat(START + DAY).degree_days == 0


def test_a_swapped_pair_from_elsewhere_stops_nothing():
    """The desk refuses it; in an older journal it is passed over."""
    told = read(in_the_dark(), START + DAY, lowest=24, highest=8, since=START)

    assert hand_logs(told.entries) == {}
    assert kept(told).heat(START + DAY).coverage < 1


def test_values_of_other_series_are_left_alone():
    """Only what a hand read at that place and instant is looked at."""
    told = read(in_the_dark(), START, lowest=8, highest=24)
    logs = hand_logs(told.entries)
    times = np.array([to_us(START), to_us(START + HOUR)], np.int64)
    values = np.array([24.0, 20.0])

    probe = without_extremes("a-air", AIR, times, values, logs)
    other = without_extremes("hand-tub-2", AIR, times, values, logs)
    substrate = without_extremes(HAND, SUBSTRATE, times, values, logs)
    told_by_hand = without_extremes(HAND, AIR, times, values, logs)

    assert all(each is values for each in (probe, other, substrate))
    assert np.isnan(told_by_hand[0])
    assert told_by_hand[1] == 20


@given(
    readings=st.lists(
        st.tuples(st.integers(0, 200), st.none() | st.integers(0, 60)),
        max_size=8,
        unique_by=lambda r: r[0],
    ),
    begin=st.integers(-10, 210),
    length=st.none() | st.integers(1, 100),
)
def test_pieces_cover_a_time_once(readings, begin, length):
    """However resets overlap: no hole, no overlap, no pair longer than 26 h."""
    told = in_the_dark()
    for at, back in readings:
        since = None if back is None else START + (at - back) * HOUR
        read(told, START + at * HOUR, lowest=10, highest=20, since=since)
    log = hand_logs(told.entries).get(("tub-1", Quantity.AIR_TEMPERATURE))
    extremes = log.extremes if log else ()
    since = START + begin * HOUR
    until = None if length is None else since + length * HOUR

    got = list(cut_by(extremes, since, until))

    assert got[0][0] == since
    assert got[-1][1] == until
    assert all(one[1] == other[0] for one, other in pairwise(got))
    assert all(end is None or begin < end for begin, end, _ in got)
    covered = [(b, e) for b, e, pair in got if pair is not None]
    assert all(e - b <= timedelta(hours=26) for b, e in covered)
    assert all(p.since <= b and e <= p.until for b, e, p in got if p is not None)
