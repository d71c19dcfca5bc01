"""``figures``: two houses with real stores, from first change to pooled figures."""

import json
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import pytest

from monitor.cli import figures_command, main
from monitor.heart.events import Reading
from monitor.site.journal import (
    CohortAdvanced,
    CohortCounted,
    CohortStarted,
    Count,
    Entry,
    PlaceCreated,
    PlaceSurveyed,
)
from monitor.site.words import CountKind, PlaceKind, Quantity
from monitor.store.writer import Writer
from tests.summary.house import LOWLAND, lay

NOW = datetime(2026, 4, 1, 9, tzinfo=UTC)
BEGIN = NOW - timedelta(days=40)
DAY = timedelta(days=1)
PLACE, COHORTS, ANIMALS = "tub-of-secrets", 3, 12


class Standing:
    """A clock that stands still."""

    def now(self):
        return NOW


def told(hatched):
    """Cohorts of eggs that hatched on these days; four of twelve were counted."""
    facts = [(BEGIN, PlaceCreated(PLACE, PlaceKind.REARING, "shelf-a"))]
    air = Quantity.AIR_TEMPERATURE
    # a spare probe found the tub as warm as its shelf
    facts.append((BEGIN, PlaceSurveyed(PLACE, air, "shelf-a", air, 0.0, 0.0)))
    count = Count(CountKind.COUNTED, ANIMALS)
    for cohort, day in enumerate(hatched, 1):
        facts.append((BEGIN, CohortStarted(cohort, "lowland", "egg", count, PLACE)))
        found = BEGIN + day * DAY
        facts.append((found, CohortAdvanced(cohort, "L1", not_before=found - DAY)))
        facts.append((found + 5 * DAY, CohortAdvanced(cohort, "adult")))
        facts.append(
            (found + 6 * DAY, CohortCounted(cohort, Count(CountKind.COUNTED, 4)))
        )
    return [Entry(at, at, "ines", f, id=n) for n, (at, f) in enumerate(facts, 1)]


@pytest.fixture
def houses(tmp_path, monkeypatch, capsys):
    """Overmere and Quillmere, and commands that run in one of them."""
    config = lay(tmp_path / "config")
    for name, hatched in (("overmere", (17, 18, 17)), ("quillmere", ())):
        with Writer.open(tmp_path / name, now=BEGIN) as writer, writer.transaction():
            writer.add_entries(told(hatched))
            writer.add_readings(
                [
                    Reading("a-air", "air_temperature", BEGIN + n * DAY / 24, 24.0)
                    for n in range(24 * 40)
                ],
                now=NOW,
            )
    parser = main.build_parser(figures_command.COMMANDS)
    monkeypatch.setattr(main, "build_parser", lambda: parser)
    monkeypatch.setattr(figures_command, "clock_from_environment", Standing)
    monkeypatch.setenv("REARING_CONFIG", str(config))
    monkeypatch.delenv("STATE_DIRECTORY", raising=False)

    def run(house, *argv):
        monkeypatch.setenv("REARING_STATE", str(tmp_path / house))
        verb = {"export": "export-figures", "import": "import-figures"}
        words = [verb.get(argv[0], argv[0]), *map(str, argv[1:])]
        code = main.main(["forecast", *words])
        said = capsys.readouterr()
        return SimpleNamespace(code=code, out=said.out, err=said.err)

    run.config, run.tmp = config, tmp_path
    return run


@pytest.fixture
def exported(houses, tmp_path):
    """What Overmere tells, and its fingerprint."""
    path = tmp_path / "overmere.json"
    said = houses("overmere", "export", "--to", path, "--house", "Overmere", "--json")
    return path, json.loads(said.out)["fingerprint"]


def refused(said, *words):
    """One line on stderr, nothing on stdout, the code of a wrong value."""
    assert (said.code, said.out) == (2, "")
    assert said.err.count("\n") == 1
    for word in words:
        assert word in said.err


def test_prior_data_and_posterior_are_shown(houses):
    """What was published, what was seen, and what follows, for people."""
    lines = houses("overmere", "learned").out.splitlines()

    out = " ".join(" ".join(lines).split())
    assert lines[0] == (
        "Exemplum calidum, egg: degree-days above 10 C, horizontal cutoff at 30 C"
    )
    assert "200 +- 20; counts as 0.59 cohorts (from-memory)" in out
    assert "3 changes of stage; at 24 to 24 C, 100% of the time measured" in out
    assert "224 to 238, 238 to 252, 224 to 238" in out
    assert "Exemplum calidum, egg to adult: share that comes through" in out
    assert "published nothing: any share is as likely as another; counts as 2" in out
    assert "seen here 12 of 36 in 3 cohorts; counts as 33% of 17 animals" in out
    assert "now 35% +- 11%; it lies between 18% and 53% (90 %)" in out
    assert max(map(len, lines)) <= 79


