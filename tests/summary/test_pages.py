"""The week as HTML: sound, complete, the worst first, nothing from outside."""

from datetime import timedelta

import pytest

from monitor.alarms.alarm import AlarmState
from monitor.alarms.perhaps import PerhapsSince
from monitor.summary.charts import Drawn, Picture
from monitor.summary.headline import Occasion
from monitor.summary.pages.layout import Listed, index_html, mail_html, page_html
from monitor.summary.registry import SECTIONS
from monitor.summary.summary import summarise
from monitor.summary.view import Copy, Kept
from monitor.summary.week import Week
from tests.summary.house import DAY, END, HOUR, START, changed, hourly
from tests.summary.pages import Page, is_sound
from tests.summary.test_summary import ECHO

NOW = END + 7 * HOUR
ONE = Occasion(made_at=NOW, number=7, next_due="Mon 9 Mar 07:00")
DRAWN = Drawn({p: Picture(p, b"png", 298) for p in ("warm-room", "shelf-a", "shelf-b")})
PAGE = "summaries/2026-W09/page.html"


def mail(view, occasion=ONE, drawn=DRAWN, sections=SECTIONS):
    return mail_html(summarise(view, sections), occasion, drawn, page=PAGE)


@pytest.fixture
def eventful(quillmere):
    """Shelf A too cold for two hours and answered, shelf B in order."""
    quillmere.tub(START - DAY).start(START - DAY, stage="L1")
    line = [*hourly(24, 0, 9), (10, 18), (11, 18), (12, 18), *hourly(24, 13)]
    quillmere.measure("a-air", line).measure("b-air", hourly(24))
    quillmere.alarm(
        changed(START + 10.5 * HOUR, side="below", limit=22.0, worst=18.0),
        changed(
            START + 11 * HOUR,
            "acknowledge",
            by="ines",
            side="below",
            limit=22.0,
            worst=18.0,
            state=AlarmState.ACKNOWLEDGED,
        ),
    )
    return quillmere


def test_the_mail_is_sound_and_shows_its_pictures_by_cid(eventful):
    """The place with the exception first; each picture tells its figures in words."""
    html, shown = mail(eventful.week())

    page = is_sound(html)
    assert shown == ("shelf-a", "warm-room", "shelf-b")
    assert [p["src"] for p in page.all("img")] == [f"cid:{name}" for name in shown]
    first = page.all("img")[0]["alt"]
    assert first.startswith("The week at Warm room > Shelf A. Air 18.0 to 24.0 °C")
    assert "out of range for 3 h 20 min" in first


def test_the_worst_stands_first(eventful):
    """State, alarms, exceptions, then everything else, and the next one at the end."""
    said = is_sound(mail(eventful.week())[0]).said

    order = (
        "Week 9: 1 alarm, 1 still standing, out of range in 1 place",
        "Alarms",
        "prompt, STANDING",
        "Answered by Ines",
        "To look at",
        "Conditions",
        "air below 22.0 °C for 3 h 20 min, down to 18.0 °C: from Mon 23 Feb 09:20",
        "Cohorts",
        "Exemplum calidum, L1",
        "Sensors",
        "Store and backups",
        "This is summary 7. The next one is due Mon 9 Mar 07:00.",
    )
    places = [said.index(words) for words in order]
    assert places == sorted(places)
    assert "that is no good news" in said


def test_the_page_on_disk_shows_the_files_beside_it(eventful):
    """Relative, so that it opens from wherever the folder is carried."""
    html = page_html(summarise(eventful.week()), ONE, DRAWN)

    page = is_sound(html)
    assert {p["src"] for p in page.all("img")} == {
        *("shelf-a.png", "shelf-b.png", "warm-room.png")
    }
    assert [a["href"] for a in page.all("a")] == ["../index.html"]
    assert "Every cohort" in page.said


def test_without_pictures_it_says_so(eventful):
    """P4: every figure stands there all the same."""
    html, shown = mail(eventful.week(), drawn=Drawn(failed="no font was found"))

    page = is_sound(html)
    assert (shown, page.all("img")) == ((), [])
    assert "Without pictures: no font was found." in page.said
    assert "Warm room > Shelf A" in page.said


def test_a_late_one_is_marked(eventful):
    """In the heading and in a sentence of its own, with the time."""
    late = Occasion(made_at=NOW, number=7, late=True)

    said = is_sound(mail(eventful.week(), late)[0]).said

    assert said.startswith("Week 9 (late): 1 alarm")
    assert "LATE: made Mon 2 Mar 07:00, after its time." in said
    assert "No date is set for the next one." in said


@pytest.mark.parametrize(
    ("week", "hours"), [((2026, 13), 167), ((2026, 43), 169), ((2026, 9), 168)]
)
def test_a_week_of_a_set_clock_is_told_in_its_own_hours(quillmere, week, hours):
    """Spring and autumn in Dublin: an hour less, an hour more."""
    view = quillmere.week(Week(*week))

    said = is_sound(mail(view)[0]).said

    assert f"Europe/Dublin ({hours} h)" in said


def test_an_empty_week_says_that_nothing_was_heard(quillmere):
    """No reading at all is no good week, and is the first thing said."""
    said = is_sound(mail(quillmere.week())[0]).said

    assert said.startswith("Week 9: NOTHING WAS HEARD, no alarm")
    assert "no sensor was heard for 7 d" in said
    assert "No cohort is followed." in said


