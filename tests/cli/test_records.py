"""The record commands against a real socket, and without a daemon."""

import json
import shlex
from datetime import timedelta

import pytest

from monitor.cli.table import WIDTH
from monitor.site.words import Priority, Quantity
from tests.desk.quillmere import HOUR, MINUTE, an_alarm

START = shlex.split(
    "cohort start --species lowland-scarab --stage L1 --count 12 --place tub-1"
)


def test_a_start_prints_its_id_for_programs(quillmere, command):
    """The contract: `cohort start --json` gives an id."""
    got = command(*START, "--json")

    assert (got.code, got.err) == (0, "")
    assert json.loads(got.out)["id"] == 1


def test_a_life_in_commands(quillmere, command):
    """Each change is told in words with its instant, and stands in the journal."""
    lines = """
        place create tub-3 --in shelf-b --name 'heated'
        cohort start --species lowland-scarab --stage egg --count ~40 --place tub-1 \
            --at '2026-02-20 10:00'
        cohort advance 1 --stage L1 --last-seen '2026-02-24 10:00' \
            --at '2026-02-26 10:00' --by ines --note found
        cohort count 1 38+
        cohort move 1 --to tub-2
        sensor move spare --to tub-2
        reading add --place tub-2 --quantity air_temperature --minimum 18 \
            --maximum 31 --by tadhg
        place move tub-1 --to shelf-b
        place scrap tub-1
        cohort end 1 --reason 'given away'
    """
    argvs = [
        shlex.split(line)
        for line in lines.replace(
            "\
",
            "",
        ).splitlines()
    ]

    codes = [command(*argv).code for argv in argvs if argv]

    assert codes == [0] * 10
    kinds = [type(e.fact).__name__ for e in quillmere.entries[2:]]
    assert kinds == [
        "PlaceCreated",
        "CohortStarted",
        "CohortAdvanced",
        "CohortCounted",
        "CohortMoved",
        "ProbeMoved",
        "HandReading",
        "PlaceMoved",
        "PlaceScrapped",
        "CohortEnded",
    ]
    assert quillmere.entries[4].by == "ines"


def test_a_change_says_what_was_done_and_when(quillmere, command):
    """Site time and UTC, so that nobody doubts which."""
    got = command(*START, "--at", "2026-02-28 14:00")

    assert got.out == (
        "Cohort 1: 12 Exemplum calidum, L1, in tub-1 since 2026-02-28 14:00"
        " (2026-02-28 14:00:00 UTC).\n"
    )


def test_warnings_stand_on_stderr(quillmere, command):
    """Stdout stays for the answer."""
    command(*START)

    got = command(
        *shlex.split("cohort start --species montane-scarab --stage L1 --count 3"),
        *shlex.split("--place tub-1 --anyway"),
    )

    assert got.code == 0
    assert got.err.startswith("Warning: no common tolerated air temperature at tub-1")


@pytest.mark.parametrize(
    ("argv", "code", "part"),
    [
        (
            "cohort start --species x --stage L1 --count 1 --place tub-1",
            2,
            "no species",
        ),
        ("cohort start --species lowland-scarab", 2, "required"),
        ("cohort advance 9", 2, "no cohort '9'"),
        ("place create tub-1 --in shelf-a", 1, "exists already"),
        ("place scrap shelf-a", 1, "site.toml"),
        ("alarms acknowledge 12", 2, "--by"),
        ("alarms acknowledge 12 --by nobody", 2, "no keeper 'nobody'"),
        ("alarms shelve 13 --by ines", 1, "never mutes the danger limit"),
        ("alarms out-of-service 12 --by ines", 2, "--note"),
        ("reading add --place tub-1 --quantity air_temperature", 2, "--value"),
        ("sensor move spare --to moon", 2, "no place 'moon'"),
        ("now --frobnicate", 2, "unrecognized"),
    ],
)
def test_a_mistake_is_one_line_on_stderr(quillmere, command, argv, code, part):
    """Exit code by the contract; stdout stays empty."""
    quillmere.alarms = (
        an_alarm(12),
        an_alarm(13, kind="danger", priority=Priority.URGENT),
    )

    got = command(*argv.split())

    assert (got.code, got.out) == (code, "")
    assert part in got.err
    assert got.err.count("\n") == 1


