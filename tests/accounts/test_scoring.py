"""Forecasts as they were at each stage's beginning, against what happened."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.accounts.hindsight import Believed, scores
from monitor.accounts.instruments import Instruments
from monitor.accounts.scoring import Hindcaster, held, totals
from monitor.science.requirement import HeatRequirement
from monitor.site.figures import HouseFigures
from tests.accounts.house import DAY, START, Declared, Memory, instants, site, steady
from tests.accounts.learners import Story, figure, library, observed

PREDICTED = (START + 10 * DAY, START + 14 * DAY, START + 20 * DAY)


def hold(after, by):
    end = None if by is None else START + by * DAY
    return held(PREDICTED, START + after * DAY, end)


def scored(memory, day, *, since=0, most=100, of=None, **more):
    made = Hindcaster(
        Instruments(site(), memory.told.entries),
        of or library(),
        memory.told.house(),
        memory.readings,
        now=START + day * DAY,
        **more,
    )
    return made.scored(memory.told.entries, since=START + since * DAY, most=most)


def warm(story, celsius=24.0, begin=-40, end=200):
    memory = Memory(story)
    memory.put("a-air", *steady(START + begin * DAY, START + end * DAY, celsius))
    return memory


def eggs(*found, begin=0):
    """Cohorts of eggs by the days on which they were found hatched, looked at daily."""
    story = Story()
    for cohort, day in enumerate(found, 1):
        story.begin(begin, cohort=cohort)
        story.found(day, "grub", cohort=cohort, last_seen=day - 1)
    return story


# an interval


@pytest.mark.parametrize(
    ("after", "by", "shares", "error"),
    [
        (12, 15, (1, 1, 1), -0.5),
        (8, 12, (0, 0.5, 1), -4),
        (18, 28, (0, 0.2, 1), 9),
        (5, 25, (0, 0.5, 1), 1),
        (2, 9, (0, 0, 0), -8.5),
        (21, 23, (0, 0, 0), 8),
        (14, 14, (1, 1, 1), 0),
        (9, 9, (0, 0, 0), -5),
    ],
)
def test_a_change_between_two_visits_is_inside_with_its_share(after, by, shares, error):
    """The interval is day 10 to 20, its middle day 14."""
    made = hold(after, by)

    assert (made.low, made.share, made.high) == pytest.approx(shares)
    assert made.error_days == pytest.approx(error)


def test_what_lasts_beyond_its_last_date_is_late():
    """Still going on day 23: outside, nine days late at least."""
    made = hold(23, None)

    assert (made.low, made.share, made.high, made.error_days) == (0, 0, 0, 9)


def test_what_lasts_within_its_dates_is_not_judged():
    """It may still fall inside."""
    assert hold(20, None) is None


@given(st.floats(0, 40), st.floats(0, 20))
def test_a_share_is_a_share(after, length):
    """Between its bounds, whatever happened."""
    made = hold(after, after + length)

    assert 0 <= made.low <= made.share <= made.high <= 1
    assert math.isfinite(made.error_days)


# hindcasts


def test_the_forecast_is_made_again_as_it_was():
    """200 +- 20 degree-days at 14 a day: 14.2 days, 12.5 to 16.1 from the start."""
    (made,) = scored(warm(eggs(15)), 16)

    days = [(at - START) / DAY for at in (made.p10, made.p50, made.p90)]
    assert days == pytest.approx((12.51, 14.21, 16.15), abs=0.05)
    assert (made.stage, made.name) == ("egg", "Exemplum scarabaeus")
    assert (made.inside, made.inside_low) == (1, 1)
    assert made.error_days == pytest.approx(14.5 - 14.21, abs=0.01)


def test_what_came_later_is_not_known_to_it():
    """28 C after the start make it hatch on day 11; the forecast said 24 C."""
    memory = Memory(eggs(12))
    times = instants(START - 40 * DAY, START + 30 * DAY)
    warmer = times >= START.timestamp() * 1e6
    memory.put("a-air", times, np.where(warmer, 28.0, 24.0))

    (made,) = scored(memory, 16)

    assert (made.p50 - START) / DAY == pytest.approx(14.21, abs=0.05)
    assert made.inside == 0
    assert made.error_days < -2


def test_intervals_hold_as_often_as_they_say():
    """Eggs at the 5, 15, … 95 % points of the published need: eight of ten inside."""
    need = HeatRequirement(lower_c=10, mean=200, sd=20, source="from-memory").needs(10)
    story = eggs(*[x / 14 + 0.5 for x in need])

    (total, egg) = totals(scored(warm(story), 30))

    assert (total.n, egg.stage) == (10, "egg")
    # the changes lie within a day: those near an end count in part
    assert total.inside == pytest.approx(0.8, abs=0.05)
    assert total.inside_low <= total.inside <= total.inside_high
    assert total.error_days == pytest.approx(0, abs=0.1)


def test_what_is_late_counts_before_it_is_over():
    """Eggs of day 0 that are still eggs on day 40."""
    story = eggs(15).begin(0, cohort=2)

    made = scored(warm(story), 40)

    late = next(row for row in made if row.by is None)
    assert (late.cohort, late.inside) == (2, 0)
    assert late.error_days == pytest.approx(33 - 14.21, abs=0.05)


def test_no_interval_was_promised():
    """Of a grub, which heat alone does not end, and of a pupa that nobody saw."""
    story = eggs(15).found(60, "pupa", last_seen=55, seen=False)
    story.found(60, "adult", last_seen=55)

    assert [row.stage for row in scored(warm(story), 70)] == ["egg"]


def test_without_readings_before_it_there_was_no_forecast():
    """The probe was hung up on the day of the start."""
    assert scored(warm(eggs(15), begin=0), 16) == ()


def test_the_place_of_that_day_counts():
    """The tub stood on the cold shelf before and has been carried since."""
    story = (
        Story()
        .begin(5)
        .found(40, "grub", last_seen=39)
        .carry(START + 30 * DAY, "warm-b")
    )
    memory = warm(story, 18.0)
    memory.put("b-air", *steady(START - 40 * DAY, START + 100 * DAY, 28.0))

    (made,) = scored(memory, 50)

    assert (made.p50 - made.made_at) / DAY == pytest.approx(199 / 8, abs=0.1)


def test_what_was_believed_then_can_be_put_in():
    """A learned requirement of 220 instead of the file's 200."""
    asked = []

    def known(key, at):
        asked.append((key, at))
        return HeatRequirement(
            lower_c=10, upper_c=30, mean=220, sd=10, source="from-memory"
        )

    (made,) = scored(warm(eggs(15)), 16, record_of=known)

    assert (made.p50 - START) / DAY == pytest.approx(220 / 14, abs=0.1)
    assert asked == [(("scarab", "egg", "any"), START)]


