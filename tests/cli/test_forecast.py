"""``forecast``: from the store alone, in weeks, and one line where it cannot."""

import json
from datetime import datetime, timedelta

import pytest
from msgspec.structs import replace

from monitor.cli import forecast_answer, forecast_command, main
from monitor.heart.events import Reading
from monitor.site.journal import (
    CohortAdvanced,
    CohortEnded,
    CohortStarted,
    Count,
    Entry,
    PlaceCreated,
)
from monitor.site.words import CountKind, PlaceKind
from monitor.store.writer import Writer
from tests.desk.quillmere import NOW

DAY = timedelta(days=1)
PARSER = main.build_parser
BEETLE = """
[species]
id = "beetle"
name = "Exemplum ferox"
group = "scarab"
survival_egg_to_adult = { mean = 0.64, sd = 0.0, source = "from-memory" }

[[stage]]
id = "egg"
[stage.development]
driven_by = "heat"
lower_threshold = 10.0
fitted_with = "constant temperatures"
required_degree_days = [{ mean = 200.0, sd = 20.0 }]
source = "from-memory"

[[stage]]
id = "L3"
[stage.development]
driven_by = "heat-earliest"
duration_days = [
  { sex = "female", mean = 40.0, at = 20.0 },
  { sex = "male", mean = 50.0, at = 20.0 },
]
assumed_lower_threshold = 10.0
source = "common-practice"

[[stage]]
id = "pupa"
unseen = true
[stage.development]
driven_by = "heat"
duration_days = [{ mean = 30.0, sd = 3.0, at = 20.0 }]
assumed_lower_threshold = 10.0
source = "common-practice"

[[stage]]
id = "adult"
[stage.development]
driven_by = "time"
duration_days = [{ mean = 100.0, sd = 10.0, at = 20.0 }]
source = "from-memory"
"""
COHORTS = (
    CohortStarted(1, "beetle", "egg", Count(CountKind.COUNTED, 20), "tub-1"),
    CohortStarted(
        2, "beetle", "L3", Count(CountKind.COUNTED, 4), "tub-1", sex="female"
    ),
    CohortStarted(3, "beetle", "adult", Count(CountKind.COUNTED, 3), "tub-1"),
    CohortStarted(4, "lowland-scarab", "L1", Count(CountKind.COUNTED, 3), "tub-1"),
    CohortStarted(5, "beetle", "egg", Count(CountKind.COUNTED, 3), "tub-2"),
    CohortStarted(6, "beetle", "egg", Count(CountKind.COUNTED, 3), "tub-1"),
)
AGES = {1: 10, 2: 45, 3: 20, 4: 20, 5: 5, 6: 12}


class Standing:
    """A clock that stands still."""

    def now(self):
        """The instant."""
        return NOW


@pytest.fixture
def store(tmp_path, monkeypatch, configured):
    """Six cohorts; shelf A has been at 20 degC for 60 days, shelf B has no reading."""
    (configured / "species/beetle.toml").write_text(BEETLE, encoding="utf-8")
    entries = [
        Entry(NOW - 90 * DAY, NOW, "ines", PlaceCreated(t, PlaceKind.REARING, s))
        for t, s in (("tub-1", "shelf-a"), ("tub-2", "shelf-b"))
    ]
    entries += [
        Entry(NOW - AGES[fact.cohort] * DAY, NOW, "ines", fact) for fact in COHORTS
    ]
    entries.append(Entry(NOW - DAY, NOW, "ines", CohortEnded(6, "given away")))
    step = timedelta(minutes=15)
    readings = [
        Reading("a-air", "air_temperature", NOW - 60 * DAY + n * step, 20.0)
        for n in range(60 * 96 + 1)
    ]
    state = tmp_path / "state"
    state.mkdir()
    with Writer.open(state, now=NOW) as writer, writer.transaction():
        writer.add_entries(entries)
        writer.add_readings(readings, now=NOW)
    monkeypatch.setenv("REARING_STATE", str(state))
    monkeypatch.setattr(forecast_answer, "clock_from_environment", Standing)
    return state