def test_programs_get_the_same(houses):
    """One JSON object with posterior, survival and houses."""
    told = json.loads(houses("overmere", "learned", "--json").out)

    (egg,) = told["learned"]
    assert (egg["n"], egg["prior_mean"], egg["stage"]) == (3, 200, "egg")
    assert 215 < egg["posterior"]["mean"] < 235
    (lives,) = told["survival"]
    assert (lives["prior_mean"], lives["prior_worth"]) == (None, 2)
    assert (lives["broods"], lives["began"], lives["reached"]) == (3, 36, 12)
    assert (lives["houses"], lives["elsewhere_share"]) == (0, None)
    assert lives["seen_share"] == pytest.approx(1 / 3)
    assert lives["low"] < lives["mean"] < lives["high"]
    assert told["houses"] == []


def test_nothing_learned_is_said(houses):
    """And only a known species can be asked for."""
    assert "Nothing is learned yet" in houses("quillmere", "learned").out
    refused(houses("quillmere", "learned", "--species", "lowlnd"), "lowlnd", "lowland")


def test_an_export_holds_nothing_of_the_stock(houses, exported):
    """No place, cohort, number of animals or keeper; the library is untouched."""
    path, _ = exported
    text = path.read_text()

    for word in (PLACE, "shelf", "ines", "Quillmere Insectarium", '"cohort"'):
        assert word not in text
    figure = json.loads(text)["figures"]["figures"][0]
    assert ANIMALS not in figure.values()
    assert figure["n"] == COHORTS
    (lives,) = json.loads(text)["figures"]["survival"]
    assert not {ANIMALS, 4, COHORTS * ANIMALS, COHORTS * 4} & set(lives.values())
    assert (lives["n"], lives["share"], lives["worth"]) == (COHORTS, 0.33, 17)
    assert (lives["warmth_low"], lives["warmth_high"]) == (24.0, 24.0)
    assert (houses.config / "species/lowland.toml").read_text() == LOWLAND


def test_an_import_moves_what_is_believed_elsewhere(houses, exported):
    """Trusted once by the fingerprint; later files of the same house need no word."""
    path, fingerprint = exported
    said = houses("quillmere", "import", path, "--trust", fingerprint)
    assert said.code == 0
    assert "Overmere, 2026-04-01: 2 of 2 figures count here" in said.out

    again = houses("quillmere", "import", path, "--json")
    told = json.loads(houses("quillmere", "learned", "--json").out)

    assert json.loads(again.out)["used"] == 2
    (egg,) = told["learned"]
    assert (egg["houses"], egg["n"]) == (1, 0)
    assert egg["posterior"]["mean"] > 215
    assert told["houses"][0]["fingerprint"] == fingerprint
    assert "2 of 2 figures used" in houses("quillmere", "learned").out


def test_an_imported_survival_is_shown_and_moves_what_is_believed(houses, exported):
    """In words and for programs: prior, other houses, nothing seen here, posterior."""
    path, fingerprint = exported
    houses("quillmere", "import", path, "--trust", fingerprint)

    out = " ".join(houses("quillmere", "learned").out.split())
    told = json.loads(houses("quillmere", "learned", "--json").out)

    assert "elsewhere 33% in 3 cohorts of 1 other house; counts as 17 animals" in out
    assert "seen here no cohort counted" in out
    (lives,) = told["survival"]
    assert (lives["broods"], lives["houses"], lives["elsewhere_n"]) == (0, 1, 3)
    assert (lives["elsewhere_share"], lives["elsewhere_worth"]) == (0.33, 17)
    assert lives["mean"] == pytest.approx((1 + 0.33 * 17) / 19)


def test_survival_counts_only_where_the_first_stage_is_the_same(houses, exported):
    """Nor does the requirement of a stage that is not in the file here."""
    path, fingerprint = exported
    file = houses.config / "species/lowland.toml"
    file.write_text(LOWLAND.replace('id = "egg"', 'id = "ovum"'))

    refused(
        houses("quillmere", "import", path, "--trust", fingerprint),
        "none of its figures counts here",
    )
    learned = json.loads(houses("quillmere", "learned", "--json").out)
    assert learned["survival"] == []


