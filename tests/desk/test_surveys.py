"""Surveys: what a spare probe found, or a keeper states."""

import pytest

from monitor.desk.surveys import distance_words
from monitor.errors import RefusedError, UsageError
from monitor.site.journal import PlaceSurveyed
from monitor.site.surveys import Distance
from monitor.site.words import Quantity
from tests.desk.quillmere import NOW

AIR, SUBSTRATE = Quantity.AIR_TEMPERATURE, Quantity.SUBSTRATE_TEMPERATURE
STATED = {"place": "tub-1", "offset": 0.8, "spread": 0.4}
FOUND = STATED | {
    "sensor": "spare",
    "against": "shelf-a",
    "since": "2026-02-20T12:00:00Z",
    "until": "2026-02-23T14:24:00Z",
    "pairs": 893,
    "measured_s": 267840.0,
}


@pytest.fixture
def surveyed(quillmere):
    """The spare probe hung in tub-1 for a week, and is back in the room."""
    quillmere.do("sensor move", id="spare", to="tub-1", at="2026-02-20 12:00")
    quillmere.do("sensor move", id="spare", to="warm-room", at="2026-02-27 12:00")
    return quillmere


def test_a_survey_becomes_a_line_of_the_journal(surveyed):
    """With the probe, what it was compared with, and its own time."""
    outcome = surveyed.ask("place survey", **FOUND, by="ines", note="first tub")

    (entry,) = outcome.entries
    until = entry.fact.until
    assert entry.fact == PlaceSurveyed(
        "tub-1",
        SUBSTRATE,
        "shelf-a",
        AIR,
        0.8,
        0.4,
        "spare",
        NOW.replace(month=2, day=20, hour=12),
        until,
        893,
        267840.0,
    )
    assert (entry.happened_at, entry.by, entry.note) == (until, "ines", "first tub")
    assert outcome.result["said"] == (
        "tub-1 is 0.8 K warmer than its shelf's probe (shelf-a), give or take 0.4 K,"
        " from 3.1 days of spare to 2026-02-23 14:24 (2026-02-23 14:24:00 UTC)."
    )


def test_a_program_gets_every_figure(surveyed):
    """Units in the names; the reference is named."""
    told = surveyed.do("place survey", **FOUND)

    assert told | {"said": ""} == {
        "at": "2026-02-23T14:24:00Z",
        "said": "",
        "time_zone": "Europe/Dublin",
        "place": "tub-1",
        "quantity": "substrate_temperature",
        "reference": "shelf-a",
        "reference_quantity": "air_temperature",
        "offset_k": 0.8,
        "spread_k": 0.4,
        "sensor": "spare",
        "since": "2026-02-20T12:00:00Z",
        "until": "2026-02-23T14:24:00Z",
        "pairs": 893,
        "measured_s": 267840.0,
    }


def test_a_keeper_states_what_was_found_otherwise(quillmere):
    """Against what feeds the place now, from now on."""
    outcome = quillmere.ask("place survey", **(STATED | {"offset": "-1.5"}))

    (entry,) = outcome.entries
    assert entry.fact == PlaceSurveyed("tub-1", AIR, "shelf-a", AIR, -1.5, 0.4)
    assert entry.happened_at == NOW
    assert outcome.result["said"].startswith(
        "tub-1 is 1.5 K colder than its shelf's probe (shelf-a), give or take 0.4 K,"
        " as stated for 2026-03-01 13:00"
    )


def test_a_survey_while_the_probe_still_hangs_there_counts_later(quillmere):
    """It is compared with the shelf, and the keeper is told when it counts."""
    quillmere.do("sensor move", id="spare", to="tub-1", at="2026-02-20 12:00")

    told = quillmere.do("place survey", **STATED)

    assert told["reference"] == "shelf-a"
    assert told["said"].endswith("It counts while spare does not hang in tub-1.")


def test_a_survey_against_another_place_says_when_it_counts(quillmere):
    """The tub goes by shelf A; what was found on shelf B counts when it is there."""
    told = quillmere.do("place survey", **STATED, against="shelf-b")

    assert (told["reference"], told["reference_quantity"]) == (
        "shelf-b",
        "air_temperature",
    )
    assert "warmer than the probe of shelf-b" in told["said"]
    assert "counts where tub-1 goes by shelf-b: now it goes by shelf-a." in told["said"]


def test_a_shelf_is_surveyed_against_its_room(quillmere):
    """Whatever stands in something can be."""
    told = quillmere.do("place survey", **(STATED | {"place": "shelf-a"}))

    assert told["reference"] == "warm-room"
    assert "its room's probe (warm-room)" in told["said"]