CHANGES = [
    "place create tub-9 --in shelf-a",
    "place move tub-1 --to shelf-b",
    "place scrap tub-1",
    "place survey tub-1 --offset 0.8 --spread 0.4",
    " ".join(START),
    "cohort move 1 --to tub-2",
    "cohort advance 1",
    "cohort count 1 5",
    "cohort end 1 --reason x",
    "reading add --place tub-1 --quantity air_temperature --value 20",
    "sensor move spare --to tub-1",
    "alarms acknowledge 1 --by ines",
    "alarms shelve 1 --by ines",
    "alarms unshelve 1 --by ines",
    "alarms out-of-service 1 --by ines --note x",
    "alarms return 1 --by ines",
]
LOOKS = ["now", "alarms list", "place list", "cohort list", "sensor list"]


@pytest.mark.parametrize("argv", [*CHANGES, *LOOKS, "export readings"])
def test_without_daemon_and_store_each_ends_with_69(command, argv):
    """One line on stderr, nothing on stdout."""
    got = command(*argv.split())

    assert (got.code, got.out) == (69, "")
    assert got.err.count("\n") == 1


@pytest.mark.parametrize("argv", CHANGES)
def test_nothing_is_changed_without_the_daemon(command, argv, tmp_path, monkeypatch):
    """Although the store is there: only the daemon writes."""
    monkeypatch.setenv("REARING_SOCKET", str(tmp_path / "control.sock"))
    monkeypatch.setenv("REARING_STATE", str(tmp_path))

    got = command(*argv.split())

    assert (got.code, got.out) == (69, "")
    assert "the daemon is not running, or not reachable at" in got.err


@pytest.mark.parametrize("argv", LOOKS)
def test_a_look_prints_one_json_object(quillmere, command, argv):
    """Programs read it whole."""
    got = command(*argv.split(), "--json")

    assert (got.code, got.err) == (0, "")
    assert json.loads(got.out)["daemon"]["state"] == "running"


def test_alarms_are_listed_worst_first(quillmere, command):
    """In lines that fit a telephone."""
    quillmere.alarms = (
        an_alarm(12, detail="x" * 90),
        an_alarm(13, kind="danger", priority=Priority.URGENT),
    )

    lines = command("alarms", "list").out.splitlines()

    assert lines[0].startswith("  13 URGENT shelf-a air 31.2 C")
    assert "12 PROMPT" in lines[3]
    assert [line for line in lines if len(line) > WIDTH] == []


def test_answers_reach_the_step(quillmere, command):
    """The verb, the keeper and the time limit are those of the command line."""
    quillmere.alarms = (an_alarm(12),)

    got = command(*shlex.split("alarms shelve 12 --by ines --for '30 min' --json"))

    told = json.loads(got.out)
    assert (told["verb"], told["by"]) == ("shelve", "ines")
    assert told["until"] == "2026-03-01T13:30:00Z"


def test_now_reads_well_at_three_in_the_morning(quillmere, command):
    """How the daemon is, what stands, then the house: the worst shelf first."""
    command(*START)
    quillmere.heard("a-air", Quantity.AIR_TEMPERATURE, 24.26, 2 * MINUTE)
    quillmere.heard("b-air", Quantity.AIR_TEMPERATURE, 21.0, timedelta(seconds=40))
    quillmere.alarms = (an_alarm(12, thing="shelf-b", sensor="b-air", at_risk=()),)

    lines = command("now").out.splitlines()

    assert lines[0] == "Quillmere Insectarium, Sun 01 Mar 13:00"
    assert lines[1] == "The daemon is running."
    assert lines[2:4] == [
        "2 messages were no readings.",
        "1 alarm stands, none urgent:",
    ]
    text = "\n".join(lines)
    assert text.index(" shelf-b [alarm 12]") < text.index(" shelf-a\n")
    assert "LOW    air           21.0 C  26 to 35         40 s ago" in text
    assert "ok     air           24.3 C  20 to 29         2 min ago" in text
    assert "  2 tubs, 1 cohort:\n    Exemplum calidum L1" in text
    assert [line for line in lines if len(line) > WIDTH] == []


def test_now_never_calls_an_old_value_good(quillmere, command):
    """Old stands where ok would."""
    quillmere.heard("b-air", Quantity.AIR_TEMPERATURE, 30.0, HOUR)

    text = command("now").out

    assert "OLD    air           30.0 C  26 to 35         60 min ago" in text
    assert "NONE   humidity  no reading" in text
