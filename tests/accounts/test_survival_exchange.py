"""Survival between houses: told without a prior, pooled once, shown with all parts."""

from datetime import date
from itertools import product

import msgspec
import pytest

from monitor.accounts.learning import HOUSE_CAP
from monitor.accounts.survival import (
    ELSEWHERE_CAP,
    SHARED_FATE,
    house_survival,
    survival_counts,
    survival_figures,
    survivals,
)
from monitor.science.survival import (
    Brood,
    evidence_of,
    pooled_share,
    published_share,
)
from monitor.site.figures import HouseFigures, Survived, problem
from monitor.site.journal import Count
from monitor.site.words import CountKind
from tests.accounts.house import DAY, START, Memory, steady
from tests.accounts.learners import Story, library, observed, scarab

TODAY = date(2026, 9, 1)
FILE = {"mean": 0.6, "sd": 0.15, "source": "from-memory"}
OVERMERE = ((12, 9), (30, 11), (7, 0))
QUILLMERE = ((10, 4), (20, 15))


def raised(*broods):
    """Eggs and adults, each cohort counted at both ends."""
    story = Story()
    for cohort, (began, reached) in enumerate(broods, 1):
        story.begin(0, cohort=cohort, count=began)
        story.found(15, "grub", cohort=cohort).found(60, "pupa", cohort=cohort)
        story.found(90, "adult", cohort=cohort)
        story.counted(91, reached, cohort=cohort)
    return story


def tells(story, *, of=None, observations=()):
    return house_survival(
        story.house(), of or library(), story.entries, list(observations)
    )


def house(*survival, name="Overmere"):
    return HouseFigures(house=name, made_on=TODAY, figures=(), survival=survival)


def share(**changes):
    fields = {
        "species": "scarab",
        "name": "Exemplum scarabaeus",
        "begin": "egg",
        "n": 3,
        "worth": 15,
        "share": 0.33,
        "warmth_low": 23.0,
        "warmth_high": 25.0,
    }
    return Survived(**(fields | changes))


def believed(story, *houses, of=None):
    (made,) = survivals(story.house(), of or library(), story.entries, houses)
    return made


@pytest.mark.parametrize(
    ("theirs", "ours", "file"),
    list(
        product(
            [OVERMERE, ((5, 5), (5, 5)), ((40, 0), (1, 0)), ((1, 1), (1, 0))],
            [QUILLMERE, ((30, 30),), ((3, 0),)],
            [{}, {"survival_egg_to_adult": FILE}],
        )
    ),
)
def test_pooling_a_house_is_learning_from_both_broods_but_for_rounding(
    theirs, ours, file
):
    """
    The prior counts once: it is in neither what is told nor counted with each house.

    Rounding the share to 0.01 and its worth down to a whole animal moves the mean by
    less than 0.005 + 1 / (all that the posterior is worth).
    """
    known = library(scarab(**file))
    told = house(*tells(raised(*theirs), of=known))

    pooled = believed(raised(*ours), told, of=known)

    both = believed(raised(*theirs, *ours), of=known)
    worth = both.prior_worth + both.seen_worth
    assert abs(pooled.mean - both.mean) < 0.005 + 1 / worth
    assert pooled.prior_worth == both.prior_worth
    gap = both.seen_worth - pooled.seen_worth - pooled.elsewhere_worth
    assert 0 <= gap + 1e-9 < 1


def test_a_share_that_needs_no_rounding_pools_exactly():
    """Single eggs are worth one animal each: 3 of 4 are 0.75 of 4."""
    told = house(*tells(raised((1, 1), (1, 1), (1, 0), (1, 1))))

    pooled = believed(raised(*QUILLMERE), told)

    both = believed(raised((1, 1), (1, 1), (1, 0), (1, 1), *QUILLMERE))
    assert (pooled.mean, pooled.sd) == pytest.approx((both.mean, both.sd), abs=1e-12)


def test_what_is_told_holds_neither_the_file_nor_other_houses():
    """With another prior here the same is told; an import changes nothing of it."""
    plain = tells(raised(*OVERMERE))

    told = tells(raised(*OVERMERE), of=library(scarab(survival_egg_to_adult=FILE)))

    (made,) = told
    assert told == plain
    assert problem(house(made)) is None
    assert survival_counts(made, library()) is None
    part = [n / (1 + (n - 1) * SHARED_FATE) for n, _ in OVERMERE]
    came = sum(p * k / n for p, (n, k) in zip(part, OVERMERE, strict=True))
    assert (made.n, made.worth) == (3, int(sum(part)))
    assert made.share == pytest.approx(came / sum(part), abs=0.005)


