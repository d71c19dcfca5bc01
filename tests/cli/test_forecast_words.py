"""The words of a forecast: narrow, short, and each date with what it rests on."""

from datetime import UTC, date, datetime, timedelta

import pytest
from msgspec.structs import replace

from monitor.accounts.forecast_values import (
    CohortForecast,
    SexForecast,
    StageForecast,
)
from monitor.accounts.forecast_warmth import Basis
from monitor.accounts.heat import CohortHeat
from monitor.cli.forecast_cohorts import CohortWords
from monitor.cli.forecast_notes import Told, requirement_words, threshold_words
from monitor.cli.forecast_overview import Overview
from monitor.cli.forecast_show_words import ShowWords
from monitor.cli.forecast_words import Calendar, where
from monitor.science.requirement import Facts
from monitor.site.house import Cohort
from monitor.site.journal import Count
from monitor.site.stays import Stay
from monitor.site.words import CountKind

DAY = timedelta(days=1)
NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)
CALENDAR = Calendar(NOW, UTC)
FACTS = Facts(
    sex="female",
    unit="degC d",
    mean=1050.0,
    sd=None,
    assumed_sd=105.0,
    lower_threshold=10.0,
    assumed_threshold=True,
    observed=((75.0, 24.0),),
    source="common-practice",
)


def told(number, begin, end, *, stage="larva", following="pupa", **more):
    """A cohort whose next stage is expected between two days from now."""
    ahead = StageForecast(
        stage=following, unseen=False, p10=NOW + begin * DAY, p90=NOW + end * DAY
    )
    cohort = Cohort(
        id=number,
        species="beetle",
        stage=stage,
        place=f"tub-{number:03}",
        count=Count(CountKind.COUNTED, 3),
        sex="any",
        colony=False,
        started_at=NOW,
        stages=(Stay(stage, NOW),),
        places=(),
    )
    forecast = CohortForecast(
        cohort=number,
        species="beetle",
        stage=stage,
        place=cohort.place,
        since=NOW,
        sexes=(SexForecast(sex="any", stages=(ahead,)),),
        basis=Basis(None, 28, ("shelf",), 1.0, "assumed"),
    )
    return Told(cohort, "Exemplum ferox", replace(forecast, **more))


def test_cohorts_that_do_not_fit_a_line_are_counted():
    """Together where they share a place; a line is never longer than a telephone."""
    cohort = told(1, 9, 15).cohort
    shared = [replace(cohort, id=n, place="tub-1") for n in range(100, 140)]
    apart = [replace(cohort, id=n, place=f"tub-{n}") for n in range(100, 140)]

    assert where(shared[:3], "  ") == "  100, 101, 102 in tub-1"
    assert where(shared, "  ") == "  40 cohorts in tub-1"
    assert where(apart, "  ") == (
        "  100 in tub-100, 101 in tub-101, 102 in tub-102 and 37 more"
    )


@pytest.mark.parametrize(
    ("first", "last", "weeks", "months"),
    [
        (date(2026, 3, 2), date(2026, 3, 2), "2 Mar", "Mar"),
        (date(2026, 3, 2), date(2026, 5, 4), "2 Mar to 4 May", "Mar to May"),
        (
            date(2026, 12, 28),
            date(2027, 1, 4),
            "28 Dec to 4 Jan 2027",
            "Dec to Jan 2027",
        ),
        (
            date(2027, 2, 1),
            date(2027, 5, 17),
            "1 Feb to 17 May 2027",
            "Feb to May 2027",
        ),
        (
            date(2027, 12, 27),
            date(2028, 1, 3),
            "27 Dec 2027 to 3 Jan 2028",
            "Dec 2027 to Jan 2028",
        ),
    ],
)
def test_a_year_is_said_once_and_only_where_it_is_another(first, last, weeks, months):
    """A telephone has no room for more."""
    assert CALENDAR.span(first, last) == weeks
    assert CALENDAR.months(first, last) == months


