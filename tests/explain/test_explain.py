"""``explain``: the chain of evidence of alarms that a real recorder raised."""

import json
import shutil

import pytest

from monitor.alarms.alarm import AlarmState
from monitor.explain.evidence import VERBS
from monitor.heart.step import MOVES
from monitor.site.load import load
from monitor.store.writer import Writer
from tests.desk.quillmere import an_alarm
from tests.explain.day import Recorded, usual
from tests.heart.house import T0

COLD, SILENT, BROKER = "1", "2", "3"


def explained(command, number):
    got = command("explain", number, "--json")
    assert (got.code, got.err) == (0, "")
    return json.loads(got.out)


def test_the_readings_that_decided_are_shown_and_no_other(day, command):
    """Last inside, first outside, the one that raised it, worst, back, ended."""
    told = explained(command, COLD)

    assert [(r["value"], r["time"][11:16], r["parts"]) for r in told["readings"]] == [
        (23.5, "13:00", ["before"]),
        (19.0, "13:30", ["first", "raised"]),
        (18.2, "14:30", ["worst"]),
        (22.0, "16:00", ["back", "ended"]),
    ]
    assert told["measured"] == 6


def test_the_band_is_shown_with_its_source_and_delays(day, command):
    """What the species file says of the stage, and where that was read."""
    told = explained(command, COLD)
    [used] = told["judged"]["limits"]
    source = load(day.files).sources["hercules-climate"]

    assert (used["who"], used["cohorts"]) == ("Dynastes hercules pupa", [1])
    assert (used["tolerated"], used["danger"]) == ([20.0, 28.0], [14.0, 32.0])
    assert used["decided"]
    assert (used["on_delay_s"], used["off_delay_s"], used["deadband"]) == (
        1200.0,
        600.0,
        0.5,
    )
    assert used["source"]["id"] == "hercules-climate"
    assert source.title in used["source"]["title"]
    assert used["source"]["where"] == source.where


def test_notices_and_answers_are_part_of_the_chain(day, command):
    """To whom, when, what became of it and why; who answered what."""
    told = explained(command, COLD)

    assert [
        (n["keeper"], n["why"], n["state"], n["attempts"], n["reason"])
        for n in told["notices"][:3]
    ] == [
        ("ines", "raised", "sent", 1, ""),
        ("tom", "escalated", "failed", 3, "550 no such mailbox"),
        ("ada", "escalated", "waiting", 0, ""),
    ]
    assert [(a["by"], a["verb"], a["note"]) for a in told["answers"]] == [
        ("ines", "acknowledge", "heater off, going")
    ]
    assert [h["event"] for h in told["happened"]] == [
        "abnormal condition",
        "acknowledge",
        "return to normal",
    ]


def test_people_read_it_in_the_time_of_the_site(day, command):
    """Every link of the chain has a heading, and no figure is lost."""
    got = command("explain", COLD)
    lines = got.out.splitlines()

    assert got.code == 0
    assert lines[0] == "Alarm 1 PROMPT: outside what they tolerate"
    headings = ["Readings", "Held against", "What happened", "Notices", "Answers"]
    assert [line for line in lines if line in headings] == headings
    assert "  Mon 02 Mar 2026 14:30:00     18.2 C  the worst" in lines
    assert "    tolerated: 20 to 28 C" in lines
    assert "    delays: outside for 20 min, back by 0.5 for 10 min" in lines
    assert any(line.startswith("    source: hercules-climate: ") for line in lines)
    assert any("tom, escalated: failed, 3 attempts (550 no" in line for line in lines)
    assert lines[-1].endswith("ines, acknowledge: heater off, going")


def test_a_silence_shows_what_was_last_heard_and_the_interval(day, command):
    """No band decided it, but three missed intervals did."""
    told = explained(command, SILENT)

    assert [r["parts"] for r in told["readings"]] == [["last heard"], ["ended"]]
    assert told["judged"]["sensor"] == {
        "interval_s": 1800.0,
        "silent_after_s": 5400.0,
        "alone": True,
        "delicate": False,
    }
    said = command("explain", SILENT).out
    assert "one reading every 30 min, silent after 90 min" in said
    assert "no other probe could stand in" in said


def test_an_alarm_of_the_system_has_no_readings(day, command):
    """It says what the monitor saw."""
    told = explained(command, BROKER)

    assert (told["readings"], told["judged"]["limits"]) == ([], [])
    said = command("explain", BROKER).out
    assert "what: connection refused" in said
    assert "nobody has answered" in said


