"""Adults for the show: numbers by week, holes, and when the sexes miss each other."""

from datetime import date, timedelta
from zoneinfo import ZoneInfo

import pytest
from scipy import stats

from monitor.accounts.forecast_show import (
    Alone,
    Hole,
    Number,
    SurvivalFigure,
    lead_of,
    show,
)
from monitor.site.journal import CohortStarted, Count
from monitor.site.species_file import Library, Species
from monitor.site.words import CountKind
from tests.accounts.house import DAY, START, heat, lasting, stage
from tests.accounts.test_forecast import HIDDEN, NOW, Stand

ZONE = ZoneInfo("Europe/Dublin")
MONDAY = date(2026, 4, 6)
"""The week of NOW, Saturday 11 April."""
WEEK = timedelta(days=7)
MANY = 24


def species(*, life=None, survival=None, **grub):
    """Egg 200 +- 20, grub 300 +- 30 degree-days, adult for some days or for ever."""
    table = {"id": "scarab", "name": "Exemplum", "group": "scarab"}
    if survival is not None:
        table["survival_egg_to_adult"] = survival
    need = {"required_degree_days": [{"mean": 300.0, "sd": 30.0}]} | grub
    adult = lasting(*life, driven_by="time") if life else {}
    rows = [
        stage("egg", **heat()),
        stage("grub", **heat(**need)) | HIDDEN,
        stage("adult", **adult),
    ]
    made = Species.model_validate({"species": table, "stage": rows})
    return Library(species={"scarab": made})


def told(stand, *, hold_back=0, weeks=MANY, survival=None, **more):
    made = stand.forecaster(**more)
    return show(
        made,
        made.all(),
        stand.library.species["scarab"],
        weeks=weeks,
        hold_back=hold_back,
        zone=ZONE,
        survival=survival,
    )


def group(stand, cohort, stage_, ago, number, *, sex="female", kind=CountKind.COUNTED):
    """Some animals whose stage began so many days ago."""
    count = Count(kind, number)
    fact = CohortStarted(cohort, "scarab", stage_, count, "tub-1", sex=sex)
    stand.told.tell(NOW - ago * DAY, fact)
    return stand


def test_weeks_begin_on_the_monday_of_the_site():
    """The present one first; as many as were asked for."""
    made = told(group(Stand(species()), 1, "adult", 3, 2), weeks=3)

    assert [w.monday for w in made.weeks] == [MONDAY, MONDAY + WEEK, MONDAY + 2 * WEEK]


def test_adults_that_are_there_are_there():
    """Without an adult life nobody is counted out."""
    made = told(group(Stand(species()), 1, "adult", 3, 7))

    assert {w.female for w in made.weeks} == {Number(7, 7, 7)}
    assert {w.male for w in made.weeks} == {Number(0, 0, 0)}
    assert made.adult_life == ()


def test_adults_die_after_their_life():
    """Seventy days of 1: all there in the ninth week, none in the twelfth."""
    life = [("any", 70.0, 24.0)]
    made = told(group(Stand(species(life=life)), 1, "adult", 0, 7))

    assert made.weeks[8].female == Number(7, 7, 7)
    assert made.weeks[12].female == Number(0, 0, 0)
    assert {facts.mean for _, facts in made.adult_life} == {70.0}


def test_adults_come_when_their_stages_are_over():
    """Twenty days into 300 +- 30 at 10 a day: ten days to go, all in three weeks."""
    made = told(group(Stand(species()), 1, "grub", 20, 10))

    assert made.weeks[0].female == Number(0, 0, 0)
    assert made.weeks[1].female.low < made.weeks[1].female.high
    assert made.weeks[4].female == Number(10, 10, 10)


def test_breeders_are_held_back_of_each_sex():
    """Two of seven females; the one male is not for the show."""
    stand = group(Stand(species()), 1, "adult", 3, 7)
    group(stand, 2, "adult", 3, 1, sex="male")

    week = told(stand, hold_back=2).weeks[0]

    assert (week.female, week.male) == (Number(5, 5, 5), Number(0, 0, 0))
    assert (week.females, week.males) == (Number(7, 7, 7), Number(1, 1, 1))


