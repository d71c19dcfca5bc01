"""Restore: the old store or the new one, never neither; nothing is thrown away."""

import contextlib
import json
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
from datetime import timedelta

import pytest

from monitor.errors import (
    RefusedError,
    StoreBusyError,
    StoreError,
    StoreFullError,
    UnreachableError,
    UsageError,
)
from monitor.store import Reader, Writer
from monitor.store.connection import FILE, connect_reader
from monitor.store.restore import restore
from tests.source import ROOT
from tests.store.support import NOW, alarm, put, reading, stored

LATER = NOW + timedelta(days=1)


@pytest.fixture
def state(tmp_path):
    """A store with a backup: 40 readings in the backup, 100 and an alarm now."""
    folder = tmp_path / "state"
    with Writer.open(folder, now=NOW) as writer:
        put(writer, *(reading(m) for m in range(-100, -60)))
        writer.backup(folder / "backups" / "b.sqlite3")
        put(writer, *(reading(m) for m in range(-60, 0)))
        with writer.transaction():
            writer.save_alarm(alarm(), "raised", NOW)
    return folder


@pytest.fixture
def backup(state):
    return state / "backups" / "b.sqlite3"


def names(state):
    return sorted(p.name for p in state.iterdir() if p.name.startswith(FILE))


def spoil(path):
    with path.open("r+b") as file:
        file.seek(4096)
        file.write(os.urandom(path.stat().st_size // 2))


def count(path):
    with contextlib.closing(connect_reader(path)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        return connection.execute("SELECT count(*) FROM reading_log").fetchone()[0]


def test_the_backup_takes_the_place_of_the_store(state, backup):
    """It tells what each holds, keeps the old one aside, and has a life of its own."""
    identity = Reader.open(state).identity()

    done = restore(state, backup, LATER)

    assert (done.holds.readings, done.holds.alarms) == (40, 0)
    assert done.holds.newest == reading(-61)
    assert (done.before.readings, done.before.alarms) == (100, 1)
    assert done.before.newest == reading(-1)
    assert done.aside == state / f"{FILE}.replaced-20260311T120000Z"
    assert names(state) == [FILE, done.aside.name]
    assert (count(state / FILE), count(done.aside)) == (40, 100)
    assert Reader.open(state).identity() != identity
    with Writer.open(state, now=LATER) as writer:
        assert writer.mishap is None
        assert put(writer, reading(-61), reading(0)) == [False, True]
        assert stored(writer.reader())[-1] == stored(Reader.open(state))[-1]


def test_what_the_last_daemon_left_in_its_log_is_kept_too(state, backup, tmp_path):
    """Killed, it leaves commits in the write-ahead log: they go aside with the rest."""
    killed = tmp_path / "killed"
    with Writer.open(state, now=NOW) as writer:
        put(writer, *(reading(m) for m in range(10)))
        shutil.copytree(state, killed)
    assert (killed / f"{FILE}-wal").stat().st_size > 0

    done = restore(killed, backup, LATER)

    assert done.before.readings == 110
    assert count(done.aside) == 110
    assert names(killed) == [FILE, done.aside.name]


def test_a_restore_can_be_taken_back(state, backup):
    """What was set aside is a backup like any other."""
    first = restore(state, backup, LATER)

    second = restore(state, first.aside, LATER)

    assert second.holds.readings == 100
    assert second.aside != first.aside
    assert names(state) == [FILE, first.aside.name, second.aside.name]


def test_another_machine_needs_nothing_but_the_file(backup, tmp_path):
    """Where there is no store yet, not even a directory."""
    done = restore(tmp_path / "new" / "state", backup, LATER)

    assert (done.holds.readings, done.before, done.aside) == (40, None, None)
    assert count(tmp_path / "new" / "state" / FILE) == 40


def test_m14_nothing_is_restored_under_a_running_writer(state, backup):
    """It is named, and what it writes goes on."""
    with Writer.open(state, now=NOW) as writer:
        with pytest.raises(StoreBusyError, match=rf"process {os.getpid()} .*stopped"):
            restore(state, backup, LATER)
        put(writer, reading(1))

        assert len(stored(Reader.open(state))) == 101


def test_a_reader_in_the_midst_of_reading_is_waited_for_and_told(
    state, backup, monkeypatch
):
    """Its log must not lie beside another store."""
    monkeypatch.setattr("monitor.store.restore.WAIT_S", 0.05)
    with Writer.open(state, now=NOW) as writer:
        put(writer, reading(1))
        with Reader.open(state).snapshot() as held:
            held.counters()
            writer.close()

            with pytest.raises(StoreBusyError, match="something still reads"):
                restore(state, backup, LATER)

    assert len(stored(Reader.open(state))) == 101
    assert [n for n in names(state) if "re" in n.removeprefix(FILE)] == []


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"no database" * 1000, "the backup is damaged"),
        (b"", "empty"),
    ],
)
def test_what_is_no_backup_is_refused(state, tmp_path, content, words):
    """Nothing changes, and nothing is left behind."""
    rubbish = tmp_path / "rubbish.sqlite3"
    rubbish.write_bytes(content)
    before = names(state)

    with pytest.raises(StoreError, match=words):
        restore(state, rubbish, LATER)

    assert names(state) == before
    assert len(stored(Reader.open(state))) == 100


