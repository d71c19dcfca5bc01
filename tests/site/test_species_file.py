"""Species files: what a stage may say, and what belongs together."""

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.errors import ConfigError
from monitor.site.mending import validated
from monitor.site.species_file import Band, Library, Species, source_problems
from tests.site import forms


def read(*edits):
    text = forms.edited(forms.SPECIES, *edits)
    return validated(Species, tomllib.loads(text), "species/x.toml")


def complaint(*edits):
    with pytest.raises(ConfigError) as caught:
        read(*edits)
    return str(caught.value)


def test_the_complete_form_loads():
    """Every table and key of the contract is read."""
    species = read()

    egg = species.stage("egg")
    assert [s.id for s in species.stages] == ["egg", "pupa", "resting-adult"]
    assert egg.bands[0].night.tolerated == (17.0, 27.0)
    assert egg.development.required_degree_days[0].mean == 210.0
    assert species.stage("pupa").development.duration_days[1].at == 24.0


def test_night_inherits_what_it_does_not_say():
    """At night the day's target and danger stand beside the night's tolerated."""
    band = read().stage("egg").bands[0]

    assert band.limits(night=True) == ((22.0, 26.0), (17.0, 27.0), (12.0, 33.0))
    assert band.limits(night=False) == ((22.0, 26.0), (19.0, 29.0), (12.0, 33.0))


def test_a_stage_is_found_in_capitals_or_not():
    """Keepers write L1; typing l1 finds the same stage."""
    species = read(('id = "egg"', 'id = "L1"'))
    library = Library(species={"example-scarab": species})

    assert species.stage("l1") is library.stage("example-scarab", "L1")
    assert library.stage("example-scarab", "L9") is None
    assert library.stage("nobody", "L1") is None


RECORD = 'fitted_with = "constant temperatures"\n'
SUM = 'required_degree_days = [{ sex = "any", mean = 210.0, sd = 21.0 }]\n'


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (
            "lower_threshold = 10.0\nupper",
            "lower_threshold = 42.0\nupper",
            "lower_threshold: 42.0 is not below upper_threshold 32.0 (swap them?)",
        ),
        ("lower_threshold = 10.0\nupper", "upper", "lower_threshold: is missing"),
        ('cutoff = "horizontal"\n', "", "cutoff: is missing"),
        ("upper_threshold = 32.0\n", "", "cutoff: has no upper_threshold"),
        ('"horizontal"', '"diagonal"', 'cutoff: "diagonal" is none of'),
        (RECORD, "", "fitted_with: is missing: required_degree_days hold only for"),
        (SUM, "", 'driven_by: "heat" needs required_degree_days or duration_days'),
        (
            SUM,
            SUM + "duration_days = [{ mean = 9.0, sd = 1.0, at = 24.0 }]\n",
            "duration_days: stands beside required_degree_days",
        ),
        (SUM, SUM + "assumed_lower_threshold = 9.0\n", "is for durations alone"),
        ("assumed_lower_threshold = 10.0\n", "", "assumed_lower_threshold: is missing"),
        (
            "assumed_lower_threshold = 10.0",
            "assumed_lower_threshold = 24.0",
            "duration_days[1].at: 24.0 is not above assumed_lower_threshold 24.0",
        ),
        (
            "assumed_lower_threshold = 10.0",
            "assumed_lower_threshold = 10.0\nlower_threshold = 9.0",
            "lower_threshold: belongs to required_degree_days",
        ),
        (
            'driven_by = "heat"\nlower',
            'driven_by = "time"\nlower',
            'duration_days: is missing: what is driven by "time" needs it',
        ),
        (
            'driven_by = "heat"\nduration',
            'driven_by = "time"\nduration',
            "assumed_lower_threshold: has no meaning where time alone drives",
        ),
        ('driven_by = "heat"\nlower', 'driven_by = "hope"\nlower', '"hope" is none of'),
        ('sex = "female"', 'sex = "any"', '"any" stands beside a sex'),
        ('sex = "female"', 'sex = "male"', '"male" stands twice'),
        ('sex = "any"', 'sex = "both"', '"both" is none of'),
        ("mean = 210.0", "mean = 0.0", "mean: 0.0 should be greater than 0"),
        ("sd = 21.0", "sd = -1.0", "sd: -1.0 should be greater than or equal to 0"),
        ("at = 24.0", "at = 75.0", "at: 75.0 lies outside -20 to 60 degC"),
        ("upper_threshold = 32.0", "upper_threshold = 90.0", "is it in degF?"),
    ],
)
def test_thresholds_method_and_sum_are_one_record(old, new, said):
    """A requirement without its threshold, cutoff or method is refused."""
    text = complaint((old, new))

    assert text.startswith("species/x.toml: stage[")
    assert f".development.{said}" in text or said in text


