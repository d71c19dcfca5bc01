"""The words about adults for the show: columns, months, holes, how was counted."""

from datetime import UTC, date, datetime, timedelta

import pytest
from msgspec.structs import replace

from monitor.accounts.forecast_show import Hole, Lead, Number, ShowForecast, ShowWeek
from monitor.cli.forecast_answer import horizon_weeks
from monitor.cli.forecast_show_words import ShowWords
from monitor.cli.forecast_words import Calendar

DAY = timedelta(days=1)
NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)
MONDAY = date(2026, 3, 2)
SHOWS = ShowWords(Calendar(NOW, UTC))
LEAD = Lead(70.0, 80.0, 90.0, "tub-1", earliest=False, female_days=75, male_days=80)
SHOW = ShowForecast(
    species="beetle",
    name="Exemplum ferox",
    stage="adult",
    hold_back=0,
    weeks=(),
    alone=(),
    holes=(),
    lead=LEAD,
    survival=None,
    adult_life=(),
    earliest=False,
    counted=(1,),
    unsexed=(),
    left_out=(),
    counts_at_least=(),
    counts_about=(),
    about_spread=0.2,
    shared_need=0.5,
    shared_fate=None,
)


def shown(*numbers, **more):
    """A show of these numbers, week by week, alike for both sexes."""
    weeks = tuple(
        ShowWeek(MONDAY + n * 7 * DAY, number, number, number, number)
        for n, number in enumerate(numbers)
    )
    return replace(SHOW, weeks=weeks, **more)


def table_of(show):
    """The lines of its table, without their indent."""
    lines = list(SHOWS.whole(show))
    end = lines.index("  if all live: how many survive is not known")
    return [line[2:] for line in lines[1:end]]


@pytest.mark.parametrize(
    ("middle", "rows"),
    [
        (
            7,
            [
                "week of               females     males",
                "2 Mar to 27 Dec 2027  0           0",
                "3 Jan to 21 Feb 2028  7+ (0-14+)  7+ (0-14+)",
            ],
        ),
        (
            210570,
            [
                "2 Mar to 27 Dec 2027",
                "  females 0, males 0",
                "3 Jan to 21 Feb 2028",
                "  females 210570+ (210563-210577+), males 210570+",
                "    (210563-210577+)",
            ],
        ),
    ],
)
def test_columns_of_long_spans_and_large_numbers_never_touch(middle, rows):
    """Side by side where that fits; else a row takes more lines."""
    number = Number(middle - 7, middle, middle + 7, at_least=True)

    assert table_of(shown(*[Number(0, 0, 0)] * 96, *[number] * 8)) == rows


def test_many_different_weeks_are_joined_to_months_and_years():
    """Near weeks stay weeks; the bounds of a row are those of all its weeks."""
    year = table_of(shown(*[Number(n, n + 5, n + 9) for n in range(52)]))
    ten = table_of(shown(*[Number(n, n + 5, n + 9) for n in range(520)]))

    assert year[:2] == [
        "week of   females        males",
        "2 Mar     5 (0-9)        5 (0-9)",
    ]
    assert year[-1] == "Feb 2027  53-56 (48-60)  53-56 (48-60)"
    assert (len(year) <= 21, len(ten) <= 21) == (True, True)
    assert ten[1].startswith("2 Mar  ")
    assert ten[-1].startswith("Jan to Feb 2036  ")


def test_equal_weeks_are_one_row_however_many():
    """Nothing is lost by it, so no month need stand for them."""
    rows = table_of(shown(*[Number(1, 2, 3)] * 200))

    assert rows[1:] == ["2 Mar to 24 Dec 2029  2 (1-3)  2 (1-3)"]


@pytest.mark.parametrize(
    ("hole", "lead", "words"),
    [
        (
            Hole(MONDAY, MONDAY + 14 * DAY, date(2025, 12, 8), too_late=True),
            LEAD,
            (
                "nothing to show: week of 2 Mar to 16 Mar; too late to fill its"
                " beginning: pair and set up a laying tub now, from egg to adult it"
                " takes 10 to 13 weeks"
            ),
        ),
        (
            Hole(
                date(2026, 7, 6),
                date(2026, 7, 6),
                date(2026, 4, 20),
                too_late=False,
                sex="female",
                pair_by=date(2026, 4, 20),
            ),
            LEAD,
            (
                "no females to show: week of 6 Jul; to fill it have eggs laid by the"
                " week of 20 Apr (10 to 13 weeks from the egg); pair before that"
            ),
        ),
        (
            Hole(
                date(2026, 7, 6),
                date(2026, 7, 6),
                date(2026, 4, 20),
                too_late=False,
                sex="male",
                pair_by=date(2026, 3, 9),
            ),
            replace(LEAD, earliest=True),
            (
                "no males to show: week of 6 Jul; to fill it have eggs laid by the"
                " week of 20 Apr or before (10 weeks at the earliest from the egg);"
                " pair in the week of 9 Mar or before: later no pair is expected"
            ),
        ),
        (
            Hole(date(2026, 7, 6), date(2026, 7, 6), date(2026, 4, 20), too_late=False),
            LEAD,
            (
                "nothing to show: week of 6 Jul; to fill it have eggs laid by the"
                " week of 20 Apr (10 to 13 weeks from the egg); no pair is"
                " expected by then"
            ),
        ),
        (
            Hole(MONDAY, MONDAY, None, too_late=False),
            None,
            (
                "nothing to show: week of 2 Mar; how long the way from the egg takes is"
                " not known"
            ),
        ),
    ],
)
def test_a_hole_says_what_to_do_and_by_when(hole, lead, words):
    """An earliest way from the egg gives a latest week, never a due one."""
    lines = SHOWS.whole(shown(Number(0, 0, 0), holes=(hole,), lead=lead))

    assert words in " ".join(" ".join(lines).split())


def test_how_animals_were_counted_stands_below_the_numbers():
    """At least: there may be more. About: the numbers are wider."""
    made = shown(
        Number(3, 4, 6, at_least=True, about=True),
        counts_at_least=(1, 2),
        counts_about=(7,),
    )

    lines = list(SHOWS.whole(made))

    assert "  2 Mar    4+ (3-6+)  4+ (3-6+)" in lines
    assert '  + or more, counted as "at least": cohorts 1, 2' in lines
    assert '  wider, counted as "about": cohort 7' in lines


def test_the_show_in_brief_says_what_it_leaves_out():
    """Nobody reads a colony that is not counted as an empty exhibit."""
    made = shown(
        *[Number(0, 0, 0), Number(0, 2, 3), Number(2, 5, 6)],
        left_out=((7, "a colony has mixed stages"),),
        earliest=True,
        hold_back=2,
    )

    said = " ".join(" ".join(SHOWS.brief([made])).split())

    assert "2 of each sex held back for breeding" in said
    assert (
        "Exemplum ferox: none now (1 cohort not counted), first 2 and 2 earliest week"
        " of 9 Mar, most 5 and 5 if all live, earliest week of 16 Mar"
    ) in said


@pytest.mark.parametrize(
    ("days", "weeks"), [(None, 26), (30.0, 26), (518.0, 82), (519.0, 83), (9e9, 520)]
)
def test_the_horizon_reaches_past_the_way_from_the_egg(days, weeks):
    """Eight weeks past it, at least half a year, at most ten."""
    lead = None if days is None else replace(LEAD, p90_days=days)

    assert horizon_weeks(lead) == weeks
