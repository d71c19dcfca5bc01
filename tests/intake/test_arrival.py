"""The bounded queue between the network and the recorder."""

import threading
from datetime import UTC, datetime, timedelta

import pytest

from monitor.clock import SteadyClock
from monitor.intake.arrival import Arrival, Inbox, Stamp

T0 = datetime(2026, 3, 1, 6, tzinfo=UTC)


def _arrival(mid: int = 1) -> Arrival:
    return Arrival("rearing/shelf-a/door", b"1", False, False, 1, mid, 1, T0)  # noqa: FBT003


def test_messages_come_out_in_their_order_and_no_more_than_asked_for():
    """A batch is the oldest messages, bounded."""
    inbox = Inbox()
    assert all(inbox.put(_arrival(mid)) for mid in range(5))

    batch, rest = inbox.take(3, 0), inbox.take(10, 0)

    assert [one.mid for one in batch] == [0, 1, 2]
    assert [one.mid for one in rest] == [3, 4]
    assert len(inbox) == 0


def test_a_full_inbox_refuses_at_once_and_counts():
    """The network thread never waits for the recorder."""
    inbox = Inbox(2)

    taken = [inbox.put(_arrival()) for _ in range(5)]

    assert taken == [True, True, False, False, False]
    assert (len(inbox), inbox.refused) == (2, 3)


def test_an_empty_inbox_gives_nothing_after_the_wait():
    """The recorder gets its turn though nothing comes."""
    assert Inbox().take(10, 0.01) == []


def test_a_waiting_taker_is_woken_by_the_first_message():
    """No message waits for the end of a wait."""
    inbox = Inbox()
    got: list[Arrival] = []
    taker = threading.Thread(target=lambda: got.extend(inbox.take(10, 30)))
    taker.start()

    inbox.put(_arrival(7))
    taker.join(5)

    assert [one.mid for one in got] == [7]


def test_nothing_is_lost_or_reordered_between_two_busy_threads():
    """20,000 messages through a small inbox arrive each once, in order."""
    inbox = Inbox(64)
    count = 20_000

    def put_all() -> None:
        for mid in range(count):
            while not inbox.put(_arrival(mid)):
                pass

    putter = threading.Thread(target=put_all)
    putter.start()
    got: list[int] = []
    while len(got) < count:
        batch = inbox.take(10, 5)
        assert batch, "the putter is stuck"
        got.extend(one.mid for one in batch)
    putter.join(5)

    assert got == list(range(count))


def test_a_limit_of_nothing_is_refused():
    """An inbox that can hold nothing is a mistake."""
    with pytest.raises(ValueError, match="at least one"):
        Inbox(0)


def test_times_of_arrival_never_repeat_while_the_clock_stands():
    """Two messages in one instant stay two."""
    stamp = Stamp(SteadyClock(wall=lambda: 1e9, boot=lambda: 0.0))

    times = [stamp.next() for _ in range(3)]

    assert times[1] - times[0] == times[2] - times[1] == timedelta(microseconds=1)


def test_times_of_arrival_follow_a_clock_that_was_set_back():
    """An hour of readings must not pile up at one instant."""
    wall = [1e9]
    clock = SteadyClock(wall=lambda: wall[0], boot=lambda: 0.0)
    stamp = Stamp(clock)
    first = stamp.next()

    wall[0] -= 3600
    step = clock.take_step()
    second = stamp.next()

    assert step == timedelta(hours=-1)
    assert timedelta(hours=-1, seconds=-1) < second - first <= timedelta(hours=-1)
