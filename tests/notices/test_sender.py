import logging
import threading
from datetime import timedelta
from itertools import takewhile

import msgspec
import pytest

from monitor.clock import SteadyClock
from monitor.errors import StoreError
from monitor.notices.channel import FailedForGood, FailedForNow, Sent
from monitor.notices.sender import BUDGET, COMMIT_GRACE, Sender
from monitor.site.words import Priority
from monitor.testing import FakeChannel
from tests.support.mail import CatchingServer
from tests.support.notices import INES, NOW, mail_channel, row

LATER = FailedForNow("mail server: 451 later")
NEVER = FailedForGood("mail server: 550 no")
HALF = timedelta(seconds=30)


class Store:
    """An outbox that commits a report when it is told to."""

    def __init__(self, *rows):
        self.rows = {r.id: r for r in rows}
        self.reports = []
        self.fails = False

    def pending(self, _now):
        if self.fails:
            raise StoreError("disk gone")
        return [r for r in self.rows.values() if r.state == "waiting"]

    def commit(self):
        for update in self.reports:
            self.rows[update.id] = msgspec.structs.replace(
                self.rows[update.id],
                state=update.state,
                channel=update.channel,
                attempts=update.attempts,
                next_try=update.next_try,
                sent_at=update.sent_at,
                last_error=update.last_error,
            )


def make(store, clock, *channels, **changes):
    told = {
        "channels_of": lambda _: [(f"c{n}", c) for n, c in enumerate(channels)],
        "pending": store.pending,
        "report": store.reports.append,
        "clock": clock,
        "wake": threading.Event(),
        "heartbeat": lambda: None,
    }
    return Sender(**(told | changes))


def drain(sender):
    return sum(takewhile(bool, iter(sender.send_one, None)))


def test_the_urgent_go_first_then_the_oldest(clock):
    """Priority before age, age before number."""
    channel = FakeChannel([Sent()])
    store = Store(
        row(1, priority=Priority.NOTE, created=NOW - timedelta(hours=2)),
        row(2, priority=Priority.PROMPT, created=NOW),
        row(3, priority=Priority.PROMPT, created=NOW - timedelta(hours=1)),
        row(4, priority=Priority.URGENT, created=NOW),
    )

    drain(make(store, clock, channel))

    assert [a.notice.id for a in channel.sent] == [4, 3, 2, 1]


def test_a_notice_is_not_sent_twice_while_its_report_is_not_committed(clock):
    """The store still shows "waiting": the notice is left alone, for ever."""
    channel = FakeChannel([Sent()])
    store = Store(row())
    sender = make(store, clock, channel)

    tried = drain(sender)
    clock.advance(timedelta(hours=5))
    again = drain(sender)

    assert (tried, again) == (1, 0)
    assert [u.state for u in store.reports] == ["sent"]


def test_a_failed_try_is_repeated_when_due_and_committed(clock):
    """Not before its time, then once more, then sent."""
    channel = FakeChannel([LATER, Sent()])
    store = Store(row())
    sender = make(store, clock, channel)

    first = drain(sender)
    store.commit()
    early = drain(sender)
    clock.advance(HALF)
    late = drain(sender)

    assert (first, early, late) == (1, 0, 1)
    assert [u.attempts for u in store.reports] == [1, 2]


def test_a_failed_try_waits_for_its_commit_but_not_for_ever(clock):
    """If the store cannot write, the report itself counts after a minute's grace."""
    channel = FakeChannel([LATER, Sent()])
    store = Store(row())
    sender = make(store, clock, channel)

    drain(sender)
    clock.advance(HALF)
    uncommitted = drain(sender)
    clock.advance(COMMIT_GRACE)
    overdue = drain(sender)

    assert (uncommitted, overdue) == (0, 1)
    assert [(u.state, u.attempts) for u in store.reports] == [
        ("waiting", 1),
        ("sent", 2),
    ]


def test_a_refusal_goes_to_the_next_channel_once_committed(clock):
    """The second channel is used, the first left alone."""
    mail, text = FakeChannel([NEVER]), FakeChannel([Sent()])
    store = Store(row())
    sender = make(store, clock, mail, text)

    drain(sender)
    store.commit()
    drain(sender)

    assert (len(mail.sent), len(text.sent)) == (1, 1)
    assert store.reports[-1].state == "sent"


def test_a_keeper_without_channels_fails_at_once(clock):
    """The report says so; nothing is tried."""
    store = Store(row())

    drain(make(store, clock))

    assert [(u.state, u.last_error) for u in store.reports] == [
        ("failed", "keeper ines has no channel")
    ]


def test_a_channel_that_raises_does_not_end_the_sender(clock, caplog):
    """An error of our own is a passing failure, and shows no foreign text."""
    channel = FakeChannel([RuntimeError("canary"), Sent()])
    store = Store(row(1), row(2))

    with caplog.at_level(logging.DEBUG):
        drain(make(store, clock, channel))

    assert [u.state for u in store.reports] == ["waiting", "sent"]
    assert "canary" not in caplog.text + store.reports[0].last_error


def test_a_store_that_cannot_be_read_is_asked_again(clock, caplog):
    """One line in the log, and sending goes on when it is back."""
    store = Store(row())
    store.fails = True
    sender = make(store, clock, FakeChannel([Sent()]))

    blind = [sender.send_one() for _ in range(3)]
    store.fails = False

    assert blind == [False] * 3
    assert sender.send_one()
    assert caplog.text.count("outbox cannot be read") == 1


def test_s1_the_deadline_stands_while_a_try_is_under_way(clock):
    """S1: while a try lasts its end is known, and there is a heartbeat around it."""
    beats, seen = [], []

    class Looking:
        def send(self, _notice, *, deadline):
            seen.append((sender.deadline, deadline, len(beats)))
            return Sent()

    sender = make(Store(row()), clock, Looking(), heartbeat=lambda: beats.append(1))

    drain(sender)

    ends = NOW + timedelta(seconds=BUDGET)
    assert seen == [(ends, ends, 1)]
    assert (sender.deadline, len(beats)) == (None, 2)


@pytest.fixture
def running():
    """Runs a sender in a thread of its own and joins it."""
    stop, threads, wakes = threading.Event(), [], []

    def start(sender, wake):
        thread = threading.Thread(target=sender.run, args=(stop,), name="sender")
        threads.append(thread)
        wakes.append(wake)
        thread.start()

    yield start
    stop.set()
    for wake in wakes:
        wake.set()
    for thread in threads:
        thread.join(5)
        assert not thread.is_alive()


def test_the_loop_sends_what_is_added_and_stops_when_told(running):
    """A notice added while it sleeps is mailed; the loop ends at once on stop."""
    clock, wake, store = SteadyClock(), threading.Event(), Store()
    with CatchingServer() as server:
        channel = mail_channel(server.port, clock)
        sender = make(store, clock, channel, wake=wake)
        running(sender, wake)

        store.rows = {1: row(1)}
        wake.set()
        (caught,) = server.wait_for(1)

    assert caught.recipients == (INES.mail,)
    assert caught.mail["Message-ID"] == "<notice-1.5a4e@quillmere.example>"
