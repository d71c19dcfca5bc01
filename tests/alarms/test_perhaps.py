"""A cohort that may be in an unseen stage: bands of both, acts that both allow."""

from datetime import timedelta

import msgspec
from hypothesis import given
from hypothesis import strategies as st

from monitor.alarms.perhaps import (
    PerhapsSince,
    instants,
    perhaps_at,
    taken_up,
    within,
)
from monitor.alarms.plan import make_plan
from monitor.site.house import fold
from monitor.site.journal import CohortAdvanced, CohortStarted, Count, PlaceCreated
from monitor.site.species_file import Library, Species
from monitor.site.words import CountKind, PlaceKind
from tests.heart.house import MIN, T0, entry, site

AIR = "air_temperature"


def stage(name, tolerated, *acts, caution=None):
    """A stage with one band of the air."""
    band = {"quantity": AIR, "tolerated": tolerated, "source": "from-memory"}
    made = {"id": name, "acts": list(acts), "band": [band]}
    return made if caution is None else made | {"caution": caution}


LIBRARY = Library(
    species={
        "beetle": Species.model_validate(
            {
                "species": {"id": "beetle", "name": "Exemplum", "group": "scarab"},
                "stage": [
                    stage("L3", [18.0, 29.0], "look", "dig", "weigh", caution="Alone."),
                    stage("prepupa", [20.0, 28.0], "look", caution="No digging."),
                    stage("pupa", [20.0, 28.0], "look", "carry-level"),
                ],
            }
        )
    }
)
JOURNAL = (
    entry(PlaceCreated("tub-1", PlaceKind.REARING, "shelf-a")),
    entry(CohortStarted(1, "beetle", "L3", Count(CountKind.COUNTED, 1), "tub-1")),
)


def plan(perhaps=None, *more):
    made = site()
    return make_plan(made, LIBRARY, fold(made, (*JOURNAL, *more)), perhaps=perhaps)


def rules(made):
    """Tolerated limits of the shelf's probe and who stands behind them."""
    return {
        rule.tolerated: tuple(d.cohort for d in rule.dwellers)
        for watches in made.watches.values()
        for watch in watches
        for rule in watch.rules
        if rule.dwellers
    }


def dweller(made):
    (found,) = {
        d for rule in made.sensors.values() for d in rule.dwellers if d.cohort == 1
    }
    return found


def test_the_bands_of_all_stages_are_watched():
    """Each band once, though two of the stages share one."""
    assert rules(plan()) == {(18.0, 29.0): (1,)}
    assert rules(plan({1: ("prepupa", "pupa")})) == {
        (18.0, 29.0): (1,),
        (20.0, 28.0): (1,),
    }


def test_only_what_all_stages_allow_may_be_done():
    """Nobody digs or weighs any more; the stage is still the one last seen."""
    found = dweller(plan({1: ("prepupa",)}))

    assert (found.stage, found.perhaps) == ("L3", ("prepupa",))
    assert found.acts == ("look",)
    assert dweller(plan()).acts == ("look", "dig", "weigh")


def test_the_caution_of_what_may_be_there_comes_first():
    """Then that of what was last seen."""
    found = dweller(plan({1: ("prepupa", "pupa")}))

    assert found.caution == "Perhaps prepupa already: No digging. Alone."
    assert dweller(plan()).caution == "Alone."


def test_the_silence_of_its_probe_weighs_as_for_a_pupa():
    """Who may be in a cell takes no second chance."""
    delicate = {
        name: [r.delicate for r in plan(p).sensors.values() if r.dwellers]
        for name, p in (("seen", None), ("perhaps", {1: ("prepupa",)}))
    }

    assert delicate == {"seen": [False], "perhaps": [True]}


def test_stages_of_another_file_are_passed_over():
    """A forecast made before the file was changed watches what is left."""
    made = plan({1: ("chrysalis",)})

    assert rules(made) == {(18.0, 29.0): (1,)}
    assert dweller(made) == dweller(plan())
    assert not any(r.delicate for r in made.sensors.values())


