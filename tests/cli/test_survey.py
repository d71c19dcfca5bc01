"""``place survey``: from the store and the journal to the daemon, and back in lists."""

import json
import shlex
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from msgspec.structs import replace

from monitor.cli import survey_measure
from monitor.cli.table import WIDTH
from monitor.heart.events import Reading
from monitor.site.journal import (
    Entry,
    PlaceCreated,
    PlaceScrapped,
    PlaceSurveyed,
    ProbeMoved,
)
from monitor.site.words import PlaceKind
from monitor.store.writer import Writer
from tests.desk.quillmere import DAY, HOUR, MINUTE, NOW
from tests.support.brokers import free_port
from tests.support.daemon import Daemon, notify_socket

CAME = NOW.replace(month=2, day=20, hour=12)
WENT = CAME + 4 * DAY
SURVEY = "place survey tub-1 --sensor spare"
REARING = PlaceKind.REARING


class Standing:
    """A clock that stands still."""

    def now(self):
        """The instant."""
        return NOW


def wave(at):
    """Shelf A by day and night. [degC]."""
    return 24 + 2 * np.sin((at - CAME) / DAY * 2 * np.pi)


def series(sensor, quantity, since, until, *, every, value):
    """Readings of one sensor."""
    count = int((until - since) / every)
    instants = [since + n * every for n in range(count)]
    return [Reading(sensor, quantity, at, float(value(at))) for at in instants]


@pytest.fixture
def store(quillmere, configured, tmp_path, monkeypatch):
    """
    Shelf A is read for two weeks; the spare probe is in tub-1 for four days of them.

    The tub is 0.8 K warmer and swings half as much. The spare probe reads 15 degC
    wherever else it hangs.
    """
    for to, at in (("tub-1", CAME), ("warm-room", WENT)):
        quillmere.do("sensor move", id="spare", to=to, at=at.isoformat())
    far, every = timedelta(days=5), 5 * MINUTE
    warm = "substrate_temperature"
    readings = [
        *series("a-air", "air_temperature", CAME - far, NOW, every=every, value=wave),
        *series(
            "b-air", "air_temperature", CAME - far, NOW, every=every, value=lambda _: 9
        ),
        *series("spare", warm, CAME - far, CAME, every=every, value=lambda _: 15),
        *series(
            "spare",
            warm,
            CAME + 2 * MINUTE,
            WENT,
            every=6 * MINUTE,
            value=lambda at: 24.8 + (wave(at) - 24) / 2,
        ),
        *series("spare", warm, WENT + MINUTE, NOW, every=every, value=lambda _: 15),
    ]
    state = tmp_path / "state"
    state.mkdir()

    def keep(*extra, readings=()):
        with Writer.open(state, now=NOW) as writer, writer.transaction():
            writer.add_entries(extra)
            writer.add_readings(readings, now=NOW)

    keep(*quillmere.entries, readings=readings)
    monkeypatch.setenv("REARING_STATE", str(state))
    monkeypatch.setattr(survey_measure, "clock_from_environment", Standing)
    return keep


def test_a_spare_probe_is_compared_and_entered(store, quillmere, command):
    """By default its last stay in the place; the entry is of the end of it."""
    got = command(*shlex.split(f"{SURVEY} --by ines --note 'first tub' --json"))

    told, fact = json.loads(got.out), quillmere.entries[-1].fact
    assert (got.code, got.err) == (0, "")
    assert isinstance(fact, PlaceSurveyed)
    assert (fact.reference, fact.sensor, fact.pairs) == ("shelf-a", "spare", 959)
    assert (fact.since, fact.until) == (
        CAME + 2 * MINUTE,
        CAME + 2 * MINUTE + 958 * 6 * MINUTE,
    )
    assert told["offset_k"] == fact.offset_k == pytest.approx(0.8, abs=1e-3)
    # half of a swing of 2 K is a sine of amplitude 1, whose deviation is 1/sqrt(2)
    assert fact.spread_k == pytest.approx(0.5**0.5, abs=1e-3)
    assert told["measured_s"] == 958 * 360
    assert quillmere.entries[-1].happened_at == fact.until
    assert (quillmere.entries[-1].by, quillmere.entries[-1].note) == (
        "ines",
        "first tub",
    )


