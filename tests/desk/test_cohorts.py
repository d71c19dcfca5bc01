"""What keepers say about their animals, and what the desk does not take."""

from datetime import UTC, datetime, timedelta

import msgspec
import pytest

from monitor.accounts.heat import CohortHeat
from monitor.errors import RefusedError, UsageError
from monitor.site.journal import CohortAdvanced, CohortStarted, Count
from monitor.site.words import CountKind
from tests.desk.quillmere import HOUR, NOW

EGGS = {"species": "lowland-scarab", "stage": "egg", "count": "12", "place": "tub-1"}


def test_a_start_gives_the_next_id_and_tells_the_instant(quillmere):
    """The entry carries what was said; the result tells the UTC instant used."""
    outcome = quillmere.ask(
        "cohort start", **EGGS, at="2026-02-28 14:00", by="ines", note="gift"
    )

    (entry,) = outcome.entries
    assert entry.fact == CohortStarted(
        1, "lowland-scarab", "egg", Count(CountKind.COUNTED, 12), "tub-1"
    )
    assert (entry.by, entry.note) == ("ines", "gift")
    assert entry.happened_at == datetime(2026, 2, 28, 14, tzinfo=UTC)
    assert entry.entered_at == NOW
    assert outcome.result["id"] == 1
    assert outcome.result["at"] == "2026-02-28T14:00:00Z"
    assert "2026-02-28 14:00:00 UTC" in outcome.result["said"]


def test_a_species_may_be_called_by_its_name(quillmere):
    """Keepers know names, the journal keeps ids."""
    asked = EGGS | {"species": "warm BEETLE"}

    (entry,) = quillmere.ask("cohort start", **asked).entries

    assert entry.fact.species == "lowland-scarab"


@pytest.mark.parametrize(
    ("wrong", "parts"),
    [
        (
            {"species": "lowland-scrab"},
            ["no species 'lowland-scrab'", "mean lowland-scarab", "montane-scarab"],
        ),
        ({"stage": "L2"}, ["no stage of lowland-scarab 'L2'", "egg, L1, pupa, adult"]),
        ({"stage": None}, ["the stage is missing", "--stage"]),
        ({"place": "tub-9"}, ["no place 'tub-9'", "did you mean", "tub-1"]),
        ({"count": None}, ["how many is missing", '"~12" (about)', "--colony"]),
        ({"count": "dozen"}, ["'dozen' is no count", '"12+" (at least)']),
        ({"count": "0"}, ["cohort of 0 animals", "cohort end"]),
        ({"colony": True}, ["a colony has no count"]),
        ({"sex": "femal"}, ["--sex", "did you mean female"]),
        ({"by": "inez"}, ["--by", "no keeper 'inez'", "ines", "tadhg"]),
        ({"at": "15:00"}, ["'15:00'", "15:00 UTC", "still to come", "13:00 UTC"]),
        ({"at": "soon"}, ["'soon' is no time", "2026-03-01 14:00"]),
        ({"tub": "tub-1"}, ["no argument --tub", "--place"]),
    ],
)
def test_a_wrong_start_says_what_exists(quillmere, wrong, parts):
    """Each refusal names the value and the mend."""
    with pytest.raises(UsageError) as caught:
        quillmere.ask("cohort start", **(EGGS | wrong))

    assert [part for part in parts if part not in str(caught.value)] == []


def test_a_colony_has_no_count(quillmere):
    """Nothing stands where a number would be invented; nobody counts it later."""
    quillmere.do("cohort start", **(EGGS | {"count": None}), colony=True)

    (row,) = quillmere.do("cohort list")["cohorts"]
    assert (row["colony"], row["count"], row["count_kind"]) == (True, None, "unknown")
    with pytest.raises(RefusedError, match="colony, which has no count"):
        quillmere.ask("cohort count", id=1, count="5")


def test_a_provisional_species_is_marked(quillmere):
    """Bands from a template are not taken for knowledge."""
    result = quillmere.do(
        "cohort start", species="hunter", stage="nymph", count="1", place="tub-1"
    )

    assert result["provisional"]
    assert "provisional" in result["said"]
    assert quillmere.do("cohort list")["cohorts"][0]["provisional"]


MONTANE = {"species": "montane-scarab", "stage": "L1", "count": 3, "place": "tub-1"}


