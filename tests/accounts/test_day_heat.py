"""The warmth of a day, and the account made of days."""

from datetime import date, datetime, time, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.accounts.bounded import HeatRule
from monitor.accounts.degree_days import (
    Tally,
    day_heat,
    heat_rule,
    requirement,
    total,
)
from monitor.accounts.feeding import fed_spans
from monitor.accounts.instruments import Instruments
from monitor.clock import to_us
from monitor.science.degree_days import integrate_between
from monitor.site.species_file import Development
from tests.accounts import house as quillmere
from tests.accounts.house import AIR, DAY, FIVE, HOUR, START, Told, instants, steady

RULE = HeatRule(10.0, 30.0, "horizontal", assumed=False)
HOUSE = Instruments(quillmere.site())
LATER = START + 30 * DAY
FIRST = START.date()


def heats(told, readings, days=3, *, now=LATER, stage="egg", rule=RULE):
    """The first days of the house's first cohort."""
    house = told.house()
    spans = fed_spans(house, house.cohorts[1], stage, prefer_substrate=False)
    return [
        day_heat(FIRST + DAY * n, spans, readings, rule, HOUSE, now=now)
        for n in range(days)
    ]


def settled(told=None):
    return told or Told().tub(START).start(START)


def test_a_steady_day_gives_its_temperature_above_the_threshold():
    """20 degC all day above 10: ten degree-days, fully measured."""
    readings = {("a-air", AIR): steady(START, START + 2 * DAY, 20)}

    got = heats(settled(), readings, 1)[0]

    assert got.degree_days == pytest.approx(10)
    assert (got.measured_s, got.missing_s) == (86_400, 0)
    assert got.minutes == (("shelf", 1440),)
    assert got.complete
    assert got.up_to == START + DAY


def test_each_shelf_gives_its_own_warmth_for_its_own_time():
    """8 h on a shelf of 16 degC, 16 h on one of 25: 2 + 10 degree-days."""
    told = settled().carry(START + 8 * HOUR, "warm-b")
    readings = {
        ("a-air", AIR): steady(START, START + 2 * DAY, 16),
        ("b-air", AIR): steady(START, START + 2 * DAY, 25),
    }

    got = heats(told, readings, 1)[0]

    assert got.degree_days == pytest.approx(6 * 8 / 24 + 15 * 16 / 24)
    assert got.missing_s == 0


@given(
    moves=st.lists(st.integers(1, 3 * 24 * 60 - 1), max_size=6, unique=True),
    seed=st.integers(0, 1000),
)
def test_days_and_moves_lose_and_double_nothing(moves, seed):
    """
    However the tub is carried, the days add up to the shelves' own integrals.

    Readings stand at odd times, so every midnight and every move cuts a pair.
    """
    told = settled()
    for n, minute in enumerate(sorted(moves)):
        told.carry(START + timedelta(minutes=minute), ["warm-b", "warm-a"][n % 2])
    random = np.random.default_rng(seed)
    readings = {}
    for sensor in ("a-air", "b-air"):
        times = instants(START - 7 * timedelta(minutes=1), START + 4 * DAY)
        readings[sensor, AIR] = (
            times + random.integers(0, 200_000_000, times.size),
            random.uniform(0, 40, times.size),
        )
    edges = [START, *(START + timedelta(minutes=m) for m in sorted(moves))]
    ends = [*edges[1:], START + 3 * DAY]
    expected = sum(
        integrate_between(
            *readings[("a-air", "b-air")[n % 2], AIR],
            since_us=to_us(since),
            until_us=to_us(until),
            lower_c=10,
            upper_c=30,
            max_gap=HOUR,
        ).degree_days
        for n, (since, until) in enumerate(zip(edges, ends, strict=True))
    )

    got = heats(told, readings)

    assert sum(day.degree_days for day in got) == pytest.approx(expected, abs=1e-9)
    assert sum(day.measured_s for day in got) == pytest.approx(3 * 86_400)
    assert all(day.complete for day in got)


