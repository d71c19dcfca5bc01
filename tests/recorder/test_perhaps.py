"""Stages that nobody sees are watched as soon as the forecast thinks of them."""

import contextlib
from datetime import timedelta
from types import SimpleNamespace

import pytest

from monitor.accounts.heat import CohortHeat
from monitor.foresight import Foresight
from tests.heart.house import JOURNAL, LIBRARY, MIN, T0, site
from tests.recorder.support import Bench

HOUR = timedelta(hours=1)


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


def heat(stage="larva"):
    """An account of the first cohort."""
    return CohortHeat(1, stage, 100.0, 100.0, None, 1.0, T0)


@pytest.fixture
def asked(monkeypatch):
    """Instants at which the forecast was asked, and what it says."""
    said = SimpleNamespace(at=[], found={1: ("pupa",)}, handed=[], now=T0)

    def forecaster(_store, _site, _library, *, now, heats):
        said.at.append((now, sorted(heats)))
        if said.found is None:
            raise RuntimeError("broken")
        return SimpleNamespace(perhaps=lambda: said.found)

    monkeypatch.setattr("monitor.foresight.forecaster", forecaster)
    reader = SimpleNamespace(snapshot=contextlib.nullcontext)
    said.foresight = Foresight(
        reader,
        lambda: (site(), LIBRARY),
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


def test_a_forecast_that_fails_ends_nothing(asked, caplog):
    """It is logged, and asked again an hour later."""
    asked.found = None
    asked.foresight.look([heat()])
    asked.now, asked.found = T0 + HOUR, {}
    asked.foresight.look([heat()])

    assert "no forecast of unseen stages" in caplog.text
    assert asked.handed == [{}]