def test_who_tolerates_nothing_in_common_does_not_share_a_tub(quillmere):
    """The refusal names both, both bands and the quantity as it is measured there."""
    quillmere.do("cohort start", **EGGS)

    with pytest.raises(RefusedError) as caught:
        quillmere.ask("cohort start", **MONTANE)

    assert str(caught.value) == (
        "no common tolerated air temperature at tub-1: the new Exemplum montanum (L1)"
        " tolerates 13 to 19 degC, cohort 1 (Exemplum calidum, egg) tolerates 20 to 29"
        " degC; choose another place, or repeat it with --anyway"
    )


def test_anyway_starts_them_and_warns(quillmere):
    """The keeper decides; the result still says what is against it."""
    quillmere.do("cohort start", **EGGS)

    outcome = quillmere.ask("cohort start", **MONTANE, anyway=True)

    assert len(outcome.entries) == 1
    assert "no common tolerated" in outcome.result["warnings"][0]


def test_bands_of_what_is_measured_apart_do_not_clash(quillmere):
    """Substrate by a probe in the tub and air of the shelf are two things."""
    quillmere.do("sensor move", id="spare", to="tub-1")
    quillmere.do("cohort start", **EGGS)

    assert quillmere.ask("cohort start", **MONTANE).entries


def test_a_limit_of_the_site_counts_too(quillmere):
    """A heated shelf is no place for a montane species."""
    quillmere.do("place create", ids="tub-3", in_="shelf-b")

    with pytest.raises(RefusedError) as caught:
        quillmere.ask("cohort start", **(MONTANE | {"place": "tub-3"}))

    assert "the limit of shelf-b in site.toml is 26 to 35 degC" in str(caught.value)


def test_bands_clash_at_night_alone(quillmere):
    """By day both live well; at night the pupae need it cool."""
    quillmere.do("cohort start", **(EGGS | {"stage": "pupa"}))

    with pytest.raises(RefusedError, match=r"tub-1 at night: .*16 to 19 degC"):
        quillmere.ask("cohort start", **EGGS)


def test_a_third_is_refused_where_two_clash_already(quillmere):
    """What leaves no common band is refused, although the newcomer suits each."""
    quillmere.do("cohort start", **EGGS)
    quillmere.do("cohort start", **MONTANE, anyway=True)

    with pytest.raises(RefusedError) as caught:
        quillmere.ask("cohort start", **EGGS)

    assert "cohort 2 (Exemplum montanum, L1)" in str(caught.value)


def test_a_move_into_a_clash_is_refused(quillmere):
    """The rule of the start holds for the move."""
    quillmere.do("cohort start", **EGGS)
    quillmere.do("cohort start", **(MONTANE | {"place": "tub-2"}))

    with pytest.raises(
        RefusedError, match="no common tolerated air temperature at tub-1"
    ):
        quillmere.ask("cohort move", id=2, to="tub-1")
    assert quillmere.ask("cohort move", id=2, to="tub-1", anyway=True).entries
    with pytest.raises(RefusedError, match="lives in tub-1 already"):
        quillmere.ask("cohort move", id=1, to="tub-1")


def test_hunters_do_not_share_a_tub(quillmere):
    """A species that eats its own is warned of alone and refused together."""
    alone = {"species": "hunter", "stage": "nymph", "place": "tub-1"}
    first = quillmere.do("cohort start", **alone, count="1")

    with pytest.raises(RefusedError, match=r"eats its own kind, and cohort 1 .* tub-1"):
        quillmere.ask("cohort start", **alone, count="1")
    several = quillmere.do("cohort start", **(alone | {"place": "tub-2"}), count="~5")

    assert first["warnings"] == []
    assert "keep each in a tub of its own" in several["warnings"][0]


def test_a_scrapped_place_takes_nobody(quillmere):
    """It says when it was scrapped, and what to do."""
    quillmere.do("place scrap", ids="tub-1")

    with pytest.raises(RefusedError, match=r"tub-1 was scrapped at 2026-03-01 13:00"):
        quillmere.ask("cohort start", **EGGS)


def test_a_start_before_the_tub_was_set_up_is_told(quillmere):
    """Nothing is known of the time before."""
    result = quillmere.do("cohort start", **EGGS, at="2026-01-05 10:00")

    assert "no reading is known from before" in result["warnings"][0]


