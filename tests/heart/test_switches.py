"""Mains, leaks, doors and heaters in the small house, event by event."""

from datetime import timedelta

import pytest

from monitor.alarms.alarm import AlarmState
from monitor.heart.drive import events_of, play
from monitor.heart.events import AlarmChanged, Answer, PlanChanged, Reading, Readings
from monitor.heart.saving import loaded, saved
from monitor.heart.state import STATE_VERSION
from monitor.site.words import Priority
from tests.heart.house import AIR, MIN, SHELF_A, SITE, T0, Run, begin, site

MAINS, LEAK = ("mains", "mains"), ("leak", "leak")
DOOR, HEATER = ("door", "door"), ("heater", "heater")
NEW = ("mains-gone", "leak-wet", "door-open", "heater-current-gone")


def _house(*, interval="5 min", clamp=False):
    """The small house with a heated shelf A and a sensor of each kind."""
    added = [
        {"id": q, "quantity": q, "place": p, "interval": interval}
        for q, p in (
            ("mains", "warm-room"),
            ("leak", "warm-room"),
            ("door", "warm-room"),
            ("heater", "shelf-a"),
        )
    ]
    added[-1]["unit"] = "ampere" if clamp else "on-off"
    limit = {
        "place": "shelf-a",
        "quantity": AIR,
        "target": [22.0, 26.0],
        "tolerated": [10.0, 40.0],
    }
    return site(sensor=[*SITE["sensor"], *added], limit=[limit])


WELL = {MAINS: 1.0, LEAK: 0.0, DOOR: 0.0, HEATER: 1.0, SHELF_A: 24.0}


class House(Run):
    """All is well and said so every 5 min, but for what is told here."""

    def __init__(self, *, made=None):
        super().__init__(begin(made=made or _house()), quiet=True)
        self.said = dict.fromkeys(self.state.plan.sensors, 24.0) | WELL
        self.silent = set()
        self.heard = []

    def go(self, minutes, **told):
        """Some minutes with a reading of everything at each fifth."""
        self.said |= {(name, name): value for name, value in told.items()}
        for _ in range(round(minutes / 5)):
            self.say()
            self.wait(5 * MIN)
        return self

    def say(self):
        """Everything once, now."""
        readings = tuple(
            Reading(*series, self.at, value)
            for series, value in self.said.items()
            if series not in self.silent
        )
        self.heard.append(Readings(self.at, readings))
        self.happen(self.heard[-1])

    def air(self, value):
        """The air of shelf A from now on."""
        self.said[SHELF_A] = value
        return self

    def new(self):
        """Live alarms of the four kinds."""
        return [a for a in self.alarms() if a.kind in NEW]


def test_a_house_where_all_is_well_is_quiet():
    """Mains on, dry, shut, warm: no alarm and no notice in two hours."""
    house = House().go(120)

    assert (house.new(), house.notices()) == ([], [])


def test_mains_gone_is_urgent_after_a_minute_and_lists_the_room():
    """Both cohorts live in the warm room; the notice goes to whoever is on call."""
    house = House().go(10)
    house.go(5, mains=0.0)

    [alarm] = house.new()
    assert (alarm.kind, alarm.thing, alarm.priority) == (
        "mains-gone",
        "warm-room",
        Priority.URGENT,
    )
    assert (alarm.since, alarm.raised_at) == (T0 + 10 * MIN, T0 + 11 * MIN)
    assert [d.cohort for d in alarm.at_risk] == [1, 2]
    assert (alarm.value, alarm.trend_per_hour, alarm.time_left) == (0.0, None, None)
    assert house.notices() == [(11.0, "ines", "raised")]


def test_a_flicker_of_the_mains_wakes_nobody():
    """Back within the minute."""
    house = House().go(5)
    house.happen(Readings(house.at, (Reading(*MAINS, house.at, 0.0),)))
    house.wait(timedelta(seconds=50))
    house.happen(Readings(house.at, (Reading(*MAINS, house.at, 1.0),)))
    house.wait(5 * MIN)

    assert house.new() == []


def test_mains_back_for_the_off_delay_is_over():
    """Ten minutes on, then those who were told hear of it."""
    house = House().go(5).go(10, mains=0.0)
    [alarm] = house.new()
    house.happen(Answer(house.at, alarm.id, "acknowledge", "ines"))
    house.go(5, mains=1.0)
    assert house.new()
    house.go(5)

    assert house.new() == []
    assert house.notices()[-1][1:] == ("ines", "over")


def test_an_answer_brings_no_mains_back():
    """Answered and still off: it rings again after half an hour."""
    house = House().go(5, mains=0.0)
    [alarm] = house.new()
    house.happen(Answer(house.at, alarm.id, "acknowledge", "ines"))
    house.go(40)

    [alarm] = house.new()
    assert alarm.state is AlarmState.UNACKNOWLEDGED
    assert house.notices()[-1][2] in ("again", "escalated")


def test_a_leak_is_urgent_after_a_minute():
    """Wet."""
    house = House().go(5).go(5, leak=1.0)

    [alarm] = house.new()
    assert (alarm.kind, alarm.priority, alarm.value) == (
        "leak-wet",
        Priority.URGENT,
        1.0,
    )


def test_a_door_may_be_open_for_ten_minutes():
    """Prompt at the tenth, not before."""
    house = House().go(5).go(5, door=1.0)
    house.say()
    house.wait(5 * MIN - timedelta(seconds=10))
    assert house.new() == []
    house.wait(timedelta(seconds=10))

    [alarm] = house.new()
    assert (alarm.kind, alarm.priority) == ("door-open", Priority.PROMPT)
    assert alarm.raised_at - alarm.since == 10 * MIN


