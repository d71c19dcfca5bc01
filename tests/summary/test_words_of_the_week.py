"""Subject, shortest form, things to look at and the plain text of the mail."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.alarms.alarm import AlarmState
from monitor.notices.gsm import gsm7_length
from monitor.summary.findings import findings
from monitor.summary.headline import (
    Occasion,
    headline,
    next_in_words,
    septets,
    short_form,
    subject,
)
from monitor.summary.letter import letter
from monitor.summary.summary import Summary, summarise
from monitor.summary.words import WIDTH
from tests.summary.house import DAY, END, HOUR, START, changed, hourly

NOW = END + 7 * HOUR
ONE = Occasion(made_at=NOW, number=7, next_due="Mon 9 Mar 07:00")
OVER = {"active": False, "over_at": END - DAY}


def all_heard(house, air=24.0):
    """Every sensor once an hour."""
    house.measure("a-air", hourly(air)).measure("b-air", hourly(24))
    house.measure("b-humidity", hourly(70), "relative_humidity")
    house.measure("spare", hourly(24), "substrate_temperature")
    return house.measure("mains", hourly(1), "mains")


def told(house, **more):
    summary = summarise(house.week(**more))
    return summary, findings(summary)


@pytest.mark.parametrize(
    ("alarms", "said"),
    [
        ((), "Week 9: no alarm"),
        (({},), "Week 9: 1 alarm, 1 still standing"),
        (({}, {}), "Week 9: 2 alarms, 2 still standing"),
        (
            ({}, OVER | {"state": AlarmState.NORMAL}),
            "Week 9: 2 alarms, 1 still standing",
        ),
        ((OVER | {"state": AlarmState.NORMAL},), "Week 9: 1 alarm, over"),
        ((OVER | {"state": AlarmState.NORMAL},) * 2, "Week 9: 2 alarms, all over"),
        (
            (OVER | {"state": AlarmState.RETURNED},),
            "Week 9: 1 alarm, all over, 1 unanswered",
        ),
        (({}, {"covered_by": 1}), "Week 9: 1 alarm, 1 still standing"),
    ],
)
def test_the_subject_says_how_the_week_was(quillmere, alarms, said):
    """In words, with the site behind it."""
    for number, fields in enumerate(alarms, 1):
        quillmere.alarm(changed(START + 11 * HOUR, id=number, **fields))
    summary, found = told(all_heard(quillmere))

    assert subject(summary, found, late=False) == f"{said} - Quillmere Insectarium"


def test_a_week_that_goes_on_is_told_so_far(quillmere):
    """Nobody takes half a week for a whole one."""
    summary, found = told(all_heard(quillmere), now=START + 2 * DAY)

    assert headline(summary, found, late=False) == "Week 9 so far: no alarm"


def test_what_asks_for_a_look_stands_the_worst_first(quillmere):
    """
    A shelf past danger is not there; out of range, tubs, then sensors.

    Tub 1 hangs on shelf A, whose air is at 18 for four days of seven; tub 2 stands in
    the substrate of nobody's probe; the spare probe was never heard.
    """
    all_heard(quillmere)
    quillmere.tub(START - DAY).start(START - DAY, stage="L1")
    quillmere.measure("a-air", [*hourly(24, 0, 71), *hourly(18, 72)])
    quillmere.measure("spare", [], "substrate_temperature")
    summary, found = told(quillmere)

    assert [(f.rank, f.where) for f in found] == [
        (2, "Warm room > Shelf A"),
        (3, "Warm room"),
    ]
    assert found[0].what == (
        "air out of range for 4 d in 1 spell, down to 18.0 C (limit 22.0 C)"
    )
    assert found[1].what == "sensor spare was never heard"
    assert "out of range in 1 place" in headline(summary, found, late=False)


def test_those_who_share_no_value_are_to_be_looked_at(quillmere):
    """Eggs from 20 on and montane L2 up to 19 on one shelf."""
    quillmere.tub(START - DAY).start(START - DAY)
    quillmere.start(START - DAY, 2, of="montane", stage="L2")

    _, found = told(all_heard(quillmere))

    assert found[0].what == "air: nothing suits all who depend on it"


def test_a_moment_out_of_range_is_no_exception(quillmere):
    """12 min above by a little is shorter than the usual delay of an alarm."""
    quillmere.tub(START - DAY).start(START - DAY, stage="L1")
    line = [*hourly(24, 0, 9), (10, 26.2), *hourly(24, 11)]

    _, found = told(all_heard(quillmere).measure("a-air", line))

    assert found == ()


def test_a_tub_of_which_no_thermometer_tells_is_an_exception(quillmere, declared):
    """Its shelf and its room have no probe of temperature."""
    quillmere.tub(START - DAY).start(START - DAY, stage="L1")
    bare = declared.site.model_copy(
        update={"sensors": tuple(s for s in declared.site.sensors if s.id == "mains")}
    )
    quillmere.site = bare
    quillmere.measure("mains", hourly(1), "mains")

    _, found = told(quillmere)

    assert [(f.place, f.what) for f in found] == [
        (
            "tub-1",
            "Exemplum calidum L1, cohort 1: no thermometer tells what they get",
        )
    ]


def test_a_tub_whose_warmth_is_half_known_is_an_exception(quillmere):
    """12 h of 24 measured: 50 %."""
    quillmere.tub(START - DAY).start(START - DAY)
    day = (START + DAY).date()
    half = {"measured_s": 43200.0, "missing_s": 43200.0}

    _, found = told(all_heard(quillmere).heat(1, "egg", day, 6.0, **half))

    [one] = [f for f in found if f.rank == 4]
    assert "only 50 % of their time in the stage was measured" in one.what


def test_the_short_form_fits_one_message(quillmere):
    """Worst thing, state and the next date, in 160 septets."""
    quillmere.tub(START - DAY).start(START - DAY, stage="L1")
    quillmere.alarm(changed(START + 11 * HOUR))
    summary, found = told(all_heard(quillmere, air=29.0))

    said = short_form(summary, found, ONE)

    assert gsm7_length(said) <= 160
    assert said.startswith(
        "Quillmere Insectarium, Week 9: 1 alarm, 1 still standing, out of range in "
    )
    assert said.endswith("Next due Mon 9 Mar 07:00.")


@given(st.text(max_size=300))
def test_any_text_becomes_letters_of_one_septet(text):
    """So that letters and septets are the same number (N6)."""
    said = septets(text)

    assert gsm7_length(said) == len(said)
    assert said == " ".join(said.split())


@given(st.text(min_size=1, max_size=120), st.booleans())
def test_however_a_site_is_called_the_short_form_fits(name, late):
    """Long names are cut, the date of the next one is not."""
    site = name if name.strip() else "x"
    occasion = Occasion(made_at=NOW, number=7, next_due="Mon 9 Mar 07:00", late=late)
    summary = Summary(site, "Europe/Dublin", "2026-W09", START, END, END, ())

    said = short_form(summary, (), occasion)

    assert len(said) <= 160
    assert said.endswith("Next due Mon 9 Mar 07:00.")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("2026-03-09 07:00:00+00:00", "Mon 9 Mar 07:00"),
        ("2026-03-30 06:00:00+00:00", "Mon 30 Mar 07:00"),
        ("next Monday", "next Monday"),
        ("2026-03-09 07:00", "2026-03-09 07:00"),
        ("", ""),
    ],
)
def test_the_next_date_is_told_in_site_time(text, words):
    """An instant of the daemon's; what else a keeper writes stays as it is."""
    assert next_in_words(text, "Europe/Dublin") == words