def test_a_start_in_the_life_of_a_former_tub_is_told(quillmere):
    """The number has been given again since; what was measured is of the old tub."""
    quillmere.do("place scrap", ids="tub-1", at="2026-02-20 12:00")
    quillmere.do("place create", ids="tub-1", in_="shelf-b", at="2026-02-25 12:00")

    def warned(at):
        return quillmere.ask("cohort start", **EGGS, at=at).result["warnings"]

    (former,) = warned("2026-02-15 12:00")
    (between,) = warned("2026-02-22 12:00")
    assert former == (
        "tub-1 was set up at 2026-02-25 12:00: warmth from before is that of the"
        " scrapped one of its number"
    )
    assert "no reading is known from before" in between
    assert warned("2026-02-25 12:00") == []


def test_a_stage_is_kept_as_its_species_spells_it(quillmere):
    """However a keeper types it; the words and the journal say the same."""
    outcome = quillmere.ask("cohort start", **(EGGS | {"stage": "EGG"}))

    assert outcome.entries[0].fact.stage == "egg"
    assert "Exemplum calidum, egg, in tub-1" in outcome.result["said"]

    quillmere.carry_out(outcome)
    outcome = quillmere.ask("cohort advance", id=1, stage="l1")
    assert [e.fact for e in outcome.entries] == [CohortAdvanced(1, "L1")]
    assert outcome.result["stage"] == "L1"

    quillmere.carry_out(outcome)
    (entry,) = quillmere.ask("cohort advance", id=1, stage="Egg", anyway=True).entries
    assert entry.fact == CohortAdvanced(1, "egg")


def test_a_stage_of_an_old_journal_is_known_in_any_case(quillmere):
    """It was kept as typed once: the next stage is still the next one."""
    quillmere.do("cohort start", **EGGS, at="2026-02-20 12:00")
    begun = quillmere.entries[-1]
    typed = msgspec.structs.replace(begun.fact, stage="EGG")
    quillmere.entries[-1] = msgspec.structs.replace(begun, fact=typed)

    following = quillmere.ask("cohort advance", id=1)
    later = quillmere.ask("cohort advance", id=1, stage="PUPA")

    assert [e.fact for e in following.entries] == [CohortAdvanced(1, "L1")]
    assert [e.fact.stage for e in later.entries] == ["L1", "pupa"]
    with pytest.raises(RefusedError, match="egg is not a later stage"):
        quillmere.ask("cohort advance", id=1, stage="egg")


def test_advance_goes_to_the_next_stage(quillmere):
    """The change is dated half-way between the two visits."""
    quillmere.do("cohort start", **EGGS, at="2026-02-20 12:00")

    quillmere.do(
        "cohort advance", id=1, at="2026-02-28 12:00", last_seen="2026-02-26 12:00"
    )

    cohort = quillmere.view().house.cohorts[1]
    assert cohort.stage == "L1"
    assert cohort.stages[-1].since == datetime(2026, 2, 27, 12, tzinfo=UTC)


def test_stages_passed_over_were_never_seen(quillmere):
    """A pupa underground, found as an adult, leaves a trace."""
    quillmere.do("cohort start", **(EGGS | {"stage": "L1"}), at="2026-02-20 12:00")

    outcome = quillmere.ask("cohort advance", id=1, stage="adult")

    assert [e.fact for e in outcome.entries] == [
        CohortAdvanced(1, "pupa", seen=False),
        CohortAdvanced(1, "adult"),
    ]
    assert outcome.result["never_seen"] == ["pupa"]
    assert "Never seen: pupa." in outcome.result["said"]
    quillmere.carry_out(outcome)
    assert quillmere.view().house.cohorts[1].stage == "adult"


def test_a_stage_may_be_taken_to_have_begun(quillmere):
    """Nobody saw it; the entry says so."""
    quillmere.do("cohort start", **(EGGS | {"stage": "L1"}))

    (entry,) = quillmere.ask("cohort advance", id=1, never_seen=True).entries

    assert entry.fact == CohortAdvanced(1, "pupa", seen=False)


