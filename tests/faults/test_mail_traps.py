"""Rows E1 to E4, E8 and E9 of the known traps, against a real mail server."""

import ssl
import time
from datetime import timedelta

import pytest

from monitor.errors import ConfigError
from monitor.notices.channel import FailedForGood, FailedForNow, Sent
from monitor.notices.mail import TIMEOUT, MailChannel
from monitor.notices.policy import after
from monitor.site.site_file import Mail
from monitor.testing import FakeClock
from tests.support.mail import CatchingServer
from tests.support.notices import (
    INES,
    NOW,
    SENDER,
    mail_channel,
    notice,
    row,
)
from tests.support.silence import RawServer

TO = INES.mail


@pytest.fixture
def clock():
    return FakeClock(NOW)


@pytest.fixture
def deadline():
    return NOW + timedelta(seconds=20)


def test_e1_a_server_that_says_nothing_is_left_after_the_timeout(clock, deadline):
    """E1: a connection that is accepted and never answered ends, as failed for now."""
    began = time.monotonic()
    with RawServer() as silent:
        channel = mail_channel(silent.port, clock, timeout=0.3)

        got = channel.send(notice(), deadline=deadline)

    assert got == FailedForNow("mail server did not answer in time")
    assert time.monotonic() - began < 5


def test_e1_a_server_that_answers_letter_by_letter_is_left_at_the_deadline(clock):
    """E1: each letter comes in time, the answer never; the deadline holds in total."""
    began = time.monotonic()
    with RawServer(drip=b"2", every=0.02) as slow:
        channel = mail_channel(slow.port, clock, timeout=10)

        got = channel.send(notice(), deadline=NOW + timedelta(seconds=0.5))

    assert got == FailedForNow("mail server did not answer in time")
    assert time.monotonic() - began < 5


def test_e1_a_server_that_falls_silent_in_the_middle_is_left(clock, deadline):
    """E1: the timeout holds after RCPT as at the greeting."""
    with CatchingServer() as server:
        server.hang.add(TO)
        channel = mail_channel(server.port, clock, timeout=0.3)

        got = channel.send(notice(), deadline=deadline)

    assert got == FailedForNow("mail server did not answer in time")


def test_e1_a_deadline_that_has_passed_is_kept(clock):
    """E1: without time left nothing is tried."""
    with CatchingServer() as server:
        got = mail_channel(server.port, clock).send(notice(), deadline=NOW)

        assert isinstance(got, FailedForNow)
        assert server.messages == []


def test_e1_the_timeout_is_thirty_seconds_unless_a_test_says_less():
    """E1: there is always one."""
    assert TIMEOUT == 30


@pytest.mark.parametrize(
    ("answer", "result"),
    [
        ("421 closing", FailedForNow),
        ("451 greylisted, come again", FailedForNow),
        ("550 no such keeper", FailedForGood),
    ],
)
def test_e2_the_answer_for_one_keeper_is_told_apart(answer, result, clock, deadline):
    """E2: 4xx is for now, 5xx for good, each with the server's words."""
    with CatchingServer() as server:
        server.refuse[TO] = answer

        got = mail_channel(server.port, clock).send(notice(), deadline=deadline)

    assert got == result(f"mail server: {answer}")


def test_e2_one_refused_keeper_costs_nobody_else_a_mail(clock, deadline):
    """E2: one message for one recipient; the other keeper's goes."""
    with CatchingServer() as server:
        server.refuse[TO] = "550 no such keeper"
        ines = mail_channel(server.port, clock)
        tom = mail_channel(server.port, clock, to="tom@quillmere.example")

        results = [c.send(notice(), deadline=deadline) for c in (ines, tom)]

        (caught,) = server.wait_for(1)
    assert [type(r) for r in results] == [FailedForGood, Sent]
    assert caught.recipients == ("tom@quillmere.example",)
    assert caught.mail["To"] == "tom@quillmere.example"


@pytest.mark.parametrize(
    ("answer", "result"), [("452 full", FailedForNow), ("554 no", FailedForGood)]
)
def test_e2_a_refusal_after_the_text_is_told_apart(answer, result, clock, deadline):
    """E2: the answer to DATA counts like that to RCPT."""
    with CatchingServer() as server:
        server.data_reply = answer

        got = mail_channel(server.port, clock).send(notice(), deadline=deadline)

    assert got == result(f"mail server: {answer}")


def test_e2_a_server_that_comes_back_gets_the_mail(clock, deadline):
    """E2: down is for now; the same channel sends when the server is there again."""
    with CatchingServer() as server:
        channel = mail_channel(server.port, clock)
        server.stop()
        down = channel.send(notice(), deadline=deadline)
        server.start()
        up = channel.send(notice(), deadline=deadline)

        server.wait_for(1)
    assert [type(r) for r in (down, up)] == [FailedForNow, Sent]


def test_e2_no_server_at_all_is_for_now(clock, deadline):
    """E2: a refused connection is a passing failure."""
    with CatchingServer() as server:
        port = server.port

    got = mail_channel(port, clock).send(notice(), deadline=deadline)

    assert isinstance(got, FailedForNow)
    assert "refused" in got.reason


