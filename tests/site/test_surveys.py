"""How far a place is from its probe: own survey, neighbours, assumption."""

from datetime import timedelta
from itertools import count

import msgspec
from msgspec.structs import replace

from monitor.science.distance import Apart, pooled
from monitor.site.house import fold
from monitor.site.journal import (
    Entry,
    Fact,
    HandReading,
    PlaceCreated,
    PlaceMoved,
    PlaceScrapped,
    PlaceSurveyed,
    ProbeMoved,
)
from monitor.site.surveys import Distance
from monitor.site.words import PlaceKind, Quantity
from tests.desk.quillmere import NOW, a_site

DAY = timedelta(days=1)
AIR, SUBSTRATE = Quantity.AIR_TEMPERATURE, Quantity.SUBSTRATE_TEMPERATURE
SITE = a_site()
TUB = PlaceCreated("tub-1", PlaceKind.REARING, "shelf-a")
OTHER = PlaceCreated("tub-2", PlaceKind.REARING, "shelf-a")


def survey(place="tub-1", offset=0.8, spread=0.4, *, against="shelf-a", of=AIR):
    """A comparison with an air probe."""
    return PlaceSurveyed(place, SUBSTRATE, against, of, offset, spread)


def house(*told):
    """The house after (days before now, fact)."""
    ids = count(1)
    return fold(
        SITE,
        [Entry(NOW - ago * DAY, NOW, "ines", fact, id=next(ids)) for ago, fact in told],
    )


def distance(made, place="tub-1", *, ago=0.0):
    """As an account asks."""
    at = NOW - ago * DAY
    return made.distance(place, made.feed(place, SUBSTRATE, at=at), at=at)


def test_a_place_that_nobody_surveyed_is_assumed():
    """A shelf's probe tells less of a tub than its own, a room's less than that."""
    made = house((9, TUB), (9, PlaceCreated("tub-3", PlaceKind.REARING, "warm-room")))

    assert distance(made) == Distance(0.0, 1.0, "assumed")
    # the spare hangs in the room
    assert distance(made, "tub-3") == Distance(0.0, 2.0, "assumed")


def test_its_own_probe_hands_and_nothing_are_no_distance():
    """What is read in the place itself is not off it."""
    told = HandReading("tub-3", AIR, value=22.0)
    room = PlaceCreated("tub-3", PlaceKind.REARING, "warm-room")
    made = house(
        (9, TUB), (9, room), (8, ProbeMoved("spare", "tub-1")), (7, survey()), (6, told)
    )
    none = house((9, room), (8, ProbeMoved("spare", "shelf-a")))

    assert distance(made) == Distance(0.0, 0.0, "own probe")
    assert distance(made, "tub-3") == Distance(0.0, 0.0, "hand")
    assert distance(none, "tub-3") == Distance(0.0, 0.0, "none")


def test_the_last_survey_before_counts_and_before_the_first_the_first():
    """A tub is what it was last found to be; before that nothing better is known."""
    made = house((20, TUB), (15, survey(offset=0.5)), (5, survey(offset=2.0)))

    found = [distance(made, ago=ago).offset_k for ago in (18, 15, 6, 5, 0)]

    assert found == [0.5, 0.5, 0.5, 2.0, 2.0]
    assert distance(made) == Distance(2.0, 0.4, "surveyed")
    # the first holds before itself too: only the second is a change
    assert list(made.surveys.changes("tub-1")) == [NOW - 5 * DAY]
    assert list(made.surveys.changes("tub-2")) == []


def test_a_survey_counts_against_its_own_reference_only():
    """Another shelf, or another quantity of the same one, is another probe."""
    moved = house((9, TUB), (8, survey()), (7, PlaceMoved("tub-1", "shelf-b")))
    other = house((9, TUB), (8, survey(of=SUBSTRATE)))

    assert distance(moved, ago=7.5).how == "surveyed"
    assert distance(moved).how == "assumed"
    assert distance(other).how == "assumed"


def test_neighbours_tell_of_a_place_without_a_survey():
    """The last of each, pooled; those of another shelf not."""
    third = PlaceCreated("tub-3", PlaceKind.REARING, "shelf-a")
    made = house(
        (9, TUB),
        (9, OTHER),
        (9, third),
        (8, survey("tub-1", 9.0, 0.1)),
        (7, survey("tub-1", 0.4, 0.2)),
        (6, survey("tub-2", 1.0, 0.3)),
        (5, survey("tub-2", -5.0, 0.3, against="shelf-b")),
    )

    want = pooled([Apart(0.4, 0.2), Apart(1.0, 0.3)])
    assert distance(made, "tub-3") == Distance(
        want.offset_k, want.spread_k, "neighbours"
    )