def test_survival_is_what_is_left_of_the_way():
    """
    A quarter from egg to adult: from the grub, one stage of two, a half.

    A tub shares its luck, with the correlation of learning: SciPy's beta-binomial.
    """
    quarter = {"mean": 0.25, "sd": 0.0, "source": "from-memory"}
    library = species(survival=quarter)
    eggs = told(group(Stand(library), 1, "egg", 0, 40))
    grubs = told(group(Stand(library), 1, "grub", 0, 40))
    adults = told(group(Stand(library), 1, "adult", 0, 40))

    egg, grub = eggs.weeks[-1].female, grubs.weeks[-1].female
    luck = stats.betabinom(40, 0.25 * 9, 0.75 * 9)
    low, middle, high = luck.ppf((0.1, 0.5, 0.9))
    assert (egg.low, egg.middle, egg.high) == pytest.approx((low, middle, high), abs=1)
    assert grub.middle == pytest.approx(20, abs=1)
    assert adults.weeks[-1].female == Number(40, 40, 40)
    assert eggs.survival == SurvivalFigure(0.25, 0.0, "from-memory")


def test_what_was_learned_of_survival_stands_before_the_file():
    """And an uncertain survival is a wider number."""
    half = SurvivalFigure(0.5, 0.2, "this house")
    made = told(group(Stand(species()), 1, "egg", 0, 40), survival=half)

    number = made.weeks[-1].female
    assert number.middle == 20
    assert number.high - number.low > 14
    assert made.survival == half


def test_without_survival_all_are_counted_and_it_is_said():
    """At most so many."""
    made = told(group(Stand(species()), 1, "egg", 0, 40))

    assert made.weeks[-1].female == Number(40, 40, 40)
    assert made.survival is None


def test_who_was_not_sexed_is_half_and_half():
    """Binomial in each sex, and the cohort is named."""
    made = told(group(Stand(species()), 1, "adult", 0, 20, sex="any"))

    assert (made.weeks[0].female, made.weeks[0].male) == (Number(7, 10, 13),) * 2
    assert made.unsexed == (1,)


def test_who_has_no_number_is_left_out_and_named():
    """Not counted; a stage that nobody has figures for; no temperature."""
    stand = group(Stand(species()), 1, "adult", 0, None, kind=CountKind.UNKNOWN)
    group(stand, 2, "adult", 0, 3)
    cold = group(Stand(species()), 3, "egg", 5, 3)
    cold.store.series.clear()

    counted, none = told(stand), told(cold)

    assert counted.left_out == ((1, "not counted"),)
    assert counted.counted == (2,)
    assert none.left_out == ((3, "no temperature known: give --set-point"),)
    assert none.lead is None


def test_males_and_females_that_miss_each_other():
    """Females die in June, males come in July: both times are named."""
    life = [("any", 58.0, 24.0)]
    stand = group(Stand(species(life=life)), 1, "adult", 0, 4)
    group(stand, 2, "egg", 0, 4, sex="male")
    late = species(
        life=life, required_degree_days=[{"sex": "any", "mean": 700.0, "sd": 10.0}]
    )
    stand.library = late

    made = told(stand)

    assert made.alone == (
        Alone("female", MONDAY, MONDAY + 8 * WEEK),
        Alone("male", MONDAY + 13 * WEEK, MONDAY + 21 * WEEK),
    )


def test_a_hole_says_when_to_lay():
    """
    Adults until June; from egg to adult 50 d, so eggs in the week of 13 April.

    The hole begins on 8 June; 50 days before is 19 April, a Sunday.
    """
    stand = group(Stand(species(life=[("any", 58.0, 24.0)])), 1, "adult", 0, 4)

    group(stand, 2, "adult", 0, 4, sex="male")

    (hole,) = told(stand).holes
    lead = told(stand).lead

    assert (lead.place, lead.earliest) == ("tub-1", False)
    assert lead.p50_days == pytest.approx(50, abs=0.3)
    assert lead.female_days == lead.male_days == lead.p50_days
    assert hole == Hole(
        date(2026, 6, 8),
        MONDAY + (MANY - 1) * WEEK,
        date(2026, 4, 13),
        too_late=False,
        sex="both",
        pair_by=date(2026, 4, 13),
    )


