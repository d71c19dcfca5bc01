"""Where a place stood, through all lives of its number."""

from datetime import timedelta
from itertools import count

from hypothesis import given
from hypothesis import strategies as st

from monitor.site.house import Place, fold
from monitor.site.journal import Entry, PlaceCreated, PlaceMoved, PlaceScrapped
from monitor.site.stays import Stay, changed, closed, cut, what_at
from monitor.site.words import PlaceKind
from tests.desk.quillmere import NOW, a_site

DAY = timedelta(days=1)
SITE = a_site()


def tub(*told) -> Place:
    """Tub 1 after (days after now, fact)."""
    ids = count(1)
    entries = [Entry(NOW + n * DAY, NOW, "ines", f, id=next(ids)) for n, f in told]
    return fold(SITE, entries).places["tub-1"]


def made(parent, kind=PlaceKind.REARING):
    return PlaceCreated("tub-1", kind, parent)


GONE = PlaceScrapped("tub-1")


def test_a_number_that_was_given_again_keeps_where_it_stood():
    """Each life answers for itself, and nothing stands between the lives."""
    got = tub(
        (0, made("shelf-a")),
        (2, PlaceMoved("tub-1", "shelf-b")),
        (4, GONE),
        (6, made("shelf-a", PlaceKind.INCUBATOR)),
        (8, GONE),
        (8, made("warm-room")),
    )

    found = [got.parent_at(NOW + (n + 0.5) * DAY) for n in (-1, 0, 2, 4, 6, 8)]

    assert found == [None, "shelf-a", "shelf-b", None, "shelf-a", "warm-room"]
    assert got.parent_at(NOW + 4 * DAY) is None
    assert (got.parent, got.kind) == ("warm-room", PlaceKind.REARING)
    assert (got.begun_at, got.scrapped_at) == (NOW + 8 * DAY, None)


def test_a_number_that_was_not_given_again_is_as_it_was():
    """Its beginning is that of its only life, after moves and when it is gone."""
    got = tub((0, made("shelf-a")), (2, PlaceMoved("tub-1", "shelf-b")), (4, GONE))

    assert (got.begun_at, got.scrapped_at) == (NOW, NOW + 4 * DAY)
    assert got.stays == (
        Stay("shelf-a", NOW, NOW + 2 * DAY),
        Stay("shelf-b", NOW + 2 * DAY),
    )


def test_a_move_entered_for_after_the_end_is_of_no_life():
    """A journal of another program, or mended by hand."""
    got = tub(
        (0, made("shelf-a")),
        (4, GONE),
        (5, PlaceMoved("tub-1", "shelf-b")),
        (6, made("shelf-a")),
    )

    assert [got.parent_at(NOW + n * DAY) for n in (3, 4, 5, 6)] == [
        "shelf-a",
        None,
        None,
        "shelf-a",
    ]


def test_a_fixed_place_has_no_beginning():
    """It stands in site.toml."""
    shelf = fold(SITE, []).places["shelf-a"]

    assert (shelf.begun_at, shelf.stays) == (None, ())
    assert shelf.parent_at(NOW - 9999 * DAY) == "warm-room"


@given(st.lists(st.integers(0, 9), max_size=5).map(sorted), st.integers(0, 9))
def test_what_is_cut_is_the_same_before_and_nothing_after(days, end):
    """However many stays there were, the end of one among them."""
    stays = ()
    for number, day in enumerate(days):
        stays = changed(stays, str(number), NOW + day * DAY)

    short = cut(stays, NOW + end * DAY)

    for half in range(20):
        at = NOW + half * DAY / 2
        assert what_at(short, at) == (what_at(stays, at) if half < 2 * end else None)
    assert closed(short, NOW + 99 * DAY) == short
