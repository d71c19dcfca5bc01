"""Bands over a week: they follow animals, tubs and probes as these move."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.alarms.perhaps import PerhapsSince, perhaps_at
from monitor.alarms.plan import make_plan
from monitor.site.house import fold
from monitor.site.local import is_night
from monitor.summary.timeline import common, held_against, house_at, nights
from monitor.summary.week import bounds, parse_week
from tests.summary.house import AIR, DAY, END, HOUR, START, House

A, B = ("a-air", AIR), ("b-air", AIR)


def spans(house, since=START, until=END, *, taken=()):
    everything = fold(house.site, house.entries)
    found = held_against(
        house.site, house.library, everything, since, until, taken=taken
    )
    return {series: held.tolerated for series, held in found.items()}


def at(found, series, when):
    """The band of a series at an instant."""
    return next(
        ((b.low, b.high) for b in found.get(series, ()) if b.since <= when < b.until),
        None,
    )


def test_day_and_night_have_bands_of_their_own(quillmere):
    """Eggs tolerate 20 to 29 from 08:00 to 20:00, and 18 to 27 at night."""
    quillmere.tub(START - DAY).start(START - DAY)

    found = spans(quillmere)

    assert at(found, A, START + 12 * HOUR) == (20, 29)
    assert at(found, A, START + 21 * HOUR) == (18, 27)
    assert len(found[A]) == 15
    assert B not in found


def test_the_band_of_all_who_depend_is_what_they_have_in_common(quillmere):
    """Eggs 20 to 29 and montane larvae 13 to 21 by day: 20 to 21."""
    quillmere.tub(START - DAY).start(START - DAY)
    quillmere.start(START - DAY, 2, of="montane", stage="L1")

    assert at(spans(quillmere), A, START + 12 * HOUR) == (20, 21)


def test_who_shares_nothing_leaves_an_empty_band(quillmere):
    """Eggs from 20 on, montane L2 up to 19: nothing is right for both."""
    quillmere.tub(START - DAY).start(START - DAY)
    quillmere.start(START - DAY, 2, of="montane", stage="L2")

    low, high = at(spans(quillmere), A, START + 12 * HOUR)

    assert (low, high) == (20, 19)


def test_bands_follow_who_moves_grows_and_goes(quillmere):
    """A tub is carried, eggs become larvae, the cohort is given away."""
    noon = START + 12 * HOUR
    quillmere.tub(START - DAY).start(START - DAY)
    quillmere.carry(noon + DAY, "shelf-b").advance(noon + 2 * DAY, "L1")
    quillmere.end(noon + 3 * DAY)

    found = spans(quillmere)

    days = [noon + n * DAY + HOUR for n in range(4)]
    assert [at(found, A, day) for day in days] == [(20, 29), None, None, None]
    assert [at(found, B, day) for day in days] == [None, (20, 29), (22, 26), None]
    changed = noon + 2 * DAY
    assert at(found, B, changed - timedelta(microseconds=1)) == (20, 29)
    assert at(found, B, changed) == (22, 26)


def test_bands_follow_a_probe_that_is_hung_elsewhere(quillmere):
    """From then on it is judged by those of its new place."""
    quillmere.tub(START - DAY, parent="shelf-b").start(START - DAY, stage="L1")
    quillmere.hang(START + DAY, "a-air", "tub-1")

    found = spans(quillmere)

    assert at(found, A, START + 12 * HOUR) is None
    assert at(found, A, START + 36 * HOUR) == (22, 26)
    assert at(found, B, START + 36 * HOUR) is None


def test_what_is_inside_a_tub_only_its_own_probe_tells(quillmere):
    """
    Of two cohorts on a shelf, the one without a tub is judged by the shelf's humidity.

    The order in which they are told must not matter.
    """
    humidity = ("b-humidity", "relative_humidity")
    quillmere.tub(START - DAY, parent="shelf-b").start(START - DAY)

    without = spans(quillmere)
    quillmere.start(START - DAY, 2, place="shelf-b")

    assert humidity not in without
    assert at(spans(quillmere), humidity, START + HOUR) == (50, 90)


def test_a_change_found_between_two_visits_counts_from_the_middle(quillmere):
    """Seen as eggs on Monday, found as larvae on Wednesday: larvae from Tuesday on."""
    noon = START + 12 * HOUR
    quillmere.tub(START - DAY).start(START - DAY)
    quillmere.advance(noon + 2 * DAY, "L1", not_before=noon)

    found = spans(quillmere)

    assert at(found, A, noon + DAY - HOUR) == (20, 29)
    assert at(found, A, noon + DAY) == (22, 26)


def test_bands_follow_what_was_thought_of_unseen_stages(quillmere):
    """Eggs, from Tuesday noon perhaps larvae, from Thursday noon no longer."""
    noon = START + 12 * HOUR
    quillmere.tub(START - DAY).start(START - DAY)
    taken = [
        PerhapsSince(noon + DAY, 1, ("L1",)),
        PerhapsSince(noon + 3 * DAY, 1, ()),
    ]

    found = spans(quillmere, taken=taken)

    days = [noon + n * DAY + HOUR for n in range(4)]
    assert [at(found, A, day) for day in days] == [
        (20, 29),
        (22, 26),
        (22, 26),
        (20, 29),
    ]
    assert at(found, A, noon + DAY - timedelta(microseconds=1)) == (20, 29)
    assert at(found, A, noon + DAY) == (22, 26)


def test_what_was_thought_of_before_the_week_holds_at_its_beginning(quillmere):
    """And ends with the stage: larvae that were seen meanwhile are larvae alone."""
    noon = START + 12 * HOUR
    quillmere.tub(START - 3 * DAY).start(START - 3 * DAY)
    quillmere.advance(noon + DAY, "adult")

    found = spans(quillmere, taken=[PerhapsSince(START - DAY, 1, ("L1",))])

    assert at(found, A, noon) == (22, 26)
    assert at(found, A, noon + DAY) is None


def test_of_two_cohorts_of_a_stage_one_may_be_further(quillmere):
    """The order in which they are told does not matter."""
    quillmere.tub(START - DAY)
    quillmere.start(START - DAY, 1).start(START - DAY, 2)

    for number in (1, 2):
        found = spans(quillmere, taken=[PerhapsSince(START, number, ("L1",))])
        assert at(found, A, START + 12 * HOUR) == (22, 26)


PLACES = ("tub-1", "tub-2", "shelf-a", "shelf-b")
SHELVES = ("shelf-a", "shelf-b", "warm-room")
happenings = st.lists(
    st.tuples(
        st.integers(1, 167),
        st.one_of(
            st.tuples(st.just("carry"), st.sampled_from(SHELVES), st.integers(1, 2)),
            st.tuples(st.just("move"), st.sampled_from(PLACES), st.integers(1, 3)),
            st.tuples(st.just("hang"), st.sampled_from(PLACES), st.integers(0, 2)),
            st.tuples(st.just("advance"), st.just("L1"), st.integers(1, 2)),
            st.tuples(st.just("end"), st.just("gone"), st.integers(1, 3)),
        ),
    ),
    max_size=12,
)
PROBES = ("a-air", "b-air", "b-humidity")
thoughts = st.lists(
    st.builds(
        PerhapsSince,
        st.integers(-5, 167).map(lambda hour: START + hour * HOUR),
        st.integers(1, 3),
        st.sampled_from(((), ("L1",), ("L2",), ("L1", "adult"), ("chrysalis",))),
    ),
    max_size=6,
).map(lambda found: sorted(found, key=lambda each: each.at))


def happen(house, hour, what, value, number):
    when = START + hour * HOUR
    match what:
        case "carry":
            house.carry(when, value, f"tub-{number}")
        case "hang":
            house.hang(when, PROBES[number], value)
        case "end":
            house.end(when, number, value)
        case _:
            getattr(house, what)(when, value, number)


@given(
    told=happenings,
    hours=st.lists(st.integers(0, 167), min_size=5, max_size=5),
    taken=thoughts,
)
@settings(max_examples=40, deadline=None)
def test_bands_are_those_of_the_plan_of_each_instant(declared, told, hours, taken):
    """Whatever moves, the band at an instant is what a plan made then would watch."""
    house = House(declared)
    for tub, shelf in (("tub-1", "shelf-a"), ("tub-2", "shelf-b")):
        house.tub(START - DAY, tub, shelf)
    house.start(START - DAY, 1, place="tub-1")
    house.start(START - DAY, 2, place="tub-2", stage="egg")
    house.start(START - DAY, 3, place="tub-1", of="montane", stage="L1")
    gone = set()
    for hour, (what, value, number) in sorted(told, key=lambda each: each[0]):
        if what not in {"carry", "hang"} and number in gone:
            continue
        gone |= {number} if what == "end" else set()
        happen(house, hour, what, value, number)

    found = spans(house, taken=taken)

    for hour in hours:
        when = START + hour * HOUR
        then = fold(house.site, house.entries, until=when)
        perhaps = perhaps_at(taken, when)
        plan = make_plan(house.site, house.library, then, perhaps=perhaps)
        night = is_night(when, "Europe/Dublin")
        watched = {
            series: common((r for w in watches for r in w.rules), night=night)
            for series, watches in plan.watches.items()
        }
        every = {series: at(found, series, when) for series in found.keys() | watched}
        assert every == {s: watched.get(s) for s in every}


def test_who_was_gone_already_is_not_moved_back(quillmere):
    """An end that is told late, dated before a move: from the end on nobody depends."""
    quillmere.tub(START - DAY).start(START - DAY)
    quillmere.move(START + 2 * DAY, "shelf-b").end(START + DAY)

    found = spans(quillmere)

    assert at(found, A, START + DAY) is None
    assert at(found, B, START + 3 * DAY) is None


def test_the_house_of_the_past_has_nobody_from_later(quillmere):
    """Tubs and cohorts that came later were not there."""
    quillmere.tub(START + DAY).start(START + DAY)
    house = fold(quillmere.site, quillmere.entries)

    then = house_at(house, START)

    assert "tub-1" not in then.places
    assert not then.cohorts
    assert set(house_at(house, START + DAY).cohorts) == {1}


@pytest.mark.parametrize(
    ("week", "zone", "first"),
    [
        ("2026-W09", "Europe/Dublin", "2026-02-23T08:00:00+00:00"),
        ("2026-W13", "Europe/Dublin", "2026-03-23T08:00:00+00:00"),
        ("2026-W43", "Europe/Dublin", "2026-10-19T07:00:00+00:00"),
        ("2026-W14", "Australia/Lord_Howe", "2026-03-29T21:00:00+00:00"),
    ],
)
def test_nights_follow_the_wall_clock_of_the_house(week, zone, first):
    """From 20:00 to 08:00 as the wall says, 15 pieces a week, the ends dark."""
    start, end = bounds(parse_week(week), zone)

    found = list(nights(start, end, zone))

    assert found[0][1].isoformat() == first
    assert [dark for *_, dark in found] == [True, False] * 7 + [True]
    assert all(one[1] == two[0] for one, two in pairwise(found))
    assert (found[0][0], found[-1][1]) == (start, end)


def test_the_night_of_a_set_clock_is_as_long_as_it_was():
    """Clocks forward in the night to Sunday 29 March: 11 h dark in place of 12."""
    start, end = bounds(parse_week("2026-W13"), "Europe/Dublin")
    saturday = datetime(2026, 3, 28, 20, tzinfo=UTC)

    night = next(n for n in nights(start, end, "Europe/Dublin") if n[0] == saturday)

    assert night[1] - night[0] == 11 * HOUR