def test_a_change_of_stage_within_a_pair_counts_the_pair_once():
    """Egg and grub share the pair across the change between them."""
    told = settled().advance(START + 12 * HOUR + timedelta(minutes=2), "grub")
    readings = {("a-air", AIR): steady(START, START + 2 * DAY, 20)}

    egg, grub = (heats(told, readings, 1, stage=s)[0] for s in ("egg", "grub"))

    assert egg.measured_s == 12 * 3600 + 120
    assert egg.degree_days + grub.degree_days == pytest.approx(10)


def test_a_gap_is_missing():
    """Six silent hours are neither warm nor cold."""
    times, values = steady(START, START + 2 * DAY, 20)
    silent = (times > to_us(START + 6 * HOUR)) & (times < to_us(START + 12 * HOUR))

    got = heats(settled(), {("a-air", AIR): (times[~silent], values[~silent])}, 1)[0]

    assert got.missing_s == 6 * 3600
    assert got.degree_days == pytest.approx(10 * 18 / 24)
    assert got.complete


def test_where_nothing_measures_all_is_missing():
    """No readings at all, and a shelf without a probe."""
    nothing = heats(settled(), {}, 1)[0]
    dark = heats(settled().carry(START, "dark"), {}, 1)[0]

    assert (nothing.missing_s, nothing.degree_days) == (86_400, 0)
    assert (dark.missing_s, dark.minutes) == (86_400, ())
    assert nothing.complete


def test_of_several_probes_the_one_that_measured_most_speaks():
    """A second probe on the shelf speaks for the day on which the first was silent."""
    site = quillmere.site(
        sensor=[
            quillmere.probe("first", "warm-a", AIR),
            quillmere.probe("second", "warm-a", AIR),
        ],
    )
    house = settled().house(site)
    spans = fed_spans(house, house.cohorts[1], "egg", prefer_substrate=False)
    readings = {
        ("first", AIR): steady(START, START + 30 * HOUR, 20),
        ("second", AIR): steady(START, START + 3 * DAY, 25),
    }

    got = [
        day_heat(FIRST + DAY * n, spans, readings, RULE, HOUSE, now=LATER)
        for n in range(2)
    ]

    assert [day.degree_days for day in got] == pytest.approx([10, 15])
    assert [day.missing_s for day in got] == [0, 0]


def test_readings_by_hand_bridge_a_day():
    """A person reads once a day, late at times: 25 h are bridged, 27 h are not."""
    told = Told().tub(START, parent="dark").start(START)
    house = told.house()
    spans = fed_spans(house, house.cohorts[1], "egg", prefer_substrate=False)
    hand = [
        s.__class__(s.since, s.until, ("hand-tub-1",), s.quantity, s.place, "hand")
        for s in spans
    ]
    hours = [-2, 23, 50]
    times = np.array([to_us(START + h * HOUR) for h in hours], np.int64)
    readings = {("hand-tub-1", AIR): (times, np.full(3, 20.0))}

    got = [
        day_heat(FIRST + DAY * n, hand, readings, RULE, HOUSE, now=LATER)
        for n in range(2)
    ]

    assert [day.missing_s for day in got] == [3600, 86_400]
    assert got[0].minutes == (("hand", 23 * 60),)


def test_time_after_the_last_reading_is_open_while_a_reading_may_come():
    """Three minutes after a reading nothing is missing; 31 minutes after, it is."""
    last = START + 10 * HOUR
    readings = {("a-air", AIR): steady(START, last, 20)}

    soon = heats(settled(), readings, 1, now=last + timedelta(minutes=3))[0]
    late = heats(settled(), readings, 1, now=last + timedelta(minutes=31))[0]

    assert (soon.measured_s, soon.missing_s) == (36_000, 0)
    assert (soon.up_to, soon.complete) == (last, False)
    assert (late.measured_s, late.missing_s) == (36_000, 31 * 60)