def test_what_a_cohort_has_reached_or_passed_is_no_longer_thought_of():
    """Seen as prepupa meanwhile, it may still be a pupa; larvae's bands are gone."""
    seen = entry(CohortAdvanced(1, "prepupa"), T0)
    made = plan({1: ("L3", "prepupa", "pupa")}, seen)

    assert dweller(made).perhaps == ("pupa",)
    assert rules(made) == {(20.0, 28.0): (1,)}


def test_an_alarm_keeps_it():
    """Stored alarms of before have nobody perhaps anywhere."""
    found = dweller(plan({1: ("prepupa",)}))
    kept = msgspec.json.decode(msgspec.json.encode(found), type=type(found))

    assert kept == found


# What was taken up, and when

mappings = st.dictionaries(
    st.integers(1, 4),
    st.lists(st.sampled_from(("prepupa", "pupa")), min_size=1).map(tuple),
)


@given(st.lists(mappings, max_size=6))
def test_changes_one_after_the_other_give_each_mapping_back(found):
    """At each instant what was found last holds, and it is told once."""
    known, taken = {}, []
    for minute, each in enumerate(found):
        taken += taken_up(known, each, T0 + minute * MIN)
        known = each

    for minute, each in enumerate(found):
        assert perhaps_at(taken, T0 + (minute + 0.5) * MIN) == each
        assert perhaps_at(taken, T0 + minute * MIN) == each
    assert perhaps_at(taken, T0 - MIN) == {}
    assert taken_up(known, known, T0) == ()


@given(st.lists(mappings, max_size=6), st.integers(-1, 6), st.integers(0, 6))
def test_a_part_tells_the_same_within_its_ends(found, first, length):
    """However much was left out before and after."""
    known, taken = {}, []
    for minute, each in enumerate(found):
        taken += taken_up(known, each, T0 + minute * MIN)
        known = each
    since, until = T0 + first * MIN, T0 + (first + length) * MIN

    part = within(taken, since, until)

    for half in range(2 * length + 1):
        at = since + half * MIN / 2
        assert perhaps_at(part, at) == perhaps_at(taken, at)
    assert all(since <= change.at <= until for change in part)


clocks = st.lists(
    st.tuples(st.integers(0, 5), st.integers(1, 3), st.sampled_from(((), ("pupa",)))),
    max_size=8,
)


@given(clocks, st.integers(-1, 6), st.integers(0, 6))
def test_c_a_part_is_right_whatever_the_clock_said(rows, first, length):
    """The clock jumped between takings: what was taken last holds, in parts too."""
    taken = [PerhapsSince(T0 + n * MIN, cohort, s) for n, cohort, s in rows]
    since, until = T0 + first * MIN, T0 + (first + length) * MIN

    part = within(taken, since, until)

    for half in range(2 * length + 1):
        at = since + half * MIN / 2
        assert perhaps_at(part, at) == perhaps_at(taken, at)


def test_c_what_a_clock_that_was_ahead_dated_is_overruled_by_what_came_after():
    """Pupae of next week, and an hour later by the right clock: none; it stays so."""
    week = timedelta(days=7)
    ahead = PerhapsSince(T0 + week, 1, ("pupa",))
    other = PerhapsSince(T0 + week, 2, ("pupa",))
    taken = (ahead, other, PerhapsSince(T0, 1, ()))

    part = within(taken, T0 + week - MIN, T0 + week + MIN)

    assert part == (other,)


def test_only_what_changed_is_told():
    """A cohort that is no longer thought of has no stages from then on."""
    before, after = {1: ("pupa",), 2: ("pupa",)}, {2: ("pupa",), 3: ("prepupa",)}

    assert taken_up(before, after, T0) == (
        PerhapsSince(T0, 1, ()),
        PerhapsSince(T0, 3, ("prepupa",)),
    )


def test_instants_lie_between_the_ends():
    """Each once; the ends are told by what held there."""
    hour = timedelta(hours=1)
    taken = [PerhapsSince(T0 + n * hour, c, ()) for n in range(4) for c in (1, 2)]

    assert instants(taken, T0, T0 + 3 * hour) == {T0 + hour, T0 + 2 * hour}
