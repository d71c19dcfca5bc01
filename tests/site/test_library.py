"""What the shipped library says to keepers: care, limits, sources."""

import tomllib
from itertools import pairwise

import pytest

from monitor.site.species_file import STANDING_SOURCES
from monitor.site.words import TEMPERATURES
from tests.site.library import found, shipped, stages
from tests.source import ROOT

FILES = sorted((ROOT / "config").glob("species/*.toml"))
TEMPLATES = sorted((ROOT / "config").glob("templates/*.toml"))
ALL = [*FILES, *TEMPLATES]
GRADES = {"A", "B", "C", "D", "compiled", "standard"}
AT_REST = {"egg", "egg-case", "egg-sac", "prepupa", "pupa"}
HIDDEN = {"prepupa", "pupa", "resting-adult"}
PESTS = {
    "oryctes-agamemnon": "permit",
    "oryctes-rhinoceros": "licensed only",
    "popillia-japonica": "licensed only",
    "schistocerca-gregaria": "permit",
}


def raw(path):
    """A file as TOML, past the models that refuse it."""
    return tomllib.loads(path.read_text(encoding="utf-8"))


def sources(value):
    """Every source of a file, of whatever table."""
    if isinstance(value, dict):
        if "source" in value:
            yield value["source"]
        for inner in value.values():
            yield from sources(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from sources(inner)


def test_there_are_a_dozen_species_and_half_a_dozen_templates():
    """Each file is loaded under its own id, and templates alone are provisional."""
    library = shipped().library

    assert len(FILES) >= 12
    assert len(TEMPLATES) >= 6
    assert sorted(library.species) == sorted(path.stem for path in ALL)
    assert library.provisional == {path.stem for path in TEMPLATES}


def test_names_of_species_differ():
    """Nobody chooses between two entries of one name."""
    names = [s.species.name for s in shipped().library.species.values()]

    assert len(set(names)) == len(names)


@pytest.mark.parametrize("path", ALL, ids=lambda path: path.stem)
def test_every_source_resolves_to_a_graded_entry(path):
    """Each number names an entry with a grade, a place and a note, or practice."""
    entries = raw(ROOT / "config" / "sources.toml")
    cited = set(sources(raw(path)))
    real = cited - set(STANDING_SOURCES)

    assert real
    assert [s for s in real if entries[s]["grade"] not in GRADES] == []
    assert [s for s in real if not (entries[s]["where"] and entries[s]["note"])] == []


def test_memory_alone_decides_no_development():
    """What nobody read may colour a limit, never a requirement."""
    remembered = [
        (species, stage.id)
        for species, stage in stages()
        if stage.development and stage.development.source == "from-memory"
    ]

    assert remembered == []


def test_templates_assume_no_development():
    """The unknown consignment gets limits and care, no dates."""
    dated = [
        species
        for species, stage in stages()
        if species in shipped().library.provisional and stage.development
    ]

    assert dated == []


def test_no_source_entry_is_idle():
    """Every entry is cited by a species, or in the note of one that is."""
    entries = shipped().sources
    cited = {s for path in ALL for s in sources(raw(path))}
    reached = set()
    while cited:
        reached |= cited
        notes = " ".join(entries[s].note or "" for s in cited if s in entries)
        cited = {s for s in entries if s in notes} - reached

    assert sorted(set(entries) - reached) == []


def test_every_stage_has_care_and_a_band_of_temperature():
    """Acts, a caution, and limits that alarm, for every stage that is shipped."""
    bare = [
        f"{species} {stage.id}"
        for species, stage in stages()
        if not (stage.acts and stage.caution and alarms(stage))
    ]

    assert bare == []


def alarms(stage):
    return [b for b in stage.bands if b.quantity in TEMPERATURES and b.tolerated]


@pytest.mark.parametrize("path", ALL, ids=lambda path: path.stem)
def test_each_limit_encloses_the_one_within(path):
    """Target lies in tolerated and tolerated in danger, by day and by night."""
    bands = [
        table
        for stage in raw(path)["stage"]
        for band in stage["band"]
        for table in (band, band | band.get("night", {}))
    ]
    layers = [
        (outer, inner)
        for band in bands
        for inner, outer in pairwise(
            [band[k] for k in ("target", "tolerated", "danger") if k in band]
        )
    ]

    assert layers
    assert all(o[0] <= i[0] < i[1] <= o[1] for o, i in layers)


def test_eggs_and_pupae_are_left_in_peace():
    """Nobody is asked to open, dig for, weigh or turn them."""
    forbidden = {"dig", "open", "weigh", "turn-upright", "change-substrate"}
    asked = [
        f"{species} {stage.id}"
        for species, stage in stages()
        if stage.id in AT_REST and forbidden & set(stage.acts)
    ]

    assert asked == []
    assert {stage.id for _, stage in stages()} >= AT_REST


def test_what_happens_underground_is_unseen_and_quiet():
    """Unseen stages allow a look and a level carry; only stages of rest are unseen."""
    unseen = [(species, stage) for species, stage in stages() if stage.unseen]
    allowed = {"look", "carry-level"}

    assert [s.id for _, s in unseen if s.id not in HIDDEN] == []
    assert [n for n, s in unseen if not set(s.acts) <= allowed] == []
    assert {n for n, s in unseen if s.id == "pupa"} >= {
        "dynastes-hercules",
        "mecynorhina-torquata",
        "flower-beetle",
    }


def test_large_larvae_get_an_earliest_date():
    """A third instar waits, rests or wants a weight: heat alone decides none."""
    decided = [
        species
        for species, stage in stages()
        if stage.id == "L3"
        and stage.development
        and stage.development.driven_by == "heat"
    ]

    assert decided == []
    assert found("dorcus-hopei").stage("L3").development.driven_by == "heat-earliest"


@pytest.mark.parametrize(("species", "words"), PESTS.items())
def test_pests_say_so_at_every_stage(species, words):
    """Whoever opens a tub of a pest is told of the permit; local law decides."""
    silent = [
        stage.id
        for stage in found(species).stages
        if not (words in stage.caution and "no escapes" in stage.caution)
        and not (words in stage.caution and "reeze" in stage.caution)
    ]

    assert silent == []


def test_cannibals_are_told_of():
    """A scarab or stag beetle that eats its own says so where it is kept."""
    for species in ("goliathus-goliatus", "mecynorhina-torquata"):
        assert found(species).species.eats_its_own
        for stage in ("L2", "L3"):
            assert "eat one another" in found(species).stage(stage).caution
            assert "separate" in found(species).stage(stage).acts
