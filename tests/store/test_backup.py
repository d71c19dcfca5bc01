"""Backups: counted, named, the newest kept; traps Q5 and Q6."""

import contextlib
import os
import sqlite3
import threading
from datetime import timedelta

import pytest

from monitor.alarms.perhaps import PerhapsSince
from monitor.clock import to_us
from monitor.errors import RefusedError, StoreError, StoreFullError, UsageError
from monitor.site.journal import CohortEnded, Entry
from monitor.store import Reader, Writer
from monitor.store.backup import (
    copy_to,
    make_backup,
    own_backups,
    refuse_root,
)
from monitor.store.connection import FILE, connect_reader
from monitor.store.tally import Tally, tally
from tests.store.support import AIR, NOW, alarm, minutes, put, reading, stored

DEADLINE_S = 30
DAY = timedelta(days=1)


@pytest.fixture
def state(tmp_path):
    return tmp_path / "state"


@pytest.fixture
def writer(state):
    with Writer.open(state, now=NOW) as opened:
        yield opened


def counted(writer):
    """What the store of a writer holds, by the connection of another."""
    path = writer.directory / FILE
    with contextlib.closing(connect_reader(path)) as connection:
        return tally(connection, path)


def test_a_store_is_counted(writer):
    """Readings sealed and not, alarms, entries, and the reading measured last."""
    writer.import_day("shelf-b", AIR, *minutes(NOW - DAY, 720))
    put(writer, reading(-1), reading(-2))
    with writer.transaction():
        writer.save_alarm(alarm(), "raised", NOW)
        writer.add_entries([Entry(NOW, NOW, "ines", CohortEnded(1, "gone"))])

    assert counted(writer) == Tally(722, 1, 1, reading(-1))


def test_what_was_thought_of_unseen_stages_goes_along(writer, tmp_path):
    """A copy replays as the store does."""
    given = PerhapsSince(NOW, 1, ("pupa",))
    with writer.transaction():
        writer.take_perhaps(given)
    (tmp_path / "copy").mkdir()

    copy_to(writer.reader(), tmp_path / "copy" / FILE)

    assert Reader.open(tmp_path / "copy").perhaps() == [given]


def test_a_new_store_holds_nothing(writer):
    """Zero is a count too."""
    assert counted(writer) == Tally(0, 0, 0, None)


