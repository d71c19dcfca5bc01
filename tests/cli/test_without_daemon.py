"""What can still be read when nothing runs, and that it says so."""

import csv
import io
import json
from datetime import UTC, datetime, timedelta

import pytest

from monitor.desk.said import iso
from monitor.heart.events import Reading
from monitor.store.writer import Writer
from tests.desk.quillmere import NOW, Quillmere, an_alarm

VALUES = (24.1, 0.1 + 0.2, -7.0, 1e-9)


@pytest.fixture
def store(tmp_path, monkeypatch, configured):
    """A store that a daemon left three hours ago, and no daemon."""
    house = Quillmere()
    house.do("place create", ids=["tub-1"], in_="shelf-a", at="2026-02-01 09:00")
    house.do(
        "cohort start", species="lowland-scarab", stage="L1", count="12", place="tub-1"
    )
    state = tmp_path / "state"
    state.mkdir()
    with Writer.open(state, now=NOW) as writer, writer.transaction():
        writer.add_entries(house.entries)
        writer.add_readings(
            [
                Reading("a-air", "air_temperature", NOW + n * timedelta(minutes=5), v)
                for n, v in enumerate(VALUES)
            ],
            now=NOW + timedelta(hours=1),
        )
        writer.add_readings(
            [Reading("room-humidity", "relative_humidity", NOW, 61.5)], now=NOW
        )
        writer.save_alarm(an_alarm(1), "raised", NOW)
        writer.save_alarm(an_alarm(2, closed_at=NOW), "over", NOW)
    monkeypatch.setenv("REARING_STATE", str(state))
    monkeypatch.setenv("REARING_SOCKET", str(tmp_path / "control.sock"))
    late = NOW + timedelta(hours=3, minutes=15)
    monkeypatch.setattr(
        "monitor.cli.ask.clock_from_environment", lambda: Standing(late)
    )
    return state


class Standing:
    """A clock that stands still."""

    def __init__(self, at):
        self._at = at

    def now(self):
        """The instant."""
        return self._at


def test_stale_state_is_never_shown_as_fresh(store, command):
    """The first lines say that nobody answers, and how old the newest reading is."""
    lines = command("now").out.splitlines()

    assert lines[1] == "NO DAEMON ANSWERS: perhaps nobody watches."
    assert lines[2] == "  newest reading 3 h ago (13:15)"
    assert "OLD    air" in "\n".join(lines)


def test_programs_are_told_too(store, command):
    """State "not running", why, and no reading that passes."""
    told = json.loads(command("now", "--json").out)

    assert told["daemon"]["state"] == "not running"
    assert "the daemon is not running, or not reachable" in told["daemon"]["why"]
    flags = [r["flag"] for p in told["places"] for r in p["readings"]]
    assert set(flags) == {9}


@pytest.mark.parametrize(
    ("argv", "part"),
    [
        ("alarms list", "1 PROMPT shelf-a air"),
        ("place list", "tub-1"),
        ("cohort list", "Exemplum calidum"),
        ("sensor list", "a-air"),
    ],
)
def test_lists_come_from_the_store(store, command, argv, part):
    """Each begins with the line that nobody answers."""
    got = command(*argv.split())

    assert got.code == 0
    assert got.out.startswith("NO DAEMON ANSWERS")
    assert part in got.out


def test_all_alarms_hold_those_that_are_over(store, command):
    """The store keeps them."""
    short = json.loads(command("alarms", "list", "--json").out)
    whole = json.loads(command("alarms", "list", "--all", "--json").out)

    assert [a["id"] for a in short["alarms"]] == [1]
    assert sorted(a["id"] for a in whole["alarms"]) == [1, 2]


def test_a_directory_without_a_store_is_69(tmp_path, monkeypatch, command):
    """Nothing is made there."""
    monkeypatch.setenv("REARING_STATE", str(tmp_path))

    got = command("now")

    assert (got.code, got.out) == (69, "")
    assert list(tmp_path.iterdir()) == []


def exported(command, *more):
    got = command("export", "readings", *more)
    assert (got.code, got.err) == (0, "")
    return list(csv.DictReader(io.StringIO(got.out)))


def test_an_export_reads_back_to_the_last_bit(store, command):
    """The contract's columns; instants in UTC with Z; values round-trip."""
    rows = exported(command, "--sensor", "a-air")

    assert list(rows[0]) == ["sensor", "quantity", "time", "value", "flag"]
    assert [float(r["value"]) for r in rows] == list(VALUES)
    assert [r["time"] for r in rows[:2]] == [
        "2026-03-01T13:00:00Z",
        "2026-03-01T13:05:00Z",
    ]
    assert {r["flag"] for r in rows} == {"1"}
    assert datetime.fromisoformat(rows[0]["time"]) == datetime(
        2026, 3, 1, 13, tzinfo=UTC
    )


def test_an_export_tells_what_the_checks_say(store, command):
    """A failure value between honest readings fails, and so does none around it."""
    begin = NOW - timedelta(days=2)
    values = (20.1, 20.2, 85.0, 20.2, 20.1)
    with Writer.open(store, now=NOW) as writer, writer.transaction():
        readings = [
            Reading("b-air", "air_temperature", begin + n * timedelta(minutes=5), v)
            for n, v in enumerate(values)
        ]
        writer.add_readings(readings, now=NOW)

    whole = exported(command, "--sensor", "b-air")
    part = exported(command, "--sensor", "b-air", "--from", iso(readings[2].time))

    assert [r["flag"] for r in whole] == ["1", "1", "4", "1", "1"]
    assert part == whole[2:]


