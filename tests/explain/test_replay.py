"""``replay``: a recorded day once more, under the same and under other rules."""

import json
import shutil
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from monitor.alarms.registry import LISTENING
from monitor.explain.comparing import occurrences
from monitor.explain.past import past
from monitor.explain.replaying import heard_until, replay
from monitor.heart.drive import events_of, play
from monitor.heart.events import AlarmChanged, NoticeWanted, Reading, Tick
from monitor.heart.state import State
from monitor.site.load import load
from monitor.store.reader import Reader
from monitor.store.writer import Writer
from tests.explain.day import HOUR, MIN
from tests.heart.house import JOURNAL, T0, begin
from tests.recorder.support import configuration

DAY = timedelta(days=1)
WHOLE = ("--from", "2026-03-02T12:00:00Z", "--to", "2026-03-03T06:00:00Z")


def replayed(command, *more):
    got = command("replay", *WHOLE, "--json", *more)
    assert (got.code, got.err) == (0, "")
    return json.loads(got.out)


def marks(told):
    return [(a["mark"], a["thing"], a["kind"]) for a in told["alarms"]]


def apart(one):
    """How far the two sides of an alarm lie apart."""
    then, now = (
        [datetime.fromisoformat(one[side][k]) for k in ("raised_at", "over_at")]
        for side in ("then", "now")
    )
    return max(abs(a - b) for a, b in zip(then, now, strict=True))


def test_a_recorded_day_gives_the_same_alarms(day, command):
    """Bands, silence, the broker, a refused mail: each came and comes again."""
    told = replayed(command)

    assert marks(told) == [
        ("same", "warm-room-a", "outside-tolerated"),
        ("same", "shelf-c-air", "silent"),
        ("same", "system", "broker-gone"),
        ("same", "system", "mail-failing"),
    ]
    assert (told["same"], told["only_then"], told["only_now"]) == (4, 0, 0)
    # within the length of a cycle of the recorder that was recorded
    assert max(apart(one) for one in told["alarms"][:3]) <= timedelta(seconds=100)


def test_a_sensor_that_was_silent_all_the_time_is_passed_over(tmp_path):
    """One series has no reading in the time: it is played without it."""
    now = T0 + timedelta(days=30)
    with Writer.open(tmp_path, now=now) as writer, writer.transaction():
        old = Reading("gone", "air_temperature", T0, 20.0)
        new = Reading("a-air", "air_temperature", now - HOUR, 20.0)
        writer.add_readings([old, new], now=now)

    found = past(Reader.open(tmp_path), now - 2 * HOUR, now)
    nothing = past(Reader.open(tmp_path), now - 12 * DAY, now - 11 * DAY)

    assert [r.sensor for r in found.readings()] == ["a-air"]
    assert list(nothing.readings()) == []


def test_answers_that_were_given_count_again(day, command):
    """Nobody is told after Ines has answered, then or now."""
    [cold, *_] = replayed(command)["alarms"]
    now, then = (
        [(n["keeper"], n["why"]) for n in cold[side]["notices"]]
        for side in ("now", "then")
    )

    assert now == then
    assert now[:4] == [
        ("ines", "raised"),
        ("tom", "escalated"),
        ("ada", "escalated"),
        ("ines", "over"),
    ]


def test_nothing_is_written(day, command):
    """Alarms, notices and journal are what they were."""

    def held():
        reader = Reader.open(day.state)
        return (reader.alarms(), reader.notices(), reader.entries(), reader.states())

    before = held()
    replayed(command)

    assert held() == before


@pytest.fixture
def narrow(day, tmp_path):
    """A trial of a narrower band for pupae, in a directory of its own."""
    files = tmp_path / "narrow"
    shutil.copytree(day.files, files)
    (files / "species").mkdir()
    species = "species/dynastes-hercules.toml"
    text = load(day.files).text[species]
    text = text.replace("[23.0, 26.0]", "[23.4, 23.6]").replace(
        "[20.0, 28.0]", "[23.2, 23.8]"
    )
    (files / species).write_text(text, encoding="utf-8")
    return files


def test_a_narrower_band_gives_more(day, narrow, command):
    """Already too warm at noon and again in the evening, and the cold came sooner."""
    told = replayed(command, "--config", str(narrow))
    cold = [a for a in told["alarms"] if a["thing"] == "warm-room-a"]

    assert told["configuration"] == load(narrow).hash
    assert [a["mark"] for a in cold].count("same") == 1
    assert told["only_now"] > 0
    assert {a["kind"] for a in cold} == {"outside-tolerated"}
    assert [a["now"]["limit"] for a in cold if a["mark"] == "only now"][-1] == 23.8
    assert told["only_then"] == 0


def test_a_wider_band_gives_fewer(day, tmp_path, command):
    """What would not have come is marked as having come only then."""
    files = tmp_path / "wide"
    shutil.copytree(day.files, files)
    (files / "species").mkdir()
    species = "species/dynastes-hercules.toml"
    text = load(day.files).text[species].replace("[20.0, 28.0]", "[16.0, 28.0]")
    (files / species).write_text(text, encoding="utf-8")

    told = replayed(command, "--config", str(files))

    assert [a["thing"] for a in told["alarms"] if a["mark"] == "only then"] == [
        "warm-room-a"
    ]
    assert told["only_now"] == 0


