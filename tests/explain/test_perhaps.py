"""Stages that may be there unseen: replayed and explained as they were thought of."""

import json
from datetime import timedelta
from types import SimpleNamespace

import msgspec
import pytest

from monitor.explain.past import past, what_if
from monitor.explain.replaying import replay
from monitor.heart.events import NoticeWanted
from monitor.site.load import load
from monitor.store.reader import Reader
from monitor.testing import FakeClock
from tests.explain.day import HOUR, MIN, Recorded, usual
from tests.heart.house import T0
from tests.life.house import write_site

WHOLE = ("--from", "2026-03-02T12:00:00Z", "--to", "2026-03-03T12:00:00Z")
COOL = 19.5
"""Right for larvae, not for prepupae and pupae."""


def live(bench):
    """
    Larvae at 19.5 degC, at first seen as such alone, and two restarts.

    From 13:50 on they may be prepupae, from 16:50 on no longer, from 18:20 on again;
    shelf A is cool all the time and silent from 20:20 on.
    """
    assert bench.ask("place create", ids=["tub-1"], **{"in": "warm-room-a"}).ok
    started = bench.ask(
        "cohort start",
        species="dynastes-hercules",
        stage="L3",
        count="4",
        place="tub-1",
    )
    assert started.ok, started.error

    def think(**stages):
        # not on a whole 10 s, as life has it
        bench.clock.advance(timedelta(seconds=3.7))
        bench.recorder.take_perhaps({int(k[1:]): v for k, v in stages.items()})
        bench.cycle()

    def cool(times):
        for _ in range(times):
            bench.hear(usual(shelf_a_air=COOL))

    def restart():
        bench.recorder.finish()
        bench.close()
        bench.open()

    cool(3)
    bench.hear({}, after=20 * MIN)
    think(c1=("prepupa",))
    cool(3)
    restart()
    cool(3)
    think()
    cool(3)
    think(c1=("prepupa", "pupa"))
    restart()
    cool(4)
    for _ in range(5):
        bench.hear(usual(shelf_a_air=None))
    return bench


@pytest.fixture(scope="module")
def history(tmp_path_factory):
    """The recorded day: state directory, configuration, the end. Read only."""
    tmp_path = tmp_path_factory.mktemp("unseen")
    files = tmp_path / "config"
    files.mkdir()
    bench = live(Recorded(tmp_path, write_site(files)))
    bench.recorder.finish()
    bench.close()
    return SimpleNamespace(state=bench.path, files=files, end=bench.clock.now())


@pytest.fixture
def unseen(history, monkeypatch):
    """The recorded day as the commands find it, at its end."""
    monkeypatch.setenv("REARING_STATE", str(history.state))
    monkeypatch.setenv("REARING_CONFIG", str(history.files))
    monkeypatch.setattr(
        "monitor.cli.replay_command.clock_from_environment",
        lambda: FakeClock(history.end),
    )
    return history


def test_a_live_history_replays_to_the_same_alarms(unseen, command):
    """Cool for prepupae alone, twice, at the instants of then; restarts do nothing."""
    told = json.loads(command("replay", *WHOLE, "--json").out)
    bands = [a for a in told["alarms"] if a["kind"] == "outside-tolerated"]

    assert (told["only_then"], told["only_now"]) == (0, 0)
    assert [a["mark"] for a in bands] == ["same", "same"]
    for one in bands:
        for name in ("raised_at", "over_at"):
            then, now = (one[side][name] for side in ("then", "now"))
            assert (then is None) == (now is None)
        then, now = (
            msgspec.convert(one[side]["raised_at"], type(T0))
            for side in ("then", "now")
        )
        # within the length of a cycle of the recorder that was recorded
        assert abs(then - now) <= timedelta(seconds=100)
        assert [n["why"] for n in one["then"]["notices"]] == [
            n["why"] for n in one["now"]["notices"]
        ]
    assert all(a["now"]["limit"] == 20.0 for a in bands)
    assert bands[0]["now"]["raised_at"] > "2026-03-02T13:50"


