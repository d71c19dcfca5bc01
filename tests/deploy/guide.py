"""deploy/README.md as a shell reads it: sections, blocks, programs, units."""

import configparser
import re
import shlex
from dataclasses import dataclass

from tests.docs.pages import Block, blocks
from tests.source import ROOT

DEPLOY = ROOT / "deploy"
GUIDE = DEPLOY / "README.md"
UNIT = DEPLOY / "rearing-monitor.service"

_HEREDOC = re.compile(r"(?m)<<'?(\w+)'?(.*)\n(?:.*\n)*?\1$")
_INSIDE = re.compile(r"\$\(([^()]*)\)")
_ASSIGNMENT = re.compile(r"\w+=")
_ENDS = {";", "&&", "||", "|", "\n"}


@dataclass(frozen=True)
class Step:
    """One block of commands, and the heading that it stands under."""

    section: str
    block: Block


def steps(*uses):
    """The shell blocks in order; only of some uses where they are named."""
    text, found, section = GUIDE.read_text(encoding="utf-8"), [], ""
    left = iter(blocks(GUIDE, "sh"))
    fenced = False
    for line in text.splitlines():
        if line.startswith("```"):
            if line.startswith("```sh"):
                found.append(Step(section, next(left)))
            fenced = not fenced
        elif line.startswith("#") and not fenced:
            section = line.lstrip("# ")
    assert not list(left)
    return [s for s in found if not uses or s.block.use in uses]


def calls(text):
    """Every simple command of a script as its words, those inside $( ) too."""
    text = _HEREDOC.sub(r"\2", text).replace("\\\n", " ")
    found = []
    while inside := _INSIDE.search(text):
        found += calls(inside[1])
        text = text.replace(inside[0], "INSIDE", 1)
    lexer = shlex.shlex(text, posix=True, punctuation_chars=";&|<>\n")
    lexer.whitespace, lexer.whitespace_split = " \t", True
    words: list[str] = []
    for word in [*lexer, ";"]:
        if word in _ENDS or not word.strip(";&|\n"):
            found += _simple(words)
            words = []
        else:
            words.append(word)
    return found


def _simple(words):
    """A simple command without keywords, assignments and redirections."""
    while words and (words[0] in {"do", "then"} or _ASSIGNMENT.match(words[0])):
        words = words[1:]
    if not words or words[0] in {"for", "done", "fi"}:
        return []
    if words[0] == "runuser":
        return [words, words[words.index("--") + 1 :]]
    return [words]


def monitor_lines():
    """Every call of the program itself, as the words behind its name."""
    return [
        words[1:]
        for step in steps()
        for words in calls(step.block.text)
        if words[0] == "rearing-monitor"
    ]


class Unit(configparser.RawConfigParser):
    """A unit file; of a key given twice all values stand, one a line."""

    def __init__(self, *paths):
        super().__init__(strict=False, delimiters=("=",), interpolation=None)
        self.optionxform = str
        self.credentials: dict[str, str] = {}
        for path in paths:
            self.read(path, encoding="utf-8")
            for line in path.read_text(encoding="utf-8").splitlines():
                if line.strip() == "LoadCredential=":
                    self.credentials.clear()
                elif line.startswith("LoadCredential="):
                    name, source = line.split("=", 1)[1].split(":", 1)
                    self.credentials[name] = source