def test_it_is_told_in_words(store, command):
    """Warmer or colder, give or take, and from how much."""
    got = command(*SURVEY.split())

    assert got.out == (
        "tub-1 is 0.8 K warmer than its shelf's probe (shelf-a), give or take 0.7 K,"
        " from 4.0 days of spare to 2026-02-24 11:50 (2026-02-24 11:50:00 UTC).\n"
    )


def test_the_list_shows_what_surveys_say(store, command):
    """A column that a house without surveys has not; neighbours in brackets."""
    before = command("place", "list").out
    command(*SURVEY.split())

    lines = command("place", "list").out.splitlines()
    rows = {
        r["id"]: r for r in json.loads(command("place", "list", "--json").out)["places"]
    }

    assert "probe" not in before
    assert lines[0].split() == ["place", "kind", "off", "its", "probe", "cohorts"]
    assert "    tub-1      rearing    +0.8 +-0.7 K" in lines
    assert "    tub-2      rearing    (+0.8 +-1.0 K)" in lines
    assert [line for line in lines if len(line) > WIDTH] == []
    assert rows["tub-1"]["distance"]["how"] == "surveyed"


def test_a_part_of_the_stay_can_be_asked_for(store, quillmere, command):
    """In site time; a probe that warmed up at first is left out so."""
    got = command(
        *shlex.split(f"{SURVEY} --since '2026-02-21 12:00' --until '2026-02-23 18:00'")
    )

    fact = quillmere.entries[-1].fact
    assert got.code == 0
    assert CAME + DAY <= fact.since < CAME + DAY + 6 * MINUTE
    assert CAME + 3 * DAY + 6 * HOUR - 6 * MINUTE <= fact.until < CAME + 3.25 * DAY


def test_a_probe_that_still_hangs_there_is_compared(store, quillmere, command):
    """Its open stay counts to now, against the shelf and not against itself."""
    again = NOW - 3 * DAY
    quillmere.do("sensor move", id="spare", to="tub-2", at=again.isoformat())
    store(quillmere.entries[-1])

    got = command(*shlex.split("place survey tub-2 --sensor spare"))

    fact = quillmere.entries[-1].fact
    assert got.code == 0
    assert "It counts while spare does not hang in tub-2." in got.out
    assert (fact.place, fact.reference) == ("tub-2", "shelf-a")
    assert fact.since >= again


def test_stated_figures_go_straight_to_the_daemon(quillmere, command):
    """Without a store; a minus sign is no option."""
    got = command(*shlex.split("place survey tub-1 --offset -1.5 --spread 0.5"))

    assert (got.code, got.err) == (0, "")
    assert "tub-1 is 1.5 K colder than its shelf's probe (shelf-a)" in got.out
    assert quillmere.entries[-1].fact.offset_k == -1.5


def test_a_tub_of_the_same_number_is_not_of_the_old_stay(store, quillmere, command):
    """What the probe read in the scrapped tub is not of the new one."""
    quillmere.do("place scrap", ids="tub-1", at=(NOW - 2 * DAY).isoformat())
    quillmere.do("place create", ids="tub-1", in_="shelf-a", at=(NOW - DAY).isoformat())
    store(*quillmere.entries[-2:])

    got = command(*SURVEY.split())

    assert (got.code, got.out) == (1, "")
    assert "spare never hung in tub-1; it hangs in warm-room" in got.err


def test_what_hung_over_two_lives_is_cut_to_the_present_one(store, quillmere, command):
    """Scrapped and made anew while the probe hung there: the old tub's part is out."""
    anew = CAME + DAY
    quillmere.do("place create", ids="tub-9", in_="shelf-a", at=CAME.isoformat())
    made = quillmere.entries[-1]
    facts = (PlaceScrapped("tub-1"), PlaceCreated("tub-1", REARING, "shelf-a"))
    told = [replace(made, happened_at=anew, fact=fact) for fact in facts]
    quillmere.entries += [replace(one, id=90 + n) for n, one in enumerate(told)]
    store(*quillmere.entries[-3:])

    got = command(*SURVEY.split())

    assert (got.code, got.err) == (0, "")
    assert anew <= quillmere.entries[-1].fact.since < anew + HOUR


