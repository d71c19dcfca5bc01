"""Sections of a species file: another one is a file and a line, and as strict."""

import re
import tomllib
from collections.abc import Iterator, Sequence
from typing import Annotated, get_args

import pytest
from pydantic import Field

from monitor.errors import ConfigError
from monitor.site.effective import effective
from monitor.site.load import load
from monitor.site.mending import validated
from monitor.site.model import Many, Model, Problem
from monitor.site.sections import registry
from monitor.site.sections.section import Section
from monitor.site.sources import Sourced
from monitor.site.species_file import Species, Stage, source_problems
from tests.site import forms

# what a new file would hold


class Gain(Sourced):
    """Weight that one sex gains in the stage, in g."""

    sex: str
    mean_g: Annotated[float, Field(gt=0)]


class Weights(Sourced):
    """[stage.weights]: what an animal weighs at the end of the stage, in g."""

    least_g: Annotated[float, Field(gt=0)]
    gain: Many[Gain] = ()


def _weights_lines(weights: Weights) -> Iterator[str]:
    yield f"weight: at least {weights.least_g:g} g ({weights.source})"


WEIGHTS = Section("weights", Weights, _weights_lines)


class Meal(Sourced):
    """[[stage.cool-meal]]: what is fed while it is cool."""

    food: str
    every_d: Annotated[float, Field(gt=0)]


def _meals_together(meals: Sequence[Meal]) -> Iterator[Problem]:
    foods = [meal.food for meal in meals]
    for i, food in enumerate(foods):
        if food in foods[:i]:
            yield Problem((i, "food"), f'"{food}" stands twice: keep one')


MEALS = Section(
    "cool-meal",
    Meal,
    lambda meal: [f"{meal.food} every {meal.every_d:g} d ({meal.source})"],
    many=True,
    together=_meals_together,
)

TABLES = """
[stage.weights]
least_g = 30.0
source = "from-memory"
gain = [{ sex = "female", mean_g = 8.0, source = "common-practice" }]

[[stage.cool-meal]]
food = "leaf mould"
every_d = 14.0
source = { house = "Quillmere", date = 2026-03-01 }

[[stage.cool-meal]]
food = "oat flakes"
every_d = 30.0
source = "from-memory"
"""
TEXT = forms.edited(
    forms.SPECIES, ('[[stage]]\nid = "pupa"', f'{TABLES}\n[[stage]]\nid = "pupa"')
)


@pytest.fixture(autouse=True)
def _lines(monkeypatch):
    """The two lines in the registry."""
    monkeypatch.setattr(registry, "SECTIONS", (*registry.SECTIONS, WEIGHTS, MEALS))


def read(*edits):
    text = forms.edited(TEXT, *edits)
    return validated(Species, tomllib.loads(text), "species/x.toml")


def complaint(*edits):
    with pytest.raises(ConfigError) as caught:
        read(*edits)
    return str(caught.value)


def test_new_sections_are_read_and_typed():
    """One table or several, by the accessor of the stage; the old ones as before."""
    egg = read().stage("egg")

    assert egg.table(WEIGHTS).least_g == 30.0
    assert [m.food for m in egg.tables(MEALS)] == ["leaf mould", "oat flakes"]
    assert egg.bands[0].tolerated == (19.0, 29.0)
    assert egg.development.required_degree_days[0].mean == 210.0


def test_a_stage_without_the_section_has_no_tables():
    """Absence is nothing, never a default."""
    pupa = read().stage("pupa")

    assert pupa.table(WEIGHTS) is None
    assert pupa.tables(MEALS) == ()


