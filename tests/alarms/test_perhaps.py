"""A cohort that may be in an unseen stage: bands of both, acts that both allow."""

import msgspec

from monitor.alarms.plan import make_plan
from monitor.site.house import fold
from monitor.site.journal import CohortStarted, Count, PlaceCreated
from monitor.site.species_file import Library, Species
from monitor.site.words import CountKind, PlaceKind
from tests.heart.house import entry, site

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


def plan(perhaps=None):
    made = site()
    return make_plan(made, LIBRARY, fold(made, JOURNAL), perhaps=perhaps)


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
    assert rules(plan({1: ("nymph",)})) == {(18.0, 29.0): (1,)}


def test_an_alarm_keeps_it():
    """Stored alarms of before have nobody perhaps anywhere."""
    found = dweller(plan({1: ("prepupa",)}))
    kept = msgspec.json.decode(msgspec.json.encode(found), type=type(found))

    assert kept == found