def test_a_tub_that_moved_under_way_is_surveyed_in_parts(store, quillmere, command):
    """No survey mixes two shelves; each part can be asked for."""
    at = (CAME + 2.5 * DAY).isoformat()
    quillmere.do("place move", ids="tub-1", to="shelf-b", at=at)
    store(quillmere.entries[-1])

    got = command(*SURVEY.split())
    part = command(*SURVEY.split(), "--until", at)

    assert (got.code, got.out) == (1, "")
    assert "by a-air of shelf-a until 2026-02-23 00:00, then by b-air" in got.err
    assert "--since or --until" in got.err
    assert part.code == 0
    assert quillmere.entries[-1].fact.reference == "shelf-a"


def test_a_probe_that_came_to_the_shelf_under_way_changes_nothing(
    store, quillmere, configured, command
):
    """Only what hung there all the time is compared with."""
    site = configured / "site.toml"
    added = '\n[[sensor]]\nid = "c-air"\nplace = "shelf-b"\n'
    added += 'quantity = "air_temperature"\ninterval = "5 min"\ntopic = "c"\n'
    site.write_text(site.read_text() + added)
    store(Entry(CAME + DAY, NOW, "ines", ProbeMoved("c-air", "shelf-a")))

    got = command(*SURVEY.split())

    assert got.code == 0
    assert quillmere.entries[-1].fact.pairs == 959


def test_what_the_accounts_do_not_trust_is_not_compared(
    store, quillmere, configured, command
):
    """A probe that fails at times, by the checks that the house declares."""
    broken = series(
        "spare",
        "substrate_temperature",
        CAME + 3 * MINUTE,
        WENT,
        every=HOUR,
        value=lambda _: -127.0,
    )
    store(readings=broken)
    (configured / "checks").mkdir()
    checks = configured / "checks/substrate_temperature.toml"
    checks.write_text("[gross_range]\nfail = [-55.0, 125.0]\n")

    got = command(*SURVEY.split())

    assert got.code == 0
    assert quillmere.entries[-1].fact.offset_k == pytest.approx(0.8, abs=1e-3)


@pytest.mark.parametrize(
    ("argv", "code", "part"),
    [
        ("tub-9 --sensor spare", 2, "no place 'tub-9'"),
        ("tub-1 --sensor spar", 2, "no sensor 'spar' (did you mean spare?)"),
        ("tub-1 --sensor room-humidity", 2, "no temperature; there are: a-air"),
        ("tub-2 --sensor spare", 1, "spare never hung in tub-2; it hangs in warm-room"),
        ("warm-room --sensor spare", 1, "nothing speaks for warm-room"),
        (
            "tub-1 --sensor spare --since '2026-02-23 12:00'",
            1,
            "have 23.8 h in common (239 readings); a survey needs 48 h",
        ),
        (
            "tub-1 --sensor spare --since '2026-02-26 12:00'",
            2,
            "did not hang in tub-1 then; last from 2026-02-20 12:00 to 2026-02-24",
        ),
        (
            "tub-1 --sensor spare --since 2026-02-20",
            2,
            "--since: '2026-02-20' is a day",
        ),
        (
            "tub-1 --sensor spare --since 2026-02-23T12:00 --until 2026-02-21T01:00",
            2,
            "--since 2026-02-23 12:00 is not before --until 2026-02-21 01:00",
        ),
        ("tub-1 --sensor spare --until '2027-02-20 12:00'", 2, "still to come"),
        ("tub-1 --sensor spare --offset 1", 2, "--offset: either --sensor"),
        ("tub-1 --since 12:00 --offset 1 --spread 1", 2, "only together with --sensor"),
        ("tub-1", 2, "--offset is missing: give --sensor"),
        ("tub-1 --offset 1", 2, "--spread is missing"),
        ("tub-1 --offset 40 --spread 1", 2, "--offset: 40 lies outside -15 to 15 K"),
        ("tub-1 --offset inf --spread 1", 2, "--offset: 'inf' is no finite number"),
        ("tub-1 --sensor spare --at '2026-02-21 12:00'", 2, "before the survey ended"),
    ],
)
def test_a_mistake_is_one_line(store, command, argv, code, part):
    """It names what was found and the mend."""
    got = command("place", "survey", *shlex.split(argv))

    assert (got.code, got.out) == (code, "")
    assert part in got.err
    assert got.err.count("\n") == 1


