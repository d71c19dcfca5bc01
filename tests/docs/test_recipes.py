"""The recipes of DEVELOPERS.md, applied to a copy of the program and used."""

import json
import os
import shutil
import subprocess
import sys
import textwrap

import pytest

from monitor.site.load import load
from monitor.site.spans import parse_span
from tests.docs.pages import DEVELOPERS, blocks
from tests.source import ROOT

RECIPES = [b for b in blocks(DEVELOPERS) if b.use]


def apply(text, hunk):
    """A text with the hunk of a diff applied; its place must be there, once."""
    lines = [(line[:1] or " ", line[1:]) for line in hunk.splitlines()]
    old = "".join(f"{line}\n" for mark, line in lines if mark != "+")
    new = "".join(f"{line}\n" for mark, line in lines if mark != "-")
    assert text.count(old) == 1, f"not there once:\n{old}"
    return text.replace(old, new)


@pytest.fixture(scope="module")
def copy(tmp_path_factory):
    """The program with every recipe in it."""
    folder = tmp_path_factory.mktemp("recipes")
    for name in ("monitor", "config"):
        skipped = shutil.ignore_patterns("__pycache__")
        shutil.copytree(ROOT / name, folder / name, ignore=skipped)
    for recipe in RECIPES:
        path = folder / recipe.use
        if recipe.language == "diff":
            path.write_text(apply(path.read_text(encoding="utf-8"), recipe.text))
        else:
            assert not path.exists(), f"{recipe.use} is there already"
            path.write_text(recipe.text, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def run(copy):
    """Run Python in the copy; it prints one JSON value."""

    def run(source, *words):
        ended = subprocess.run(
            [sys.executable, "-c", textwrap.dedent(source), *words],
            cwd=copy,
            env={"PATH": os.environ["PATH"], "PYTHONPATH": f"{copy}:{ROOT}"},
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
        assert ended.returncode == 0, ended.stderr[-3000:]
        return json.loads(ended.stdout)

    return run


def test_there_is_a_recipe_for_each_registry():
    """Whatever can be added has its new file."""
    new = {r.use.rsplit("/", 1)[0] for r in RECIPES if r.language != "diff"}

    assert new == {
        "config/species",
        "monitor/site/sections",
        "monitor/alarms/conditions",
        "monitor/notices",
        "monitor/cli",
        "monitor/summary/sections",
    }


def test_the_recipes_obey_the_linter(copy):
    """What is copied from here passes."""
    files = [copy / r.use for r in RECIPES if r.language == "python"]
    checked = subprocess.run(
        [
            *(sys.executable, "-m", "ruff", "check", "--no-cache"),
            *("--config", ROOT / "pyproject.toml", *files),
        ],
        cwd=copy,
        capture_output=True,
        text=True,
        check=False,
    )

    assert checked.returncode == 0, checked.stdout


def test_the_species_loads_and_says_what_it_says(copy):
    """Bands by day and night, degree-days per sex, a duration: all from the file."""
    library = load(copy / "config").library
    larva = library.stage("cetonia-quillmerensis", "larva")
    pupa = library.stage("cetonia-quillmerensis", "pupa")

    [band] = larva.bands
    assert band.limits(night=True).target == (18.0, 22.0)
    assert band.limits(night=True).danger == (10.0, 33.0)
    assert {r.sex: r.mean for r in larva.development.required_degree_days} == {
        "female": 620.0,
        "male": 660.0,
    }
    assert larva.due[0].every == parse_span("7 d")
    assert pupa.development.duration_days[0].at == 23.0
    assert "cetonia-quillmerensis" not in library.provisional


def test_the_section_is_read_refused_and_printed(run):
    """A stage may have the new table; a wrong number in it is named."""
    got = run(
        """
        import json, tomllib
        from pathlib import Path
        from monitor.errors import ConfigError
        from monitor.site.mending import validated
        from monitor.site.sections.container import CONTAINER
        from monitor.site.species_file import Species

        text = Path("config/species/cetonia-quillmerensis.toml").read_text()
        more = '''
        [stage.container]
        litres_each = {}
        source = "common-practice"
        '''
        def read(litres):
            data = tomllib.loads(text + more.format(litres))
            return validated(Species, data, "x.toml").stage("pupa").table(CONTAINER)
        try:
            read("0.0")
        except ConfigError as error:
            said = str(error)
        found = read("2.5")
        print(json.dumps([found.litres_each, list(CONTAINER.lines(found)), said]))
        """
    )

    assert got[:2] == [2.5, ["at least 2.5 L each (common-practice)"]]
    assert "litres_each" in got[2]


def test_the_condition_alarms_through_the_step(run):
    """Two readings far outside raise it at once, and it covers the lesser kind."""
    got = run(
        """
        import json
        from tests.heart.house import Run, begin
        run = Run(begin())
        for value in (22.0, 12.5):
            run.read(value)
        before = [a.kind for a in run.alarms()]
        for _ in range(6):
            run.read(12.5)
        after = {a.kind: [a.state, a.limit, a.priority] for a in run.alarms()}
        print(json.dumps([before, after, run.notices()]))
        """
    )

    before, after, notices = got
    assert before == []
    assert after["far-outside"] == ["unacknowledged", 13.0, "prompt"]
    assert after["outside-tolerated"][0] == "suppressed-by-design"
    assert notices[0] == [15.0, "ines", "raised"]


def test_the_channel_is_made_from_its_secret_and_shows_the_notice(run, tmp_path):
    """A channel with such an address writes the short form, or says why not."""
    got = run(
        """
        import json, sys
        from pathlib import Path
        from monitor.channels import channels_of
        from monitor.site.load import load
        from monitor.site.secrets import Secrets
        from monitor.testing import FakeClock
        from tests.support.notices import notice

        folder = Path(sys.argv[1])
        folder.joinpath("site.toml").write_text('''
        [site]
        name = "Quillmere Insectarium"
        time_zone = "Europe/Dublin"
        [[room]]
        id = "warm-room"
        name = "Warm room"
        [[channel]]
        id = "wall"
        [[keeper]]
        id = "ines"
        name = "Ines"
        role = "keeper"
        channels = ["wall"]
        ''')
        configuration, clock, results = load(folder), FakeClock(), []
        for device in ("display", "nowhere/display"):
            secret = folder / "channel_wall"
            secret.write_text(f"display:{folder / device}")
            made = channels_of(
                configuration, Secrets(folder), clock, store="1", directory=folder
            )
            [(name, channel)] = made("ines")
            sent = channel.send(notice(short="Go now"), deadline=clock.now())
            results.append([name, type(sent).__name__])
        print(json.dumps([results, folder.joinpath("display").read_text()]))
        """,
        str(tmp_path),
    )

    assert got == [[["wall", "Sent"], ["wall", "FailedForNow"]], "Go now\n"]


def test_the_command_parses_and_answers(run):
    """It stands among the others, its example runs, and so does --json."""
    got = run(
        """
        import contextlib, io, json, shlex
        from monitor.cli.main import build_parser, main
        from monitor.cli.registry import COMMANDS
        [command] = [c for c in COMMANDS if c.words == ("calc", "celsius")]
        parsed = build_parser().parse_args(shlex.split(command.example))
        out = io.StringIO()
        with contextlib.redirect_stdout(out):
            code = main([*shlex.split(command.example), "--json"])
        same = parsed.run is command.run
        print(json.dumps([same, code, json.loads(out.getvalue())]))
        """
    )

    assert got == [True, 0, {"celsius": 24.0}]


def test_the_section_of_the_summary_tells_the_week(run):
    """It stands in the registry, and its figures come as text and for programs."""
    got = run(
        """
        import json
        from datetime import timedelta
        from monitor.site.house import fold
        from monitor.site.journal import CohortMoved, PlaceMoved
        from monitor.summary.registry import SECTIONS
        from monitor.summary.sections.moves import MOVES
        from monitor.summary.summary import as_json, as_text, summarise
        from monitor.summary.view import WeekView
        from tests.heart.house import JOURNAL, LIBRARY, T0, entry, site

        moved = tuple(entry(fact, T0) for fact in (
            PlaceMoved("tub-1", "shelf-b"),
            CohortMoved(1, "tub-3"),
            CohortMoved(1, "tub-1"),
        ))
        week, made = timedelta(days=7), site()
        view = WeekView(
            week="2026-W10", start=T0, end=T0 + week, until=T0 + week, site=made,
            library=LIBRARY, house=fold(made, (*JOURNAL, *moved)), entries=moved,
            readings=lambda sensor, quantity: ((), ()), gap=lambda sensor: week,
        )
        summary = summarise(view, [MOVES])
        told = as_text(summary).splitlines()
        print(json.dumps([MOVES in SECTIONS, told[-3:], as_json(summary)["moves"]]))
        """
    )

    assert got == [
        True,
        ["Moves", "-----", "Moved: enclosures 1, cohorts 2."],
        {"places": 1, "cohorts": 2},
    ]