def plain(house, occasion=ONE, without="", **more):
    summary, found = told(house, **more)
    return letter(summary, found, occasion, without_pictures=without)


def test_the_plain_text_is_complete_in_itself(quillmere):
    """Alarms with their answers, exceptions, figures, number and next date."""
    quillmere.tub(START - DAY).start(START - DAY, stage="L1")
    quillmere.alarm(
        changed(START + 11 * HOUR),
        changed(START + 12 * HOUR, "acknowledge", by="ines"),
    )
    said = plain(all_heard(quillmere, air=29.0))

    lines = said.splitlines()
    assert lines[0].startswith("Week 9: 1 alarm, 1 still standing, out of range in")
    assert max(map(len, lines)) <= WIDTH
    flat = " ".join(said.split())
    order = (
        "Alarms ------",
        "Answered by Ines after 1 h 40 min.",
        "To look at ---",
        "Conditions ---",
        "above 26.0 C for 7 d, up to 29.0 C",
        "Cohorts ---",
        "1 cohort of 1 species, 12 animals by the last counts.",
        "Exemplum calidum, L1 1 12 1.1 -",
        "Sensors ---",
        "This is summary 7. The next one is due Mon 9 Mar 07:00.",
        "-- rearing monitor ",
    )
    places = [flat.index(words) for words in order]
    assert places == sorted(places)


def test_the_plain_text_marks_lateness_and_missing_pictures(quillmere):
    """Both as sentences."""
    late = Occasion(made_at=NOW, late=True)

    said = " ".join(plain(all_heard(quillmere), late, "no font").split())

    assert said.startswith("Week 9 (late): no alarm")
    assert "LATE: made Mon 2 Mar 07:00, after its time." in said
    assert "Without pictures: no font. The figures are complete." in said
    assert "No date is set for the next one." in said


def test_tubs_are_grouped_and_those_who_left_are_named(quillmere):
    """Three tubs of a kind are a line; the one that went is a sentence."""
    for number in range(1, 5):
        quillmere.tub(START - 9 * DAY, f"tub-{number}")
        at = START - number * 2 * DAY
        quillmere.start(at, number, place=f"tub-{number}", stage="L1")
    quillmere.end(START + DAY, 4, "on show")

    said = plain(all_heard(quillmere))

    assert (
        "  Exemplum calidum, L1                  3      36    1.3 to 1.9        -"
        in (said)
    )
    assert "cohort 4 in tub-4: on show" in " ".join(said.split())