def test_people_see_marks_times_and_what_the_store_cannot_know(day, command):
    """One heading an alarm, a sum at the end, and the limits of the method."""
    got = command("replay", *WHOLE)
    lines = got.out.splitlines()

    assert got.code == 0
    assert lines[0].startswith("Replay from Mon 02 Mar 12:00 to Tue 03 Mar 00:")
    assert (
        "SAME: PROMPT warm-room-a air 19.0 C below 20: outside what they tolerate"
        in lines
    )
    assert "  then Mon 02 Mar 13:50, over Mon 02 Mar 16:10, as alarm 1" in lines
    assert "       the same notices" in lines
    assert "4 the same, 0 only then, 0 only now." in lines
    assert "The store does not keep when a late reading arrived" in got.out


@pytest.mark.parametrize(
    ("span", "part"),
    [
        (("2026-01-01", "2026-02-06"), "longer than 35 days: replay it in parts"),
        (("2026-03-02 13:00", "2026-03-02 12:00"), "is not before"),
        (("yesterday", "2026-03-02 12:00"), "--from: 'yesterday' is no time"),
        (("2026-03-02 12:00", "soon"), "--to: 'soon' is no time"),
    ],
)
def test_a_time_that_cannot_be_replayed_is_one_line(day, command, span, part):
    """Exit 2 with the mend."""
    got = command("replay", "--from", span[0], "--to", span[1])

    assert (got.code, got.out) == (2, "")
    assert part in got.err


def test_without_a_store_it_ends_with_69(day, tmp_path, monkeypatch, command):
    """As every command that reads."""
    monkeypatch.setenv("REARING_STATE", str(tmp_path))

    assert command("replay", *WHOLE).code == 69


def test_a_part_of_the_day_shows_what_stood_then(day):
    """From 15:00 on: the cold stood already, and the warm-up knows it."""
    got = past(Reader.open(day.state), T0 + 3 * HOUR, T0 + 3.5 * HOUR)
    made = replay(
        load(day.files),
        got.entries,
        got.readings(),
        got.words,
        begin=got.begin,
        end=got.end,
    )

    stood = [o for c in made.changes for o in occurrences(c)]
    assert [(o.alarm.thing, o.over_at) for o in stood] == [("warm-room-a", None)]
    assert stood[0].at < got.start


# Ticks that do nothing are left out


def restless(seed, hours=40):
    """All probes wander and are at times not heard: limits and alarms all the time."""
    random = np.random.default_rng(seed)
    made = []
    for sensor, quantity in begin().plan.sensors:
        at, value = T0, 24.0
        while at < T0 + hours * HOUR:
            gap = 1800 if random.random() < 0.01 else random.uniform(30, 600)
            at += timedelta(seconds=round(gap, 3))
            value += float(random.normal(0, 1.2)) + (24.0 - value) * 0.1
            made.append(Reading(sensor, quantity, at, round(value, 2)))
    return sorted(made, key=lambda r: r.time)


def calm(seed, hours=40):
    """All is well but for a short cold, too short to tell, and one probe at the end."""
    random = np.random.default_rng(seed)
    made = []
    for sensor, quantity in begin().plan.sensors:
        stops = hours - 8 if sensor == "shelf-b-air" else hours
        at = T0
        while at < T0 + stops * HOUR:
            at += timedelta(seconds=round(random.uniform(200, 400), 3))
            cold = sensor == "shelf-a-air" and 20 <= (at - T0) / HOUR <= 20.25
            made.append(Reading(sensor, quantity, at, 15.0 if cold else 24.0))
    return sorted(made, key=lambda r: r.time)


def both(readings, directory):
    """A replay, and a drive through every single tick, of 40 h."""
    end = T0 + 40 * HOUR
    readings = [r for r in readings if r.time <= end]
    made = replay(configuration(directory), JOURNAL, readings, (), begin=T0, end=end)
    _, records = play(begin(), events_of(readings, begin=T0, end=end))
    return made, records


def by_alarm(records):
    """Changes of each alarm, in order of its number."""
    changes = [r for r in records if isinstance(r, AlarmChanged)]
    numbers = sorted({r.alarm.id for r in changes})
    return tuple(tuple(r for r in changes if r.alarm.id == n) for n in numbers)


@pytest.mark.parametrize("walk", [calm, restless])
@pytest.mark.parametrize("seed", range(2))
def test_leaving_out_idle_ticks_changes_nothing(walk, seed, tmp_path):
    """Every record equals that of a drive through every single tick."""
    made, records = both(walk(seed), tmp_path)

    assert made.changes
    assert made.changes == by_alarm(records)
    assert list(made.notices) == [r for r in records if isinstance(r, NoticeWanted)]


def test_most_ticks_of_a_calm_time_are_left_out(tmp_path, monkeypatch):
    """Thirty quiet hours cost hardly a tick; the last eight, of an alarm, each one."""
    ticks = []

    def counted(at):
        ticks.append(at)
        return Tick(at)

    monkeypatch.setattr("monitor.explain.replaying.Tick", counted)
    made, _ = both(calm(0), tmp_path)

    assert [changes[0].alarm.kind for changes in made.changes] == ["silent"]
    assert len([t for t in ticks if t < T0 + 32 * HOUR]) < 200
    assert len([t for t in ticks if t > T0 + 33 * HOUR]) == 7 * 360


def test_only_silence_comes_by_time_alone():
    """A new condition that ticks alone can raise must be told to `heard_until`."""
    assert [c.id for c in LISTENING] == ["silent"]


def test_where_nothing_can_be_silent_ticks_never_act():
    """As the step has it: without a beginning and a reading there is no silence."""
    never = State(begin().plan)

    assert heard_until(never) == datetime.max.replace(tzinfo=UTC)
    assert heard_until(begin()) == T0 + 3 * 5 * MIN