def test_time_alone_needs_only_durations():
    """A stage driven by time has a duration and no thresholds."""
    species = read(
        ('driven_by = "heat"\nduration', 'driven_by = "time"\nduration'),
        ("assumed_lower_threshold = 10.0\n", ""),
    )

    assert species.stage("pupa").development.driven_by == "time"


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (
            "[19.0, 29.0]",
            "[29.0, 19.0]",
            "low 29.0 is not below high 19.0 (swap them?)",
        ),
        ("[22.0, 26.0]", "[26.0, 22.0]", "target: low 26.0 is not below high 22.0"),
        ("[12.0, 33.0]", "[33.0, 12.0]", "danger: low 33.0 is not below high 12.0"),
        ("[17.0, 27.0]", "[27.0, 17.0]", "night.tolerated: low 27.0 is not below"),
        (
            "[17.0, 27.0]",
            "[23.0, 27.0]",
            "night.tolerated: tolerated [23.0, 27.0] does",
        ),
        ("[17.0, 27.0]", "[11.0, 27.0]", "night.danger: danger [12.0, 33.0] does not"),
        ("[19.0, 29.0]", "[23.0, 29.0]", "does not enclose target [22.0, 26.0]"),
        ("[12.0, 33.0]", "[20.0, 33.0]", "does not enclose tolerated [19.0, 29.0]"),
        (
            '"substrate_temperature"',
            '"relative_humidity"\ndeadband = -1.0',
            "deadband: -1.0",
        ),
        ('of = "tub"', 'of = "shelf"', 'of: "shelf" is none of "tub" or "room"'),
        ('"30 min"', '"half an hour"', "is no span"),
        (
            '"moisten"',
            '"moistn"',
            'acts[2]: "moistn" is no act: write look, feed, mist',
        ),
        ('act = "look"', 'act = "feed"', '"feed" is due but is not among the acts'),
        ('id = "pupa"', 'id = "Egg"', 'stage[2] (Egg).id: "Egg" stands twice'),
        ('id = "pupa"', 'id = "in cell"', "is no id"),
        ("mean = 0.6", "mean = 1.6", "survival_egg_to_adult.mean: 1.6 should be less"),
        (
            'source = "from-memory" }',
            'source = { house = "us" } }',
            "source.date: is missing",
        ),
        ('source = "from-memory" }', "source = 5 }", "source: 5 is no text"),
    ],
)
def test_a_wrong_value_is_refused_with_its_mend(old, new, said):
    """Stage, key, value and mend stand in one line."""
    assert said in complaint((old, new))


def test_a_band_without_any_limit_is_refused():
    """A band says something, or is left out."""
    with pytest.raises(ConfigError, match="has no limit at all"):
        validated(
            Band, {"quantity": "air_temperature", "source": "from-memory"}, "x.toml"
        )


def test_two_bands_of_the_same_are_refused():
    """Which of two would decide, nobody could tell."""
    start = forms.SPECIES.index("[[stage.band]]")
    end = forms.SPECIES.index("[stage.development]")
    band = forms.SPECIES[start:end]

    assert "a second band of substrate_temperature of tub" in complaint(
        (band, band * 2)
    )


def test_a_house_figure_names_who_and_when():
    """A source may be this house, with name and date."""
    house = 'source = { house = "Quillmere", date = 2026-03-01 } }'

    species = read(('source = "from-memory" }', house))

    assert species.species.survival_egg_to_adult.source.house == "Quillmere"
    assert source_problems(species, frozenset()) == []


@pytest.mark.parametrize(
    ("old", "way"),
    [
        ('source = "from-memory" }', ("species", "survival_egg_to_adult", "source")),
        ('min"\nsource = "from-memory"', ("stage", 0, "band", 0, "source")),
        ('}]\nsource = "from-memory"', ("stage", 0, "development", "source")),
    ],
)
def test_every_source_must_resolve(old, way):
    """An id that sources.toml does not hold is found wherever it stands."""
    species = read((old, old.replace("from-memory", "nobody-1900")))

    problems = source_problems(species, frozenset({"somebody-1901"}))

    assert [p.path for p in problems] == [way]
    assert '"nobody-1900" is no source' in problems[0].text


@given(low=st.floats(), high=st.floats())
def test_only_finite_rising_limits_make_a_band(low, high):
    """NaN, infinity, equal and swapped limits are refused, whatever they are (C9)."""
    table = {
        "quantity": "air_temperature",
        "tolerated": [low, high],
        "source": "from-memory",
    }

    assert loads(table) == (-60 <= low < high <= 100)


def loads(table):
    try:
        validated(Band, table, "x.toml")
    except ConfigError:
        return False
    return True
