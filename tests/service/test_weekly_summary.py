"""The weekly summary through a real daemon: made by its child, mailed once."""

import contextlib
import time
from datetime import UTC, datetime, timedelta

import pytest

from monitor.clock import ScaledClock
from monitor.store.reader import Reader
from tests.service.support import TOPIC, again, own_broker, payload, people
from tests.summary.pages import is_sound
from tests.support.brokers import mosquitto, publish_lines, wait_for
from tests.support.daemon import Daemon, notify_socket
from tests.support.mail import CatchingServer

DUE = datetime(2026, 3, 2, 7, tzinfo=UTC)
"""Monday; Dublin keeps UTC in winter."""
RATE = 4
IMPATIENT = """
import sys
import monitor.service
from monitor.chores import Chores
from monitor.cli.main import main

monitor.service.CHORES_EVERY_S = 0.5  # [real s]
look = Chores.look

def counted(self):
    look(self)
    print("time=test the schedule was asked", file=sys.stderr, flush=True)

Chores.look = counted
sys.exit(main())
"""
SUMMARY = """
[summary]
day = "Mon"
time = "07:00"
to = ["ines", "tom"]
"""


def asked(made):
    """How often a daemon has looked for due work."""
    return made.said().count("the schedule was asked")


@contextlib.contextmanager
def house(folder, broker, post, clock):
    """A daemon by this clock, with a summary for two keepers."""
    with notify_socket(str(folder / "notify")) as notify:
        made = Daemon(
            folder,
            own_broker(broker.port),
            notify,
            environment={"REARING_CLOCK": clock.spelled()},
            program=("-c", IMPATIENT),
            more=people(post) + SUMMARY,
        )
        try:
            yield made
        finally:
            made.kill()


@pytest.mark.mosquitto
def test_one_summary_comes_at_its_time_and_none_after_a_restart(tmp_path):
    """
    A2, A8: due at 07:00 on Monday; killed and started again after that.

    Each of two keepers has one mail of the week, with its picture; the restarted
    daemon asks the schedule again and again and sends nothing more.
    """
    with (
        CatchingServer() as post,
        mosquitto(tmp_path) as broker,
    ):
        boot = time.clock_gettime(time.CLOCK_BOOTTIME)
        begun = DUE - timedelta(seconds=40)
        clock = ScaledClock(rate=RATE, began_at=begun, began_boot=boot)
        with house(tmp_path, broker, post, clock) as made:
            again(made)
            sunday = DUE - timedelta(hours=12)
            lines = [payload(sunday + timedelta(minutes=n), 22.4) for n in range(60)]
            publish_lines(broker.port, TOPIC, lines)
            # a kill between the server's answer and its mark would send it once more
            wait_for(lambda: sent(tmp_path / "state") >= 2, 90.0)
            seen = asked(made)
            made.running.kill()
            made.running.wait(10)
            again(made)
            wait_for(lambda: asked(made) >= seen + 6, 60.0)
            written = sent(tmp_path / "state")

    mails = weekly(post)
    assert written == 2
    assert sorted(m.recipients[0] for m in mails) == [
        "ines@quillmere.example",
        "tom@quillmere.example",
    ]
    mail = mails[0].mail
    assert mail["Subject"].startswith("Week 9: ")
    text = mail.get_body(("plain",)).get_content()
    assert "This is summary 1. The next one is due Mon 9 Mar 07:00." in " ".join(
        text.split()
    )
    page = is_sound(mail.get_body(("html",)).get_content())
    cids = {p["Content-ID"].strip("<>") for p in mail.walk() if p["Content-ID"]}
    assert {p["src"].removeprefix("cid:") for p in page.all("img")} == cids
    assert cids == {"warm-room"}
    folder = tmp_path / "state" / "summaries"
    assert (folder / "2026-W09" / "warm-room.png").is_file()
    assert (folder / "index.html").is_file()


def sent(state):
    """Summaries of the outbox that a mail server took."""
    rows = Reader.open(state).notices()
    return sum(n.why == "summary" and n.state == "sent" for n in rows)


def weekly(post):
    """Mails of a week, among those of alarms."""
    return [m for m in post.messages if (m.mail["Subject"] or "").startswith("Week")]
