"""Instants as keepers write them."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.desk.instants import parse_instant, past_instant
from monitor.errors import UsageError

DUBLIN = ZoneInfo("Europe/Dublin")
NOW = datetime(2026, 7, 1, 13, tzinfo=UTC)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("2026-03-01T14:00:00Z", datetime(2026, 3, 1, 14, tzinfo=UTC)),
        ("2026-03-01T14:00:00+02:00", datetime(2026, 3, 1, 12, tzinfo=UTC)),
        ("2026-03-01 14:00", datetime(2026, 3, 1, 14, tzinfo=UTC)),
        # summer time in Dublin is one hour ahead of UTC
        ("2026-06-30 14:00", datetime(2026, 6, 30, 13, tzinfo=UTC)),
        ("14:00", datetime(2026, 7, 1, 13, tzinfo=UTC)),
        ("9:05", datetime(2026, 7, 1, 8, 5, tzinfo=UTC)),
        ("09:05:30", datetime(2026, 7, 1, 8, 5, 30, tzinfo=UTC)),
    ],
)
def test_the_forms(text, told):
    """With an offset, or in the time of the site."""
    assert past_instant(text, zone=DUBLIN, now=NOW) == told


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("yesterday", "is no time"),
        ("25:00", "is no time"),
        ("2026-02-30 10:00", "is no time"),
        ("0001-01-01T00:00:00+05:00", "is no time"),
        ("9999-12-31T23:59:59-05:00", "is no time"),
        ("2026-06-30", "is a day without a time"),
        ("2026-07-01 14:02", "still to come"),
        ("0206-03-01 10:00", "more than ten years ago"),
        # 29 March 2026: clocks go from 01:00 to 02:00
        ("2026-03-29 01:30", "went forward over it"),
        # 26 October 2025: clocks go from 02:00 back to 01:00
        ("2025-10-26 01:30", "+01:00 for the first, +00:00 for the second"),
    ],
)
def test_what_is_no_instant_of_the_past_says_why(text, part):
    """The mend stands in the refusal."""
    with pytest.raises(UsageError) as caught:
        past_instant(text, zone=DUBLIN, now=NOW)

    assert part in str(caught.value)


@given(st.datetimes(timezones=st.just(UTC)))
def test_an_instant_with_its_offset_reads_back(at):
    """What the desk writes, it reads, to the microsecond."""
    assert parse_instant(at.isoformat(), zone=DUBLIN, now=NOW) == at


@given(st.text(max_size=20))
def test_any_text_is_an_instant_or_a_usage_error(text):
    """Nothing else comes of what somebody types."""
    try:
        at = parse_instant(text, zone=DUBLIN, now=NOW)
    except UsageError:
        return
    assert at.utcoffset().total_seconds() == 0