def test_a_silent_shelf_is_nothing_to_compare_with(store, quillmere, command):
    """Tub-3 stands in the incubator, whose room has no probe but the spare one."""
    quillmere.do("place create", ids="tub-3", in_="incubator-1", at=CAME.isoformat())
    quillmere.do("sensor move", id="spare", to="tub-3", at=(NOW - 3 * DAY).isoformat())
    store(*quillmere.entries[-2:])

    got = command(*shlex.split("place survey tub-3 --sensor spare"))

    assert (got.code, got.out) == (1, "")
    assert "nothing speaks for tub-3 but a probe of its own" in got.err


def test_a_probe_without_readings_is_told_so(store, quillmere, command):
    """It was hung there and never switched on."""
    quillmere.do("sensor move", id="b-air", to="tub-2", at=(NOW - 3 * HOUR).isoformat())
    store(quillmere.entries[-1])
    argv = "place survey tub-2 --sensor b-air --since 12:59"

    got = command(*argv.split())

    assert (got.code, got.out) == (1, "")
    assert "b-air and the probe of shelf-a have 0.0 h in common (0 readings)" in got.err


def test_without_a_store_a_probe_cannot_be_compared(quillmere, configured, command):
    """69, as for every command that reads the store."""
    got = command(*SURVEY.split())

    assert (got.code, got.out) == (69, "")
    assert "REARING_STATE" in got.err


def test_the_survey_reaches_a_real_daemon(tmp_path):
    """From a store that it keeps, over its socket, into its journal and its list."""
    now = datetime.now(tz=UTC).replace(microsecond=0)
    came = now - 3 * DAY
    state = tmp_path / "state"
    state.mkdir()
    made = [
        Entry(
            now - 9 * DAY,
            now,
            "ines",
            PlaceCreated("tub-1", PlaceKind.REARING, "warm-room"),
        ),
        Entry(came, now, "ines", ProbeMoved("spare", "tub-1")),
        Entry(now - HOUR, now, "ines", ProbeMoved("spare", "bench")),
    ]
    air, every = "air_temperature", 15 * MINUTE
    with Writer.open(state, now=now) as writer, writer.transaction():
        writer.add_entries(made)
        for sensor, value in (("warm-room-air", 24.0), ("spare", 22.5)):
            said = series(
                sensor, air, came, now - HOUR, every=every, value=lambda _, v=value: v
            )
            writer.add_readings(said, now=now)
    more = '[[room]]\nid = "bench"\nname = "Bench"\n[[sensor]]\nid = "spare"\n'
    more += 'place = "bench"\nquantity = "air_temperature"\ninterval = "5 min"\n'

    broker = f'embedded = true\nlisten = "127.0.0.1:{free_port()}"'
    with notify_socket(str(tmp_path / "notify")) as notify:
        daemon = Daemon(tmp_path, broker, notify, more=more)
        try:
            daemon.start().wait_for("READY=1")
            told = daemon.ask("place", "survey", "tub-1", "--sensor", "spare")
            rows = daemon.ask("place", "list")["places"]
        finally:
            daemon.kill()

    assert (told["offset_k"], told["spread_k"], told["pairs"]) == (-1.5, 0.0, 284)
    assert (told["reference"], told["reference_quantity"]) == ("warm-room", air)
    (tub,) = (row for row in rows if row["id"] == "tub-1")
    assert tub["distance"] == {
        "offset_k": -1.5,
        "spread_k": 0.0,
        "how": "surveyed",
        "from": "warm-room",
    }
