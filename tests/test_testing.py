"""The fakes keep the promises of what they stand for."""

from datetime import UTC, datetime, timedelta

import pytest

from monitor.clock import Clock
from monitor.testing import Attempt, FakeChannel, FakeClock

T0 = datetime(2026, 3, 29, 1, tzinfo=UTC)


def test_a_fake_clock_moves_only_when_told():
    """It stands still, advances, and follows a step of the wall when asked."""
    clock: Clock = FakeClock(T0)
    first = clock.now()
    clock.advance(timedelta(minutes=20))
    clock.step(timedelta(hours=-1))
    before = clock.now()

    assert first == T0
    assert before == T0 + timedelta(minutes=20)
    assert clock.take_step() == timedelta(hours=-1)
    assert clock.take_step() is None
    assert clock.now() == T0 - timedelta(minutes=40)


def test_a_fake_clock_does_not_advance_backwards():
    """A test that means a step says so."""
    with pytest.raises(ValueError, match="only goes forward"):
        FakeClock(T0).advance(timedelta(seconds=-1))


def test_a_fake_channel_gives_its_results_in_turn():
    """The last result holds for ever; an exception is raised."""
    channel = FakeChannel([OSError("gone"), "sent"])

    with pytest.raises(OSError, match="gone"):
        channel.send("first", deadline=T0)
    got = [channel.send(n, deadline=T0) for n in ("second", "third")]

    assert got == ["sent", "sent"]
    assert channel.sent == [Attempt(n, T0) for n in ("first", "second", "third")]