def test_an_altered_survival_is_refused(houses, exported):
    """The signature covers it."""
    path, fingerprint = exported
    path.write_text(path.read_text().replace('"share": 0.33', '"share": 0.93'))

    refused(
        houses("quillmere", "import", path, "--trust", fingerprint),
        "altered after it was signed",
    )


def test_a_stranger_is_not_believed_unasked(houses, exported):
    """Nobody here knows the key; the fingerprint comes by another way."""
    path, fingerprint = exported

    refused(houses("quillmere", "import", path), "nobody here knows", "--trust")
    wrong = "0" * 32
    refused(
        houses("quillmere", "import", path, "--trust", wrong),
        "not by the key that you trust",
    )
    refused(houses("quillmere", "import", path, "--trust", "12ab"), "is no fingerprint")
    assert not (houses.tmp / "quillmere/figures" / f"{fingerprint}.json").exists()


def test_an_altered_file_is_refused(houses, exported):
    """In one line, before anything is kept."""
    path, fingerprint = exported
    text = path.read_text()
    path.write_text(text.replace('"n": 3', '"n": 9'))

    refused(
        houses("quillmere", "import", path, "--trust", fingerprint),
        "altered after it was signed",
    )


def test_a_newer_form_is_refused(houses, exported):
    """In words."""
    path, _ = exported
    path.write_text(path.read_text().replace('"version": 2', '"version": 7'))

    refused(houses("quillmere", "import", path), "version 7", "update it")


def test_unknown_species_are_refused_in_words(houses, exported):
    """No file here describes any of them: nothing is kept."""
    path, fingerprint = exported
    (houses.config / "species/lowland.toml").write_text(
        LOWLAND.replace('id = "lowland"', 'id = "highland"')
    )
    (houses.config / "species/lowland.toml").rename(
        houses.config / "species/highland.toml"
    )

    refused(
        houses("quillmere", "import", path, "--trust", fingerprint),
        "none of its figures counts here",
        "no species file here describes Exemplum calidum as lowland",
    )


def test_other_thresholds_are_not_pooled(houses, exported):
    """Degree-days above 11 C are other degree-days."""
    path, fingerprint = exported
    file = houses.config / "species/lowland.toml"
    file.write_text(LOWLAND.replace("lower_threshold = 10.0", "lower_threshold = 11.0"))

    said = houses("quillmere", "import", path, "--trust", fingerprint)

    assert "1 of 2 figures count here" in said.out
    assert said.err.startswith("Warning: not used: lowland egg: ")
    assert "not the same degree-days" in said.err
    told = json.loads(houses("quillmere", "learned", "--json").out)
    assert (told["learned"], told["survival"][0]["houses"]) == ([], 1)


def test_its_own_figures_count_once(houses, exported):
    """A house that imports itself is told so."""
    path, fingerprint = exported

    refused(
        houses("overmere", "import", path, "--trust", fingerprint),
        "of this house itself",
    )


def test_an_older_file_does_not_take_the_place_of_a_newer(
    houses, exported, monkeypatch
):
    """Files get mixed up in mails."""
    path, fingerprint = exported
    monkeypatch.setattr(Standing, "now", lambda _: NOW + 2 * DAY)
    newer = path.with_name("newer.json")
    houses("overmere", "export", "--to", newer, "--house", "Overmere")
    houses("quillmere", "import", newer, "--trust", fingerprint)

    refused(houses("quillmere", "import", path), "2026-04-01, older than what is kept")


def test_an_export_overwrites_nothing_and_needs_something_to_tell(houses, exported):
    """A file that is there, a label of nothing, a house that saw nothing."""
    path, _ = exported
    other = path.with_name("other.json")

    refused(
        houses("overmere", "export", "--to", path, "--house", "O"), "is there already"
    )
    refused(
        houses("overmere", "export", "--to", other, "--house", "\n"),
        "--house: ",
        "name",
    )
    refused(
        houses("quillmere", "export", "--to", other, "--house", "Q"), "nothing to tell"
    )
    assert not other.exists()


def test_a_spoilt_file_of_another_house_is_named_and_left_out(houses, exported):
    """The rest is shown."""
    path, fingerprint = exported
    houses("quillmere", "import", path, "--trust", fingerprint)
    (houses.tmp / "quillmere/figures" / f"{fingerprint}.json").write_text("{}")

    said = houses("quillmere", "learned")

    assert said.code == 0
    assert said.err.startswith("Warning: ")
    assert "Nothing is learned yet" in said.out


def test_without_a_state_directory_nothing_is_guessed(houses, monkeypatch):
    """69, and how to mend it."""
    houses("quillmere", "learned")
    monkeypatch.delenv("REARING_STATE")

    assert main.main(["forecast", "learned"]) == 69