def test_several_tables_are_not_asked_for_as_one():
    """Which of several would be meant, nobody could tell."""
    with pytest.raises(ValueError, match="several cool-meal"):
        read().stage("egg").table(MEALS)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (
            "least_g = 30.0",
            "lest_g = 30.0",
            'stage[1] (egg).weights.lest_g: unknown key: do you mean "least_g"?',
        ),
        (
            "[stage.weights]",
            "[stage.wieghts]",
            'stage[1] (egg).wieghts: unknown key: do you mean "weights"?',
        ),
        (
            'least_g = 30.0\nsource = "from-memory"\n',
            "least_g = 30.0\n",
            "stage[1] (egg).weights.source: is missing, and has no default: add it",
        ),
        (
            ', source = "common-practice" }]',
            " }]",
            "stage[1] (egg).weights.gain[1].source: is missing",
        ),
        (
            '30.0\nsource = "from-memory"\n\n[[stage]]',
            "30.0\n\n[[stage]]",
            "stage[1] (egg).cool-meal[2].source: is missing",
        ),
        (
            "every_d = 30.0",
            "every_d = nan",
            "stage[1] (egg).cool-meal[2].every_d: nan is not finite: give a number",
        ),
        (
            '"oat flakes"',
            '"leaf mould"',
            'stage[1] (egg).cool-meal[2].food: "leaf mould" stands twice: keep one',
        ),
        (
            "[stage.weights]",
            "[[stage.weights]]",
            "stage[1] (egg).weights: [{",
        ),
        (
            'id = "egg"',
            'id = "egg"\n"<sections>" = { band = [] }',
            "stage[1] (egg).<sections>: unknown key",
        ),
    ],
)
def test_a_new_section_is_as_strict_as_the_old_ones(old, new, said):
    """Misspelt keys, missing sources and values out of bounds are named."""
    assert complaint((old, new)).startswith(f"species/x.toml: {said}")


def test_errors_of_several_sections_are_counted_together():
    """One line names the first and says how many there are beside it."""
    text = complaint(
        ("least_g = 30.0", "least_g = -1.0"), ("mean = 210.0", "mean = -2.0")
    )

    assert re.search(r"development.*mean: -2.0 .* \(and 1 more\)$", text)


def test_every_source_of_a_new_section_must_resolve():
    """In its tables and in the tables within them."""
    species = read(
        ('30.0\nsource = "from-memory"\ngain', '30.0\nsource = "nobody-1"\ngain'),
        ('"common-practice" }]\n\n[[stage.cool', '"nobody-2" }]\n\n[[stage.cool'),
        (
            '30.0\nsource = "from-memory"\n\n[[stage]]',
            '30.0\nsource = "nobody-3"\n\n[[stage]]',
        ),
    )

    problems = source_problems(species, frozenset())

    assert [p.path for p in problems] == [
        ("stage", 0, "weights", "source"),
        ("stage", 0, "weights", "gain", 0, "source"),
        ("stage", 0, "cool-meal", 1, "source"),
    ]


def test_check_prints_new_sections_with_their_sources(tmp_path):
    """What the program goes by, and who says so."""
    house = forms.config_dir(tmp_path, species=TEXT)

    text = effective(load(house), {})

    assert "#   egg: weight: at least 30 g (from-memory)" in text
    assert "#   egg: leaf mould every 14 d (Quillmere, 2026-03-01)" in text
    assert (
        "#   egg: development by heat above 10 degC, horizontal cutoff at 32 degC: "
        "210 +- 21 degC d (from-memory)" in text
    )
    assert "female 75 +- 10 d at 24 degC, male 85 +- 12 d at 24 degC" in text


def test_a_table_that_no_section_knows_is_refused(monkeypatch):
    """Without the line in the registry the file is wrong."""
    monkeypatch.setattr(registry, "SECTIONS", registry.SECTIONS[:2])

    assert "(egg).weights: unknown key" in complaint()


def test_keys_of_sections_are_their_own():
    """No two sections share a key, and none takes a key of the stage."""
    tables = [section.table for section in registry.SECTIONS]

    assert len(set(tables)) == len(tables)
    assert not set(tables) & {f.alias or name for name, f in Stage.model_fields.items()}


def unsourced(annotation, way=""):
    """The ways to tables that hold numbers and stand under no source."""
    if isinstance(annotation, type) and issubclass(annotation, Sourced):
        return []
    if isinstance(annotation, type) and issubclass(annotation, Model):
        kinds = annotation.keys_and_types().items()
        return [w for key, kind in kinds for w in unsourced(kind, f"{way}.{key}")]
    if annotation in (int, float):
        return [way]
    return [w for part in get_args(annotation) for w in unsourced(part, way)]


def test_no_number_of_any_section_stands_without_a_source():
    """Every table of numbers is `Sourced`, or lies in one that is."""
    assert [unsourced(s.annotation, s.table) for s in registry.SECTIONS] == [[]] * 4


def test_the_search_for_numbers_without_source_can_fail():
    """A bare table of numbers is found."""

    class Bare(Model):
        """No source."""

        least_g: float | None = None

    assert unsourced(tuple[Bare, ...], "bare") == ["bare.least_g"]