def test_a_damaged_backup_is_refused(state, backup):
    """Pages that the file's own tables cannot be read from."""
    spoil(backup)
    before = names(state)

    with pytest.raises(StoreError, match=r"b\.sqlite3"):
        restore(state, backup, LATER)

    assert names(state) == before
    assert count(state / FILE) == 100


def test_a_backup_that_is_cut_short_is_refused(state, backup):
    """As a copy over a line that broke is."""
    with backup.open("r+b") as file:
        file.truncate(backup.stat().st_size - 5000)

    with pytest.raises(StoreError, match="the backup is damaged"):
        restore(state, backup, LATER)

    assert count(state / FILE) == 100


def test_a_backup_of_a_newer_program_is_refused_in_words(state, backup):
    """It would not be understood."""
    with contextlib.closing(sqlite3.connect(backup)) as newer:
        newer.execute("UPDATE meta SET value = '99' WHERE key = 'schema'")
        newer.commit()

    with pytest.raises(StoreError, match=r"schema 99.*newer program"):
        restore(state, backup, LATER)


def test_a_store_of_a_newer_program_is_replaced(state, backup):
    """The way back from an upgrade: the backup before it, the newer store aside."""
    with contextlib.closing(sqlite3.connect(state / FILE)) as newer:
        newer.execute("UPDATE meta SET value = '99' WHERE key = 'schema'")
        newer.commit()

    done = restore(state, backup, LATER)

    assert done.before is None
    assert "schema 99" in done.trouble
    assert count(state / FILE) == 40
    assert count(done.aside) == 100


def test_a_damaged_store_is_replaced_and_kept(state, backup):
    """As it is, with what lies beside it."""
    damaged = os.urandom(20_000)
    (state / FILE).write_bytes(damaged)
    (state / f"{FILE}-wal").write_bytes(b"not a log")

    done = restore(state, backup, LATER)

    assert done.before is None
    assert "damaged" in done.trouble
    assert done.aside.read_bytes() == damaged
    beside = state / f"{done.aside.name}-wal"
    assert beside.read_bytes() == b"not a log"
    assert not (state / f"{FILE}-wal").exists()
    assert count(state / FILE) == 40


def test_a_store_with_damaged_pages_is_replaced_and_kept(state, backup):
    """What can still be read of it may be wanted one day."""
    spoil(state / FILE)
    damaged = (state / FILE).read_bytes()

    done = restore(state, backup, LATER)

    assert done.before is None
    assert done.trouble
    assert done.aside.read_bytes() == damaged
    assert count(state / FILE) == 40


def test_a_log_without_its_store_is_not_taken_for_the_new_one_s(state, backup):
    """Somebody removed the store by hand and left its log."""
    (state / FILE).unlink()
    (state / f"{FILE}-wal").write_bytes(b"of another life")

    done = restore(state, backup, LATER)

    assert count(state / FILE) == 40
    assert names(state) == [FILE, f"{done.aside.name}-wal"]


def test_a_wrong_name_is_told_the_right_ones(state, tmp_path):
    """No such file: the newest backups are named; the store itself is none."""
    good = state / "backups" / "rearing-20260310T031500Z.sqlite3"
    (state / "backups" / "b.sqlite3").rename(good)

    with pytest.raises(UsageError, match=f"no such file; the newest .* {good}"):
        restore(state, tmp_path / "typo.sqlite3", LATER)
    with pytest.raises(UsageError, match="there are no backups"):
        restore(tmp_path / "other", tmp_path / "typo.sqlite3", LATER)
    with pytest.raises(UsageError, match="is the store itself"):
        restore(state, state / FILE, LATER)


