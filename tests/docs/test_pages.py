"""What README, DEVELOPERS and CHANGES say of the program is so."""

import re
import shlex
import tomllib

import pytest

from monitor.cli.main import build_parser
from monitor.errors import MonitorError, UsageError
from monitor.site.load import load
from monitor.site.mending import validated
from monitor.site.site_file import Site
from tests.docs.pages import (
    DEVELOPERS,
    PAGES,
    README,
    blocks,
    command_lines,
    links,
    trial_site,
)
from tests.docs.tables import TABLES, stand
from tests.source import ROOT

HOW = "write it anew: python -m tests.docs.tables"


@pytest.mark.parametrize("name", ["alarms", "commands", "species"])
def test_the_readme_has_the_table_of(name):
    """Every kind of alarm, command and species stands there as the program has it."""
    assert stand(README)[name] == TABLES[name](), HOW


def test_developers_has_the_table_of_the_rooms():
    """The rooms and their floors are those that the test of imports goes by."""
    assert stand(DEVELOPERS)["rooms"] == TABLES["rooms"](), HOW


def test_the_library_is_described_in_words_too():
    """Each species has its sentence on what is published and what is practice."""
    library = load(ROOT / "config").library
    section = README.read_text(encoding="utf-8").split("## The library of species")[1]

    missing = [
        s.species.name
        for s in library.species.values()
        if s.id not in library.provisional and f"- *{s.species.name}*: " not in section
    ]
    assert not missing
    assert library.provisional
    assert "- The templates are" in section


@pytest.mark.parametrize(
    "words", [*command_lines(README), *command_lines(DEVELOPERS)], ids=shlex.join
)
def test_every_command_line_parses(words):
    """What stands in a shell block is accepted by the program's own parser."""
    assert build_parser().parse_args(words).run


def test_commands_in_the_text_exist():
    """What the text calls `rearing-monitor …` is a command too."""
    text = README.read_text(encoding="utf-8")
    called = re.findall(r"`rearing-monitor ([^`-][^`]*)`", text)

    assert len(called) >= 6
    for line in called:
        assert build_parser().parse_args(shlex.split(line)).run


def test_a_line_that_does_not_parse_is_found():
    """The parser of the tests above refuses what is no command."""
    with pytest.raises(UsageError):
        build_parser().parse_args(shlex.split("cohort advanse 1"))


def test_every_exit_code_is_explained():
    """Each class of error ends with a code that stands in the README's table."""
    text = README.read_text(encoding="utf-8")
    classes = [MonitorError]
    for one in classes:
        classes += one.__subclasses__()

    codes = {one.exit_code for one in classes}
    assert codes >= {1, 2, 69, 78}
    assert codes <= {int(c) for c in re.findall(r"(?m)^\| (\d+) \| ", text)}


def test_the_trial_site_is_good():
    """The pieces of site.toml make one good file, and its trial is a trial."""
    site = validated(Site, tomllib.loads(trial_site()), "site.toml")

    assert site.broker is not None
    assert site.broker.embedded
    assert len(blocks(README, "toml")) > 5


@pytest.mark.parametrize(
    "block",
    [b for b in blocks(README, "toml") if b.use != "trial"],
    ids=lambda b: b.text.splitlines()[0],
)
def test_other_pieces_of_site_toml_fit_into_the_trial(block):
    """A table that is shown for a real house replaces the one of the trial."""
    tables = tomllib.loads(trial_site()) | tomllib.loads(block.text)

    assert validated(Site, tables, "site.toml")


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_no_relative_link_is_dead(page):
    """What a page points to in this project is there."""
    relative = [a for a in links(page) if not a.startswith(("https://", "http://"))]

    assert [a for a in relative if not (page.parent / a).exists()] == []
    assert links(page)


def test_there_is_a_reason_for_each_dependency():
    """What pyproject names stands in the table with why, and nothing else does."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    wanted = [
        *project["project"]["dependencies"],
        *(d for e in project["project"]["optional-dependencies"].values() for d in e),
    ]
    section = DEVELOPERS.read_text(encoding="utf-8").split("## Dependencies")[1]
    rows = re.findall(r"(?m)^\| ([a-z][a-z, -]*) \| \w", section.split("## ")[0])

    named = [n for row in rows if row != "package" for n in row.split(", ")]
    assert sorted(named) == sorted({re.match(r"[\w.-]+", line)[0] for line in wanted})


def test_every_bench_stands_in_developers():
    """How to run it is said for each."""
    text = DEVELOPERS.read_text(encoding="utf-8")
    benches = sorted((ROOT / "tests/bench").glob("bench_*.py"))

    assert benches
    assert [b.stem for b in benches if f"tests.bench.{b.stem}\n" not in text] == []


def test_one_sentence_stands_on_a_line():
    """So that a change of one sentence is a change of one line."""
    pattern = re.compile(r"[a-z)`][.!?] [A-Z][a-z]+ ")
    bad = []
    for page in PAGES[:2]:
        prose = re.sub(r"(?ms)^```.*?^```$", "", page.read_text(encoding="utf-8"))
        bad += [
            f"{page.name}: {line[:80]}"
            for line in prose.splitlines()
            if pattern.search(line) and not re.match(r"\||- |\d+\. ", line)
        ]

    assert not bad, "\n".join(bad)