@pytest.fixture
def forecast(command, monkeypatch):
    """Run ``forecast`` with some options."""
    monkeypatch.setattr(main, "build_parser", lambda: PARSER(forecast_command.COMMANDS))
    return lambda *more: command("forecast", *more)


def days(text):
    """From the present to an instant of the JSON."""
    return (datetime.fromisoformat(text) - NOW) / DAY


def test_keepers_see_weeks_and_earliest(store, forecast):
    """The next stage of the eggs, and what heat alone does not decide."""
    lines = forecast("--cohort", "1").out.splitlines()

    assert lines == [
        "Quillmere Insectarium, Sun 01 Mar 13:00",
        "",
        "1  Exemplum ferox, egg, 20 in tub-1",
        "  L3             within 3 weeks (2 Mar to 9 Mar), most",
        "                 likely week of 9 Mar",
        "  pupa           female: earliest week of 6 Apr*",
        "                 male: earliest week of 20 Apr*",
        "  adult          female: earliest week of 4 May*",
        "                 male: earliest week of 11 May*",
        "",
        "  * L3 female: by 40 d at 20 C, assumed threshold 10 C",
        "  * L3 male: by 50 d at 20 C, assumed threshold 10 C",
        "  * pupa: by 30 d at 20 C, assumed threshold 10 C",
        "  * a spread of 10 % is assumed of L3 female, L3 male",
        "  as warm as in 28 of the last 28 days (shelf), give or take",
        "    1 C (assumed: no survey)",
        "  place survey tells how far a tub is from its probe",
        "  egg, adult: from-memory",
        "  L3, pupa: common-practice",
    ]


def test_a_tub_that_nobody_surveyed_is_less_certain(store, forecast):
    """One kelvin about the shelf's probe, of 10 degree-days a day, is assumed."""
    made = json.loads(forecast("--cohort", "1", "--json").out)["cohorts"][0]

    grub = made["sexes"][0]["stages"][0]
    assert [round(days(grub[p])) for p in ("p10", "p50", "p90")] == [7, 10, 14]
    assert (made["basis"]["spread_c"], made["basis"]["distance"]) == (1.0, "assumed")
    assert (made["heat"]["low"], made["heat"]["high"]) == pytest.approx((80, 120))


def test_the_keeper_is_asked_for_a_sign(store, forecast):
    """Pupation is under ground, and its 10 % date is over."""
    told = forecast("--cohort", "2")
    plain = json.loads(forecast("--cohort", "2", "--json").out)["cohorts"][0]

    assert "  perhaps already pupa: any sign of a cell?" in told.out.splitlines()
    assert "pupa           possible since the week of" in told.out
    assert (plain["perhaps"], plain["ask"]) == (["pupa"], "any sign of a cell?")


def test_degree_days_are_told_on_request_with_all_that_they_mean(store, forecast):
    """A published threshold is no reason to show them; on request each is whole."""
    plain = forecast("--cohort", "1").out
    asked = " ".join(forecast("--cohort", "1", "--degree-days").out.split())

    assert "degree-days" not in plain
    assert "100 (80 to 120) of 200 degree-days, 100 % of the time measured" in asked
    assert (
        "egg: 200 +- 20 degree-days, above 10 C (published), no upper threshold,"
        " fitted with constant temperatures; from-memory"
    ) in asked
    assert (
        "* L3 female: 400 +- 40 degree-days (spread assumed), above 10 C (assumed),"
        " no upper threshold, from 40 d at 20 C; common-practice"
    ) in asked
    assert "adult: 100 +- 10 d; from-memory" in asked


def test_a_house_fits_a_screen(store, forecast):
    """What needs a look stands first, then what comes first, in two lines each."""
    lines = forecast().out.splitlines()

    first = lines.index("LOOK NOW")
    soon = lines.index("THE NEXT FOUR WEEKS (by their Mondays)")
    assert lines[first + 1 : first + 4] == [
        "Exemplum ferox, L3: perhaps already pupa*; any sign of a",
        "  cell?",
        "  2 in tub-1",
    ]
    assert lines[soon + 1 : soon + 3] == [
        "Exemplum ferox, egg: L3 2 Mar to 9 Mar",
        "  1 in tub-1",
    ]
    assert first < soon < lines.index("WITHOUT A DATE")
    assert "  5 in tub-2" in lines
    assert "* Exemplum ferox, at 20 C, assumed threshold 10 C: L3 female" in lines
    assert not any(line.startswith("2  ") for line in lines)
    assert "2  Exemplum ferox, L3, 4 females in tub-1" in (
        forecast("--every").out.splitlines()
    )


