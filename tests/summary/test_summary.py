"""The summary as a whole: out of a real store, as text, as JSON, by command."""

import json
from datetime import timedelta

import msgspec
import pytest

from monitor.alarms.perhaps import PerhapsSince
from monitor.store import Reader, Writer
from monitor.summary import registry, summary
from monitor.summary.gather import view_of
from monitor.summary.section import Section
from monitor.summary.week import Week
from monitor.summary.words import WIDTH
from tests.summary.house import AIR, END, HOUR, START, WEEK

NOW = END + 9 * HOUR


@pytest.fixture
def seen(store, declared):
    with view_of(Reader.open(store), declared, WEEK, now=NOW) as view:
        yield view


def test_a_view_is_the_week_and_nothing_from_later(seen):
    """Readings around it serve the pairs at its ends; all else stays outside."""
    times, _ = seen.readings("a-air", AIR)

    assert (seen.start, seen.until) == (START, END)
    assert len(times) == 171
    assert [e.happened_at for e in seen.entries] == [START + HOUR]
    assert seen.house.places["tub-1"].parent == "shelf-a"
    assert [[c.alarm.id for c in changes] for changes in seen.alarms] == [[12]]
    assert (seen.refused.topics, seen.refused.complete) == (("x/y",), True)


def test_what_was_thought_of_comes_out_of_the_store(store, declared):
    """What held at the beginning, and what was taken up in the week; no more."""
    rows = [
        PerhapsSince(START - 2 * HOUR, 1, ("prepupa",)),
        PerhapsSince(START - HOUR, 1, ("prepupa", "pupa")),
        PerhapsSince(START + HOUR, 1, ()),
        PerhapsSince(END + HOUR, 1, ("adult",)),
    ]
    with Writer.open(store, now=NOW) as writer, writer.transaction():
        for row in rows:
            writer.take_perhaps(row)

    with view_of(Reader.open(store), declared, WEEK, now=NOW) as view:
        assert view.taken == (PerhapsSince(START, 1, ("prepupa", "pupa")), rows[2])
        assert view.perhaps == {}


def test_a_week_out_of_the_store_has_its_figures(seen):
    """
    24 for 99 h, 1 h up to 27, 27 for 68 h; larvae tolerate 22 to 26.

    On the way up 26 is passed after 40 min: 20 min and 68 h are outside. What the
    alarm became after the week is not told: it stands.
    """
    told = summary.as_json(summary.summarise(seen))

    probe = next(p for p in told["conditions"]["probes"] if p["sensor"] == "a-air")
    assert probe["out_of_range_s"] == pytest.approx(68 * 3600 + 1200)
    assert probe["n"] == 168
    assert told["alarms"]["standing"] == 1
    assert told["alarms"]["alarms"][0]["lasted_s"] == pytest.approx(158 * 3600)
    assert told["cohorts"]["cohorts"][0]["place"] == "tub-1"
    assert told["sensors"]["refused"]["count"] == 1


def test_the_command_prints_the_last_whole_week(store, command):
    """Complete in itself, in lines that fit a letter; no daemon is needed."""
    got = command()

    lines = got.out.splitlines()
    assert (got.code, got.err) == (0, "")
    assert lines[:6] == [
        "Quillmere Insectarium, week 2026-W09",
        "Mon 23 Feb 00:00 to Mon 2 Mar 00:00, Europe/Dublin (168 h)",
        "",
        "Alarms",
        "------",
        "1 alarm came in the week; 1 still stands.",
    ]
    titles = [section.title for section in registry.SECTIONS]
    assert [line for line in lines if line in titles] == titles
    assert titles[0] == "Alarms"
    assert {"Conditions", "Cohorts", "Sensors", "Store and backups"} < set(titles)
    assert max(map(len, lines)) <= WIDTH
    assert "Exemplum calidum, L1: 1 cohort" in lines


