"""Answers to alarms: who may give them, and which the rules do not allow."""

from datetime import timedelta

import pytest

from monitor.alarms.alarm import AlarmState
from monitor.errors import RefusedError, UsageError
from monitor.heart.events import Answer
from monitor.site.words import Priority
from tests.desk.quillmere import HOUR, MINUTE, NOW, an_alarm


def test_an_answer_is_stepped_with_its_keeper_and_note(quillmere):
    """The step gets the words as they were said."""
    quillmere.alarms = (an_alarm(),)

    outcome = quillmere.ask("alarms acknowledge", id="12", by="ines", note="going")

    assert outcome.answers == (Answer(NOW, 12, "acknowledge", "ines", None, "going"),)
    assert outcome.entries == ()
    assert (
        "Alarm 12 (shelf-a air temperature outside-tolerated) is answered by ines"
        in (outcome.result["said"])
    )


@pytest.mark.parametrize(
    ("span", "until"), [(None, 2 * HOUR), ("30 min", 30 * MINUTE), ("24h", 24 * HOUR)]
)
def test_shelving_ends_by_itself(quillmere, span, until):
    """Two hours where nobody says, at most a day."""
    quillmere.alarms = (an_alarm(),)

    (answer,) = quillmere.ask("alarms shelve", id=12, by="ines", for_=span).answers

    assert (answer.verb, answer.until) == ("shelve", NOW + until)


def test_the_danger_limit_is_never_set_aside(quillmere):
    """The refusal says why, and what to do instead."""
    quillmere.alarms = (an_alarm(kind="danger", priority=Priority.URGENT),)

    with pytest.raises(RefusedError) as caught:
        quillmere.ask("alarms shelve", id=12, by="ines")

    assert "setting aside never mutes the danger limit" in str(caught.value)
    assert "acknowledge it instead" in str(caught.value)


@pytest.mark.parametrize(
    ("verb", "args", "parts"),
    [
        ("shelve", {"for_": "25 h"}, ["--for", "25 h is too long", "at most 1 d"]),
        ("shelve", {"for_": "a while"}, ["--for", "is no span", "5 min"]),
        ("acknowledge", {"by": None}, ["--by KEEPER", "ines, tadhg"]),
        ("acknowledge", {"by": "tadgh"}, ["no keeper 'tadgh'", "did you mean tadhg"]),
        (
            "acknowledge",
            {"id": 13},
            ["no alarm '13'", "12 (shelf-a air temperature outside-tolerated)"],
        ),
        ("out-of-service", {}, ["taking alarm 12 out of use needs a reason", "--note"]),
        ("acknowledge", {"at": "12:00"}, ["no argument --at"]),
    ],
)
def test_a_wrong_answer_tells_the_mend(quillmere, verb, args, parts):
    """Value, limit and what exists."""
    quillmere.alarms = (an_alarm(),)

    with pytest.raises(UsageError) as caught:
        quillmere.ask(f"alarms {verb}", **({"id": 12, "by": "ines"} | args))

    assert [part for part in parts if part not in str(caught.value)] == []


def test_without_alarms_there_is_nothing_to_answer(quillmere):
    """It says so instead of listing none."""
    with pytest.raises(UsageError, match="no alarm '1': no alarm stands"):
        quillmere.ask("alarms acknowledge", id=1, by="ines")


@pytest.mark.parametrize(
    ("state", "verb", "part"),
    [
        (AlarmState.ACKNOWLEDGED, "acknowledge", "answered already, by tadhg"),
        (AlarmState.SHELVED, "acknowledge", "`alarms unshelve` it first"),
        (AlarmState.OUT_OF_SERVICE, "shelve", "`alarms return` it first"),
        (AlarmState.SUPPRESSED, "acknowledge", "answer alarm 4, which covers it"),
        (AlarmState.UNACKNOWLEDGED, "unshelve", "is standing, so it cannot be"),
        (AlarmState.UNACKNOWLEDGED, "return", "is standing, so it cannot be"),
    ],
)
def test_what_the_state_does_not_allow_is_refused(quillmere, state, verb, part):
    """Transitions of ANSI/ISA-18.2-2016 only, with the way that there is."""
    quillmere.alarms = (an_alarm(state=state, answered_by="tadhg", covered_by=4),)

    with pytest.raises(RefusedError) as caught:
        quillmere.ask(f"alarms {verb}", id=12, by="ines")

    assert part in str(caught.value)


@pytest.mark.parametrize(
    ("state", "verb"),
    [
        (AlarmState.RETURNED, "acknowledge"),
        (AlarmState.ACKNOWLEDGED, "shelve"),
        (AlarmState.SHELVED, "unshelve"),
        (AlarmState.UNACKNOWLEDGED, "out-of-service"),
        (AlarmState.OUT_OF_SERVICE, "return"),
    ],
)
def test_what_the_state_allows_is_stepped(quillmere, state, verb):
    """Each verb has a state in which it works."""
    quillmere.alarms = (an_alarm(state=state),)

    (answer,) = quillmere.ask(f"alarms {verb}", id=12, by="ines", note="why").answers

    assert (answer.verb, answer.alarm) == (verb, 12)


def test_a_danger_alarm_may_be_taken_out_of_use_with_a_reason(quillmere):
    """A broken probe is no danger; somebody stands for it by name."""
    quillmere.alarms = (an_alarm(kind="danger"),)

    outcome = quillmere.ask(
        "alarms out-of-service", id=12, by="ines", note="probe in repair"
    )

    assert outcome.answers[0].note == "probe in repair"


def test_the_most_pressing_stands_first(quillmere):
    """Urgent before prompt, unanswered before answered, set aside last."""
    states = AlarmState
    quillmere.alarms = (
        an_alarm(1, state=states.SHELVED, priority=Priority.URGENT),
        an_alarm(2),
        an_alarm(3, state=states.ACKNOWLEDGED),
        an_alarm(4, since=NOW - 2 * HOUR),
        an_alarm(5, priority=Priority.URGENT, state=states.ACKNOWLEDGED),
        an_alarm(6, state=states.SUPPRESSED, covered_by=5),
        an_alarm(7, state=states.NORMAL),
        an_alarm(8, priority=Priority.NOTE),
    )

    short = [a["id"] for a in quillmere.do("alarms list")["alarms"]]
    whole = [a["id"] for a in quillmere.do("alarms list", all=True)["alarms"]]

    assert short == [5, 4, 2, 3, 8, 1]
    assert whole == [5, 4, 2, 3, 8, 1, 6, 7]


def test_the_list_holds_what_the_contract_names(quillmere):
    """Programs read these keys; instants are UTC."""
    quillmere.alarms = (an_alarm(time_left=timedelta(minutes=40)),)

    (row,) = quillmere.do("alarms list")["alarms"]

    wanted = {
        "id": 12,
        "thing": "shelf-a",
        "kind": "outside-tolerated",
        "quantity": "air_temperature",
        "state": "unacknowledged",
        "said": "standing",
        "priority": "prompt",
        "since": "2026-03-01T12:00:00Z",
        "raised_at": "2026-03-01T12:20:00Z",
        "value": 31.2,
        "limit": 29.0,
        "answered_by": None,
        "time_left_s": 2400.0,
    }
    assert {key: row[key] for key in wanted} == wanted
    assert row["at_risk"][0]["species"] == "Exemplum calidum"