def test_an_export_of_a_part_has_the_flags_of_the_whole(store, command, configured):
    """Before each of its hours the probe stood still, or was silent for long."""
    (configured / "checks").mkdir()
    (configured / "checks/air_temperature.toml").write_text(
        '[flat_line]\nsuspect = "3 h"\ntolerance = 0.0\n'
        "[rate_of_change]\nsuspect = 0.1\n",
        encoding="utf-8",
    )
    begin = NOW - timedelta(days=3)
    minutes = [n for n in range(0, 1440, 5) if not 300 < n < 640 and not n % 600 > 560]
    with Writer.open(store, now=NOW) as writer, writer.transaction():
        readings = [
            Reading(
                "b-air",
                "air_temperature",
                begin + timedelta(minutes=n),
                20.0 if n < 300 else 20.5 if n < 1000 else 28.0,
            )
            for n in minutes
        ]
        writer.add_readings(readings, now=NOW)

    whole = exported(command, "--sensor", "b-air")

    assert {row["flag"] for row in whole} == {"1", "2", "3"}
    for hour in range(24):
        since = iso(begin + timedelta(hours=hour))
        until = iso(begin + timedelta(hours=hour + 5))
        part = exported(command, "--sensor", "b-air", "--from", since, "--to", until)
        assert part == [row for row in whole if since <= row["time"] < until]


def test_an_export_takes_the_whole_calendar(store, command):
    """The first and the last day that can be written are no error."""
    whole = exported(command)

    ends = ("--from", "0001-01-01T00:00Z", "--to", "9999-12-31T23:59Z")
    assert exported(command, *ends) == whole
    assert exported(command, *ends[:3], "0001-01-02T00:00Z") == []


@pytest.mark.usefixtures("store")
@pytest.mark.parametrize("more", [(), ("--json",)])
@pytest.mark.parametrize(
    ("text", "named"),
    [(None, "there is no such file"), ("[site]\nname = 3\n", "site.toml")],
)
def test_an_export_needs_no_configuration(command, configured, text, named, more):
    """It saves data when all else is lost: one warning, and known failure values."""
    whole = command("export", "readings", *more)
    site = configured / "site.toml"
    site.unlink()
    if text is not None:
        site.write_text(text, encoding="utf-8")

    got = command("export", "readings", *more)

    assert (got.code, got.out) == (0, whole.out)
    assert whole.out.count("air_temperature") == 4
    [line] = got.err.splitlines()
    assert line.startswith("Warning: flags tell known failure values alone")
    assert named in line


def test_site_time_needs_a_configuration(store, command, configured):
    """The mend is an offset, with which the same command works."""
    (configured / "site.toml").unlink()

    local = command("export", "readings", "--from", "2026-03-01 13:05")
    offset = command("export", "readings", "--from", "2026-03-01T13:05Z")

    assert (local.code, local.out) == (78, "")
    assert "give the time with an offset" in local.err
    assert (offset.code, len(offset.out.splitlines())) == (0, 4)


def test_an_export_takes_a_part(store, command):
    """From is in, to is out; site time without an offset."""
    whole = exported(command)
    part = exported(
        command, "--from", "2026-03-01 13:05", "--to", "2026-03-01T13:15:00Z"
    )
    damp = exported(command, "--quantity", "relative_humidity")

    assert len(whole) == 5
    assert [r["time"][11:16] for r in part] == ["13:05", "13:10"]
    assert [r["value"] for r in damp] == ["61.5"]


def test_an_export_as_json_is_one_object(store, command):
    """The same rows."""
    rows = json.loads(command("export", "readings", "--json").out)["readings"]

    assert len(rows) == 5
    assert rows[1] == {
        "sensor": "a-air",
        "quantity": "air_temperature",
        "time": "2026-03-01T13:05:00Z",
        "value": 0.30000000000000004,
        "flag": 1,
    }


@pytest.mark.parametrize(
    ("more", "part"),
    [
        (("--sensor", "a-ir"), "did you mean a-air"),
        (("--quantity", "heat"), "no quantity 'heat'"),
        (("--from", "never"), "--from: 'never' is no time"),
        (("--from", "2026-03-02", "--to", "2026-03-01"), "is not before"),
    ],
)
def test_a_wrong_export_is_one_line(store, command, more, part):
    """No half a file on stdout."""
    got = command("export", "readings", *more)

    assert (got.code, got.out) == (2, "")
    assert part in got.err


def test_the_newest_of_what_was_set_apart_is_shown(store, command):
    """With its reason, from the store."""
    with Writer.open(store, now=NOW) as writer, writer.transaction():
        writer.quarantine([Refused()])

    told = json.loads(command("now", "--json").out)

    assert told["daemon"]["set_apart"][0]["reason"] == "no sensor listens there"


class Refused:
    """A message that was no reading."""

    topic, payload, reason, at = "x/y", b"?", "no sensor listens there", NOW
