"""Stages that nobody sees are watched as soon as the forecast thinks of them."""

import contextlib
from datetime import timedelta
from types import SimpleNamespace

import pytest

from monitor.accounts.heat import CohortHeat
from monitor.accounts.known import Known
from monitor.alarms.perhaps import PerhapsSince
from monitor.errors import StoreFullError
from monitor.foresight import Foresight
from monitor.testing import FakeClock
from tests.heart.house import JOURNAL, MIN, T0
from tests.recorder.support import Bench

HOUR = timedelta(hours=1)
KEY = ("beetle", "larva", "any")


@pytest.fixture
def bench(tmp_path):
    """The small house; its larva tolerates 18 degC, a pupa only 20."""
    made = Bench(tmp_path)
    with made.writer.transaction():
        made.writer.add_entries(JOURNAL)
    made.close()
    made.open()
    yield made
    made.close()


def cool(bench):
    """Half an hour at 19 degC on the shelf of the larva."""
    for _ in range(7):
        bench.cycle("19.0", after=5 * MIN)


def test_the_bands_of_a_stage_that_may_be_here_are_watched(bench):
    """A larva that may be a pupa by now is at risk at 19 degC; before, it was not."""
    cool(bench)
    assert bench.alarms("outside-tolerated") == []
    bench.recorder.take_perhaps({1: ("pupa",)})
    cool(bench)

    [alarm] = bench.alarms("outside-tolerated")
    assert [(d.cohort, d.stage, d.perhaps) for d in alarm.at_risk] == [
        (1, "larva", ("pupa",))
    ]


def test_what_is_no_longer_thought_of_is_no_longer_watched(bench):
    """When the forecast takes it back the alarm of that stage ends."""
    bench.recorder.take_perhaps({1: ("pupa",)})
    cool(bench)
    bench.recorder.take_perhaps({})
    bench.cycle("19.0", after=5 * MIN)

    assert not any(a.active for a in bench.alarms("outside-tolerated"))


def taken(bench):
    """What the store has of it: minutes since T0, cohort, stages."""
    rows = bench.writer.reader().perhaps()
    return [((row.at - T0) / MIN, row.cohort, row.stages) for row in rows]


def test_what_is_taken_up_is_recorded_when_it_is(bench):
    """Each change once, with its instant; the same again is no change."""
    pupa, both = {1: ("pupa",)}, {1: ("pupa",), 2: ("adult",)}
    for stages in (pupa, dict(pupa), both, {2: ("adult",)}):
        bench.recorder.take_perhaps(stages)
        bench.cycle(after=MIN)

    assert taken(bench) == [
        (1, 1, ("pupa",)),
        (3, 2, ("adult",)),
        (4, 1, ()),
    ]


def test_a_restart_begins_with_what_was_taken_up_last(bench):
    """At 3 a.m. nobody waits for a forecast: the pupa's bands are watched at once."""
    bench.recorder.take_perhaps({1: ("pupa",)})
    bench.cycle("24.0", after=5 * MIN)
    bench.close()
    bench.open()

    assert bench.recorder.living.perhaps == {1: ("pupa",)}
    cool(bench)
    [alarm] = bench.alarms("outside-tolerated")
    assert [d.perhaps for d in alarm.at_risk] == [("pupa",)]
    bench.recorder.take_perhaps({1: ("pupa",)})
    bench.cycle(after=MIN)
    assert len(taken(bench)) == 1


def test_s8_a_restart_under_a_wrong_clock_begins_with_it_too(bench):
    """A machine without a battery starts in the past: what was taken last holds."""
    bench.recorder.take_perhaps({1: ("pupa",)})
    bench.cycle(after=5 * MIN)
    bench.close()
    bench.clock = FakeClock(T0 - 24 * HOUR)
    bench.open()
    assert bench.recorder.living.perhaps == {1: ("pupa",)}
    bench.recorder.take_perhaps({})
    bench.cycle()
    bench.close()
    bench.clock.advance(48 * HOUR)
    bench.open()

    assert bench.recorder.living.perhaps == {}


def test_what_was_played_at_a_start_is_judged_by_it_too(bench):
    """Readings after the last saved state meet the bands that held then."""
    bench.recorder.take_perhaps({1: ("pupa",)})
    cool(bench)
    [before] = bench.alarms("outside-tolerated")
    bench.close()
    bench.open()

    [after] = bench.alarms("outside-tolerated")
    assert (after.id, after.active, after.at_risk) == (before.id, True, before.at_risk)


