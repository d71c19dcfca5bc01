"""Every command that there is: help for people, an example that works."""

import shlex

import pytest

from monitor.cli.main import build_parser
from monitor.cli.registry import COMMANDS

BY_WORDS = {" ".join(c.words): c for c in COMMANDS}


def test_no_command_is_there_twice():
    """Words name one command."""
    assert len(BY_WORDS) == len(COMMANDS)


@pytest.mark.parametrize("words", BY_WORDS)
def test_help_says_what_it_does_and_gives_an_example(words, capsys):
    """One sentence, and a line to copy."""
    command = BY_WORDS[words]

    with pytest.raises(SystemExit) as ended:
        build_parser().parse_args([*command.words, "--help"])

    told = capsys.readouterr().out
    assert ended.value.code == 0
    assert " ".join(command.help.split()) in " ".join(told.split())
    assert f"rearing-monitor {command.example}" in told
    assert "--json" in told


@pytest.mark.parametrize("words", BY_WORDS)
def test_the_example_parses(words):
    """What stands in the help is not refused by the parser."""
    command = BY_WORDS[words]

    arguments = build_parser().parse_args(shlex.split(command.example))

    assert arguments.run is command.run
    assert command.example.split()[: len(command.words)] == list(command.words)
