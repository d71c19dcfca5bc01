import re
from datetime import timedelta

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.alarms.alarm import AlarmState, Side
from monitor.alarms.words import ConditionWords
from monitor.notices.gsm import LIMIT, gsm7_length
from monitor.notices.layout import HTML_LIMIT
from monitor.notices.wording import compose
from monitor.site.words import Priority, Quantity
from tests.support.notices import CELL, NAMES, NOW, alarm, dweller, site, word


def test_the_long_form_says_everything_that_a_keeper_asks():
    """What, where, since when, value, limit, trend, time left, who, acts, answer."""
    text = word(alarm(time_left=timedelta(minutes=70))).long

    assert text.startswith("URGENT: too cold in Warm room > Shelf A\n")
    assert "Since Wed 02:15, 25 min ago." in text
    assert "Air 16.4 °C; limit 18.0 °C." in text
    assert "Falling 1.2 °C per hour; about 1 h 10 min until the danger limit." in text
    assert "- Quillmere giant scarab, L3: 1 each in Tub 1, Tub 2." in text
    assert "Allowed: look, carry level." in text
    assert "rearing-monitor alarms acknowledge 12 --by ines" in text
    assert "If nobody answers, Tom is told at Wed 02:55 (15 min from now)." in text
    assert "switch off at the wall" in text
    assert "Often: heater failed; door left open." in text


def test_the_long_form_ends_with_version_and_site():
    """The last line names program, version and site."""
    last = word().long.rstrip().splitlines()[-1]

    assert re.fullmatch(r"rearing monitor \d\S*, Quillmere Insectarium", last)


def test_what_not_to_do_comes_before_what_to_do():
    """A keeper reads the caution before the first action and before the figures."""
    wording = word()

    assert wording.long.index(CELL) < wording.long.index("16.4")
    assert wording.long.index(CELL) < wording.long.index("FIRST")
    assert wording.html.index(CELL) < wording.html.index("Go now.")


def test_the_short_form_puts_the_worst_fact_first():
    """Priority, value and limit, place; then trend and caution; the number last."""
    assert word().short == (
        "Urgent: air 16.4 C (limit 18.0 C), Warm room > Shelf A. Falling 1.2 C/h. "
        "Pupa: In its cell. No digging, no knocks, no weighing. Since Wed 02:15. "
        "Alarm 12"
    )


def test_the_subject_begins_with_the_priority():
    """Subject: priority, what, value, where, number."""
    got = word().subject

    assert got == "Urgent: too cold, air 16.4 °C in Warm room > Shelf A [12]"


@pytest.mark.parametrize(
    ("why", "subject", "said"),
    [
        ("worse", "Urgent, worse: ", "It has got worse."),
        ("again", "Urgent, again: ", "It rings again: it is no better."),
        ("escalated", "Urgent, unanswered: ", "so it comes to you."),
    ],
)
def test_each_reason_is_said(why, subject, said):
    """Why a keeper is told stands in subject and text."""
    wording = word(why=why)

    assert wording.subject.startswith(subject)
    assert said in wording.long


def test_an_alarm_that_is_over_says_how_long_and_how_bad_it_was():
    """No first action, no escalation; how long, how bad, whom to look at."""
    over = alarm(
        active=False,
        state=AlarmState.RETURNED,
        value=21.0,
        over_at=NOW - timedelta(minutes=5),
    )

    wording = word(over, why="over")

    assert wording.subject.startswith("Urgent, over: no longer too cold")
    assert "Over since Wed 02:35; it lasted 20 min; worst 16.4 °C" in wording.long
    assert "LOOK AT (3 cohorts)" in wording.long
    assert "FIRST" not in wording.long
    assert "Tom" not in wording.long
    assert gsm7_length(wording.short) <= LIMIT


def test_a_closed_alarm_asks_for_no_answer():
    """What is over and answered needs no command."""
    closed = alarm(
        active=False, state=AlarmState.NORMAL, over_at=NOW, closed_at=NOW, value=21.0
    )

    assert "No answer is needed." in word(closed, why="over").long