def test_what_was_learned_here_stands_before_the_files(store, forecast):
    """Eggs that hatched after 25 days at 10 a day; the files are had on request."""
    found = CohortAdvanced(7, "L3", not_before=NOW - 16 * DAY)
    entries = [
        Entry(NOW - 40 * DAY, NOW, "ines", replace(COHORTS[0], cohort=7)),
        Entry(NOW - 14 * DAY, NOW, "ines", found),
    ]
    published = forecast("--cohort", "1", "--published", "--json").out
    with Writer.open(store, now=NOW) as writer, writer.transaction():
        writer.add_entries(entries)

    learned = json.loads(forecast("--cohort", "1", "--json").out)
    later = json.loads(forecast("--cohort", "1", "--published", "--json").out)

    assert later == json.loads(published)
    egg = dict(learned["cohorts"][0]["sexes"][0]["needs"])["egg"]
    assert egg["source"].startswith("learned from 1 changes of stage here")
    assert 202 < egg["mean"] < 250


def test_a_set_point_takes_the_place_of_the_record(store, forecast):
    """Twice as fast at 30 degC, and said; give or take a kelvin it is wider."""
    told = forecast("--cohort", "1", "--set-point", "30", "--spread", "1")
    plain = json.loads(
        forecast("--cohort", "1", "--set-point", "30", "--spread", "1", "--json").out
    )

    assert "at a stated 30 C, give or take 1 C" in told.out
    female = plain["cohorts"][0]["sexes"][0]
    assert days(female["stages"][0]["p50"]) == pytest.approx(4.97, abs=0.05)
    assert (female["wait_days"], female["wait_sd_days"]) == pytest.approx(
        (5.0, 1.031), abs=0.001
    )


def test_programs_get_every_stage_of_every_cohort(store, forecast):
    """One JSON object; earliest dates stand alone; numbers have their sources."""
    plain = json.loads(forecast("--spread", "0", "--json").out)

    assert [c["cohort"] for c in plain["cohorts"]] == [4, 1, 5, 2, 3]
    eggs = plain["cohorts"][1]
    assert [s["stage"] for s in eggs["sexes"][0]["stages"]] == ["L3", "pupa", "adult"]
    grub, pupa, _ = eggs["sexes"][0]["stages"]
    assert [round(days(grub[p])) for p in ("p10", "p50", "p90")] == [8, 10, 13]
    assert grub["earliest"] is None
    assert (pupa["p10"], pupa["p50"], pupa["p90"]) == (None, None, None)
    assert pupa["assumed_threshold"] == ["L3"]
    assert dict(eggs["sexes"][0]["needs"])["L3"]["source"] == "common-practice"
    assert plain["cohorts"][2]["trouble"] == "no temperature known: give --set-point"


def test_adults_for_the_show(store, forecast):
    """Three now, unsexed, one of each sex held back; then nobody till the next."""
    plain = json.loads(
        forecast(
            "--species", "beetle", "--weeks", "30", "--hold-back", "1", "--json"
        ).out
    )
    (made,) = plain["show"]

    assert len(made["weeks"]) == 30
    assert made["weeks"][0]["monday"] == "2026-02-23"
    assert made["counted"] == [1, 2, 3]
    assert made["left_out"] == [[5, "no temperature known: give --set-point"]]
    assert made["survival"] == {"mean": 0.64, "sd": 0.0, "source": "from-memory"}
    assert made["earliest"]
    assert made["holes"][0]["first"] == "2026-02-23"
    assert made["holes"][0]["too_late"]