def test_yesterday_is_complete_when_its_last_pair_has_closed():
    """
    At 00:02 the pair across midnight is open; the reading at 00:03 closes it.

    Whether that one is trusted is known from the next, at 00:08.
    """
    midnight = START + DAY
    last = midnight - timedelta(minutes=2)

    def upto(end):
        readings = {("a-air", AIR): steady(START, end, 20)}
        return heats(settled(), readings, 1, now=midnight + 3 * FIVE)[0]

    before, closed, after = (upto(last + n * FIVE) for n in range(3))

    assert not before.complete
    assert before.up_to == datetime.combine(FIRST, time(23, 55), START.tzinfo)
    assert (closed.complete, closed.up_to) == (False, midnight)
    assert after.complete
    assert after.degree_days == closed.degree_days == pytest.approx(10)


def test_a_day_is_complete_when_nothing_came_for_long():
    """The reading after midnight was the last for longer than may be bridged."""
    midnight = START + DAY
    times, values = steady(START, midnight - FIVE, 20)
    closed = np.append(times, to_us(midnight)), np.append(values, 20.0)

    waits, gone = (
        heats(settled(), {("a-air", AIR): closed}, 1, now=midnight + gap)[0]
        for gap in (HOUR / 2, HOUR / 2 + timedelta(seconds=1))
    )

    assert (waits.complete, gone.complete) == (False, True)


def test_a_spread_widens_the_bounds_by_two_of_it():
    """A tub 1.5 K warmer than its shelf at 20 degC, give or take 0.5: 10.5 to 12.5."""
    told = Told().tub(START, surveyed=False).start(START).survey(START, 1.5, 0.5)

    got = heats(told, {("a-air", AIR): steady(START, START + 2 * DAY, 20)}, 1)[0]

    assert got.degree_days == pytest.approx(11.5)
    assert (got.least, got.most) == (pytest.approx(10.5), pytest.approx(12.5))
    (record,) = got.records.values()
    assert (record.coldest, record.warmest) == (20.5, 22.5)


def test_bounds_know_that_too_warm_may_be_slow():
    """At 29 degC under a vertical cutoff at 30, two spreads warmer is no warmth."""
    rule = HeatRule(10.0, 30.0, "vertical", assumed=False)
    told = Told().tub(START, surveyed=False).start(START).survey(START, 0.0, 1.0)
    readings = {("a-air", AIR): steady(START, START + 2 * DAY, 29)}

    got = heats(told, readings, 1, rule=rule)[0]

    assert got.degree_days == pytest.approx(19)
    assert got.least == 0
    assert got.most == pytest.approx(20)


def test_a_place_never_surveyed_is_within_what_is_assumed_of_a_shelf():
    """1 K of spread: two degree-days a day to either side."""
    told = Told().tub(START, surveyed=False).start(START)

    got = heats(told, {("a-air", AIR): steady(START, START + 2 * DAY, 20)}, 1)[0]

    assert (got.least, got.degree_days, got.most) == pytest.approx((8, 10, 12))


def test_a_later_survey_counts_from_its_day_on():
    """The first one holds before itself, too."""
    told = Told().tub(START, surveyed=False).start(START)
    told.survey(START + 12 * HOUR, 1.0, 0.0).survey(START + 36 * HOUR, 3.0, 0.0)
    readings = {("a-air", AIR): steady(START, START + 4 * DAY, 20)}

    got = heats(told, readings)

    assert [day.degree_days for day in got] == pytest.approx([11, 12, 13])


def test_missing_time_lies_within_what_the_place_ever_was():
    """A day without readings after three between 18 and 26 degC: 8 to 16."""
    times = instants(START, START + 3 * DAY)
    wave = 22 + 4 * np.sin((times - times[0]) / 86_400e6 * 2 * np.pi)
    days = heats(settled(), {("a-air", AIR): (times, wave)}, 4)

    got = account(days, development(upper_threshold=None, cutoff=None))

    assert got.degree_days == pytest.approx(36, abs=0.1)
    assert got.low - got.degree_days == pytest.approx(8, abs=0.1)
    assert got.high - got.degree_days == pytest.approx(16, abs=0.1)
    assert got.coverage == pytest.approx(0.75, abs=0.01)


