"""Tubs that come, move and go."""

import pytest

from monitor.desk.said import iso
from monitor.errors import RefusedError, UsageError
from monitor.site.words import PlaceKind
from tests.desk.quillmere import NOW

EGGS = {"species": "lowland-scarab", "stage": "egg", "count": "12"}


def test_many_tubs_are_set_up_at_once(quillmere):
    """One request, one entry each, all with one parent."""
    ids = [f"tub-{n:03d}" for n in range(101, 221)]

    outcome = quillmere.ask("place create", ids=ids, in_="shelf-b")

    assert [e.fact.place for e in outcome.entries] == ids
    assert {e.fact.parent for e in outcome.entries} == {"shelf-b"}
    assert {e.fact.kind for e in outcome.entries} == {PlaceKind.REARING}


def test_one_wrong_id_among_many_sets_up_none(quillmere):
    """All or nothing: the keeper repeats the line when it is mended."""
    with pytest.raises(UsageError, match="'Tub 5' is no id"):
        quillmere.ask("place create", ids=["tub-4", "Tub 5"], in_="shelf-b")


@pytest.mark.parametrize(
    ("args", "error", "parts"),
    [
        ({"ids": "tub-1"}, RefusedError, ["tub-1 exists already, in shelf-a"]),
        ({"ids": "shelf-a"}, RefusedError, ["shelf-a exists already, in warm-room"]),
        ({"ids": "a-air"}, UsageError, ["'a-air' is taken"]),
        ({"ids": "system"}, UsageError, ["'system' is taken"]),
        ({"ids": ["tub-7", "tub-7"]}, UsageError, ["'tub-7' is named twice"]),
        ({"ids": []}, UsageError, ["the id is missing"]),
        ({"in_": "tub-1"}, UsageError, ["kind rearing", "room, a shelf or an incub"]),
        ({"in_": "shelf-c"}, UsageError, ["no place 'shelf-c'", "did you mean shelf-"]),
        ({"kind": "shelf"}, UsageError, ["screwed to the wall", "site.toml"]),
        ({"kind": "tank"}, UsageError, ["no kind 'tank'", "incubator, fermentation"]),
        ({"ids": ["a", "b"], "name": "x"}, UsageError, ["one name for several"]),
    ],
)
def test_a_wrong_set_up_is_not_taken(quillmere, args, error, parts):
    """Each refusal names the value and the mend."""
    with pytest.raises(error) as caught:
        quillmere.ask("place create", **({"ids": "tub-3", "in_": "shelf-b"} | args))

    assert [part for part in parts if part not in str(caught.value)] == []


def test_a_tub_stands_in_an_incubator(quillmere):
    """Incubators hold tubs; the chain of readings goes through them."""
    quillmere.do("place create", ids="tub-3", in_="incubator-1")

    assert quillmere.view().house.chain("tub-3") == (
        "tub-3",
        "incubator-1",
        "warm-room",
    )


def test_a_tub_moves_with_its_history(quillmere):
    """Where it stood before is still known."""
    quillmere.do("place move", ids=["tub-1"], to="shelf-b", at="2026-02-10 12:00")

    tub = quillmere.view().house.places["tub-1"]
    assert [stay.what for stay in tub.stays] == ["shelf-a", "shelf-b"]


@pytest.mark.parametrize(
    ("args", "error", "part"),
    [
        ({"ids": "shelf-a"}, RefusedError, "shelf-a stands in site.toml"),
        ({"to": "shelf-a"}, RefusedError, "tub-1 stands in shelf-a already"),
        ({"at": "2026-01-01 10:00"}, UsageError, "before tub-1 came to shelf-a"),
        ({"ids": "tub-9"}, UsageError, "no place 'tub-9'"),
    ],
)
def test_a_wrong_move_is_not_taken(quillmere, args, error, part):
    """Fixed, there already, before its time, unknown."""
    with pytest.raises(error) as caught:
        quillmere.ask("place move", **({"ids": "tub-1", "to": "shelf-b"} | args))

    assert part in str(caught.value)


def test_a_move_to_a_shelf_that_is_too_warm_is_told(quillmere):
    """Carrying has happened; the animals' bands and the shelf's limit are compared."""
    quillmere.do(
        "cohort start", species="montane-scarab", stage="L1", count="3", place="tub-1"
    )

    result = quillmere.do("place move", ids="tub-1", to="shelf-b")

    assert "13 to 19 degC" in result["warnings"][0]
    assert "26 to 35 degC" in result["warnings"][0]


def test_a_tub_with_animals_is_not_scrapped(quillmere):
    """The refusal names who lives there."""
    quillmere.do("cohort start", **EGGS, place="tub-1")

    with pytest.raises(RefusedError) as caught:
        quillmere.ask("place scrap", ids=["tub-2", "tub-1"])

    assert "cohort 1 (Exemplum calidum, egg) lives there" in str(caught.value)


def test_a_tub_with_a_probe_is_not_scrapped(quillmere):
    """A probe in the bin would go on telling of animals elsewhere."""
    quillmere.do("sensor move", id="spare", to="tub-1")

    with pytest.raises(RefusedError, match="tub-1 is not empty: spare is still in it"):
        quillmere.ask("place scrap", ids="tub-1")


def test_rooms_and_shelves_are_not_scrapped(quillmere):
    """They are screwed to the wall."""
    with pytest.raises(RefusedError, match=r"shelf-a stands in site.toml"):
        quillmere.ask("place scrap", ids="shelf-a")


def test_a_scrapped_id_may_be_used_again_later(quillmere):
    """Numbers on tubs come back; not before the old one went."""
    quillmere.do("place scrap", ids="tub-1", at="2026-02-20 12:00")

    with pytest.raises(RefusedError, match="was scrapped at 2026-02-20 12:00"):
        quillmere.ask("place create", ids="tub-1", in_="shelf-b", at="2026-02-19 12:00")
    quillmere.do("place create", ids="tub-1", in_="shelf-b")

    tub = quillmere.view().house.places["tub-1"]
    assert (tub.begun_at, tub.scrapped_at) == (NOW, None)
    assert [(stay.what, stay.since) for stay in tub.stays[1:]] == [("shelf-b", NOW)]
    rows = {row["id"]: row for row in quillmere.do("place list")["places"]}
    assert rows["tub-1"]["since"] == iso(NOW)
    assert rows["shelf-a"]["since"] is None


def test_the_list_goes_from_rooms_to_tubs(quillmere):
    """Parents before children; scrapped ones only on request."""
    quillmere.do("cohort start", **EGGS, place="tub-1")
    quillmere.do("place scrap", ids="tub-2")

    rows = quillmere.do("place list")["places"]
    everything = quillmere.do("place list", all=True)["places"]

    ids = [row["id"] for row in rows]
    assert ids == ["warm-room", "incubator-1", "shelf-a", "tub-1", "shelf-b"]
    assert rows[3]["cohorts"] == [1]
    assert [r["id"] for r in everything if r["scrapped_at"]] == ["tub-2"]