def test_the_command_prints_one_json_object(store, command):
    """The keys that programs rely on; instants in UTC."""
    told = json.loads(command("--week", "2026-W09", "--json").out)

    assert {k: v for k, v in told.items() if not isinstance(v, dict)} == {
        "site": "Quillmere Insectarium",
        "time_zone": "Europe/Dublin",
        "week": "2026-W09",
        "from": "2026-02-23T00:00:00Z",
        "to": "2026-03-02T00:00:00Z",
        "told_to": "2026-03-02T00:00:00Z",
        "over": True,
    }
    assert set(told["alarms"]["alarms"][0]) >= {
        "where",
        "kind",
        "standing",
        "raised_at",
        "lasted_s",
        "worst",
        "answer",
    }
    assert set(told["conditions"]["probes"][0]) >= {
        "lowest",
        "mean",
        "highest",
        "in_band_share",
        "out_of_range_s",
        "n",
        "expected",
        "coverage",
    }
    assert set(told["cohorts"]["cohorts"][0]) >= {
        "species",
        "stage",
        "weeks_in_stage",
        "count",
        "heat",
    }
    assert set(told["sensors"]) == {"time_zone", "unheard", "sensors", "refused"}
    assert set(told["store"]) >= {"size", "backups", "newest_at"}


def test_the_present_week_says_that_it_is_not_over(store, command):
    """Up to now, with the alarm answered this morning."""
    out = command("--week", "2026-W10").out

    assert "The week is not over: told up to Mon 2 Mar 09:00." in out
    said = "No alarm came in the week, 1 was there before; none still stands."
    assert said in out


def test_a_week_of_nothing_is_told_as_such(store, command):
    """Long before the first reading."""
    got = command("--week", "2020-W01")

    assert got.code == 0
    assert "No alarm." in got.out
    assert "No cohort is followed." in got.out


@pytest.mark.parametrize(
    ("week", "said"),
    [
        ("2026-W54", "--week: '2026-W54' is no week: 2026 has W01 to W53"),
        ("2026-W11", "--week: '2026-W11' has not begun"),
        ("last", "--week: 'last' is no week: write year and week, as 2026-W09"),
    ],
)
def test_a_wrong_week_is_one_line_and_exit_2(store, command, week, said):
    """Stdout stays empty."""
    got = command("--week", week)

    assert (got.code, got.out) == (2, "")
    assert got.err.startswith(said)
    assert got.err.count("\n") == 1


@pytest.mark.parametrize("state", [None, "nowhere"])
def test_without_a_store_it_ends_with_69(config, command, monkeypatch, tmp_path, state):
    """One line that says what to set."""
    if state is None:
        monkeypatch.delenv("REARING_STATE", raising=False)
    else:
        monkeypatch.setenv("REARING_STATE", str(tmp_path / state))

    got = command()

    assert (got.code, got.out, got.err.count("\n")) == (69, "", 1)


def test_refused_messages_that_are_gone_are_told(store, declared, monkeypatch):
    """When the store keeps no more and the oldest kept is of the week."""
    monkeypatch.setattr("monitor.summary.gather.KEPT_APART", 2)

    with view_of(Reader.open(store), declared, WEEK, now=NOW) as view:
        assert view.refused.complete is False


class Echo(msgspec.Struct, frozen=True):
    """Figures of an invented section."""

    hours: float


ECHO = Section(
    "echo",
    "Length",
    lambda week: Echo((week.until - week.start) / timedelta(hours=1)),
    lambda told: [f"{told.hours:g} hours", "x" * 100],
)


def test_another_section_is_a_file_and_a_line(quillmere):
    """It stands where the registry has it, in text and JSON, and cannot be too wide."""
    made = summary.summarise(quillmere.week(Week(2026, 13)), (*registry.SECTIONS, ECHO))

    assert summary.as_json(made)["echo"] == {"hours": 167}
    assert summary.as_text(made).splitlines()[-4:] == [
        "Length",
        "------",
        "167 hours",
        "x" * 69 + "...",
    ]


def test_ids_of_sections_are_their_own():
    """No two sections share a key, and none takes a key of the summary."""
    ids = [section.id for section in registry.SECTIONS]

    assert ids == [
        "alarms",
        "conditions",
        "cohorts",
        "forecasts",
        "sensors",
        "store",
    ]