def test_a_silent_sensor_is_told_with_its_last_value_and_its_age():
    """An old value is never shown as fresh."""
    silent = alarm(
        kind="silent", limit=None, side=None, value_at=NOW - timedelta(hours=3)
    )

    wording = word(silent)

    assert wording.subject.startswith("Urgent: sensor not heard")
    assert "Last air 16.4 °C; at Tue 23:40, 3 h ago." in wording.long
    assert "16.4" not in wording.short


def test_a_heater_that_is_off_is_told_in_a_word():
    """On/off quantities have no unit and no limit."""
    off = alarm(quantity=Quantity.HEATER, value=0.0, limit=0.5, trend_per_hour=None)

    wording = word(off)

    assert "Heater off." in wording.long
    assert "heater off, Warm room > Shelf A" in wording.short


def test_a_current_is_told_as_fine_as_its_limit():
    """0.05 A is not 0.1 A."""
    weak = alarm(quantity=Quantity.HEATER, value=0.02, limit=0.05, trend_per_hour=None)

    assert "Heater 0.02 A; limit 0.05 A." in word(weak).long


def test_a_value_next_to_its_limit_is_not_shown_as_equal():
    """18.0 is never told to be below 18.0."""
    assert "Air 17.98 °C; limit 18.00 °C." in word(alarm(value=17.98)).long


def test_several_alarms_are_told_worst_first():
    """The urgent one first, whatever the order; the short form counts the others."""
    mild = alarm(id=9, priority=Priority.PROMPT, value=19.0, limit=20.0)

    wording = word(mild, alarm(), alarm(id=13, priority=Priority.NOTE))

    assert wording.subject.endswith("and 2 more [12]")
    assert wording.short.endswith("+2 more. Alarm 12")
    assert "16.4 C" in wording.short
    order = re.findall(r"ANSWER \(alarm (\d+)\)", wording.long)
    assert order == ["12", "9", "13"]


def test_many_alarms_are_counted_not_listed_for_ever():
    """Eight in full, up to forty in a line each, then a number."""
    wording = word(*(alarm(id=n) for n in range(1, 101)))

    assert wording.long.count("ANSWER (alarm") == 8
    assert wording.long.count("\n- Urgent: too cold") == 32
    assert "And 60 more: rearing-monitor alarms list" in wording.long


def test_many_cohorts_are_listed_up_to_thirty():
    """The careful ones first, and the rest as a number."""
    crowd = (*(dweller(n) for n in range(49)), dweller(50, stage="pupa", caution=CELL))

    text = word(alarm(at_risk=crowd)).long

    assert "WHO IS AT RISK (50 cohorts)" in text
    assert text.index("pupa: 1 in Tub 50") < text.index("L3: 1 each in Tub 0")
    assert "- and 20 more" in text


def test_an_unknown_kind_is_still_told():
    """A kind without words is told by its id, never lost."""
    wording = word(alarm(kind="never-heard-of", limit=None, side=None), words={})

    assert "never heard of" in wording.subject
    assert "Go and look." in wording.long


def test_nobody_left_to_tell_is_said():
    """The last keeper knows that it rests with them; a note does not press."""
    assert "it rests with you" in word(next_keeper=None).long
    assert "rests" not in word(alarm(priority=Priority.NOTE), next_keeper=None).long
    assert "you are told again at Wed 02:55" in word(next_keeper="ines").long


def test_an_old_alarm_shows_its_date():
    """A weekday alone says nothing about last week."""
    old = alarm(since=NOW - timedelta(days=9, hours=2))

    assert "Since Mon 16 Nov 00:40, 9 d 2 h ago." in word(old).long