@pytest.mark.parametrize(
    ("args", "error", "part"),
    [
        ({"place": "tub-9"}, UsageError, "no place 'tub-9'"),
        ({"offset": None}, UsageError, "--offset is missing: give --sensor"),
        ({"spread": None}, UsageError, "--spread is missing"),
        ({"offset": 15.1}, UsageError, "--offset: 15.1 lies outside -15 to 15 K"),
        ({"offset": -77}, UsageError, "is it a difference, in kelvin?"),
        ({"spread": -0.1}, UsageError, "--spread: -0.1 lies outside 0 to 10 K"),
        ({"spread": 11}, UsageError, "--spread: 11 lies outside 0 to 10 K"),
        ({"offset": "nan"}, UsageError, "--offset: 'nan' is no finite number"),
        ({"offset": "warm"}, UsageError, "--offset: 'warm' is no number"),
        ({"against": "moon"}, UsageError, "no place 'moon'"),
        ({"against": "tub-1"}, UsageError, "cannot be compared with itself"),
        ({"against": "tub-2"}, UsageError, "no probe measures a temperature in tub-2"),
        ({"since": "2026-02-20 12:00"}, UsageError, "--since goes with --sensor"),
        ({"at": "2026-01-01 10:00"}, UsageError, "before tub-1 was set up"),
        ({"place": "warm-room"}, RefusedError, "nothing speaks for warm-room"),
        ({"by": "nobody"}, UsageError, "no keeper 'nobody'"),
    ],
)
def test_a_wrong_statement_is_not_taken(quillmere, args, error, part):
    """Each refusal names the value, the limit and the mend."""
    with pytest.raises(error) as caught:
        quillmere.ask("place survey", **(STATED | args))

    assert part in str(caught.value)


@pytest.mark.parametrize(
    ("args", "error", "part"),
    [
        ({"sensor": "moon"}, UsageError, "--sensor: no sensor 'moon'"),
        (
            {"sensor": "room-humidity"},
            UsageError,
            "relative_humidity, no temperature; there are: a-air, b-air, spare",
        ),
        ({"pairs": None}, UsageError, "the readings were not compared"),
        ({"pairs": 2.5}, UsageError, "with 2.5 pairs do not fit"),
        ({"measured_s": 1e9}, UsageError, "do not fit into 267840 s"),
        ({"measured_s": -1}, UsageError, "do not fit"),
        (
            {"measured_s": 172799},
            RefusedError,
            "have 47.9 h in common (893 readings); a survey needs 48 h",
        ),
        ({"against": "shelf-b"}, UsageError, "shelf-a spoke for the place at the time"),
        ({"at": "2026-02-22 12:00"}, UsageError, "before the survey ended"),
        ({"since": "2026-01-20T12:00:00Z"}, UsageError, "--since: 2026-01-20 12:00 is"),
    ],
)
def test_a_wrong_survey_is_not_taken(surveyed, args, error, part):
    """Whatever a program sends."""
    with pytest.raises(error) as caught:
        surveyed.ask("place survey", **(FOUND | args))

    assert part in str(caught.value)


def test_exactly_two_days_are_enough(surveyed):
    """The limit itself is taken."""
    outcome = surveyed.ask("place survey", **(FOUND | {"measured_s": 172800}))

    assert outcome.entries[0].fact.measured_s == 172800


def test_a_tub_made_anew_is_surveyed_in_its_present_life_only(quillmere):
    """An earlier survey would be one of the old tub, which is gone."""
    quillmere.do("place scrap", ids="tub-1", at="2026-02-20 12:00")
    quillmere.do("place create", ids="tub-1", in_="shelf-a", at="2026-02-21 12:00")

    with pytest.raises(UsageError, match="before tub-1 was set up, at 2026-02-21 12"):
        quillmere.ask("place survey", **STATED, at="2026-02-15 12:00")
    taken = quillmere.ask("place survey", **STATED, at="2026-02-21 12:00")

    assert len(taken.entries) == 1


def test_a_scrapped_tub_is_not_surveyed(quillmere):
    """It is gone."""
    quillmere.do("place scrap", ids="tub-1")

    with pytest.raises(RefusedError, match="tub-1 was scrapped"):
        quillmere.ask("place survey", **STATED)


def test_the_list_tells_the_distance_in_use(quillmere):
    """Own survey, neighbours, own probe, and what is assumed."""
    before = {r["id"]: r["distance"] for r in quillmere.do("place list")["places"]}
    quillmere.do("place survey", **STATED)

    rows = {r["id"]: r["distance"] for r in quillmere.do("place list")["places"]}

    assert before["tub-1"] == {
        "offset_k": 0.0,
        "spread_k": 1.0,
        "how": "assumed",
        "from": "shelf-a",
    }
    assert rows["tub-1"] == {
        "offset_k": 0.8,
        "spread_k": 0.4,
        "how": "surveyed",
        "from": "shelf-a",
    }
    assert (rows["tub-2"]["how"], rows["tub-2"]["offset_k"]) == ("neighbours", 0.8)
    assert rows["shelf-a"]["how"] == "own probe"
    assert (rows["incubator-1"]["how"], rows["incubator-1"]["spread_k"]) == (
        "assumed",
        2.0,
    )


def test_a_place_that_nothing_measures_has_no_distance(quillmere):
    """The spare probe was the only one of the room."""
    quillmere.do("sensor move", id="spare", to="shelf-a")

    rows = {r["id"]: r["distance"] for r in quillmere.do("place list")["places"]}

    assert rows["incubator-1"] is None


def test_nothing_warmer_is_said_to_be_as_warm():
    """0.0 K warmer is no sentence."""
    assert distance_words(Distance(0.04, 0.5, "surveyed")) == (
        "as warm, give or take 0.5 K"
    )
