"""What may be in its cell is watched whatever befalls daemon and store."""

import contextlib
import signal
import sqlite3
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from monitor.alarms.perhaps import PerhapsSince
from monitor.clock import to_us
from monitor.recorder.starting import open_store
from monitor.site.journal import CohortStarted, Count, Entry, PlaceCreated
from monitor.site.load import load
from monitor.site.words import CountKind, PlaceKind
from monitor.store import Reader, Writer
from monitor.store.backup import make_backup
from monitor.store.connection import FILE
from monitor.testing import FakeClock
from tests.service.support import daemon
from tests.store.support import AIR, NOW
from tests.support.brokers import free_port, wait_for

DAY = timedelta(days=1)
TAKEN = PerhapsSince(NOW, 1, ("pupa",))


def take(state, *taken):
    """A store in which something was taken up."""
    with Writer.open(state, now=NOW) as writer, writer.transaction():
        for each in taken:
            writer.take_perhaps(each)


def forget_the_table(state):
    """Make the store one of before the table."""
    with contextlib.closing(sqlite3.connect(state / FILE)) as connection:
        connection.execute("DROP TABLE perhaps")


def test_a_store_of_before_opens_and_gets_the_table(tmp_path):
    """Readers find nothing recorded in it; the daemon makes the table and goes on."""
    state = tmp_path / "state"
    take(state)
    forget_the_table(state)

    assert Reader.open(state).perhaps() == []
    take(state, TAKEN)
    assert Reader.open(state).perhaps() == [TAKEN]
    with (
        contextlib.closing(sqlite3.connect(state / FILE)) as connection,
        pytest.raises(sqlite3.IntegrityError, match="append-only"),
    ):
        connection.execute("DELETE FROM perhaps")


def test_a_backup_of_before_is_restored_and_gets_the_table(tmp_path):
    """A damaged store is replaced by it as by any other."""
    state = tmp_path / "state"
    take(state, TAKEN)
    forget_the_table(state)
    make_backup(Reader.open(state), state / "backups", NOW)
    (state / FILE).write_bytes(b"no store at all" * 1000)

    with Writer.open(state, now=NOW) as writer:
        assert "was put in its place" in writer.mishap
        assert writer.reader().perhaps() == []
        with writer.transaction():
            writer.take_perhaps(TAKEN)
        assert writer.reader().perhaps() == [TAKEN]


def test_a_damaged_store_gets_back_what_its_backup_knows(tmp_path):
    """What was taken up before the backup holds again from the start on."""
    state = tmp_path / "state"
    take(state, TAKEN)
    make_backup(Reader.open(state), state / "backups", NOW)
    (state / FILE).write_bytes(b"no store at all" * 1000)

    with Writer.open(state, now=NOW) as writer:
        assert "was put in its place" in writer.mishap
        assert writer.reader().perhaps() == [TAKEN]


def furnish(state):
    """Prepupae that came 45 days ago, and the air that they had since: 25 degC."""
    now = datetime.now(tz=UTC)
    since = now - 45 * DAY
    facts = (
        PlaceCreated("tub-1", PlaceKind.REARING, "warm-room"),
        CohortStarted(
            1, "dynastes-hercules", "prepupa", Count(CountKind.COUNTED, 4), "tub-1"
        ),
    )
    with Writer.open(state, now=now) as writer:
        with writer.transaction():
            writer.add_entries([Entry(since, since, "ines", fact) for fact in facts])
        times = np.arange(to_us(since), to_us(now), 120_000_000, dtype=np.int64)
        writer.import_day("warm-room-air", AIR, times, np.full(times.size, 25.0))


def test_killed_after_the_forecast_thought_of_pupae_they_are_watched_at_once(tmp_path):
    """The daemon foresees, records, is killed; the next start has their bands."""
    house, state = tmp_path / "house", tmp_path / "house/state"
    house.mkdir()
    furnish(state)
    broker = f'embedded = true\nlisten = "127.0.0.1:{free_port()}"'
    with daemon(house, broker=broker) as made:
        wait_for(lambda: Reader.open(state).perhaps(), 60.0)
        made.running.send_signal(signal.SIGKILL)
        made.running.wait(10)

    [taken] = Reader.open(state).perhaps()
    clock = FakeClock(datetime.now(tz=UTC))
    store = open_store(state, load(house / "config"), clock)
    with store.ledger.writer:
        dwellers = store.living.state.plan.sensors["warm-room-air", AIR].dwellers

    assert (taken.cohort, taken.stages[0]) == (1, "pupa")
    assert store.living.perhaps == {1: taken.stages}
    assert [(d.cohort, d.stage, d.perhaps) for d in dwellers] == [
        (1, "prepupa", taken.stages)
    ]