def test_a_system_alarm_has_no_place():
    """What concerns the monitor itself is told with its detail."""
    broker = alarm(
        thing="system",
        kind="broker-gone",
        quantity=None,
        value=None,
        limit=None,
        side=None,
        trend_per_hour=None,
        at_risk=(),
        detail="no answer from 127.0.0.1:1883",
    )
    words = {"broker-gone": ConditionWords("no connection", "Deaf.", "Look at it.")}

    wording = word(broker, words=words)

    assert wording.subject == "Urgent: no connection [12]"
    assert "No answer from 127.0.0.1:1883." in wording.long
    assert wording.short.startswith("Urgent: no connection. Look at it.")


def test_names_are_escaped_in_html():
    """A name is text, never markup."""
    names = {"warm-room-a": "<img src=http://x.example/a.png> & co"}

    page = word(place_names=names).html

    assert "&lt;img src=http://x.example/a.png&gt; &amp; co" in page
    assert "<img" not in page


def test_no_alarm_or_an_unknown_reason_is_a_mistake_of_ours():
    """A notice of nothing, or for no known reason, is refused."""
    with pytest.raises(ValueError, match="'because'"):
        word(why="because")
    with pytest.raises(ValueError, match="at least one alarm"):
        _compose_nothing()


def _compose_nothing():
    return compose(
        (),
        why="raised",
        keeper=site().keepers[0],
        site=site(),
        place_names=NAMES,
        now=NOW,
        next_keeper=None,
        words={},
    )


names = st.text(min_size=0, max_size=300)
kinds = st.sampled_from(["danger", "silent", "broker-gone"])
numbers = st.one_of(
    st.none(), st.floats(allow_nan=False, allow_infinity=False, width=32)
)


@given(
    place=names,
    species=names,
    caution=st.one_of(st.none(), names),
    first_action=names,
    title=names,
    kind=kinds,
    quantity=st.one_of(st.none(), st.sampled_from(list(Quantity))),
    value=numbers,
    limit=numbers,
    trend=numbers,
    number=st.integers(1, 10**9),
    others=st.integers(0, 1500),
    why=st.sampled_from(["raised", "worse", "again", "escalated", "over"]),
)
def test_n6_the_short_form_always_fits_one_message(  # noqa: PLR0917 - drawn by name
    place,
    species,
    caution,
    first_action,
    title,
    kind,
    quantity,
    value,
    limit,
    trend,
    number,
    others,
    why,
):
    """
    N6: whatever the names, at most 160 septets of the GSM 7-bit alphabet.

    The priority stands at the front and the alarm's number at the end.
    """
    who = msgspec.structs.replace(dweller(3), species=species, caution=caution)
    told = alarm(
        id=number,
        kind=kind,
        quantity=quantity,
        value=value,
        limit=limit,
        side=Side.ABOVE,
        trend_per_hour=trend,
        time_left=timedelta(days=300),
        at_risk=(who, who),
    )
    more = [alarm(id=number + n, priority=Priority.NOTE) for n in range(1, others % 4)]
    words = {"danger": ConditionWords(title, title, first_action, (title,))}

    short = word(
        told, *more, why=why, place_names={"warm-room-a": place}, words=words
    ).short

    assert gsm7_length(short) <= LIMIT
    assert short.startswith("Urgent")
    assert short.endswith(f"Alarm {number}")
    assert "\n" not in short


def test_n6_a_name_in_a_foreign_script_gives_way_to_the_id():
    """N6: a place that the alphabet cannot write is told by its id."""
    short = word(place_names={"warm-room-a": "Тёплая комната"}).short

    assert "warm-room-a" in short
    assert "??" not in short


def test_e7_the_html_stays_below_what_mail_readers_clip():
    """E7: the largest notice in HTML is below 90 kB and still begins with the worst."""
    crowd = tuple(
        msgspec.structs.replace(
            dweller(n), species="&" * 300, stage=f"<{n}>" * 60, caution="'" * 900
        )
        for n in range(300)
    )
    alarms = [alarm(id=n, at_risk=crowd) for n in range(2, 60)]

    page = word(alarm(id=1, at_risk=crowd, time_left=timedelta(0)), *alarms).html

    assert len(page.encode()) < HTML_LIMIT
    assert "alarm 1<" in page
    assert "more: rearing-monitor alarms list" in page