def test_a_hole_that_is_too_near_is_said_to_be():
    """Nobody is there, and the way takes seven weeks: nobody to pair, either."""
    hole, *_ = told(group(Stand(species()), 1, "egg", 0, 4, sex="any")).holes

    assert (hole.first, hole.sex) == (MONDAY, "both")
    assert hole.too_late
    assert hole.pair_by is None


def test_a_hole_of_one_sex_has_a_laying_date_of_its_own():
    """
    Males live for ever, females until June; and a way that takes males 40 d longer.

    Eggs for females are laid 50 days before 8 June; paired while both are there.
    """
    need = [
        {"sex": "female", "mean": 300.0, "sd": 30.0},
        {"sex": "male", "mean": 700.0, "sd": 30.0},
    ]
    lives = [("female", 58.0, 24.0), ("male", 5000.0, 24.0)]
    library = species(life=lives, required_degree_days=need)
    stand = group(Stand(library), 1, "adult", 0, 4)
    group(stand, 2, "adult", 0, 4, sex="male")

    made = told(stand)

    (hole,) = made.holes
    assert (hole.sex, hole.first) == ("female", date(2026, 6, 8))
    assert (hole.lay_by, hole.pair_by) == (date(2026, 4, 13), date(2026, 4, 13))
    assert made.lead.male_days - made.lead.female_days == pytest.approx(40, abs=0.5)


def test_who_is_there_together_too_early_must_be_paired_then():
    """Females die in June, eggs for September are laid in July: pair before they go."""
    lives = [("female", 58.0, 24.0), ("male", 150.0, 24.0)]
    stand = group(Stand(species(life=lives)), 1, "adult", 0, 4)
    group(stand, 2, "adult", 0, 4, sex="male")

    male = next(h for h in told(stand, weeks=30).holes if h.first > date(2026, 8, 20))

    assert male.lay_by > date(2026, 7, 1)
    assert male.pair_by == date(2026, 6, 1)


def test_breeders_make_no_show():
    """Two adults of each sex, two held back: a hole at once, and they may pair."""
    stand = group(Stand(species()), 1, "adult", 0, 2)
    group(stand, 2, "adult", 0, 2, sex="male")

    assert told(stand).holes == ()
    assert told(stand, hold_back=2).holes[0].first == MONDAY


def test_the_lead_is_told_before_the_weeks_are_chosen():
    """The one of the show; none where none of the species lives here."""
    stand = group(Stand(species()), 1, "adult", 0, 4)
    made = stand.forecaster()
    scarab = stand.library.species["scarab"]

    assert lead_of(made, scarab) == told(stand).lead
    assert lead_of(Stand(species()).forecaster(), scarab) is None


def test_at_least_and_about_are_told():
    """By cohort, and in the weeks in which one of them may be there."""
    stand = group(Stand(species()), 1, "adult", 0, 29, kind=CountKind.AT_LEAST)
    group(stand, 2, "grub", 20, 30, kind=CountKind.ESTIMATE)
    group(stand, 3, "adult", 0, 5)

    made = told(stand)

    assert (made.counts_at_least, made.counts_about) == ((1,), (2,))
    assert made.weeks[0].female == Number(34, 34, 34, at_least=True)
    last = made.weeks[-1].female
    assert (last.at_least, last.about) == (True, True)
    assert last.low < 64 - 6 < 64 + 5 < last.high
    assert not made.weeks[0].male.at_least


def test_ten_million_grubs_are_told():
    """What the desk takes is told, and says how uncertain it is."""
    made = told(group(Stand(species()), 1, "grub", 20, 10_000_000))

    number = made.weeks[1].female
    assert number.high - number.low > 1_000_000
    assert made.weeks[-1].female == Number(*[10_000_000] * 3)


def test_what_heat_alone_does_not_decide_is_an_earliest_number():
    """For the cohort and for the way from the egg."""
    library = species(driven_by="heat-earliest")

    made = told(group(Stand(library), 1, "grub", 20, 4))

    assert made.earliest
    assert made.lead.earliest
    assert not told(group(Stand(species()), 1, "grub", 20, 4)).earliest


def test_other_species_are_passed_over():
    """Numbers are of one species."""
    stand = group(Stand(species()), 1, "adult", 0, 4)
    count = Count(CountKind.COUNTED, 9)
    stand.told.tell(START, CohortStarted(2, "no-such", "adult", count, "tub-1"))

    assert told(stand).counted == (1,)
