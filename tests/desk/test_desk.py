"""The desk as a whole."""

import pytest

from monitor.desk.desk import VERBS, perform
from monitor.desk.view import Request
from monitor.errors import MonitorError, UsageError


def test_an_unknown_request_names_the_close_ones(quillmere):
    """A program that asks for nonsense is told what there is."""
    with pytest.raises(UsageError, match=r"no request 'cohort begin'.*cohort"):
        quillmere.ask("cohort begin")


@pytest.mark.parametrize("do", VERBS)
@pytest.mark.parametrize(
    "value", [None, "", "  ", "x", -1, 10**400, 0.5, True, ["x"], []]
)
def test_nonsense_in_any_argument_is_one_clear_error(quillmere, do, value):
    """Whatever a program sends: an answer or an error for people, never a bug."""
    for name in VERBS[do].args or {"at"}:
        said = outcome_or_error(Request(do, {name: value}), quillmere.view())

        assert said
        assert "\n" not in said


def outcome_or_error(request, view):
    try:
        return str(perform(request, view).result)
    except MonitorError as error:
        return str(error)


@pytest.mark.parametrize("do", [d for d, verb in VERBS.items() if not verb.changes])
def test_a_question_changes_nothing(quillmere, do):
    """Nothing is carried out for it."""
    outcome = quillmere.ask(do)

    assert (outcome.entries, outcome.answers, outcome.readings) == ((), (), ())