def test_a_door_that_was_last_heard_long_ago_opens_no_alarm():
    """Open, then silent: no delay ends on a value of which nothing is known."""
    house = House(made=_house(interval="2 min")).go(5)
    house.say()
    house.happen(
        Readings(house.at + MIN / 2, (Reading(*DOOR, house.at + MIN / 2, 1.0),))
    )
    house.wait(30 * MIN)

    assert [a.kind for a in house.new()] == []
    assert "door" in {a.thing for a in house.alarms("silent")}


def test_a_heater_off_while_it_is_cold_is_prompt_after_twenty_minutes():
    """21 degC is below the target of 22; who lives on the shelf is named."""
    house = House().go(10).air(21.0).go(15, heater=0.0)
    house.say()
    house.wait(5 * MIN - timedelta(seconds=10))
    assert house.new() == []
    house.wait(timedelta(seconds=10))

    [alarm] = house.new()
    assert (alarm.kind, alarm.thing, alarm.priority) == (
        "heater-current-gone",
        "shelf-a",
        Priority.PROMPT,
    )
    assert (alarm.since, alarm.raised_at) == (T0 + 10 * MIN, T0 + 30 * MIN)
    assert alarm.detail == (
        "The air there reads 21.0 °C, its target begins at 22.0 °C."
    )
    assert [d.cohort for d in alarm.at_risk] == [1, 2]


@pytest.mark.parametrize(("current", "alarms"), [(0.04, 1), (0.05, 0), (1.7, 0)])
def test_a_clamp_below_a_twentieth_of_an_ampere_draws_nothing(current, alarms):
    """0.05 A itself is a current."""
    house = House(made=_house(clamp=True)).go(10).air(21.0).go(25, heater=current)

    assert len(house.new()) == alarms


def test_a_heater_rests_while_it_is_warm():
    """Off at or above the target is what a thermostat does."""
    house = House().go(10).air(22.0).go(120, heater=0.0)

    assert house.new() == []


def test_a_thermostat_that_switches_is_no_alarm():
    """Cold for 15 min before it comes on again, all night long."""
    house = House()
    for _ in range(6):
        house.air(21.9).go(15, heater=0.0).air(22.5).go(15, heater=1.0)

    assert house.new() == []


def test_it_counts_from_when_it_became_cold_not_from_when_it_went_off():
    """Off for an hour in the warm, then the sun goes."""
    house = House().go(60, heater=0.0).air(21.0).go(15)
    assert house.new() == []
    house.go(10)

    [alarm] = house.new()
    assert alarm.since == T0 + 60 * MIN


def test_a_heater_that_heats_again_is_over():
    """On for ten minutes, however cold it still is."""
    house = House().air(21.0).go(25, heater=0.0)
    [alarm] = house.new()
    house.happen(Answer(house.at, alarm.id, "acknowledge", "ines"))
    house.go(5, heater=1.0)
    assert house.new()
    house.go(5)

    assert house.new() == []


def test_without_the_air_nothing_is_said_of_the_heater():
    """A silent air probe neither raises nor ends it."""
    house = House().go(10)
    house.silent = {SHELF_A}
    house.air(21.0).go(40, heater=0.0)
    assert house.new() == []

    other = House().air(21.0).go(25, heater=0.0)
    other.silent = {SHELF_A}
    other.go(60)
    assert [a.active for a in other.new()] == [True]


def test_a_plan_made_anew_keeps_the_delay():
    """A journal entry elsewhere in the house restarts no clock."""
    house = House().air(21.0).go(15, heater=0.0)
    house.happen(PlanChanged(house.at, begin(made=_house()).plan))
    house.go(10)

    assert [a.since for a in house.new()] == [T0]


def test_saved_in_the_middle_it_ends_as_if_nothing_had_happened():
    """Restart between cold and alarm."""
    whole = House().air(21.0).go(15, heater=0.0)
    body = {key: (STATE_VERSION, made) for key, made in saved(whole.state).items()}
    half = House()
    half.state = loaded(
        body, whole.state.plan, alarms=dict(whole.state.alarms), next_alarm=1
    )
    half.at, half.said = whole.at, dict(whole.said)
    for house in (whole, half):
        house.go(15)

    assert saved(half.state) == saved(whole.state)
    assert [a.kind for a in half.new()] == ["heater-current-gone"]


def test_replay_of_the_recorded_night_gives_the_same_alarms():
    """Power cut, open door and broken heater, played again from stored readings."""
    live = House()
    live.go(20).go(15, mains=0.0, heater=0.0)
    live.air(21.0).go(30, mains=1.0, door=1.0)
    live.air(24.0).go(30, door=0.0, heater=1.0)
    recorded = [reading for batch in live.heard for reading in batch.readings]

    _, records = play(
        begin(made=_house()),
        events_of(recorded, begin=T0 - MIN, end=live.at),
    )

    def told_of(made):
        return [
            (r.at, r.alarm.key, r.event)
            for r in made
            if isinstance(r, AlarmChanged) and r.event != "told"
        ]

    assert told_of(records) == told_of(live.records)
    kinds = {kind for _, (_, kind, _), _ in told_of(records)}
    assert kinds == {"mains-gone", "door-open", "heater-current-gone"}