def test_e9_a_wrong_password_goes_at_once_to_the_next_channel(clock, deadline):
    """E9: 535 is for good on this channel, and neither password nor address is told."""
    with CatchingServer(tls="starttls", auth=("monitor", "right")) as server:
        channel = mail_channel(
            server.port,
            clock,
            security="starttls",
            username="monitor",
            password="canary-wrong",
            ssl_context=server.client_context(),
        )

        got = channel.send(notice(), deadline=deadline)

    assert isinstance(got, FailedForGood)
    assert "535" in got.reason
    assert "canary" not in got.reason
    update = after(row(), got, channels=2, now=NOW)
    assert (update.channel, update.next_try, update.state) == (1, NOW, "waiting")


def test_e3_date_and_message_id_are_on_the_wire(clock, deadline):
    """E3: both headers are in the captured bytes, the id in the domain of From."""
    with CatchingServer() as server:
        mail_channel(server.port, clock).send(notice(), deadline=deadline)
        (caught,) = server.wait_for(1)

    assert caught.mail["Date"] == "Wed, 25 Nov 2026 02:40:00 +0000"
    assert caught.mail["Message-ID"] == "<notice-7.5a4e@quillmere.example>"
    assert caught.mail["Auto-Submitted"] == "auto-generated"
    assert caught.mail["From"] == SENDER


def test_e4_a_repeat_after_a_lost_answer_has_the_same_message_id(clock, deadline):
    """E4: the connection breaks after DATA; the second try can be recognised."""
    with CatchingServer() as server:
        server.drop_after_data = 1
        channel = mail_channel(server.port, clock)

        results = [channel.send(notice(), deadline=deadline) for _ in range(2)]

        caught = server.wait_for(2)
    assert [type(r) for r in results] == [FailedForNow, Sent]
    assert caught[0].mail["Message-ID"] == caught[1].mail["Message-ID"]


def test_e8_mail_goes_by_starttls_with_login(clock, deadline):
    """E8: encrypted and logged in, with the certificate checked."""
    with CatchingServer(tls="starttls", auth=("monitor", "right")) as server:
        channel = mail_channel(
            server.port,
            clock,
            security="starttls",
            username="monitor",
            password="right",
            ssl_context=server.client_context(),
        )

        got = channel.send(notice(), deadline=deadline)

        assert got == Sent()
        server.wait_for(1)


def test_e8_mail_goes_by_tls_from_the_first_byte(clock, deadline):
    """E8: RFC 8314's implicit TLS."""
    with CatchingServer(tls="tls", auth=("monitor", "right")) as server:
        channel = mail_channel(
            server.port,
            clock,
            security="tls",
            username="monitor",
            password="right",
            ssl_context=server.client_context(),
        )

        got = channel.send(notice(), deadline=deadline)

        assert got == Sent()
        server.wait_for(1)


def test_e8_a_server_without_starttls_gets_nothing_in_plain_text(clock, deadline):
    """E8: no STARTTLS is a failure; not even the recipient is told to the server."""
    with CatchingServer() as server:
        channel = mail_channel(server.port, clock, security="starttls")

        got = channel.send(notice(), deadline=deadline)

        assert isinstance(got, FailedForGood)
        assert "STARTTLS" in got.reason
        assert (server.attempts, server.messages) == ([], [])


@pytest.mark.parametrize("security", ["starttls", "tls"])
def test_e8_a_certificate_that_nobody_vouches_for_is_refused(security, clock, deadline):
    """E8: the system's authorities do not know the test's; nothing is sent."""
    with CatchingServer(tls=security) as server:
        channel = mail_channel(server.port, clock, security=security)

        got = channel.send(notice(), deadline=deadline)

        assert isinstance(got, FailedForGood)
        assert "certificate" in got.reason
        assert server.attempts == []


def test_e8_a_server_that_breaks_off_the_handshake_is_for_now(clock, deadline):
    """E8: plain text where TLS was expected is no reason to give the channel up."""
    with CatchingServer() as server:
        channel = mail_channel(
            server.port,
            clock,
            security="tls",
            timeout=0.5,
            ssl_context=ssl.create_default_context(),
        )

        got = channel.send(notice(), deadline=deadline)

    assert isinstance(got, FailedForNow)


def test_e8_unencrypted_mail_to_another_machine_is_no_configuration(clock):
    """E8: "none" is for this machine alone."""
    table = Mail.model_construct(host="mail.example", security="none", sender=SENDER)

    with pytest.raises(ConfigError, match="unencrypted"):
        MailChannel(table, to=TO, password=None, clock=clock, store="5a4e")


@pytest.mark.parametrize("password", [None, "", "pässword"])
def test_e9_a_login_that_cannot_work_is_no_configuration(password, clock):
    """E9: a missing password, or one that the login cannot carry, is said at start."""
    with pytest.raises(ConfigError, match="mail_password") as caught:
        mail_channel(587, clock, username="monitor", password=password)

    assert "pässword" not in str(caught.value)
