"""Sealing and checkpoints between cycles."""

from datetime import timedelta

import pytest

from monitor.errors import StoreFullError
from monitor.heart.events import Reading
from monitor.recorder.upkeep import Upkeep
from monitor.store.writer import Writer
from tests.heart.house import AIR, T0

DAY = timedelta(days=1)
HOUR = timedelta(hours=1)


@pytest.fixture
def writer(tmp_path):
    """A store with four days of hourly readings."""
    with Writer.open(tmp_path, now=T0) as made:
        readings = [
            Reading("shelf-a-air", AIR, T0 - 4 * DAY + i * HOUR, 22.0)
            for i in range(96)
        ]
        with made.transaction():
            made.add_readings(readings, now=T0)
        yield made


def hot(writer):
    """Readings that lie in the log."""
    return sum(1 for _ in writer.reader().readings_since(T0 - 10 * DAY))


def test_days_that_are_over_are_sealed_after_the_first_minute(writer):
    """Whole days before yesterday leave the log; nothing is lost."""
    now = [0.0]
    upkeep = Upkeep(writer, monotonic=lambda: now[0])
    upkeep.look(T0)
    assert hot(writer) == 96
    now[0] = 61.0
    upkeep.look(T0)

    assert hot(writer) == 36
    times, _ = writer.reader().readings("shelf-a-air", AIR, T0 - 9 * DAY, T0)
    assert len(times) == 96


def test_a_day_is_sealed_once_and_in_quiet_hours(writer, monkeypatch):
    """Not again on the same day, not at noon of the next, but in its small hours."""
    now, sealed = [61.0], []
    upkeep = Upkeep(writer, monotonic=lambda: now[0])
    monkeypatch.setattr(writer, "seal", lambda before: sealed.append(before) or 0)
    now[0] = 200.0
    for at in (T0, T0 + HOUR, T0 + 12 * HOUR, T0 + 16 * HOUR, T0 + 17 * HOUR):
        upkeep.look(at)

    assert sealed == [T0 - DAY, T0 + 16 * HOUR - DAY]


def test_upkeep_that_fails_stops_nothing(writer, monkeypatch, caplog):
    """A full disk is logged; the recorder goes on."""

    def full(_before):
        raise StoreFullError("the disk is full")

    now = [0.0]
    upkeep = Upkeep(writer, monotonic=lambda: now[0])
    monkeypatch.setattr(writer, "seal", full)
    now[0] = 61.0
    upkeep.look(T0)

    assert "upkeep failed" in caplog.text