def test_another_place_tells_nothing_of_one_without_a_probe():
    """Five days at 27 degC measured, then five where nobody measures: 0 to 20 K."""
    told = settled()
    told.tub(START, place="tub-9", parent="dark").move(START + 5 * DAY, "tub-9")
    readings = {("a-air", AIR): steady(START, START + 10 * DAY, 27)}

    got = account(heats(told, readings, 10), development())

    assert (got.low, got.high) == pytest.approx((5 * 17, 5 * 17 + 5 * 20))


def test_a_stage_counts_however_its_name_is_written():
    """Older journals have it as it was typed."""
    readings = {("a-air", AIR): steady(START, START + 2 * DAY, 20)}
    told = Told().tub(START).start(START, stage="EGG")

    assert heats(told, readings, 1)[0].degree_days == pytest.approx(10)


def test_two_days_tell_nothing_of_the_extremes_of_a_place():
    """Then the thresholds alone bound the missing time."""
    days = heats(settled(), {("a-air", AIR): steady(START, START + 2 * DAY, 22)}, 3)

    got = account(days, development())

    assert got.low == pytest.approx(24)
    assert got.high == pytest.approx(24 + 20)


@given(
    lost=st.tuples(st.integers(1, 1200), st.integers(6, 600)), seed=st.integers(0, 99)
)
def test_bounds_hold_the_truth_where_the_place_was_as_warm_before(lost, seed):
    """
    Any part that is too long to be bridged is removed, and the record knows it all.

    The last day repeats the coldest and the warmest of the five before.
    """
    random = np.random.default_rng(seed)
    times = instants(START - HOUR, START + 6 * DAY)
    values = 20 + np.clip(np.cumsum(random.normal(0, 0.3, times.size)), -14, 14)
    values[-200], values[-100] = values.min(), values.max()
    whole = {("a-air", AIR): (times, values)}
    kept = np.ones(times.size, bool)
    kept[lost[0] : lost[0] + lost[1]] = False
    kept[-210:] = True
    holed = {("a-air", AIR): (times[kept], values[kept])}

    truth = account(heats(settled(), whole, 6), development())
    got = account(heats(settled(), holed, 6), development())

    assert got.low - 1e-9 <= truth.degree_days <= got.high + 1e-9


def test_today_is_never_complete_even_for_a_cohort_that_ended():
    """A late reading of today marks nothing, so today is always computed anew."""
    told = settled().end(START + 6 * HOUR)
    readings = {("a-air", AIR): steady(START, START + 12 * HOUR, 20)}

    got = heats(told, readings, 1, now=START + 12 * HOUR)[0]

    assert (got.measured_s, got.complete) == (6 * 3600, False)


def test_an_equal_feed_has_an_equal_fingerprint():
    """Whole days under one probe share it; a move, a rule, an interval change it."""
    told = settled().carry(START + 30 * HOUR, "warm-b")
    readings = {("a-air", AIR): steady(START, START + 4 * DAY, 20)}
    other = HeatRule(11.0, 30.0, "horizontal", assumed=False)

    plain, moved, same = (h.fingerprint for h in heats(told, readings))
    again = heats(settled(), readings)[2].fingerprint
    ruled = heats(settled(), readings, 1, rule=other)[0].fingerprint

    assert heats(told, {}, 1)[0].fingerprint == plain
    assert plain == again
    assert len({plain, moved, same, ruled}) == 4


def development(table=None, **changes):
    made = table or quillmere.heat(**changes)
    return Development.model_validate(made | {"source": "from-memory"})


def account(days, made, sex="any"):
    cohort = settled(Told().tub(START).start(START, sex=sex)).house().cohorts[1]
    return total(cohort, "egg", Tally(days), made, now=LATER)


def test_the_account_adds_days_up_with_bounds_and_coverage():
    """Three days at 20 degC, twelve hours silent: 25 to 35 degree-days."""
    times, values = steady(START, START + 4 * DAY, 20)
    silent = (times > to_us(START + 30 * HOUR)) & (times < to_us(START + 42 * HOUR))
    days = heats(settled(), {("a-air", AIR): (times[~silent], values[~silent])})

    got = account(days, development())

    assert (got.cohort, got.stage, got.required) == (1, "egg", 200)
    assert (got.degree_days, got.low, got.high) == pytest.approx((25, 25, 35))
    assert got.coverage == pytest.approx(60 / 72)
    assert got.up_to == START + 3 * DAY
    assert got.sources == ("shelf",)
    assert not got.assumed_threshold


