"""Rules for mains, leak, door and heater, made from the house as it stands."""

import math
from datetime import timedelta

import pytest

from monitor.alarms.defaults import ON_DELAY
from monitor.alarms.plan import make_plan
from monitor.alarms.registry import CONDITIONS, WATCHING
from monitor.alarms.switches import NO_CURRENT_A
from monitor.site.house import fold
from monitor.site.journal import (
    CohortMoved,
    CohortStarted,
    Count,
    HandReading,
    ProbeMoved,
)
from monitor.site.species_file import Library
from monitor.site.words import CountKind, Priority, Quantity
from tests.heart.house import JOURNAL, LIBRARY, SITE, band, entry, site, species

NEW = ("mains-gone", "leak-wet", "door-open", "heater-current-gone")


def _sensor(id_, quantity, place="shelf-a", **more):
    return {"id": id_, "place": place, "quantity": quantity, "interval": "5 min"} | more


def _plan(*sensors, entries=(), library=LIBRARY, **tables):
    made = site(sensor=[*SITE["sensor"], *sensors], **tables)
    return make_plan(made, library, fold(made, (*JOURNAL, *entries)))


def _rule(plan, sensor, quantity):
    [watch] = plan.watches[sensor, quantity]
    [rule] = watch.rules
    return watch, rule


@pytest.mark.parametrize(
    ("quantity", "condition", "usual", "minutes"),
    [
        ("mains", "mains-gone", (1.0, 1.0), 1),
        ("leak", "leak-wet", (0.0, 0.0), 1),
        ("door", "door-open", (0.0, 0.0), 10),
        ("heater", "heater-current-gone", (1.0, 1.0), 20),
    ],
)
def test_every_such_sensor_is_watched_without_any_band(
    quantity, condition, usual, minutes
):
    """What is usual, and the default on-delay of the quantity."""
    limit = {"place": "shelf-a", "quantity": "air_temperature", "tolerated": [20, 30]}

    watch, rule = _rule(_plan(_sensor("s", quantity), limit=[limit]), "s", quantity)

    assert (watch.place, rule.condition, rule.usual) == ("shelf-a", condition, usual)
    assert rule.delays.on == ON_DELAY[Quantity(quantity)] == timedelta(minutes=minutes)
    assert rule.delays.deadband == 0.0
    assert rule.at_time(night=False) == rule.at_time(night=True) == (None, None)


@pytest.mark.parametrize("quantity", ["mains", "heater"])
def test_a_clamp_is_judged_by_its_current(quantity):
    """Under 0.05 A nothing heats."""
    limit = {"place": "shelf-a", "quantity": "air_temperature", "tolerated": [20, 30]}
    plan = _plan(_sensor("s", quantity, unit="ampere"), limit=[limit])

    _, rule = _rule(plan, "s", quantity)

    assert rule.usual == (NO_CURRENT_A, math.inf)


@pytest.mark.parametrize("quantity", ["light", "humidifier"])
def test_light_and_humidifier_are_only_stored(quantity):
    """They are off for good reasons."""
    assert ("s", quantity) not in _plan(_sensor("s", quantity)).watches


def test_delays_of_the_site_count_and_deadbands_do_not():
    """Half open is no state."""
    plan = _plan(
        _sensor("s", "door"),
        alarms={"on_delay": {"door": "3 min"}, "deadband": {"door": 0.5}},
    )

    _, rule = _rule(plan, "s", "door")

    assert (rule.delays.on, rule.delays.deadband) == (timedelta(minutes=3), 0.0)


def test_mains_concern_the_whole_room_and_a_leak_its_place():
    """Cohort 3 lives on the other shelf of the same room."""
    other = CohortStarted(3, "cricket", "nymph", Count(CountKind.COUNTED, 9), "tub-3")
    plan = _plan(_sensor("m", "mains"), _sensor("l", "leak"), entries=[entry(other)])

    _, mains = _rule(plan, "m", "mains")
    _, leak = _rule(plan, "l", "leak")

    assert [d.cohort for d in mains.dwellers] == [1, 2, 3]
    assert [d.cohort for d in leak.dwellers] == [1, 2]


def test_a_probe_that_was_moved_is_judged_where_it_hangs():
    """The journal moves a leak sensor like any other."""
    plan = _plan(_sensor("l", "leak"), entries=[entry(ProbeMoved("l", "shelf-b"))])

    watch, rule = _rule(plan, "l", "leak")

    assert (watch.place, rule.dwellers) == ("shelf-b", ())


def test_the_target_of_the_place_says_when_it_is_cold():
    """Its own [[limit]], the target before the tolerated band."""
    limit = {
        "place": "shelf-a",
        "quantity": "air_temperature",
        "target": [22, 26],
        "tolerated": [20, 30],
    }

    _, rule = _rule(_plan(_sensor("h", "heater"), limit=[limit]), "h", "heater")

    assert rule.gate is not None
    assert rule.gate.series == (("shelf-a-air", "air_temperature"),)
    assert rule.gate.level(night=False) == rule.gate.level(night=True) == 22.0


def test_else_the_least_demanding_of_those_who_live_by_that_air():
    """By day and at night; who wants it warmer than the heater can is no measure."""
    night = {"target": [19.0, 24.0]}
    library = Library(
        species={
            "beetle": species(
                "beetle",
                {
                    "larva": band((18.0, 29.0), target=[21.0, 26.0], night=night),
                    "pupa": band((20.0, 28.0)),
                },
            ),
            "cricket": species("cricket", {"nymph": band((24.0, 34.0))}),
        }
    )
    cricket = CohortStarted(3, "cricket", "nymph", Count(CountKind.COUNTED, 9), "tub-1")
    plan = _plan(_sensor("h", "heater"), entries=[entry(cricket)], library=library)

    _, rule = _rule(plan, "h", "heater")

    assert rule.gate is not None
    assert (rule.gate.below, rule.gate.night_below) == (21.0, 19.0)


def test_a_heater_that_nobody_needs_is_not_judged():
    """No target, or no probe of the air: nothing says that it ought to be on."""
    nobody = _plan(_sensor("h", "heater", place="shelf-b"))
    by_hand = _plan(
        _sensor("h", "heater", place="warm-room"),
        entries=[
            entry(HandReading("warm-room", Quantity.AIR_TEMPERATURE, 20.0)),
            entry(CohortMoved(1, "warm-room")),
        ],
    )

    assert ("h", "heater") not in nobody.watches
    assert ("h", "heater") not in by_hand.watches


def test_the_silence_of_a_switch_frightens_nobody():
    """Pupae live there, and still a silent door sensor is a note."""
    rule = _plan(_sensor("d", "door")).sensors["d", "door"]

    assert (rule.needed, rule.dwellers) == (False, ())


def test_priorities_and_words():
    """Urgent where minutes count; caution where mains and water meet."""
    found = {kind: CONDITIONS[kind] for kind in NEW}

    assert [c.priority for c in found.values()] == [
        Priority.URGENT,
        Priority.URGENT,
        Priority.PROMPT,
        Priority.PROMPT,
    ]
    assert set(found.values()) <= set(WATCHING)
    for kind in ("mains-gone", "heater-current-gone"):
        assert "damp substrate" in found[kind].words.first_action
        assert "licensed electrician" in found[kind].words.first_action
    assert "switch that circuit off first" in found["leak-wet"].words.first_action
    assert all(c.words.causes and c.words.meaning for c in found.values())
