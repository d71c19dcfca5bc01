"""Rows E5, E6 and E10 of the known traps: what a mail is made of."""

import email
import email.policy
import re
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.notices.channel import FailedForGood, Sent
from monitor.notices.message import (
    FALLBACK_SUBJECT,
    Attachment,
    InlineImage,
    build_message,
    message_id,
)
from monitor.testing import FakeClock
from tests.support.mail import CatchingServer
from tests.support.notices import (
    INES,
    NOW,
    SENDER,
    alarm,
    mail_channel,
    notice,
    word,
)

TO = INES.mail
PNG = b"\x89PNG\r\n\x1a\n-not-really-a-picture"
DATE = datetime(2026, 11, 25, 2, 40, tzinfo=UTC)


@pytest.fixture
def clock():
    return FakeClock(NOW)


@pytest.fixture
def deadline():
    return NOW + timedelta(seconds=20)


def build(**changes):
    told = {
        "sender": SENDER,
        "to": TO,
        "subject": "Urgent: too cold [12]",
        "text": "It is too cold.\n",
        "html": "<p>It is too cold.</p>",
        "message_id": message_id(7, "5a4e", SENDER),
        "date": DATE,
    }
    return build_message(**(told | changes))


def read_back(mail):
    return email.message_from_bytes(mail.as_bytes(), policy=email.policy.default)


def tree(part):
    if not part.is_multipart():
        return part.get_content_type()
    return (part.get_content_type(), *map(tree, part.get_payload()))


SHOWN = '<p>Cold.</p><img src="cid:week" alt="16.4 degrees" width="300" height="90">'


def test_e5_the_tree_of_a_mail_with_pictures_and_files():
    """E5: mixed[alternative[plain, related[html, png]], csv], ids that resolve."""
    mail = read_back(
        build(
            html=SHOWN,
            images=[InlineImage("week", PNG, "week.png")],
            attachments=[Attachment("week.csv", b"time,value\n", "text/csv")],
        )
    )

    assert tree(mail) == (
        "multipart/mixed",
        (
            "multipart/alternative",
            "text/plain",
            ("multipart/related", "text/html", "image/png"),
        ),
        "text/csv",
    )
    picture = next(p for p in mail.walk() if p.get_content_type() == "image/png")
    assert picture["Content-ID"] == "<week>"
    assert picture.get_content_disposition() == "inline"
    assert picture.get_content() == PNG
    page = next(p for p in mail.walk() if p.get_content_type() == "text/html")
    assert re.findall(r'src="cid:([^"]+)"', page.get_content()) == ["week"]


def test_e5_the_tree_without_files_and_without_pictures():
    """E5: alternative alone where nothing is attached; plain alone without HTML."""
    pictured = build(html=SHOWN, images=[InlineImage("week", PNG, "week.png")])

    assert tree(read_back(pictured)) == (
        "multipart/alternative",
        "text/plain",
        ("multipart/related", "text/html", "image/png"),
    )
    assert tree(read_back(build())) == (
        "multipart/alternative",
        "text/plain",
        "text/html",
    )
    assert tree(read_back(build(html=""))) == "text/plain"


def test_e5_the_plain_part_is_complete_in_itself(clock, deadline):
    """E5: what the HTML says of an alarm the plain text says too."""
    with CatchingServer() as server:
        mail_channel(server.port, clock).send(notice(), deadline=deadline)
        (caught,) = server.wait_for(1)
    text = caught.mail.get_body(("plain",)).get_content()

    assert text.splitlines() == word().long.splitlines()
    assert "16.4 °C" in text
    assert "acknowledge 12" in text


@pytest.mark.parametrize(
    "html",
    [
        '<img src="data:image/png;base64,AAAA">',
        "<img src = 'https://x.example/a.png'>",
        '<img src="//x.example/a.png">',
        '<p style="background:url(https://x.example/a.png)">',
        '<img src="cid:missing">',
    ],
)
def test_e6_a_page_that_readers_would_strip_goes_as_plain_text(html):
    """E6: no data: URI, nothing remote, no picture that is not there."""
    mail = read_back(build(html=html))

    assert tree(mail) == "text/plain"
    assert "It is too cold." in mail.get_content()


def test_e6_the_page_of_a_notice_loads_nothing():
    """E6: no address, script or picture in what we lay out."""
    page = word(alarm()).html

    assert not re.search(r"src=|href=|url\(|data:|https?:|<script|@import", page)


@given(st.text(max_size=400), st.text(max_size=400))
def test_e10_no_name_keeps_a_mail_from_being_built(name, text):
    """E10: any subject and text gives a mail of one subject line and the text."""
    mail = read_back(build(subject=name, text=text))

    assert mail["Message-ID"] == "<notice-7.5a4e@quillmere.example>"
    assert "\n" not in str(mail["Subject"])
    assert mail["Bcc"] is None


def test_e10_a_newline_in_a_name_adds_no_header():
    """E10: header injection ends in the subject."""
    mail = read_back(build(subject="Shelf\r\nBcc: everybody@x.example\r\n\r\nA"))

    assert mail["Subject"] == "Shelf Bcc: everybody@x.example A"
    assert mail["Bcc"] is None


def test_e10_what_cannot_be_laid_out_goes_as_a_plain_fixed_message(clock, deadline):
    """E10: a lone surrogate breaks the text; the alarm goes all the same."""
    broken = notice(long="It is too cold \ud800 in Shelf A.\n")
    with CatchingServer() as server:
        got = mail_channel(server.port, clock).send(broken, deadline=deadline)
        (caught,) = server.wait_for(1)

    assert got == Sent()
    assert caught.mail["Subject"] == FALLBACK_SUBJECT
    assert "It is too cold ? in Shelf A." in caught.mail.get_content()
    assert caught.mail["Message-ID"] == "<notice-7.5a4e@quillmere.example>"


def test_e10_an_address_that_is_none_fails_for_good(clock, deadline):
    """E10: an address with a newline reaches no server."""
    channel = mail_channel(1, clock, to="ines@x.example\nBcc: all@x.example")

    got = channel.send(notice(), deadline=deadline)

    assert isinstance(got, FailedForGood)
    assert "recipient" in got.reason
