"""From journal and accounts to what was needed, and to what is learned of it."""

import math
from datetime import date

import numpy as np
import pytest

from monitor.accounts.forecast_needs import file_record, needs_of
from monitor.accounts.learning import (
    HOUSE_CAP,
    counts,
    house_figures,
    learned,
    records,
)
from monitor.accounts.survival import survivals
from monitor.science.learning import Amount, learn, published
from monitor.science.requirement import HeatRequirement, TimeRequirement
from monitor.site.figures import HouseFigures, problem
from monitor.site.journal import Count
from monitor.site.words import CountKind
from tests.accounts.house import DAY, START, Memory, instants, steady
from tests.accounts.learners import (
    RULE,
    Story,
    accounted,
    figure,
    library,
    observed,
    rule,
    scarab,
)

TODAY = date(2026, 9, 1)


def only(rows, stage="egg"):
    (row,) = [row for row in rows if row.stage == stage]
    return row


def warm(story, day=120, celsius=24.0):
    """The house with its shelf at one temperature, from the day before START."""
    memory = Memory(story)
    memory.put("a-air", *steady(START - DAY, START + day * DAY, celsius))
    return memory


def eggs(*pairs, **more):
    """Cohorts of eggs by (last seen, found) in days, each in the same tub."""
    story = Story()
    for cohort, (last_seen, found) in enumerate(pairs, 1):
        story.begin(0, cohort=cohort, **more)
        story.found(found, "grub", cohort=cohort, last_seen=last_seen)
    return story


def house(*figures, name="Overmere"):
    return HouseFigures(house=name, made_on=TODAY, figures=figures)


# observations


def test_warmth_lies_between_the_sure_and_the_possible():
    """At 24 C an egg has 14 degree-days a day; seen on day 12, gone on day 15."""
    egg = only(observed(warm(eggs((12, 15))), 20))

    assert (egg.low, egg.high) == pytest.approx((12 * 14, 15 * 14))
    assert (egg.over, egg.unit, egg.coverage) == (True, "degC d", 1.0)
    assert egg.warmth_c == pytest.approx(24.0)


def test_the_accounts_and_the_readings_give_the_same():
    """Whole days out of the cache or all of it from readings."""
    story = eggs((12, 15), (13.4, 15.7))
    plain = observed(warm(story), 20)

    memory = accounted(warm(story), 20)
    memory.asked.clear()
    cached = observed(memory, 20)

    assert [(o.low, o.high) for o in cached] == [
        pytest.approx((o.low, o.high)) for o in plain
    ]
    assert min(start for _, _, start, _ in memory.asked) > START + 11 * DAY


def test_an_account_of_other_thresholds_is_not_believed():
    """The file was changed since: the days are integrated anew."""
    memory = accounted(warm(eggs((12, 15))), 20)
    other = library(scarab(egg={"lower_threshold": 12.0}))

    egg = only(observed(memory, 20, of=other))

    assert (egg.low, egg.high) == pytest.approx((12 * 12, 15 * 12))


def test_warmth_follows_the_cohort_on_both_sides_of_a_change():
    """
    The tub stood at 28 C from day 12 on, where the change may have been.

    Sure: 12 days at 24 C. Possible: three more days at 28 C, by the egg's rule.
    """
    memory = Memory(eggs((12, 15)))
    times = instants(START - DAY, START + 20 * DAY)
    hot = times >= (START + 12 * DAY).timestamp() * 1e6
    memory.put("a-air", times, np.where(hot, 28.0, 24.0))

    egg = only(observed(memory, 20))

    assert egg.low == pytest.approx(12 * 14, rel=1e-3)
    assert egg.high == pytest.approx(12 * 14 + 3 * 18, rel=1e-3)


def test_a_gap_widens_the_bounds():
    """Two days without readings: as cold at least, as warm at most as any other."""
    memory = Memory(eggs((12, 15)))
    times = instants(START - DAY, START + 20 * DAY)
    day = (times - times[0]) // 86_400_000_000
    memory.put("a-air", times, np.select([day == 2, day == 3], [22.0, 25.0], 24.0))
    memory.drop("a-air", START + 4 * DAY, START + 6 * DAY)

    egg = only(observed(memory, 20))

    assert egg.low == pytest.approx(10 * 14 - 2 + 1 + 2 * 12, abs=0.2)
    assert egg.high == pytest.approx(13 * 14 - 2 + 1 + 2 * 15, abs=0.2)
    assert egg.coverage == pytest.approx(13 / 15, abs=0.001)