def test_a_tub_made_anew_does_not_inherit():
    """The old tub is a neighbour of the new one, no more."""
    made = house(
        (9, TUB), (8, survey()), (7, PlaceScrapped("tub-1")), (6, TUB), (5, OTHER)
    )
    again = house(
        (9, TUB),
        (8, survey()),
        (7, PlaceScrapped("tub-1")),
        (6, TUB),
        (3, survey(offset=-1.0)),
    )

    want = pooled([Apart(0.8, 0.4)])
    assert distance(made) == Distance(want.offset_k, want.spread_k, "neighbours")
    assert distance(made) == distance(made, "tub-2")
    assert distance(again, ago=5) == Distance(-1.0, 0.4, "surveyed")


def test_surveys_of_an_old_tub_hold_for_its_own_life():
    """Before its first one too; what was found of the new tub is of that alone."""
    gone, anew = PlaceScrapped("tub-1"), replace(TUB, name="new")
    made = house(
        (20, TUB),
        (18, survey(offset=0.5)),
        (16, survey(offset=2.0)),
        (14, gone),
        (12, anew),
        (8, survey(offset=-1.0)),
        (6, survey(offset=-2.0)),
        (4, gone),
        (2, anew),
    )

    found = [distance(made, ago=ago) for ago in (19, 17, 15, 12, 10, 7, 5)]

    assert [d.offset_k for d in found] == [0.5, 0.5, 2.0, -1.0, -1.0, -1.0, -2.0]
    assert {d.how for d in found} == {"surveyed"}
    # the last of each life speaks for the neighbours, the third tub among them
    want = pooled([Apart(2.0, 0.4), Apart(-2.0, 0.4)])
    assert distance(made) == Distance(want.offset_k, want.spread_k, "neighbours")
    changes = sorted((NOW - at) / DAY for at in made.surveys.changes("tub-1"))
    assert changes == [2, 6, 12, 16]


def test_a_first_survey_of_a_new_tub_says_nothing_of_the_old_one():
    """Nobody surveyed the old one: neighbours tell of it, the new tub among them."""
    made = house(
        (20, TUB), (14, PlaceScrapped("tub-1")), (12, TUB), (8, survey(offset=-1.0))
    )

    assert distance(made, ago=15).how == "neighbours"
    assert distance(made, ago=11).how == "surveyed"


def test_the_order_of_entering_does_not_count():
    """A survey typed late is one of its day."""
    told = [(20, TUB), (15, survey(offset=0.5)), (5, survey(offset=2.0))]

    assert distance(house(*reversed(told))) == distance(house(*told))


def test_a_survey_of_an_unknown_place_is_left_out():
    """The journal is never refused afterwards."""
    made = house((9, OTHER), (8, survey("moon")))

    assert distance(made, "tub-2").how == "assumed"


def test_a_journal_of_before_surveys_still_decodes():
    """Bodies as they stand in stores that know no survey, and a survey's own."""
    tub = (
        b'{"type":"place-created","place":"tub-1","kind":"rearing",'
        b'"parent":"shelf-a","name":null}'
    )
    hand = (
        b'{"type":"hand-reading","place":"tub-1","quantity":"air_temperature",'
        b'"value":20.0,"minimum":null,"maximum":null,"since":null,"thermometer":null}'
    )
    moved = b'{"type":"probe-moved","sensor":"spare","place":"tub-1"}'
    bare = (
        b'{"type":"place-surveyed","place":"tub-1","quantity":"air_temperature",'
        b'"reference":"shelf-a","reference_quantity":"air_temperature",'
        b'"offset_k":0.8,"spread_k":0.4}'
    )

    facts = [msgspec.json.decode(body, type=Fact) for body in (tub, moved, hand, bare)]

    assert facts == [
        TUB,
        ProbeMoved("spare", "tub-1"),
        HandReading("tub-1", AIR, value=20.0),
        PlaceSurveyed("tub-1", AIR, "shelf-a", AIR, 0.8, 0.4),
    ]