def test_q6_without_room_nothing_is_changed(state, backup, monkeypatch):
    """Told before a byte is written."""
    monkeypatch.setattr("monitor.store.restore.free_bytes", lambda _: 1000)

    with pytest.raises(StoreFullError, match="1000 are free; nothing was changed"):
        restore(state, backup, LATER)

    assert count(state / FILE) == 100


def test_a_file_system_without_hard_links_will_do(state, backup, monkeypatch):
    """The second name is then a copy."""

    def refused(*_):
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr("pathlib.Path.hardlink_to", refused)

    done = restore(state, backup, LATER)

    assert (count(state / FILE), count(done.aside)) == (40, 100)


@pytest.mark.skipif(os.geteuid() != 0, reason="asks what root may do")
def test_root_restores_nothing_that_the_daemon_cannot_write(state, backup):
    """It is told as whom to do it."""
    os.chown(state, 65534, 65534)

    with pytest.raises(RefusedError, match="runuser -u nobody"):
        restore(state, backup, LATER)


def test_a_directory_that_this_user_may_not_enter_is_said(state, tmp_path):
    """One error of ours with the path, whoever runs the test."""
    shut = tmp_path / "shut"
    shut.mkdir(mode=0o700)
    (shut / "b.sqlite3").touch()
    tmp_path.chmod(0o755)
    for above in (tmp_path.parent, tmp_path.parent.parent):
        above.chmod(0o755)
    shut.chmod(0)
    root = os.geteuid() == 0
    if root:
        os.seteuid(65534)
    try:
        with pytest.raises(StoreError, match=r"b\.sqlite3: .*Permission denied"):
            restore(state, shut / "b.sqlite3", LATER)
        with pytest.raises(UnreachableError, match="may not read the store"):
            Reader.open(shut)
    finally:
        if root:
            os.seteuid(0)
        shut.chmod(0o700)


KILLED = """
import json, os, shutil, signal, sys
from datetime import timedelta
from pathlib import Path
from monitor.store.restore import restore
from tests.store.support import NOW

EVENTS = {"open", "os.rename", "os.remove", "os.link", "sqlite3.connect", "os.chmod"}
state, work = map(Path, sys.argv[1:])


def killed_at(n, folder):
    left = n

    def hook(event, args):
        nonlocal left
        if event in EVENTS:
            left -= 1
            if left < 0:
                os.kill(os.getpid(), signal.SIGKILL)

    sys.addaudithook(hook)
    restore(folder, folder / "backups" / "b.sqlite3", NOW + timedelta(days=1))
    os._exit(0)


codes = []
while not codes or codes[-1]:
    folder = work / str(len(codes))
    shutil.copytree(state, folder)
    child = os.fork()
    if not child:
        killed_at(len(codes), folder)
    codes.append(os.waitpid(child, 0)[1])
print(json.dumps(codes))
"""


@pytest.mark.parametrize("how", ["closed", "killed", "damaged", "rubbish"])
def test_a_restore_killed_at_any_step_leaves_a_whole_store(state, tmp_path, how):
    """
    SIGKILL before each step that touches a file: old or new, never neither or a mix.

    Of a damaged store the old one may be damaged still, and what follows mends it.
    """
    source = state
    if how == "killed":
        source = tmp_path / "killed"
        with Writer.open(state, now=NOW) as writer:
            put(writer, reading(0))
            shutil.copytree(state, source)
    if how == "damaged":
        spoil(state / FILE)
    if how == "rubbish":
        (state / FILE).write_bytes(os.urandom(20_000))
        (state / f"{FILE}-wal").write_bytes(b"not a log")
    work = tmp_path / "work"
    work.mkdir()
    old, damaged = 101 if how == "killed" else 100, how in {"damaged", "rubbish"}
    ran = subprocess.run(
        [sys.executable, "-c", KILLED, str(source), str(work)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    codes = json.loads(ran.stdout)

    found = []
    for n in range(len(codes)):
        with Writer.open(work / str(n), now=LATER + timedelta(hours=1)) as writer:
            assert writer.mishap is None or damaged
            found.append(len(stored(writer.reader())))
        # whatever was left behind, the next restore succeeds
        done = restore(work / str(n), work / str(n) / "backups" / "b.sqlite3", LATER)
        assert done.holds.readings == 40
        assert count(done.aside) == found[-1]

    assert len(codes) > 8, ran.stderr
    assert set(codes[:-1]) == {signal.SIGKILL}
    allowed = {40} if damaged else {40, old}
    assert set(found) == allowed
    # once the new store is there it stays
    assert found == sorted(found, reverse=True)