def test_it_is_what_was_recorded_that_brings_them(unseen):
    """Without it larvae alone live there, and none of these alarms comes."""
    then = past(Reader.open(unseen.state), T0, unseen.end)
    blind = msgspec.structs.replace(then, taken=())
    made = what_if(blind, load(unseen.files))

    lost = [c for c in made.compared if c.mark == "only then"]
    assert [c.then.alarm.kind for c in lost] == ["outside-tolerated"] * 2
    assert (then.perhaps, blind.perhaps) == (True, False)


def test_a_replay_that_begins_later_knows_what_was_thought_of(unseen):
    """It is in the plan from the first instant on, as after a restart."""
    store = Reader.open(unseen.state)
    begin = T0 + 2.5 * HOUR
    then = past(store, begin, T0 + 4 * HOUR)
    readings = [r for r in then.readings() if r.time > begin]
    made = replay(
        load(unseen.files),
        then.entries,
        readings,
        (),
        begin=begin,
        end=T0 + 4 * HOUR,
        taken=then.taken,
    )

    [[raised, *_]] = made.changes
    assert [d.perhaps for d in raised.alarm.at_risk] == [("prepupa",)]
    assert isinstance(made.notices[0], NoticeWanted)


def test_another_configuration_is_held_against_the_same_thoughts(
    unseen, command, tmp_path
):
    """What-if: a trial with wider bands for prepupae; the text says what holds."""
    files = tmp_path / "wide"
    (files / "species").mkdir(parents=True)
    (files / "site.toml").write_text((unseen.files / "site.toml").read_text())
    name = "species/dynastes-hercules.toml"
    text = load(unseen.files).text[name].replace("[20.0, 28.0]", "[19.0, 28.0]")
    (files / name).write_text(text, encoding="utf-8")

    got = command("replay", *WHOLE, "--config", str(files))

    assert got.code == 0
    assert "Stages that cohorts were then taken to be perhaps in" in got.out
    assert got.out.count("ONLY THEN") == 2


def test_a_stage_that_the_trial_does_not_have_is_passed_over(unseen, command, tmp_path):
    """A species file without prepupae: no crash, and no band of theirs."""
    files = tmp_path / "other"
    (files / "species").mkdir(parents=True)
    (files / "site.toml").write_text((unseen.files / "site.toml").read_text())
    name = "species/dynastes-hercules.toml"
    text = load(unseen.files).text[name]
    text = text.replace('"prepupa"', '"wanderer"').replace('"pupa"', '"chrysalis"')
    (files / name).write_text(text, encoding="utf-8")

    got = command("replay", *WHOLE, "--config", str(files))

    assert got.code == 0, got.err
    assert got.out.count("ONLY THEN: PROMPT warm-room-a") >= 2


def test_where_nothing_was_thought_of_nothing_is_said(day, command):
    """The other recorded day has no such stage."""
    assert "perhaps" not in command("replay", *WHOLE).out


def number(unseen, kind):
    """The newest alarm of a kind of shelf A."""
    alarms = Reader.open(unseen.state).alarms()
    found = [a for a in alarms if a.kind == kind and "shelf-a" in (a.sensor or a.thing)]
    return str((found or [a for a in alarms if a.kind == kind])[-1].id)


def test_the_band_that_decided_is_said_to_be_that_of_the_unseen_stage(unseen, command):
    """Larvae's band stands beside it, and did not decide."""
    got = command("explain", number(unseen, "outside-tolerated"))

    assert got.code == 0, got.err
    assert (
        "decided: Dynastes hercules L3, perhaps already prepupa (cohort 1)" in got.out
    )
    assert "also: Dynastes hercules L3 (cohort 1), by " in got.out


def test_a_silence_is_explained_by_who_was_thought_to_depend_on_it(unseen, command):
    """Pupae may have been there: that made it more pressing."""
    got = command("explain", number(unseen, "silent"))

    assert got.code == 0, got.err
    assert "eggs or pupae depended on it" in got.out