def test_the_show_in_words(store, forecast):
    """What was assumed stands below the numbers."""
    out = " ".join(forecast("--species", "beetle", "--hold-back", "1").out.split())

    assert "Exemplum ferox: adults for the show" in out
    assert "1 of each sex held back for breeding" in out
    assert "at the earliest: heat alone does not decide for all of them" in out
    assert (
        "64 % of eggs become adults (from-memory), each stage costing the same" in out
    )
    assert "a female lives 14 weeks (from-memory)" in out
    assert "not sexed, taken as half females: cohorts 1, 3" in out
    assert "not counted: cohort 5 (no temperature known: give --set-point)" in out
    assert "pair and set up a laying tub now" in out


def test_every_line_fits_a_telephone(store, forecast):
    """Sixty letters."""
    slow = ("--cohort", "1", "--set-point", "11")
    for more in (
        (),
        ("--every",),
        ("--cohort", "2", "--degree-days"),
        ("--hold-back", "1"),
        slow,
    ):
        assert max(map(len, forecast(*more).out.splitlines())) <= 60


def test_nothing_is_written(store, forecast):
    """It works beside the daemon, and without it."""
    before = {path.name: path.read_bytes() for path in store.iterdir()}

    assert forecast().code == 0
    after = {p: (store / p).read_bytes() for p in before if not p.endswith("-shm")}
    assert after == {p: b for p, b in before.items() if not p.endswith("-shm")}


@pytest.mark.parametrize(
    ("more", "code", "part"),
    [
        (("--cohort", "99"), 2, "--cohort: no cohort '99'; there are: 1, 2, 3, 4, 5"),
        (("--cohort", "6"), 1, "cohort 6 has ended"),
        (("--cohort", "5"), 2, "cohort 5: no temperature known: give --set-point"),
        (("--species", "betle"), 2, "no species 'betle' (did you mean beetle?)"),
        (("--species", "beetle", "--cohort", "4"), 2, "leave one of them out"),
        (("--weeks", "0"), 2, "--weeks: '0' is no whole number from 1 to 520"),
        (("--weeks", "many"), 2, "--weeks: 'many' is no whole number"),
        (("--hold-back", "-1"), 2, "--hold-back: '-1' is no whole number"),
        (("--hold-back", "99999999"), 2, "from 0 to 10000"),
        (("--set-point", "75"), 2, "-20 to 60 degC: is it in degF?"),
        (("--set-point", "nan"), 2, "--set-point: 'nan' is no number"),
        (("--set-point", "warm"), 2, "--set-point: 'warm' is no number"),
        (("--spread", "-1"), 2, "--spread: -1 lies outside 0 to 10 K"),
    ],
)
def test_what_is_wrong_is_one_line(store, forecast, more, code, part):
    """Nothing on stdout."""
    got = forecast(*more)

    assert (got.code, got.out) == (code, "")
    assert part in got.err
    assert got.err.count("\n") == 1


def test_without_a_store_it_is_69(forecast, configured, monkeypatch):
    """Neither here nor there."""
    monkeypatch.delenv("REARING_STATE", raising=False)
    monkeypatch.delenv("STATE_DIRECTORY", raising=False)

    got = forecast()

    assert (got.code, got.out) == (69, "")
    assert "REARING_STATE" in got.err


def test_a_species_without_cohorts_is_named(store, forecast):
    """Others are followed; only a house without any says so of all."""
    one = forecast("--species", "montane-scarab").out
    with Writer.open(store, now=NOW) as writer, writer.transaction():
        writer.add_entries(
            [Entry(NOW, NOW, "ines", CohortEnded(n, "died")) for n in range(1, 6)]
        )

    assert "No cohort of montane-scarab is followed." in one
    assert "No cohort is followed." in forecast().out


def test_the_show_is_looked_at_until_eggs_of_today_are_adults(store, forecast):
    """Shorter, every hole would be too late to fill; weeks that are asked for count."""
    (made,) = json.loads(forecast("--species", "beetle", "--json").out)["show"]
    (asked,) = json.loads(
        forecast("--species", "beetle", "--weeks", "4", "--json").out
    )["show"]

    assert len(made["weeks"]) == max(26, -(-made["lead"]["p90_days"] // 7) + 8)
    assert len(asked["weeks"]) == 4