def test_no_count_of_animals_can_be_worked_back():
    """Many pairs of broods are told alike; a single brood is not told at all."""
    alike = {tells(raised((a, a // 2), (40 - a, 20 - a // 2))) for a in (16, 18, 20)}

    (told,) = alike
    assert not {16, 18, 20, 22, 24, 40} & set(msgspec.structs.astuple(told[0]))
    assert tells(raised((12, 9))) == ()


def test_the_conditions_are_told():
    """The coolest and the warmest stage of the broods that count."""
    memory = Memory(raised(*OVERMERE))
    memory.put("a-air", *steady(START - DAY, START + 30 * DAY, 24.0))
    memory.put("a-air", *steady(START + 30 * DAY, START + 120 * DAY, 26.0))

    (told,) = tells(memory.told, observations=observed(memory, 100))

    assert told.warmth_low == 24.0
    assert 25.0 < told.warmth_high <= 26.0


def test_templates_and_uncounted_broods_stay_at_home():
    """Of no species, or no share."""
    some = raised((12, 9), (12, 9))
    least = Story()
    for cohort in (1, 2):
        least.begin(0, cohort=cohort, count=Count(CountKind.AT_LEAST, 12))
        least.found(90, "adult", cohort=cohort).counted(91, 9, cohort=cohort)

    assert tells(some, of=library(provisional=["scarab"])) == ()
    assert tells(least) == ()


def test_another_house_counts_as_four_cohorts_at_most():
    """As with requirements: its animals are other animals."""
    made = believed(raised(*QUILLMERE), house(share(n=50, worth=400, share=0.9)))

    assert ELSEWHERE_CAP == HOUSE_CAP / SHARED_FATE == 40
    assert (made.elsewhere_worth, made.elsewhere_n) == (40, 50)
    capped = believed(raised(*QUILLMERE), house(share(n=50, worth=40, share=0.9)))
    assert made.mean == capped.mean


def test_prior_houses_data_and_posterior_add_up():
    """Each part is told with what it is worth, and the parts give the posterior."""
    known = library(scarab(survival_egg_to_adult=FILE))
    houses = [house(share()), house(share(worth=8, share=0.5), name="Undermere")]

    made = believed(raised(*QUILLMERE), *houses, of=known)

    assert (made.prior_mean, made.source) == (0.6, "from-memory")
    assert (made.houses, made.elsewhere_n, made.elsewhere_worth) == (2, 6, 23)
    assert made.elsewhere_share == pytest.approx((0.33 * 15 + 0.5 * 8) / 23)
    assert (made.broods, made.began, made.reached) == (2, 30, 19)
    parts = [
        (made.prior_worth, made.prior_mean),
        (made.elsewhere_worth, made.elsewhere_share),
        (made.seen_worth, made.seen_share),
    ]
    worth = sum(w for w, _ in parts)
    assert made.mean == pytest.approx(sum(w * s for w, s in parts) / worth)
    assert made.sd == pytest.approx((made.mean * (1 - made.mean) / (worth + 1)) ** 0.5)
    assert believed(raised(*QUILLMERE), *houses[::-1], of=known) == made


def test_without_other_houses_it_is_what_it_was():
    """Prior and broods alone, by the rule of the science."""
    made = believed(raised(*QUILLMERE))

    seen = [Brood(*each) for each in QUILLMERE]
    told = evidence_of(seen, correlation=SHARED_FATE)
    plain = pooled_share(published_share(None), told)
    assert (made.mean, made.low) == pytest.approx((plain.mean, plain.quantile(0.05)))
    assert (made.houses, made.elsewhere_share, made.elsewhere_worth) == (0, None, 0)


def test_a_house_that_saw_nothing_believes_the_others():
    """And its show forecast takes their share."""
    (made,) = survivals(Story().house(), library(), (), [house(share())])

    assert (made.broods, made.seen_share, made.houses) == (0, None, 1)
    assert made.mean == pytest.approx((1 + 0.33 * 15) / 17)
    figure = survival_figures([made])["scarab"]
    assert (figure.mean, figure.sd) == (made.mean, made.sd)
    assert figure.source == "learned from 1 other house"


def test_the_show_takes_what_was_counted_and_says_where():
    """What came before is named; where nobody counted, the file speaks."""
    known = library(scarab(survival_egg_to_adult=FILE))
    uncounted = Story().begin(0, count=Count(CountKind.UNKNOWN)).found(90, "adult")
    uncounted.ended(95)

    counted = believed(raised((12, 9)), of=known)
    nothing = believed(uncounted, of=known)

    assert survival_figures([counted])["scarab"].source == (
        "learned from 1 brood here; before from-memory"
    )
    assert (nothing.left_out, survival_figures([nothing])) == (1, {})


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"name": "Exemplum alienum"}, "no species file here describes"),
        ({"species": "stranger"}, "no species file here describes"),
        ({"begin": "grub"}, "they count from grub, the file here begins with egg"),
    ],
)
def test_a_share_of_another_way_counts_for_nothing(changes, why):
    """And the reason is said in words."""
    other = share(**changes)

    assert why in survival_counts(other, library())
    assert survivals(Story().house(), library(), (), [house(other)]) == ()