@pytest.fixture
def changed(day, tmp_path, monkeypatch):
    """The configuration of now: another band for pupae than when the alarm came."""
    files = tmp_path / "changed"
    shutil.copytree(day.files, files)
    (files / "species").mkdir()
    species = "species/dynastes-hercules.toml"
    text = load(day.files).text[species]
    (files / species).write_text(text.replace("[20.0, 28.0]", "[15.0, 28.0]"))
    monkeypatch.setenv("REARING_CONFIG", str(files))
    return files


def test_an_alarm_is_explained_by_the_configuration_of_its_time(changed, day, command):
    """A band that was changed since does not rewrite the past."""
    told = explained(command, COLD)

    assert load(changed).hash != told["configuration"]
    assert told["library"] == "of then"
    assert told["judged"]["limits"][0]["tolerated"] == [20.0, 28.0]


def test_where_it_is_lost_the_present_one_stands_in_and_it_says_so(
    changed, tmp_path, monkeypatch, command
):
    """An alarm of an unknown configuration is told by the bands of now."""
    state = tmp_path / "other"
    state.mkdir()
    with Writer.open(state, now=T0) as writer, writer.transaction():
        writer.save_alarm(
            an_alarm(1, configuration="0ddba11"), "abnormal condition", T0
        )
    monkeypatch.setenv("REARING_STATE", str(state))

    told = explained(command, "1")
    said = command("explain", "1").out

    assert (told["library"], told["configured_at"]) == ("of now", None)
    assert "configuration 0ddba11\n" in said
    assert "cannot be read any more: bands and sources are those of now" in said


@pytest.mark.parametrize(
    ("number", "part"),
    [
        ("999", "there is no alarm 999: the newest is 4"),
        ("0", "there is no alarm 0"),
        ("cold", "'cold' is no number of an alarm"),
        ("-1", "-1"),
        ("9" * 30, "is no number of an alarm"),
    ],
)
def test_an_unknown_alarm_is_one_line(day, command, number, part):
    """Exit 2, nothing on stdout."""
    got = command("explain", number)

    assert (got.code, got.out) == (2, "")
    assert got.err.count("\n") == 1
    assert part in got.err


def test_without_a_store_it_ends_with_69(day, tmp_path, monkeypatch, command):
    """As every command that reads."""
    monkeypatch.setenv("REARING_STATE", str(tmp_path))

    assert command("explain", "1").code == 69


def test_explain_and_step_agree_on_the_verbs_of_keepers():
    """Each move that an answer can ask for is read back as that answer."""
    assert {move.value: verb for verb, move in MOVES.items()} == VERBS


def test_a_shelved_alarm_says_until_when(day, tmp_path, monkeypatch, command):
    """What stands now is told beside what happened."""
    state = tmp_path / "other"
    state.mkdir()
    with Writer.open(state, now=T0) as writer, writer.transaction():
        alarm = an_alarm(1, state=AlarmState.SHELVED, set_aside_until=T0)
        writer.save_alarm(alarm, "shelve", T0, "ines", "waiting for the fitter")
    monkeypatch.setenv("REARING_STATE", str(state))

    said = command("explain", "1").out

    assert "now: set aside until Mon 02 Mar 2026 12:00:00" in said
    assert "ines, shelve until Mon 02 Mar 2026 12:00:00: waiting for the fitter" in said


def test_a_danger_alarm_shows_that_no_delay_protected_it(
    day, tmp_path, monkeypatch, command
):
    """Beyond the danger limit the second reading is enough, and it says so."""
    files, state = day.files, tmp_path / "danger"
    state.mkdir()
    bench = Recorded(state, files)
    bench.ask("place create", ids=["tub-1"], **{"in": "warm-room-a"})
    pupae = {"species": "dynastes-hercules", "stage": "pupa", "count": "4"}
    bench.ask("cohort start", place="tub-1", **pupae)
    for value in (24.0, 13.0, 12.5):
        bench.hear(usual(shelf_a_air=value))
    [danger] = bench.alarms("danger")
    bench.close()
    monkeypatch.setenv("REARING_STATE", str(bench.path))

    told = explained(command, str(danger.id))
    said = command("explain", str(danger.id)).out

    [used] = told["judged"]["limits"]
    assert (used["decided"], used["danger"], used["on_delay_s"]) == (
        True,
        [14.0, 32.0],
        None,
    )
    assert "two readings, or one and 1.5 intervals without another, back by 0.5" in said
    assert [r["parts"] for r in told["readings"]] == [
        ["before"],
        ["first"],
        ["raised", "worst", "newest"],
    ]
