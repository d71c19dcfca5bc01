"""What keepers saw of the ends of each stage."""

import pytest

from monitor.accounts.sightings import died
from monitor.site.words import CountKind
from tests.accounts.learners import Story


def test_a_change_lies_between_the_last_look_and_the_find():
    """Eggs on day 0, last seen as eggs on day 12, grubs on day 15."""
    story = Story().begin(0).found(15, "grub", last_seen=12)

    spans = story.spans(16)

    assert spans["egg"] == (0, 0, 12, 15)
    assert spans["grub"] == (12, 15, 15, None)


def test_without_a_last_look_the_round_of_the_stage_stands_for_it():
    """Eggs are looked at every seven days."""
    assert Story().begin(0).found(15, "grub").spans(16)["egg"] == (0, 0, 8, 15)


def test_the_round_before_is_never_before_what_was_seen():
    """Found after three days: the look before was the first."""
    assert Story().begin(0).found(3, "grub").spans(4)["egg"] == (0, 0, 0, 3)


def test_a_find_underground_says_nothing_of_the_look_before():
    """A pupa is dug up: the change may have been at any time since the last grub."""
    story = Story().begin(0).found(15, "grub", last_seen=12).found(90, "pupa")

    assert story.spans(91)["grub"] == (12, 15, 15, 90)


def test_a_count_shows_the_stage_that_it_counts():
    """Grubs counted on day 60 were grubs on day 60."""
    story = Story().begin(0).found(15, "grub", last_seen=12)
    story.counted(60, 11).found(90, "pupa")

    assert story.spans(91)["grub"] == (12, 15, 60, 90)


def test_a_stage_that_nobody_saw_shares_the_bounds_around_it():
    """Grubs last seen on day 40, adults found on day 90: the pupa is somewhere."""
    story = Story().begin(0).found(15, "grub", last_seen=12)
    story.found(90, "pupa", last_seen=40, seen=False).found(90, "adult", last_seen=40)

    spans = story.spans(91)

    assert spans["grub"] == (12, 15, 40, 90)
    assert spans["pupa"] == (40, 90, 40, 90)


def test_a_stage_that_was_taken_to_have_begun_is_no_sighting():
    """
    On day 60 a keeper takes the grub for a pupa, unseen; the adult shows on day 90.

    On day 88 there was no adult yet, so the adult is younger; when the pupa began
    nobody knows but from the grub of day 15.
    """
    story = Story().begin(0).found(15, "grub", last_seen=12)
    story.found(60, "pupa", seen=False).found(90, "adult", last_seen=88)

    spans = story.spans(91)

    assert spans["grub"] == (12, 15, 15, 90)
    assert spans["pupa"] == (15, 90, 88, 90)
    assert spans["adult"] == (88, 90, 90, None)


def test_animals_that_come_in_a_later_stage_have_no_beginning_of_it():
    """A grub that was bought was a grub for nobody knows how long."""
    story = Story().begin(0, stage="grub").found(50, "pupa", last_seen=40)

    assert story.spans(60) == {"pupa": (40, 50, 50, None)}


def test_a_visible_stage_lasts_up_to_the_look_before_today():
    """Eggs on day 20 are eggs up to a week ago; nobody would miss hatching longer."""
    assert Story().begin(0).spans(20)["egg"] == (0, 0, 13, None)


def test_a_stage_before_a_hidden_one_is_known_by_finds_alone():
    """A grub not seen since day 15 may long be a pupa."""
    story = Story().begin(0).found(15, "grub", last_seen=12)

    assert story.spans(200)["grub"] == (12, 15, 15, None)


def test_an_ended_cohort_is_followed_no_longer():
    """Given away as eggs on day 9: eggs up to the look before."""
    assert Story().begin(0).ended(9).spans(100)["egg"] == (0, 0, 2, None)


def test_an_adult_that_died_lived_so_long():
    """Found dead on day 150, looked at daily."""
    story = Story().begin(0).found(15, "grub", last_seen=12)
    story.found(60, "pupa").found(90, "adult", last_seen=89).ended(150, "died")

    assert story.spans(160)["adult"] == (89, 90, 149, 150)


def test_an_adult_that_was_given_away_lives_on():
    """Its life is longer than what was seen."""
    story = Story().begin(0).found(15, "grub", last_seen=12)
    story.found(60, "pupa").found(90, "adult", last_seen=89).ended(150)

    assert story.spans(160)["adult"] == (89, 90, 149, None)


def test_a_mended_slip_was_no_sighting():
    """Called grubs on day 3 by mistake, eggs again on day 4, grubs on day 15."""
    story = Story().begin(0).found(3, "grub").found(4, "egg")
    story.found(15, "grub", last_seen=12)

    assert story.spans(16)["egg"] == (0, 0, 12, 15)


def test_what_is_still_to_come_is_not_known():
    """On day 13 nothing is known of what was found on day 15."""
    story = Story().begin(0).found(15, "grub", last_seen=12)

    assert story.spans(13)["egg"] == (0, 0, 6, None)


def test_the_order_of_entering_is_irrelevant():
    """What was typed late happened when it happened."""
    story = Story().begin(0).found(15, "grub", last_seen=12).counted(14, 12)
    before = story.spans(16)
    story.entries.reverse()

    assert story.spans(16) == before
    assert before["egg"] == (0, 0, 14, 15)


def test_colonies_and_unknown_stages_tell_nothing():
    """Mixed stages have no change; a stage that no file knows has no order."""
    colony = Story().begin(0, colony=True).found(15, "grub")
    strange = Story().begin(0, stage="nymph").found(15, "grub")

    assert colony.spans(20) == {}
    assert strange.spans(20) == {}


def test_a_stage_is_known_in_capitals_or_not():
    """As everywhere."""
    story = Story().begin(0, stage="EGG").found(15, "Grub", last_seen=12)

    assert story.spans(16)["egg"] == (0, 0, 12, 15)


def test_a_count_in_doubt_still_shows_the_stage():
    """That they are grubs is seen, however many there are."""
    story = Story().begin(0).found(15, "grub", last_seen=12)
    story.counted(60, 10, kind=CountKind.AT_LEAST)

    assert story.spans(91)["grub"] == (12, 15, 60, None)


@pytest.mark.parametrize(
    ("reason", "dead"),
    [("died", True), ("Found dead", True), ("given away", False), (None, False)],
)
def test_a_reason_says_whether_they_died(reason, dead):
    """By its words."""
    assert died(reason) is dead
