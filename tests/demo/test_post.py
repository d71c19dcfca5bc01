"""The mail catcher, as an SMTP client meets it."""

import smtplib
from email.message import EmailMessage

import pytest

from monitor.demo.post import Post


@pytest.fixture
def post(tmp_path):
    with Post(tmp_path / "mail") as running:
        yield running


def send(post, subject, *to):
    mail = EmailMessage()
    mail["From"], mail["Subject"] = "monitor@quillmere.example", subject
    mail["To"] = ", ".join(to)
    mail.set_content("18.2 °C, limit 20.0 °C\nLook at the heater.\n")
    with smtplib.SMTP("127.0.0.1", post.port, timeout=5) as client:
        client.send_message(mail)


def test_a_mail_is_kept_as_it_was_sent(post):
    """Recipient, subject and text come back, and the file holds the mail."""
    send(post, "Prompt: too cold", "ines@quillmere.example")

    (caught,) = post.caught()

    assert (caught.to, caught.subject) == ("ines@quillmere.example", "Prompt: too cold")
    assert caught.text.splitlines()[0] == "18.2 °C, limit 20.0 °C"
    assert caught.path.parent == post.directory
    assert caught.path.suffix == ".eml"
    assert b"Prompt: too cold" in caught.path.read_bytes()


def test_each_recipient_gets_a_file(post):
    """One mail to two keepers is two mails caught."""
    send(post, "x", "ines@quillmere.example", "tadhg@quillmere.example")

    assert [c.path.name for c in post.caught()] == ["001-ines.eml", "002-tadhg.eml"]


def test_waiting_finds_the_mail_that_is_wanted(post):
    """Others are passed over; what never comes is None after the time."""
    send(post, "first", "ines@quillmere.example")
    send(post, "second", "ines@quillmere.example")

    found = post.wait(lambda c: c.subject == "second", seconds=5)
    missing = post.wait(lambda c: c.subject == "third", seconds=0.05)

    assert found is not None
    assert found.subject == "second"
    assert missing is None


def test_a_recipient_cannot_write_outside_the_directory(post):
    """An odd local part becomes no path."""
    with smtplib.SMTP("127.0.0.1", post.port, timeout=5) as client:
        client.sendmail("m@x.example", ['"../../evil"@x.example'], "Subject: x\n\nx\n")

    (caught,) = post.caught()

    assert caught.path.resolve().parent == post.directory.resolve()
