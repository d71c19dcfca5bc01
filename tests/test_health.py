"""Heartbeats, supervised threads and the watchdog's ping."""

import threading
from datetime import timedelta

import pytest

from monitor.health import Heartbeats, Supervised, Watch, exit_code
from monitor.systemd import Notifier

SECOND = timedelta(seconds=1)


class Monotonic:
    def __init__(self):
        self.now = 1000.0

    def __call__(self):
        return self.now


@pytest.fixture
def clock():
    return Monotonic()


@pytest.fixture
def hearts(clock):
    hearts = Heartbeats(clock)
    hearts.register("recorder", 30 * SECOND)
    hearts.register("sender", 10 * SECOND)
    return hearts


def test_a_registered_heart_has_its_whole_limit_from_the_start(hearts, clock):
    """A thread that has not come to its first beat is not called late."""
    clock.now += 10.0

    assert hearts.stale(clock.now) == []


def test_only_the_overdue_hearts_are_stale(hearts, clock):
    """Each heart is held to its own limit."""
    clock.now += 10.5

    assert hearts.stale(clock.now) == ["sender"]


def test_a_beat_starts_the_limit_again(hearts, clock):
    """Work done in time keeps the heart fresh."""
    clock.now += 9.0
    hearts.beat("sender")
    clock.now += 9.0

    assert hearts.stale(clock.now) == []


def test_a_busy_heart_may_be_silent_until_its_deadline(hearts, clock):
    """The sender waits for a mail server longer than its limit, but not for ever."""
    hearts.busy("sender", 60 * SECOND)
    clock.now += 29.0
    before = hearts.stale(clock.now)
    hearts.beat("recorder")
    clock.now += 29.0
    still = hearts.stale(clock.now)
    hearts.beat("recorder")
    clock.now += 2.5

    assert (before, still, hearts.stale(clock.now)) == ([], [], ["sender"])


def test_a_beat_ends_being_busy(hearts, clock):
    """After the mail is sent the usual limit holds again."""
    hearts.busy("sender", 3600 * SECOND)
    hearts.beat("sender")
    clock.now += 10.5

    assert hearts.stale(clock.now) == ["sender"]


def test_a_name_is_registered_once(hearts):
    """Two threads under one name would hide each other's silence."""
    with pytest.raises(ValueError, match="'sender' is registered already"):
        hearts.register("sender", SECOND)


def test_a_beat_of_an_unknown_name_is_a_mistake(hearts):
    """A misspelled name must not beat into the void."""
    with pytest.raises(KeyError):
        hearts.beat("sendre")


def test_what_is_forgotten_is_not_awaited(hearts, clock):
    """A thread that ended in good order is never stale."""
    hearts.forget("sender")
    clock.now += 20.0

    assert hearts.stale(clock.now) == []
    assert hearts.names == ("recorder",)


def test_a_hang_is_logged_once_and_so_is_its_end(hearts, clock, caplog, capfd):
    """The log tells a change of state, not each look."""
    watch = Watch(hearts, Notifier(), clock)
    clock.now += 11.0
    looks = [watch.look() for _ in range(5)]
    hearts.beat("sender")
    looks.append(watch.look())

    assert looks == [["sender"]] * 5 + [[]]
    assert caplog.messages == ["threads hang", "threads move again"]
    assert caplog.records[0].threads == "sender"
    assert "test_health.py" in capfd.readouterr().err


@pytest.fixture
def ends():
    return {"stop": threading.Event(), "fatal": threading.Event()}


def test_a_thread_that_stops_when_asked_is_no_failure(ends, caplog):
    """An orderly end sets nothing and says nothing."""
    thread = Supervised("worker", ends["stop"].wait, **ends)
    thread.start()
    ends["stop"].set()

    assert thread.join(5.0)
    assert exit_code(ends["fatal"]) == 0
    assert not caplog.records


@pytest.mark.parametrize("error", [ValueError("bad row"), SystemExit(0)])
def test_s5_a_thread_that_raises_ends_the_process(ends, caplog, error):
    """The death is logged once with its cause, and the main thread is woken."""

    def die():
        raise error

    thread = Supervised("recorder", die, **ends)
    thread.start()

    assert ends["stop"].wait(5.0)
    assert thread.join(5.0)
    assert exit_code(ends["fatal"]) == 1
    assert [(r.levelname, r.which) for r in caplog.records] == [
        ("CRITICAL", "recorder")
    ]
    assert caplog.records[0].exc_info[1] is error


def test_s5_a_thread_that_returns_early_ends_the_process(ends, caplog):
    """A loop that falls through its end is as dead as one that raises."""
    thread = Supervised("recorder", lambda: None, **ends)
    thread.start()

    assert ends["stop"].wait(5.0)
    assert exit_code(ends["fatal"]) == 1
    assert caplog.messages == ["thread ended early"]


def test_a_thread_that_does_not_end_is_named(ends, caplog):
    """Shutdown waits for nobody without a bound."""
    release = threading.Event()
    thread = Supervised("stuck", release.wait, **ends)
    thread.start()

    joined = thread.join(0.01)
    ends["stop"].set()
    release.set()

    assert not joined
    assert caplog.records[0].which == "stuck"
    assert thread.join(5.0)