def test_without_an_upper_threshold_the_warmest_day_bounds_a_gap():
    """The place's own extreme: one day stood at 26 C, 16 degree-days."""
    open_ended = scarab(egg={"upper_threshold": None, "cutoff": None})
    memory = Memory(eggs((12, 15)))
    times = instants(START - DAY, START + 20 * DAY)
    day = (times - times[0]) // 86_400_000_000
    memory.put("a-air", times, np.where(day == 3, 26.0, 24.0))
    memory.drop("a-air", START + 4 * DAY, START + 6 * DAY)

    egg = only(observed(memory, 20, of=library(open_ended)))

    assert egg.low == pytest.approx(10 * 14 + 2 + 2 * 14, abs=0.3)
    assert egg.high == pytest.approx(13 * 14 + 2 + 2 * 16, abs=0.6)


def test_a_place_without_readings_and_thresholds_above_tells_nothing():
    """No bound at all is no observation."""
    open_ended = scarab(egg={"upper_threshold": None, "cutoff": None})

    assert observed(Memory(eggs((12, 15))), 20, of=library(open_ended)) == ()


def test_a_stage_that_lasts_is_a_lower_bound():
    """Eggs on day 20, looked at weekly: 13 days at least."""
    egg = only(observed(warm(Story().begin(0)), 20))

    assert egg.low == pytest.approx(13 * 14)
    assert (egg.high, egg.over) == (None, False)


def test_a_stage_that_nobody_saw_has_an_upper_bound_alone():
    """A pupa somewhere between day 40 and day 90."""
    story = Story().begin(0).found(15, "grub", last_seen=12)
    story.found(90, "pupa", last_seen=40, seen=False).found(90, "adult", last_seen=40)

    pupa = only(observed(warm(story), 91), "pupa")

    assert (pupa.low, pupa.high) == pytest.approx((0.0, 50 * 14))
    assert pupa.span.unseen


def test_days_count_where_time_drives():
    """An adult that lived from day 89 or 90 to day 149 or 150."""
    story = Story().begin(0).found(15, "grub", last_seen=12)
    story.found(60, "pupa").found(90, "adult", last_seen=89).ended(150, "died")

    adult = only(observed(warm(story), 160), "adult")

    assert (adult.low, adult.high, adult.unit) == (59, 61, "d")
    assert adult.warmth_c is None


# learning


def test_prior_data_and_posterior_are_shown():
    """The figures of the file, each interval, and what follows from both."""
    story = eggs((12, 15), (14, 16), (13, 16))
    story.begin(0, cohort=4)

    made = only(learned(observed(warm(story), 18), library()))

    assert (made.prior_mean, made.prior_sd, made.source) == (200, 20, "from-memory")
    assert (made.n, made.lasting, made.taken, made.slips) == (3, 1, 1, 0)
    assert made.rule == RULE
    expected = [(168, 210), (196, 224), (182, 224), (154, None)]
    flat = [x for pair in made.amounts for x in pair if x]
    assert flat == pytest.approx([x for pair in expected for x in pair if x])
    amounts = [Amount(low, high or math.inf) for low, high in made.amounts]
    assert made.posterior == learn(published(200.0, 20.0), amounts)
    assert (made.warmth_low, made.warmth_high) == (24.0, 24.0)


def test_a_slow_house_learns_that_it_is_slow():
    """Eight cohorts at 230 instead of 200: most of the way, with less doubt."""
    story = eggs(*[(16, 17)] * 8)

    made = only(learned(observed(warm(story), 20), library()))

    assert 224 < made.posterior.mean < 234
    assert made.posterior.mean_low > 215
    assert 7 < made.posterior.effective <= 8


def test_sexes_learn_apart():
    """Females and males of one stage are two keys."""
    story = Story()
    for cohort, (sex, day) in enumerate((("female", 13), ("male", 17)), 1):
        story.begin(0, cohort=cohort, sex=sex)
        story.found(day, "grub", cohort=cohort, last_seen=day - 1)

    made = [e for e in learned(observed(warm(story), 20), library()) if e.n]

    assert [each.sex for each in made] == ["female", "male"]
    assert made[0].posterior.mean < made[1].posterior.mean


