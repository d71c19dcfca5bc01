"""
Tables of README and DEVELOPERS that are made from the program.

``python -m tests.docs.tables`` writes them anew between their marks.
"""

import re
from collections import defaultdict
from pathlib import Path

from monitor.alarms.condition import SensorCondition
from monitor.alarms.registry import CONDITIONS
from monitor.cli.registry import COMMANDS
from monitor.site.load import load
from tests.docs.pages import DEVELOPERS, README
from tests.source import ROOT, package
from tests.test_architecture import FLOORS

_MARKED = re.compile(
    r"(?<=<!-- generated: )(\w+)( -->\n)(.*?)(?=<!-- end -->)", re.DOTALL
)


def table(head, rows):
    """A table in Markdown."""
    lines = [head, ["---"] * len(head), *rows]
    return "".join(f"| {' | '.join(map(str, line))} |\n" for line in lines)


def alarms():
    """Every kind of alarm, the graver first."""
    rows = [
        (
            f"`{c.id}`",
            c.words.title,
            c.words.meaning,
            c.words.first_action,
            _priority(c),
        )
        for c in CONDITIONS.values()
    ]
    return table(
        ("kind", "title", "what it means", "what to do first", "priority"), rows
    )


def _priority(condition):
    if isinstance(condition, SensorCondition):
        return "note to urgent, by who depends on it"
    return condition.priority.value


def commands():
    """Every command, in the order of the help."""
    rows = [(f"`{' '.join(c.words)}`", c.help) for c in COMMANDS]
    return table(("command", "what it does"), rows)


def species():
    """Every species and template, with where its numbers come from."""
    configuration = load(ROOT / "config")
    rows = []
    for found in sorted(configuration.library.species.values(), key=lambda s: s.id):
        provisional = found.id in configuration.library.provisional
        kind = "template" if provisional else f"*{found.species.name}*"
        development, limits = defaultdict(int), {}
        for stage in found.stages:
            record = stage.development
            if record is not None:
                what = "degree-days" if record.required_degree_days else "duration"
                development[what, _graded(record.source, configuration)] += 1
            limits |= {_graded(b.source, configuration): None for b in stage.bands}
        rows.append((f"`{found.id}`", kind, _developed(development), ", ".join(limits)))
    return table(("id", "animal", "development (stages)", "limits"), rows)


def _developed(counted):
    said = [f"{what} {source}: {n}" for (what, source), n in counted.items()]
    return "; ".join(said) or "none"


def _graded(source, configuration):
    entry = configuration.sources.get(source)
    return f"{source} ({entry.grade})" if entry else str(source)


def rooms():
    """The rooms that there are, the lowest floor first."""
    there = {m.room for m in package()}
    rows = []
    for first, second, words in FLOORS:
        names = [r for r in f"{first} {second}".split() if r in there]
        # the second column of a floor of two single rooms belongs to its words
        if names:
            rows.append((", ".join(f"`{n}`" for n in names), words))
    return table(("rooms", "what is in them"), rows)


TABLES = {f.__name__: f for f in (alarms, commands, species, rooms)}


def written(page: Path) -> str:
    """The text of a page with its tables made anew."""

    def made(marked: re.Match[str]) -> str:
        return f"{marked[1]}{marked[2]}{TABLES[marked[1]]()}"

    return _MARKED.sub(made, page.read_text(encoding="utf-8"))


def stand(page: Path) -> dict[str, str]:
    """The tables that stand in a page, by name."""
    found = _MARKED.findall(page.read_text(encoding="utf-8"))
    return {name: text for name, _, text in found}


if __name__ == "__main__":
    for one in (README, DEVELOPERS):
        one.write_text(written(one), encoding="utf-8")