def test_a_seal_that_was_cut_short_counts_nothing_twice(writer):
    """A reading that stands in the log and in its piece is one reading."""
    put(writer, *(reading(m) for m in range(-3000, -2000)))
    times = [to_us(reading(m).time) for m in range(-3000, -2900)]
    with writer.transaction():
        series = writer._hot._find(("shelf-a", AIR))
        day = times[0] // 86_400_000_000
        writer._hot.seal_piece(
            series.id, day, *_arrays([t for t in times if t // 86_400_000_000 == day])
        )

    assert counted(writer).readings == len(stored(writer.reader())) == 1000


def _arrays(times):
    import numpy as np  # noqa: PLC0415

    return np.array(times, np.int64), np.full(len(times), 21.5)


def test_q5_a_backup_while_another_writes_is_whole_and_restorable(state, tmp_path):
    """Made beside a writer that commits on: what it says it holds, it holds."""
    made = []
    with Writer.open(state, now=NOW) as writer:
        put(writer, *(reading(m) for m in range(-500, 0)))
        ended = threading.Event()

        def copy_on():
            reader = Reader.open(state)
            while not ended.is_set() and len(made) < 5:
                made.append(make_backup(reader, tmp_path / "b", NOW, keep=9))

        thread = threading.Thread(target=copy_on)
        thread.start()
        n = 0
        while thread.is_alive() and n < 5000:
            n += 1
            put(writer, *(reading(n + k / 10, n) for k in range(7)))
        ended.set()
        thread.join(DEADLINE_S)

    counts = [one.holds.readings for one in made]
    assert len(made) >= 2
    assert counts == sorted(counts)
    assert all((count - 500) % 7 == 0 for count in counts)
    for one in made:
        with contextlib.closing(connect_reader(one.path)) as copy:
            assert copy.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            assert copy.execute("PRAGMA journal_mode").fetchone() == ("delete",)
            assert tally(copy, one.path) == one.holds
        assert one.size == one.path.stat().st_size


def test_the_newest_of_our_own_are_kept(writer, tmp_path):
    """Fourteen where nothing is said; what others laid there stays."""
    folder = tmp_path / "b"
    folder.mkdir()
    (folder / "before-the-upgrade.sqlite3").write_text("kept by hand")
    (folder / "rearing-20260231T000000Z.sqlite3").write_text("no date")

    made = [make_backup(writer.reader(), folder, NOW + n * DAY) for n in range(16)]

    assert [one.removed for one in made[:14]] == [()] * 14
    assert [one.removed for one in made[14:]] == [(made[0].path,), (made[1].path,)]
    assert own_backups(folder) == [one.path for one in reversed(made[2:])]
    assert len(list(folder.iterdir())) == 14 + 2


def test_two_of_one_second_have_two_names(writer, tmp_path):
    """And the second counts as the newer one."""
    first, second, third = (
        make_backup(writer.reader(), tmp_path, NOW, keep=2) for _ in range(3)
    )

    assert second.path.name == "rearing-20260310T120000Z-2.sqlite3"
    assert third.removed == (first.path,)


def test_the_new_one_stays_whatever_the_clock_says(writer, tmp_path):
    """A clock that runs behind does not take away what was made just now."""
    later = make_backup(writer.reader(), tmp_path, NOW + DAY, keep=1)
    behind = make_backup(writer.reader(), tmp_path, NOW, keep=1)

    assert behind.removed == (later.path,)
    assert own_backups(tmp_path) == [behind.path]


def test_what_killed_backups_left_is_swept(writer, tmp_path):
    """A copy that was never finished goes after a day, with its journal."""
    old, new = (tmp_path / f"rearing-202603{d}T120000Z.sqlite3" for d in ("08", "10"))
    for path in (old, new):
        for end in (".partial", ".partial-journal"):
            path.with_name(path.name + end).write_bytes(b"half")

    make_backup(writer.reader(), tmp_path, NOW + timedelta(hours=1))

    left = sorted(p.name for p in tmp_path.iterdir() if "partial" in p.name)
    assert left == [f"{new.name}.partial", f"{new.name}.partial-journal"]


def test_q5_a_journal_left_by_a_killed_copy_is_not_played_into_the_next(
    writer, tmp_path
):
    """Its pages are of another file."""
    to = tmp_path / "one.sqlite3"
    put(writer, *(reading(m) for m in range(-500, 0)))
    for end in ("", "-journal", "-wal"):
        (tmp_path / f"one.sqlite3.partial{end}").write_bytes(os.urandom(8192))

    made = copy_to(writer.reader(), to)

    assert made.holds.readings == 500
    assert [p.name for p in tmp_path.iterdir() if p.name.startswith("one")] == [to.name]


def test_q6_a_copy_that_fills_the_disk_is_refused(writer, tmp_path, monkeypatch):
    """Less than 5 % would be left: nothing is written, the words say what to do."""
    usage = os.statvfs(tmp_path)
    scarce = os.statvfs_result(
        (usage.f_bsize, usage.f_frsize, 10**6, 50_001, 50_001, *usage[5:])
    )
    monkeypatch.setattr("monitor.store.disk.os.statvfs", lambda _: scarce)

    with pytest.raises(StoreFullError, match="less than 5% of the disk free"):
        make_backup(writer.reader(), tmp_path / "b", NOW)

    assert list((tmp_path / "b").iterdir()) == []


def test_q6_enough_room_is_enough(writer, tmp_path, monkeypatch):
    """The check is of what is left behind the copy, not of what is free before."""
    usage = os.statvfs(tmp_path)
    roomy = os.statvfs_result(
        (usage.f_bsize, usage.f_frsize, 10**6, 60_000, 60_000, *usage[5:])
    )
    monkeypatch.setattr("monitor.store.disk.os.statvfs", lambda _: roomy)

    assert make_backup(writer.reader(), tmp_path / "b", NOW).size > 0


def test_nothing_is_written_over(writer, tmp_path):
    """A file that is there, a directory, even a dead link: all are refused."""
    there = tmp_path / "there.sqlite3"
    there.write_text("precious")
    dead = tmp_path / "dead"
    dead.symlink_to(tmp_path / "nowhere")

    for path in (there, dead):
        with pytest.raises(UsageError, match="is there already"):
            copy_to(writer.reader(), path)
    with pytest.raises(UsageError, match="is a directory"):
        copy_to(writer.reader(), tmp_path)

    assert there.read_text() == "precious"


def test_a_place_that_cannot_be_written_is_said(writer, tmp_path):
    """With the path, in one error of ours."""
    (tmp_path / "file").write_text("")

    with pytest.raises(StoreError, match=r"one\.sqlite3: the backup failed"):
        copy_to(writer.reader(), tmp_path / "file" / "one.sqlite3")


def test_a_damaged_store_gives_no_backup(state, tmp_path):
    """A copy of damaged pages is found out, and no file of that name is left."""
    with Writer.open(state, now=NOW) as writer:
        put(writer, *(reading(m) for m in range(-3000, 0)))
    path = state / FILE
    with path.open("r+b") as file:
        file.seek(path.stat().st_size // 2)
        file.write(os.urandom(20_000))

    with pytest.raises(StoreError):
        copy_to(Reader(path), tmp_path / "one.sqlite3")

    assert not list(tmp_path.glob("one*"))


@pytest.mark.skipif(os.geteuid() != 0, reason="asks what root may do")
def test_root_makes_no_files_that_the_daemon_cannot_write(writer, state):
    """It is told whose they must be; where all is root's, root may."""
    refuse_root(state / "backups")
    os.chown(state, 65534, 65534)

    with pytest.raises(RefusedError, match=r"belongs to nobody.*runuser -u nobody --"):
        make_backup(writer.reader(), state / "backups", NOW)

    assert not (state / "backups").exists()


def test_a_copy_needs_no_companions(writer, tmp_path):
    """One file that can be copied as a file."""
    put(writer, reading(-1))
    copy_to(writer.reader(), tmp_path / "one.sqlite3")

    assert [p.name for p in tmp_path.glob("one*")] == ["one.sqlite3"]
    with contextlib.closing(sqlite3.connect(tmp_path / "one.sqlite3")) as copy:
        assert copy.execute("SELECT count(*) FROM reading_log").fetchone() == (1,)