@pytest.mark.parametrize(
    ("facts", "whole", "threshold"),
    [
        (
            FACTS,
            (
                "1050 +- 105 degree-days (spread assumed), above 10 C (assumed), no"
                " upper threshold, from 75 d at 24 C; common-practice"
            ),
            "by 75 d at 24 C, assumed threshold 10 C",
        ),
        (
            replace(
                FACTS,
                sd=40.0,
                assumed_sd=None,
                assumed_threshold=False,
                upper_threshold=30.0,
                cutoff="vertical",
                fitted_with="daily single sine",
                observed=(),
            ),
            (
                "1050 +- 40 degree-days, above 10 C (published), up to 30 C, vertical"
                " cutoff, fitted with daily single sine; common-practice"
            ),
            "by 1050 degree-days, assumed threshold 10 C",
        ),
    ],
)
def test_a_requirement_is_told_whole(facts, whole, threshold):
    """Sum, spread, thresholds, cutoff, method and source belong together."""
    assert requirement_words(facts) == whole
    assert threshold_words(facts) == threshold


def test_what_is_expected_alike_is_told_together():
    """One block with both cohorts; the third has its own."""
    words = CohortWords(CALENDAR, degree_days=False, closely=False)

    lines = list(words.species([told(1, 9, 15), told(2, 10, 15), told(3, 30, 50)]))

    assert lines[:6] == [
        "1  Exemplum ferox, larva, 3 in tub-001",
        "2  Exemplum ferox, larva, 3 in tub-002",
        "  pupa           in 1 to 3 weeks (9 Mar to 16 Mar)",
        "",
        "3  Exemplum ferox, larva, 3 in tub-003",
        "  pupa           in 4 to 8 weeks (30 Mar to 20 Apr)",
    ]
    assert sum("give or take" in line for line in lines) == 1


@pytest.mark.parametrize(
    ("coverage", "said"),
    [(0.949, ["  only 94 % of the time was measured"]), (0.95, [])],
)
def test_a_gap_is_told_without_asking(coverage, said):
    """Below 95 % a keeper should know how little the dates rest on."""
    heat = CohortHeat(1, "larva", 50.0, 40.0, 60.0, coverage, NOW)
    words = CohortWords(CALENDAR, degree_days=False, closely=False)

    lines = list(words.species([told(1, 9, 15, heat=heat)]))

    assert [line for line in lines if "measured" in line] == said
    assert not any("degree-days" in line for line in lines)


def test_a_house_is_told_by_what_comes_first():
    """Overdue, then perhaps already, then by weeks, by months and by quarters."""
    found = [told(n, 100, 110) for n in range(20, 50)]
    found += [told(1, 400, 420), told(2, 36, 50), told(3, 8, 12), told(4, -5, 4)]
    found += [told(5, -9, -2), told(6, 9, 30, stage="egg", following="larva")]

    lines = list(Overview(CALENDAR, ShowWords(CALENDAR)).lines(found, []))

    heads = [line for line in lines if line.startswith(("Exemplum", "LOOK", "LATER"))]
    assert heads == [
        "LOOK NOW",
        "Exemplum ferox, larva: pupa was due by the week of 23 Feb",
        "Exemplum ferox, larva: perhaps already pupa, by the week of",
        "Exemplum ferox, egg: larva 9 Mar to 30 Mar",
        "Exemplum ferox, larva: pupa 9 Mar",
        "LATER",
        "Exemplum ferox, larva: pupa Apr",
        "Exemplum ferox, larva: pupa Jun",
        "Exemplum ferox, larva: pupa Apr 2027",
    ]
    assert "  20 in tub-020, 21 in tub-021, 22 in tub-022 and 27 more" in lines
    assert max(map(len, lines)) <= 60
    assert sum("Give or take 1 C, assumed for 36 cohorts" in each for each in lines)
