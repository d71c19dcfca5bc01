"""README and DEVELOPERS as their readers see them: fenced blocks, links, tables."""

import re
import shlex
from dataclasses import dataclass

from tests.source import ROOT

README = ROOT / "README.md"
DEVELOPERS = ROOT / "DEVELOPERS.md"
CHANGES = ROOT / "deploy/CHANGES.md"
PAGES = (README, DEVELOPERS, CHANGES)

_FENCE = re.compile(r"^```(\S*) ?(.*)\n((?:.*\n)*?)^```$", re.MULTILINE)
_LINK = re.compile(r"\[[^]]*\]\(([^)\s]+)\)")
_PROGRAM = re.compile(r"(?:^|[/ ])rearing-monitor (?=[a-z-])")


@dataclass(frozen=True)
class Block:
    """
    One fenced block.

    Attributes:
        language: The first word behind the fence.
        use: The rest: "trial", "trial-beside", "mail", a path, or "".
        text: What stands in it.
    """

    language: str
    use: str
    text: str


def blocks(page, *languages):
    """The fenced blocks of a page in order, of some languages where they are named."""
    found = [Block(*m) for m in _FENCE.findall(page.read_text(encoding="utf-8"))]
    return [b for b in found if not languages or b.language in languages]


def links(page):
    """Every address that a page points to."""
    return _LINK.findall(page.read_text(encoding="utf-8"))


def trial_site():
    """site.toml as the pieces of the README make it."""
    return "\n".join(b.text for b in blocks(README, "toml") if b.use == "trial")


def command_lines(page):
    """Each call of the program in a shell block, as the words behind its name."""
    found = []
    for block in blocks(page, "sh"):
        for line in block.text.splitlines():
            called = _PROGRAM.search(line)
            if called and not line.lstrip().startswith("exec "):
                found.append(shlex.split(line[called.end() :]))
    return found
