"""ISO weeks in site time, with the clocks set both ways."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.errors import UsageError
from monitor.summary.week import Week, bounds, parse_week, week_asked, week_of

DUBLIN, LORD_HOWE = "Europe/Dublin", "Australia/Lord_Howe"
NOW = datetime(2026, 3, 5, 12, tzinfo=UTC)
"""A Thursday of 2026-W10."""


@pytest.mark.parametrize(
    ("text", "zone", "start", "hours"),
    [
        ("2026-W09", DUBLIN, "2026-02-23T00:00:00+00:00", 168),
        # the clocks go forward on Sunday 29 March, back on Sunday 25 October
        ("2026-W13", DUBLIN, "2026-03-23T00:00:00+00:00", 167),
        ("2026-W43", DUBLIN, "2026-10-18T23:00:00+00:00", 169),
        # there by half an hour: back on 5 April, forward on 4 October
        ("2026-W14", LORD_HOWE, "2026-03-29T13:00:00+00:00", 168.5),
        ("2026-W40", LORD_HOWE, "2026-09-27T13:30:00+00:00", 167.5),
        ("2026-W09", "UTC", "2026-02-23T00:00:00+00:00", 168),
    ],
)
def test_a_week_is_as_long_as_its_clock_says(text, zone, start, hours):
    """Monday 00:00 to Monday 00:00 on the wall; the hours are those that pass."""
    begin, end = bounds(parse_week(text), zone)

    assert begin.isoformat() == start
    assert (end - begin) / timedelta(hours=1) == hours
    assert f"{end.astimezone(ZoneInfo(zone)):%a %H:%M}" == "Mon 00:00"


@pytest.mark.parametrize(
    ("week", "zone", "start"),
    [
        # the clocks of Monday 2021-03-22 went from 00:00 to 01:00
        (Week(2021, 12), "Asia/Tehran", "2021-03-21T20:30:00+00:00"),
        # those of Monday 2001-09-24 went from 01:00 back to 00:00
        (Week(2001, 39), "Asia/Jerusalem", "2001-09-23T21:00:00+00:00"),
    ],
)
def test_a_midnight_that_is_missing_or_comes_twice_begins_a_week_once(
    week, zone, start
):
    """With the jump, or with the first of the two; the week before ends there."""
    before = Week(week.year, week.number - 1)

    assert bounds(week, zone)[0].isoformat() == start
    assert bounds(before, zone)[1].isoformat() == start
    assert week_of(bounds(week, zone)[0], zone) == week
    assert week_of(bounds(week, zone)[0] - timedelta(seconds=1), zone) == before


@pytest.mark.parametrize(
    ("at", "zone", "week"),
    [
        ("2026-03-01T23:59:59+00:00", DUBLIN, "2026-W09"),
        ("2026-03-02T00:00:00+00:00", DUBLIN, "2026-W10"),
        # summer time: the Monday of the house begins an hour before that of UTC
        ("2026-04-05T23:00:00+00:00", DUBLIN, "2026-W15"),
        ("2026-03-01T12:59:00+00:00", LORD_HOWE, "2026-W09"),
        ("2026-03-01T13:00:00+00:00", LORD_HOWE, "2026-W10"),
        # ISO 8601: the year of a week is that of its Thursday
        ("2027-01-03T12:00:00+00:00", "UTC", "2026-W53"),
        ("2024-12-30T12:00:00+00:00", "UTC", "2025-W01"),
    ],
)
def test_an_instant_lies_in_the_week_of_the_wall_clock(at, zone, week):
    """By site time, with the years of ISO 8601."""
    assert str(week_of(datetime.fromisoformat(at), zone)) == week


@given(
    at=st.datetimes(datetime(1971, 1, 1), datetime(2100, 1, 1), timezones=st.just(UTC)),  # noqa: DTZ001
    zone=st.sampled_from([DUBLIN, LORD_HOWE, "America/Havana", "Asia/Kathmandu"]),
)
def test_every_instant_lies_between_the_bounds_of_its_week(at, zone):
    """No instant is lost between two weeks, and none is in two."""
    start, end = bounds(week_of(at, zone), zone)

    assert start <= at < end


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("2026-W54", "'2026-W54' is no week: 2026 has W01 to W53, write one of them"),
        ("2025-W53", "'2025-W53' is no week: 2025 has W01 to W52"),
        ("2026-W00", "'2026-W00' is no week"),
        ("2026-9", "'2026-9' is no week: write year and week, as 2026-W09"),
        ("2026-W9", "write year and week"),
        ("2026-w09", "write year and week"),
        ("2026-W09\n", "write year and week"),
        ("٢٠٢٦-W09", "write year and week"),
        ("", "write year and week"),
        ("1969-W01", "is before 1970: check the year"),
        ("0000-W01", "is before 1970"),
        ("2026-W11", "'2026-W11' has not begun: the present week is 2026-W10"),
        ("9999-W52", "has not begun"),
    ],
)
def test_a_wrong_week_is_refused_with_its_mend(text, said):
    """One line that names the value and what to write."""
    with pytest.raises(UsageError) as caught:
        week_asked(text, now=NOW, zone=DUBLIN)

    assert said in str(caught.value)


def test_without_a_week_the_last_whole_one_is_meant():
    """Also over the new year, where numbers begin anew."""
    new_year = datetime(2027, 1, 5, tzinfo=UTC)

    assert str(week_asked(None, now=NOW, zone=DUBLIN)) == "2026-W09"
    assert str(week_asked(None, now=new_year, zone=DUBLIN)) == "2026-W53"


def test_the_present_week_may_be_asked_for():
    """It is told up to now."""
    assert week_asked("2026-W10", now=NOW, zone=DUBLIN) == Week(2026, 10)