def test_a_snapshot_and_the_rest_make_the_whole():
    """Days added before a restart and after it come to the sum of all days."""
    random = np.random.default_rng(3)
    times = instants(START - HOUR, START + 41 * DAY)
    readings = {("a-air", AIR): (times, random.uniform(0, 40, times.size))}
    days = heats(settled(), readings, 40, now=START + 41 * DAY)

    whole = account(days, development())
    snapshot, rest = (
        account(days[:17], development()),
        account(days[17:], development()),
    )

    assert snapshot.degree_days + rest.degree_days == pytest.approx(
        whole.degree_days, abs=1e-9
    )


def test_without_an_upper_threshold_or_a_record_nothing_bounds_missing_time():
    """A day without any reading may have been as warm as it liked."""
    days = heats(settled(), {}, 1)

    got = account(days, development(upper_threshold=None, cutoff=None))

    assert (got.low, got.high, got.coverage) == (0, None, 0)


def test_an_account_without_any_day_covers_all_of_no_time():
    """Nothing is missing yet."""
    got = account([], development(upper_threshold=None, cutoff=None))

    assert (got.low, got.high, got.degree_days, got.coverage) == (0, 0, 0, 1)
    assert got.up_to == LATER


def test_the_longest_source_comes_first():
    """Own probe for an hour, the shelf for the rest of the day."""
    told = settled()
    day = heats(told, {("a-air", AIR): steady(START, START + 2 * DAY, 20)}, 1)[0]
    other = day.__class__(
        date(2026, 3, 3),
        *(1.0, 1.0, 1.0),
        *(3600, 0),
        (("own probe", 60),),
        LATER,
        complete=True,
    )

    assert account([other, day], development()).sources == ("shelf", "own probe")


def test_stages_that_warmth_does_not_drive_have_no_account():
    """Driven by time, no development at all, or no threshold."""
    timed = development(quillmere.lasting(("any", 60.0, 24.0), driven_by="time"))
    unchecked = Development.model_construct(driven_by="heat", lower_threshold=None)

    assert heat_rule(timed) is None
    assert heat_rule(None) is None
    assert heat_rule(unchecked) is None
    assert account([], timed) is None


def test_an_assumed_threshold_turns_a_duration_into_degree_days():
    """75 days at 24 degC above an assumed 10 are 1,050 degree-days; it says so."""
    made = development(
        quillmere.lasting(
            ("female", 75.0, 24.0), ("male", 85.0, 24.0), assumed_lower_threshold=10.0
        )
    )

    female, mixed = account([], made, "female"), account([], made)

    assert (female.required, female.assumed_threshold) == (1050, True)
    assert mixed.required == pytest.approx(80 * 14)
    assert requirement(made, "male") == 1190


def test_durations_at_two_temperatures_give_their_mean():
    """50 days at 20 and 30 days at 25 above 10: 500 and 450."""
    made = development(
        quillmere.lasting(
            ("any", 50.0, 20.0), ("any", 30.0, 25.0), assumed_lower_threshold=10.0
        )
    )

    assert requirement(made, "any") == 475


@pytest.mark.parametrize(
    ("sex", "expected"), [("female", 210), ("male", 190), ("any", 200)]
)
def test_the_requirement_is_of_the_cohorts_sex(sex, expected):
    """A cohort of both sexes needs the mean of them."""
    made = development(
        required_degree_days=[
            {"sex": "male", "mean": 190.0, "sd": 20.0},
            {"sex": "female", "mean": 210.0, "sd": 20.0},
        ]
    )

    assert requirement(made, sex) == expected


def test_a_requirement_of_any_sex_holds_for_each():
    """And a stage without one says so."""
    timed = development(quillmere.lasting(("any", 60.0, 24.0), driven_by="time"))

    assert requirement(development(), "female") == 200
    assert requirement(timed, "any") is None