def test_a_slip_of_the_journal_is_left_out_and_counted():
    """Called an egg for an hour: no animal hatches in half a degree-day."""
    story = eggs((12, 15)).begin(0, cohort=2)
    story.found(1 / 24, "grub", cohort=2, last_seen=0)

    made = only(learned(observed(warm(story), 20), library()))

    assert (made.n, made.slips) == (1, 1)
    assert made.posterior.mean > 180


def test_a_forgotten_cohort_moves_nothing():
    """
    Eggs of day 0 of which nobody ever wrote again, on day 60.

    That they are eggs still is only taken to be so; a look that was noted counts.
    """
    story = eggs((12, 15), (13, 16)).begin(0, cohort=3)
    looked = eggs((12, 15), (13, 16)).begin(0, cohort=3)
    looked.counted(59, 12, cohort=3)

    forgotten, seen, without = (
        only(learned(observed(warm(each), 60), library()))
        for each in (story, looked, eggs((12, 15), (13, 16)))
    )

    assert (forgotten.slips, seen.slips, without.slips) == (1, 0, 0)
    assert forgotten.posterior == without.posterior
    assert seen.posterior.mean > without.posterior.mean + 20


def test_the_order_of_the_journal_is_irrelevant():
    """To the last digit."""
    story = eggs((12, 15), (14, 16), (11, 14))
    before = learned(observed(warm(story), 20), library())
    rows = list(reversed(observed(warm(story), 20)))

    assert learned(rows, library()) == before


def test_what_is_learned_stands_before_the_file_in_a_forecast():
    """In degree-days of the same thresholds, with the doubt that is left."""
    made = learned(observed(warm(eggs(*[(16, 17)] * 8)), 20), library())

    found = records(made, library())
    need = needs_of(scarab(), "any", found)[0].record

    assert isinstance(need, HeatRequirement)
    assert need is found["scarab", "egg", "any"]
    assert need.counts_like(file_record(scarab().stages[0].development, "any"))
    assert need.mean == pytest.approx(231, abs=4)
    assert need.facts.sd > made[0].posterior.sd
    assert (
        need.facts.source == "learned from 8 changes of stage here; before from-memory"
    )


def test_days_are_learned_as_days():
    """Adults that lived 60 days instead of 60: a time requirement."""
    story = Story()
    for cohort in (1, 2, 3):
        story.begin(0, cohort=cohort).found(15, "grub", cohort=cohort, last_seen=12)
        story.found(60, "pupa", cohort=cohort)
        story.found(90, "adult", cohort=cohort, last_seen=89)
        story.ended(150 + cohort, "died", cohort=cohort)

    made = records(learned(observed(warm(story), 160), library()), library())

    assert isinstance(made["scarab", "adult", "any"], TimeRequirement)
    assert made["scarab", "adult", "any"].mean == pytest.approx(62, abs=2)


# other houses


def test_another_house_counts_up_to_the_cap():
    """Nine cohorts elsewhere at 240 move a prior of 200, as four would."""
    made = only(learned((), library(), [house(figure())]))
    capped = only(learned((), library(), [house(figure(worth=HOUSE_CAP))]))

    assert (made.houses, made.n) == (1, 0)
    assert 225 < made.posterior.mean < 240
    assert made.posterior == capped.posterior
    assert ("scarab", "egg", "any") in records([made], library())


def test_the_order_of_houses_is_irrelevant():
    """To the last digit."""
    one, two = house(figure()), house(figure(mean=190.0, worth=2.0), name="Netherby")

    assert learned((), library(), [one, two]) == learned((), library(), [two, one])


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"rule": rule(11.0, 30.0, "horizontal")}, "above 11 degC"),
        ({"rule": rule(10.0, 30.0, "vertical")}, "vertical cutoff"),
        ({"rule": rule(10.0, None, None)}, "not the same degree-days"),
        ({"rule": None, "unit": "d"}, "days alone"),
        ({"species": "stranger"}, "no species file here describes"),
        ({"name": "Exemplum alienum"}, "Exemplum alienum"),
        ({"stage": "nymph"}, "no requirement"),
    ],
)
def test_other_degree_days_count_for_nothing_and_it_is_said_why(changes, why):
    """Thresholds, cutoff, unit, species and stage must be the same."""
    other = figure(**changes)

    assert why in counts(other, library())
    assert learned((), library(), [house(other)]) == ()


