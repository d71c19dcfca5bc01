"""One summary a week and one backup a day, whatever the clocks do."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.schedule import due, next_summary, reported_week
from tests.heart.house import site

BEGIN = datetime(2026, 1, 1, tzinfo=UTC)
ZONES = ("Europe/Dublin", "Europe/Berlin", "America/New_York", "Australia/Lord_Howe")


def house(zone="Europe/Dublin", day="Mon", clock="07:00"):
    """A site with a summary."""
    return site(
        site={"name": "Quillmere Insectarium", "time_zone": zone},
        summary={"day": day, "time": clock, "to": ["ines"]},
    )


def run(where, instants, since=BEGIN):
    """What is done when the schedule is asked at each instant."""
    done, order = set(), []
    for now in instants:
        for work in due(now, where, done=done, since=since):
            done.add(work.key)
            order.append((work, now))
    return order


def every(minutes, begin, days):
    """Instants a fixed time apart."""
    step = timedelta(minutes=minutes)
    return [begin + i * step for i in range(int(timedelta(days=days) / step))]


@pytest.mark.parametrize("zone", ZONES)
@pytest.mark.parametrize("clock", ["00:30", "01:30", "02:15", "02:30", "07:00"])
@pytest.mark.parametrize("month", [3, 10])
def test_a2_one_summary_a_week_over_both_changes_of_the_clocks(zone, clock, month):
    """Six weeks around a change, asked each 7 min: one summary a week (A2)."""
    begin = datetime(2026, month, 5, tzinfo=UTC)
    told = run(house(zone, "Sun", clock), every(7, begin, 42), since=begin)

    weeks = [w.period for w, _ in told if w.kind == "summary"]
    assert len(weeks) == len(set(weeks)) == 6
    assert all(not w.late for w, _ in told)
    days = [w.period for w, _ in told if w.kind == "backup"]
    assert len(days) == len(set(days)) == 42


def test_the_summary_of_monday_reports_the_week_that_ended():
    """Monday 2 March 2026, 07:00 in Dublin: the ninth week."""
    monday = datetime(2026, 3, 2, 7, tzinfo=UTC)
    before = run(house(), [monday - timedelta(seconds=1)], since=BEGIN)
    on_time = run(house(), [monday], since=BEGIN)

    assert [w.period for w, _ in before if w.kind == "summary"] == ["2026-W08"]
    assert [w.period for w, _ in on_time if w.kind == "summary"] == ["2026-W09"]


@pytest.mark.parametrize("late", [0, 20, 60 * 24 * 3])
def test_a8_what_was_due_while_we_were_away_is_done_once_and_marked_late(late):
    """Stopped over the due minute: done at the start, once, and late (A8)."""
    due_at = datetime(2026, 3, 2, 7, tzinfo=UTC)
    start = due_at + timedelta(minutes=late)
    since = due_at - timedelta(days=3)
    told = run(house(), [start + timedelta(seconds=20 * i) for i in range(9)], since)

    summaries = [w for w, _ in told if w.kind == "summary"]
    assert [w.late for w in summaries] == [late > 15]


def test_a6_a_clock_that_jumps_does_bounded_work():
    """Ten years forward and back: the newest period only, nothing twice (A6)."""
    now = datetime(2026, 3, 4, 12, tzinfo=UTC)
    far = now.replace(year=2036)
    told = run(house(), [now, far, now, now - timedelta(hours=1), far, now])

    keys = [w.key for w, _ in told]
    assert len(keys) == len(set(keys)) == 4


def test_a_new_store_has_nothing_due_of_the_time_before():
    """Set up on Wednesday: no summary of a week that nobody watched."""
    since = datetime(2026, 3, 4, 12, tzinfo=UTC)
    told = run(house(), every(60, since, 6), since=since)

    periods = [w.period for w, _ in told if w.kind == "summary"]
    assert periods == ["2026-W10"]


def test_without_a_summary_only_backups_are_due():
    """No [summary]: nothing of the kind."""
    told = run(site(), every(60, BEGIN, 10))

    assert {w.kind for w, _ in told} == {"backup"}
    assert next_summary(BEGIN, site()) is None


@given(st.integers(0, 2 * 365 * 24 * 60), st.sampled_from(ZONES))
def test_the_next_summary_lies_within_the_coming_week(minutes, zone):
    """Next due is later than now and at most a week and an hour away."""
    now = BEGIN + timedelta(minutes=minutes)
    following = next_summary(now, house(zone))

    assert timedelta(0) < following - now <= timedelta(days=7, hours=1)


def test_the_week_of_a_new_year():
    """Monday 4 January 2027 reports the last week of 2026, which is its 53rd."""
    assert reported_week(datetime(2027, 1, 4, 7, tzinfo=UTC), "Europe/Dublin") == (
        "2026-W53"
    )