@pytest.mark.parametrize(
    ("args", "error", "part"),
    [
        ({"stage": "egg"}, RefusedError, "egg is not a later stage"),
        ({"stage": "L1"}, RefusedError, "repeat it with --anyway"),
        ({"stage": "L7"}, UsageError, "no stage of lowland-scarab 'L7'"),
        ({"at": "2026-01-01 00:00"}, UsageError, "before cohort 1 began"),
        (
            {"last_seen": "2026-01-01 00:00"},
            UsageError,
            "not between the beginning of L1",
        ),
        ({"id": 4}, UsageError, "no cohort '4'; there are: 1"),
    ],
)
def test_a_wrong_advance_is_not_taken(quillmere, args, error, part):
    """Backwards, unknown or before its time."""
    quillmere.do("cohort start", **(EGGS | {"stage": "L1"}), at="2026-02-20 12:00")

    with pytest.raises(error) as caught:
        quillmere.ask("cohort advance", **({"id": 1} | args))

    assert part in str(caught.value)


def test_a_slip_is_mended_with_anyway(quillmere):
    """Back to an earlier stage, on purpose."""
    quillmere.do("cohort start", **(EGGS | {"stage": "L1"}))

    (entry,) = quillmere.ask("cohort advance", id=1, stage="egg", anyway=True).entries

    assert entry.fact == CohortAdvanced(1, "egg")


def test_the_last_stage_has_no_next(quillmere):
    """It ends instead."""
    quillmere.do("cohort start", **(EGGS | {"stage": "adult"}))

    with pytest.raises(RefusedError, match="last stage of lowland-scarab, adult"):
        quillmere.ask("cohort advance", id=1)


def test_an_advance_that_makes_a_clash_is_taken_and_told(quillmere):
    """What has happened is not refused."""
    quillmere.do("cohort start", **EGGS)
    quillmere.do("cohort start", **(EGGS | {"stage": "L1"}))

    result = quillmere.do("cohort advance", id=2)

    assert "at night" in result["warnings"][0]
    assert "move one of them" in result["warnings"][0]


def test_counting_keeps_how_well_it_is_known(quillmere):
    """At least eleven is not eleven."""
    quillmere.do("cohort start", **EGGS)

    result = quillmere.do("cohort count", id=1, count="11+")

    (row,) = quillmere.do("cohort list")["cohorts"]
    assert (row["count"], row["count_kind"], row["count_spelled"]) == (
        11,
        "at-least",
        "11+",
    )
    assert "at least 11" in result["said"]
    assert "before that 12" in result["said"]


def test_an_ended_cohort_is_no_longer_followed(quillmere):
    """It leaves the list, stays in the whole list, and takes nothing more."""
    quillmere.do("cohort start", **EGGS, at="2026-02-20 12:00")
    quillmere.do("cohort end", id=1, reason="on show")

    assert quillmere.do("cohort list")["cohorts"] == []
    assert (
        quillmere.do("cohort list", all=True)["cohorts"][0]["end_reason"] == "on show"
    )
    with pytest.raises(RefusedError, match="ended at 2026-03-01 13:00: on show"):
        quillmere.ask("cohort count", id=1, count="3")


def test_nothing_ends_before_its_last_move(quillmere):
    """A slip of the date is found."""
    quillmere.do("cohort start", **EGGS, at="2026-02-20 12:00")
    quillmere.do("cohort move", id=1, to="tub-2", at="2026-02-25 12:00")

    with pytest.raises(UsageError, match="before the last move"):
        quillmere.ask("cohort end", id=1, reason="died", at="2026-02-22 12:00")


def test_warmth_is_told_for_the_stage_that_it_was_counted_for(quillmere):
    """An account of the stage before is nobody's any more."""
    quillmere.do("cohort start", **EGGS, at="2026-02-20 12:00")
    quillmere.heat[1] = CohortHeat(1, "egg", 91.5, 88.0, 95.0, 0.97, NOW - HOUR)

    before = quillmere.do("cohort list")["cohorts"][0]
    quillmere.do("cohort advance", id=1)
    after = quillmere.do("cohort list")["cohorts"][0]

    assert (before["degree_days"], before["coverage"]) == (91.5, 0.97)
    assert (after["degree_days"], after["coverage"]) == (None, None)


def test_a_minute_ahead_is_forgiven(quillmere):
    """A keeper's watch runs ahead; the entry is never in the future."""
    ahead = (NOW + timedelta(seconds=50)).isoformat()

    (entry,) = quillmere.ask("cohort start", **EGGS, at=ahead).entries

    assert entry.happened_at == NOW