def test_a_house_tells_what_it_alone_saw():
    """
    Neither the published figure nor other houses are in it, nor anything of the stock.

    Eight cohorts around 231, in a house whose file says 200 and whose friends say 240.
    """
    rows = observed(warm(eggs(*[(16, 17)] * 8)), 20)

    told = house_figures(rows, library(), house="Quillmere", made_on=TODAY)

    (made,) = told.figures
    assert problem(told) is None
    assert made.mean == pytest.approx(231, abs=3)
    assert (made.n, made.key, made.rule) == (8, ("scarab", "egg", "any"), RULE)
    assert 5 < made.worth <= 8
    assert (made.warmth_low, made.warmth_high, made.coverage) == (24.0, 24.0, 1.0)
    assert counts(made, library()) is None


def test_one_change_and_templates_stay_at_home():
    """Too little to tell, or of no species."""
    once = observed(warm(eggs((16, 17))), 20)
    often = observed(warm(eggs(*[(16, 17)] * 3)), 20)

    few = house_figures(once, library(), house="Quillmere", made_on=TODAY)
    template = house_figures(
        often, library(provisional=["scarab"]), house="Quillmere", made_on=TODAY
    )

    assert few.figures == template.figures == ()


def test_two_houses_know_more_than_one():
    """What one exports narrows what the other believes, and moves it."""
    theirs = house_figures(
        observed(warm(eggs(*[(16, 17)] * 8)), 20),
        library(),
        house="Overmere",
        made_on=TODAY,
    )
    mine = observed(warm(eggs((16, 17))), 20)

    lone, both = learned(mine, library())[0], learned(mine, library(), [theirs])[0]

    assert both.posterior.mean > lone.posterior.mean
    widths = [
        math.log(each.posterior.mean_high / each.posterior.mean_low)
        for each in (lone, both)
    ]
    assert widths[1] < widths[0]


# survival


def survived(story, *, of=None):
    made = survivals(story.house(), library(of), story.entries)
    return {each.species: each for each in made}.get("scarab")


def lived(story, cohort=1, *, count=9, kind=CountKind.COUNTED):
    story.found(15, "grub", cohort=cohort).found(60, "pupa", cohort=cohort)
    story.found(90, "adult", cohort=cohort)
    return story.counted(91, count, cohort=cohort, kind=kind)


def test_eggs_and_adults_that_were_counted_give_a_share():
    """9 of 12, from even odds; twelve of one tub are worth 12 / 2.1 animals."""
    made = survived(lived(Story().begin(0)))

    part = 1 / (1 + 11 * 0.1)
    assert (made.broods, made.left_out) == (1, 0)
    assert made.mean == pytest.approx((1 + 9 * part) / (2 + 12 * part))
    assert made.low < made.mean < made.high


def test_the_published_share_is_the_prior():
    """0.6 +- 0.15 moves a little for one tub."""
    told = {"mean": 0.6, "sd": 0.15, "source": "from-memory"}

    made = survived(lived(Story().begin(0)), of=scarab(survival_egg_to_adult=told))

    assert (made.prior_mean, made.prior_sd) == (0.6, 0.15)
    assert 0.6 < made.mean < 0.7


def test_a_tub_that_died_counts_as_none():
    """Disasters are part of survival."""
    story = lived(Story().begin(0))
    story.begin(0, cohort=2).ended(30, "all died", cohort=2)

    made = survived(story)

    assert (made.broods, made.left_out) == (2, 0)
    assert made.mean < survived(lived(Story().begin(0))).mean


def test_what_was_not_counted_is_left_out_and_said():
    """At least, about, more than began, or no count at all."""
    story = Story()
    lived(story.begin(0, cohort=1), 1, kind=CountKind.AT_LEAST)
    lived(story.begin(0, cohort=2, count=Count(CountKind.ESTIMATE, 12)), 2)
    lived(story.begin(0, cohort=3, count=5), 3, count=9)

    made = survived(story)

    assert (made.broods, made.left_out, made.mean) == (0, 3, 0.5)


def test_who_is_on_the_way_or_was_given_away_says_nothing():
    """Neither alive nor dead, and grubs that were bought were never eggs here."""
    story = Story().begin(0, cohort=1).begin(0, cohort=2).ended(30, cohort=2)
    story.begin(0, cohort=3, stage="grub").found(90, "adult", cohort=3)
    story.begin(0, cohort=4, colony=True).ended(30, "died", cohort=4)

    assert survived(story) is None


def test_eggs_may_be_counted_later():
    """The first count of the eggs stands for the beginning."""
    story = Story().begin(0, count=Count(CountKind.UNKNOWN)).counted(2, 10)

    assert survived(lived(story)).broods == 1