def test_a_week_with_the_daemon_down_half_of_it(quillmere):
    """
    From Wednesday 00:00 to Saturday 12:00 nothing came, from nobody.

    It is told once, not for each sensor, and the rest of the week has its figures.
    """
    quillmere.tub(START - DAY).start(START - DAY, stage="L1")
    for sensor, quantity in (
        ("a-air", "air_temperature"),
        ("b-air", "air_temperature"),
        ("b-humidity", "relative_humidity"),
        ("spare", "substrate_temperature"),
        ("mains", "mains"),
    ):
        value = 1 if sensor == "mains" else 60 if quantity.startswith("rel") else 24
        pairs = [*hourly(value, 0, 48), *hourly(value, 132)]
        quillmere.measure(sensor, pairs, quantity)

    said = is_sound(mail(quillmere.week())[0]).said

    assert said.startswith("Week 9: no alarm, nothing heard for 3 d 12 h")
    assert said.count("for 3 d 12 h from Wed 25 Feb 00:00") == 2
    assert "Well heard: all 5 sensors." in said
    assert "In band 100 % of the measured time." in said


def test_names_are_words_and_never_markup(eventful):
    """Whatever a name holds, the page shows it and nothing happens."""
    name = '<img src=x onerror="x()"> & "co"'
    place = eventful.site.shelves[0].model_copy(update={"name": name})
    site = eventful.site.model_copy(
        update={"shelves": (place, *eventful.site.shelves[1:])}
    )
    eventful.site = site

    page = is_sound(mail(eventful.week())[0])

    assert name in page.said
    assert all(set(p) == {"src", "alt", "width", "height"} for p in page.all("img"))


def test_a_section_that_nobody_laid_out_shows_its_text(eventful):
    """Adding one stays a file and a line."""
    html, _ = mail(eventful.week(), sections=(*SECTIONS, ECHO))

    assert "Length 168 hours" in is_sound(html).said


def test_backups_are_told_and_an_old_one_is_something_to_look_at(quillmere):
    """A fresh one is a sentence, one of last week is loud, none is louder."""
    quillmere.measure("a-air", hourly(24))

    def said(*ages):
        copies = tuple(Copy(NOW - age, 1_700_000) for age in ages)
        kept = Kept(size=2_500_000, free_share=0.4, backups=copies)
        return is_sound(mail(quillmere.week(now_is=NOW, kept=kept))[0]).said

    fresh, old, none = said(timedelta(hours=3), DAY), said(7 * DAY), said()

    assert "2 backups, the newest of Mon 2 Mar 04:00 (1.7 MB), 3 h ago." in fresh
    assert "Backups" not in fresh.split("Conditions")[0]
    assert "OLD: 1 backup" in old.split("Conditions")[0]
    assert "THERE IS NO BACKUP" in none.split("Conditions")[0]


def test_the_index_lists_the_weeks_as_given():
    """Each with its state, and a relative link to its page."""
    weeks = [
        Listed("2026-W10", "Week 10: no alarm", "2026-W10/page.html"),
        Listed("2026-W09", "Week 9: 2 <alarms>", "2026-W09/page.html"),
    ]

    page = is_sound(index_html(weeks))

    assert [a["href"] for a in page.all("a")] == [w.page for w in weeks]
    assert "2 <alarms>" in page.said


def test_the_parser_finds_what_it_is_for():
    """A page with a remote picture, an open element or no heading is not sound."""
    assert Page('<img src="https://x/y.png">').remote() == ["https://x/y.png"]
    assert Page("<p><b>x</p>").wrong
    with pytest.raises(AssertionError):
        is_sound('<html lang="en"><h2>x</h2></html>')


def test_a_page_says_which_bands_are_those_of_unseen_stages(quillmere):
    """Beside the band, and with the question in the table of cohorts."""
    quillmere.tub(START - DAY).start(START - DAY).measure("a-air", hourly(28))
    taken = (PerhapsSince(START + DAY, 1, ("L1",)),)

    def said(view):
        return is_sound(page_html(summarise(view), ONE, DRAWN)).said

    assert "1 cohort depends on it, perhaps already L1" in said(
        quillmere.week(taken=taken)
    )
    assert "Exemplum calidum egg, cohort 1: perhaps already L1" in said(
        quillmere.week(taken=taken)
    )
    assert "perhaps already" not in said(quillmere.week())


def test_a_calm_tub_has_a_row_and_an_eventful_one_a_card(eventful):
    """Of many tubs only the exceptions are pictured in the mail; the page has all."""
    eventful.tub(START - DAY, "tub-2", "shelf-b")
    eventful.hang(START - DAY, "spare", "tub-2")
    eventful.measure("spare", hourly(24), "substrate_temperature")
    drawn = Drawn({p: Picture(p, b"png", 184) for p in ("shelf-a", "shelf-b", "tub-2")})

    calm, shown = mail(eventful.week(), drawn=drawn)
    whole = page_html(summarise(eventful.week()), ONE, drawn)
    eventful.start(START - DAY, 2, place="tub-2", of="montane", stage="L1")
    _, shown_then = mail(eventful.week(), drawn=drawn)

    assert shown == ("shelf-a", "shelf-b")
    assert "Shelf B > tub-2: substrate, °C" in is_sound(calm).said
    assert {p["src"] for p in is_sound(whole).all("img")} == {
        *("shelf-a.png", "shelf-b.png", "tub-2.png")
    }
    # cool montane larvae at 24: nobody is calm any more
    assert "shelf-b" in shown_then