def test_a_store_that_cannot_write_gets_it_later(bench, monkeypatch):
    """The bands are watched meanwhile, and the instant stays that of the taking."""

    def full(_batch):
        raise StoreFullError("full")

    with monkeypatch.context() as patched:
        patched.setattr(bench.recorder._ledger, "_write", full)
        bench.recorder.take_perhaps({1: ("pupa",)})
        bench.cycle(after=MIN)
        assert bench.recorder.living.perhaps == {1: ("pupa",)}
    assert taken(bench) == []
    bench.cycle("24.0", after=5 * MIN)

    assert taken(bench) == [(1, 1, ("pupa",))]


def test_a_stage_that_the_species_no_longer_has_ends_nothing(bench):
    """Recorded of another file: the start passes it over, and watches what is left."""
    with bench.writer.transaction():
        bench.writer.take_perhaps(PerhapsSince(T0, 1, ("chrysalis", "pupa")))
        bench.writer.take_perhaps(PerhapsSince(T0, 77, ("pupa",)))
    bench.close()
    bench.open()
    cool(bench)

    [alarm] = bench.alarms("outside-tolerated")
    assert [(d.cohort, d.perhaps) for d in alarm.at_risk] == [(1, ("pupa",))]


def heat(stage="larva"):
    """An account of the first cohort."""
    return CohortHeat(1, stage, 100.0, 100.0, None, 1.0, T0)


@pytest.fixture
def asked(monkeypatch):
    """Instants at which the forecast was asked, and what it says."""
    said = SimpleNamespace(at=[], found={1: ("pupa",)}, handed=[], now=T0)
    said.declared, said.learned_at = object(), []

    def known(_store, declared, houses, *, now, beat):
        beat()
        said.learned_at.append((now, declared, houses))
        return Known({KEY: "learned here"})

    def forecaster(_store, _declared, *, now, heats, learned):
        assert learned == {KEY: "learned here"}
        said.at.append((now, sorted(heats)))
        if said.found is None:
            raise RuntimeError("broken")
        return SimpleNamespace(perhaps=lambda _beat: said.found)

    monkeypatch.setattr("monitor.foresight.forecaster", forecaster)
    monkeypatch.setattr("monitor.foresight.known", known)
    reader = SimpleNamespace(snapshot=contextlib.nullcontext)
    said.foresight = Foresight(
        reader,
        lambda: said.declared,
        houses=lambda: ["another house"],
        now=lambda: said.now,
        hand_over=said.handed.append,
    )
    return said


def test_the_forecast_is_asked_once_an_hour_and_when_a_stage_changed(asked):
    """Not at every round: at the start, after an hour, after an advance."""
    for minutes, stage in ((0, "larva"), (20, "larva"), (40, "pupa"), (105, "pupa")):
        asked.now = T0 + minutes * MIN
        asked.foresight.look([heat(stage)])

    assert [now - T0 for now, _ in asked.at] == [0 * MIN, 40 * MIN, 105 * MIN]
    assert asked.handed == [{1: ("pupa",)}] * 3


def test_a_clock_that_was_ahead_does_not_silence_the_forecast(asked):
    """A first look in another year, then the clock is set right: it is asked again."""
    asked.now = T0 + timedelta(days=4000)
    asked.foresight.look([heat()])
    asked.now = T0
    asked.foresight.look([heat()])

    assert [now for now, _ in asked.at] == [T0 + timedelta(days=4000), T0]
    assert [now for now, *_ in asked.learned_at] == [now for now, _ in asked.at]


def test_what_was_learned_is_asked_once_a_day_and_of_new_files(asked):
    """It asks for every reading that there ever was; the forecast always has it."""
    first, second = asked.declared, object()
    for hours, declared in ((0, first), (2, first), (23, first), (24, first)):
        asked.now, asked.declared = T0 + hours * HOUR, declared
        asked.foresight.look([heat()])
    asked.now, asked.declared = T0 + 26 * HOUR, second
    asked.foresight.look([heat()])

    assert [(now - T0) / HOUR for now, _, _ in asked.learned_at] == [0, 24, 26]
    assert [of for _, of, _ in asked.learned_at] == [first, first, second]
    assert asked.learned_at[0][2] == ["another house"]


def test_a_forecast_that_fails_ends_nothing(asked, caplog):
    """It is logged, and asked again an hour later."""
    asked.found = None
    asked.foresight.look([heat()])
    asked.now, asked.found = T0 + HOUR, {}
    asked.foresight.look([heat()])

    assert "no forecast of unseen stages" in caplog.text
    assert asked.handed == [{}]
