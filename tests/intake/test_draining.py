"""When untimed messages are "now" again."""

from datetime import UTC, datetime, timedelta

import pytest

from monitor.clock import SteadyClock
from monitor.intake.draining import Drain

T0 = datetime(2026, 3, 1, 6, tzinfo=UTC)


def _after(seconds: float) -> datetime:
    return T0 + timedelta(seconds=seconds)


@pytest.fixture
def drain() -> Drain:
    one = Drain(SteadyClock())
    one.begin()
    return one


def test_it_ends_when_the_mark_is_back_and_the_inbox_was_empty(drain):
    """Both, and a second since the subscription."""
    drain.subscribed(T0)
    drain.marked()

    drain.empty(_after(1.0), waiting=0)

    assert not drain.active


@pytest.mark.parametrize(
    ("seconds", "waiting"), [(0.9, 0), (5.0, 1)], ids=["too-soon", "not-empty"]
)
def test_it_goes_on_before_a_second_and_while_messages_wait(drain, seconds, waiting):
    """An inbox that is empty at once has seen nothing yet."""
    drain.subscribed(T0)
    drain.marked()

    drain.empty(_after(seconds), waiting=waiting)

    assert drain.active


def test_without_a_mark_it_lasts_half_a_minute(drain):
    """A broker that hides our own topic from us cannot hold readings for ever."""
    drain.subscribed(T0)

    drain.empty(_after(29.9), waiting=0)
    before = drain.active
    drain.empty(_after(30.0), waiting=0)

    assert (before, drain.active) == (True, False)


def test_an_empty_inbox_before_the_subscription_says_nothing(drain):
    """Nothing can have come yet."""
    drain.empty(_after(100), waiting=0)

    assert drain.active


def test_every_connect_begins_it_anew(drain):
    """Each time messages may have waited."""
    drain.subscribed(T0)
    drain.marked()
    drain.empty(_after(2), waiting=0)

    drain.begin()
    drain.empty(_after(100), waiting=0)

    assert drain.active