def test_the_latest_are_scored_and_no_more():
    """Two of three, the oldest left out; or all since a day."""
    memory = warm(eggs(13, 15, 17))

    latest = scored(memory, 18, most=2)
    recent = scored(memory, 18, since=16)

    assert sorted(row.cohort for row in latest) == [2, 3]
    assert [row.cohort for row in recent] == [3]


# totals


def test_totals_are_by_species_and_stage_after_all_together():
    """One line for everything, then each stage with its medians."""
    rows = scored(warm(eggs(12, 14, 15, 19)), 20)

    everything, egg = totals(rows)

    assert (everything.name, everything.stage) == ("", "")
    assert (egg.name, egg.stage, egg.n) == ("Exemplum scarabaeus", "egg", 4)
    errors = sorted(row.error_days for row in rows)
    assert egg.error_days == pytest.approx((errors[1] + errors[2]) / 2)
    assert egg.off_days == pytest.approx(np.median([abs(error) for error in errors]))


def test_nothing_scored_is_no_score():
    """An empty week has no share."""
    assert totals(()) == ()
    assert scored(warm(Story()), 10) == ()


def test_forecasts_of_one_day_share_their_warmth():
    """Twenty cohorts of one day cost the readings of one."""
    memory = warm(eggs(*[15] * 20))

    made = scored(memory, 16)

    assert len(made) == 20
    assert len(memory.asked) == 1


def test_a_day_is_asked_for_once_whatever_ended_first():
    """Cohorts of two days, ending crosswise."""
    story = Story()
    for cohort, (begun, found) in enumerate(((0, 15), (1, 14), (0, 13), (1, 16)), 1):
        story.begin(begun, cohort=cohort)
        story.found(found, "grub", cohort=cohort, last_seen=found - 1)
    memory = warm(story)

    assert len(scored(memory, 17)) == 4
    assert len(memory.asked) == 2


# what was believed


def believed(memory, day, houses=()):
    return Believed(observed(memory, day), library(), houses)


def test_only_what_had_been_found_by_then_was_believed():
    """Six slow cohorts are found from day 16 on: nothing on day 15, all on day 17."""
    known = believed(warm(eggs(*[16] * 6)), 30)

    assert known(("scarab", "egg", "any"), START + 15 * DAY) is None
    late = known(("scarab", "egg", "any"), START + 17 * DAY)
    assert 205 < late.mean < 225
    assert known(("scarab", "egg", "female"), START + 17 * DAY) is late


def test_what_another_house_told_was_believed_from_that_day_on():
    """Not before the day of its export."""
    told = HouseFigures(
        house="Overmere", made_on=(START + 10 * DAY).date(), figures=(figure(),)
    )
    known = believed(warm(Story()), 30, [told])

    assert known(("scarab", "egg", "any"), START + 9 * DAY) is None
    assert known(("scarab", "egg", "any"), START + 11 * DAY).mean > 220


def test_a_house_that_learns_is_off_by_less():
    """
    A strain that needs 250 where the file says 200, ten cohorts one after the other.

    By the file every forecast is 3.5 days too soon; the last ones that were made from
    what had been learned are off by less than a day.
    """
    story = Story()
    for cohort in range(1, 11):
        begun = 20 * (cohort - 1)
        story.begin(begun, cohort=cohort)
        story.found(begun + 18, "grub", cohort=cohort, last_seen=begun + 17.5)
    memory = warm(story, end=220)
    asked = {"readings": memory.readings, "account_days": memory.account_days}

    made = scores(
        Declared(site(), library()),
        story.house(),
        story.entries,
        **asked,
        houses=(),
        now=START + 210 * DAY,
        since=START,
        most=100,
    )

    errors = [row.error_days for row in made]
    assert errors[0] == pytest.approx(17.75 - 14.21, abs=0.05)
    assert max(map(abs, errors[-3:])) < 1
    assert [row.inside for row in made[-3:]] == [1, 1, 1]
