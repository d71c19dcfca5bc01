"""Traps Q1 to Q11, M14 and S7: what can befall the store, and what must come of it."""

import ast
import contextlib
import os
import random
import signal
import sqlite3
import subprocess
import sys
import tempfile
import threading
from datetime import timedelta
from pathlib import Path

import pytest

import monitor
from monitor.errors import (
    StoreBusyError,
    StoreError,
    StoreFullError,
    UnreachableError,
)
from monitor.heart.events import Reading
from monitor.store import Reader, Writer, disk_share_free, sqlite_in_wal_reset_range
from monitor.store.connection import FILE, connect_reader, connect_writer
from monitor.store.disk import BALLAST, BALLAST_BYTES
from tests.store.support import AIR, FIRST, LAST, NOW, alarm, put, reading, stored

DEADLINE_S = 30
PACKAGE = Path(monitor.__file__).parent


@pytest.fixture
def state(tmp_path):
    return tmp_path / "state"


@pytest.fixture
def writer(state):
    with Writer.open(state, now=NOW) as opened:
        yield opened


def bulk(writer: Writer, mebibytes: int) -> None:
    """Write much in one commit."""
    with writer.transaction():
        writer.save_states({"bulk": (1, os.urandom(mebibytes << 20))})


def integrity(directory: Path) -> str:
    with contextlib.closing(connect_reader(directory / FILE)) as connection:
        return connection.execute("PRAGMA integrity_check").fetchone()[0]


@pytest.mark.parametrize(
    ("version", "inside"),
    [
        ("3.6.23", False),
        ("3.7.0", True),
        ("3.40.1", True),
        ("3.44.5", True),
        ("3.44.6", False),
        ("3.45.0", True),
        ("3.50.6", True),
        ("3.50.7", False),
        ("3.51.0", True),
        ("3.51.2", True),
        ("3.51.3", False),
        ("3.52", False),
    ],
)
def test_q1_versions_with_the_reset_bug_are_known(version, inside):
    """3.7.0 to 3.51.2, except where it was mended in an older line."""
    assert sqlite_in_wal_reset_range(version) is inside


def test_q1_a_reader_cannot_write(writer):
    """Whatever a reader's connection is told, it changes nothing."""
    put(writer, reading(0))

    with (
        contextlib.closing(connect_reader(writer.directory / FILE)) as connection,
        pytest.raises(sqlite3.OperationalError, match="readonly"),
    ):
        connection.execute("DELETE FROM reading_log")

    assert len(stored(writer.reader())) == 1


def test_q2_threads_that_read_then_write_never_collide(writer, state):
    """Two writers' connections, 500 times read-then-write: no error, no lost update."""
    with writer.transaction():
        writer.count("turns", 0)
    failures: list[BaseException] = []
    turns = 250

    def work() -> None:
        try:
            with contextlib.closing(connect_writer(state / FILE)) as connection:
                for _ in range(turns):
                    connection.execute("BEGIN IMMEDIATE")
                    (n,) = connection.execute("SELECT value FROM counter").fetchone()
                    connection.execute("UPDATE counter SET value = ?", (n + 1,))
                    connection.execute("COMMIT")
        except BaseException as exc:  # noqa: BLE001 (the main thread judges it)
            failures.append(exc)

    threads = [threading.Thread(target=work) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(DEADLINE_S)

    assert failures == []
    assert writer.reader().counters() == {"turns": 2 * turns}


def test_q2_a_transaction_writes_from_its_first_statement(writer, state):
    """The lock is taken before anything is read, so that nothing can come between."""
    with (
        contextlib.closing(connect_writer(state / FILE)) as other,
        writer.transaction(),
    ):
        other.execute("PRAGMA busy_timeout = 0").fetchall()
        with pytest.raises(sqlite3.OperationalError, match="locked"):
            other.execute("BEGIN IMMEDIATE")


def test_q3_only_the_store_speaks_sql():
    """No statement is executed, and sqlite3 is not imported, outside the store."""
    statements = ("insert ", "update ", "delete ", "replace ", "begin")
    found = []
    for path in PACKAGE.rglob("*.py"):
        if (PACKAGE / "store") in path.parents:
            continue
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Import | ast.ImportFrom):
                names = {a.name for a in node.names} | {getattr(node, "module", "")}
                if "sqlite3" in names:
                    found.append((path, node.lineno))
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                said = [a.value for a in node.args if isinstance(a, ast.Constant)]
                if node.func.attr.startswith("execute") and any(
                    str(s).lower().lstrip().startswith(statements) for s in said
                ):
                    found.append((path, node.lineno))

    assert found == []


def test_q3_no_transaction_is_begun_by_itself(writer):
    """A statement alone is committed at once: nothing hangs open, nothing is lost."""
    with writer.transaction():
        writer.count("turns")

    assert writer._connection.isolation_level is None
    assert not writer._connection.in_transaction


def test_q3_a_transaction_does_not_nest(writer):
    """The inner one is refused; the outer one is rolled back as a whole."""

    def nest() -> None:
        with writer.transaction():
            writer.count("turns")
            put(writer, reading(0))

    with pytest.raises(RuntimeError, match="open already"):
        nest()

    assert writer.reader().counters() == {}


def test_q4_a_held_reader_makes_the_checkpoint_warn(writer, state):
    """Over 64 MiB of log pinned by a reader is told in words; then it is gone."""
    with Reader.open(state).snapshot() as held:
        held.counters()
        for _ in range(5):
            bulk(writer, 14)
        pinned = writer.checkpoint()
    freed = writer.checkpoint()

    assert pinned.pinned
    assert pinned.wal_bytes > 64 << 20
    assert pinned.warning is not None
    assert "reads the store" in pinned.warning
    assert (freed.wal_bytes, freed.pinned, freed.warning) == (0, False, None)


def test_q4_a_log_half_read_pins_nothing(writer, state):
    """A generator of readings that is not finished holds no read open."""
    put(writer, *(reading(m) for m in range(-50, 0)))
    replay = Reader.open(state).readings_since(FIRST)
    next(replay)

    put(writer, reading(1))

    assert not writer.checkpoint().pinned
    assert len([*replay]) == 49


def test_q5_a_backup_under_load_is_whole(writer, state, tmp_path):
    """A backup holds every commit before it, none half, while another thread reads."""
    to = tmp_path / "backups" / "one.sqlite3"
    put(writer, *(reading(m) for m in range(-5000, 0)))
    ended = threading.Event()
    counts: list[int] = []

    def read_on() -> None:
        while not ended.is_set():
            counts.append(len(stored(Reader.open(state))))

    thread = threading.Thread(target=read_on)
    thread.start()
    try:
        writer.backup(to)
        put(writer, reading(1))
        Reader.open(state).backup(to.with_name("two.sqlite3"))
    finally:
        ended.set()
        thread.join(DEADLINE_S)

    assert sorted(p.name for p in to.parent.iterdir()) == ["one.sqlite3", "two.sqlite3"]
    for name, n in (("one.sqlite3", 5000), ("two.sqlite3", 5001)):
        with contextlib.closing(connect_reader(to.with_name(name))) as copy:
            assert copy.execute("SELECT count(*) FROM reading_log").fetchone() == (n,)
            assert copy.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert set(counts) <= {5000, 5001}


def test_q5_a_backup_without_room_leaves_nothing(writer, tmp_path, monkeypatch):
    """A disk too small for the copy is told before a byte is written."""
    monkeypatch.setattr("monitor.store.backup.free_bytes", lambda _: 1000)

    with pytest.raises(StoreFullError, match="1000 are free"):
        writer.backup(tmp_path / "b" / "one.sqlite3")

    assert list((tmp_path / "b").iterdir()) == []


def test_q5_no_backup_within_a_transaction(writer, tmp_path):
    """A copy of what may be rolled back is no backup."""
    with pytest.raises(StoreError, match="commit first"), writer.transaction():
        writer.backup(tmp_path / "one.sqlite3")


def test_q6_a_full_file_is_told_and_reads_go_on(writer):
    """SQLITE_FULL: StoreFullError, nothing half stored, memory as before, then on."""
    put(writer, reading(-5))
    batch = [reading(m / 60) for m in range(20_000)]
    ask = writer._connection.execute
    (pages,) = ask("PRAGMA page_count").fetchone()
    ask(f"PRAGMA max_page_count = {pages + 3}").fetchall()

    with pytest.raises(StoreFullError, match="disk is full"):
        put(writer, *batch)

    assert stored(writer.reader()) == stored(Reader.open(writer.directory))
    assert len(stored(writer.reader())) == 1
    assert put(writer, reading(-4), reading(-5)) == [True, False]
    ask("PRAGMA max_page_count = 1000000").fetchall()
    assert all(put(writer, *batch))
    assert len(stored(writer.reader())) == 20_002


@pytest.fixture
def small_disk(tmp_path):
    """A disk of 16 MiB of its own."""
    place = tmp_path / "disk"
    place.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=16m", "none", str(place)],
        check=False,
        capture_output=True,
        text=True,
    )
    if made.returncode:
        pytest.skip(f"a small disk cannot be mounted here: {made.stderr.strip()}")
    yield place
    subprocess.run(["umount", "-l", str(place)], check=True)


def fill(disk: Path) -> Path:
    """Leave no room at all on a disk."""
    filler = disk / "filler"
    with filler.open("wb", buffering=0) as file, contextlib.suppress(OSError):
        while True:
            file.write(bytes(4096))
    return filler


def write_until_full(writer: Writer) -> int:
    """Store readings until there is no room; the number of stored ones."""
    for n in range(10_000):
        try:
            put(writer, *(reading(n + k / 100) for k in range(100)))
        except StoreFullError:
            return n * 100
    raise AssertionError("the disk never filled")


def test_q6_a_full_disk_and_its_ballast(small_disk):
    """On a full disk reads go on, the ballast makes room, and it comes back later."""
    with Writer.open(small_disk / "state", now=NOW) as writer:
        assert (writer.directory / BALLAST).stat().st_size == BALLAST_BYTES
        filler = fill(small_disk)
        n = write_until_full(writer)

        assert disk_share_free(small_disk) < 0.05
        assert len(stored(Reader.open(writer.directory))) == n
        assert writer.free_ballast()
        with writer.transaction():
            writer.save_alarm(alarm(), "raised", NOW)
            writer.add_readings([reading(-1)], now=NOW)
        assert not writer.restore_ballast()
        assert not writer.free_ballast()
        assert len(stored(Reader.open(writer.directory))) == n + 1
        filler.unlink()
        assert writer.restore_ballast()
        assert len(writer.reader().alarms(open_only=True)) == 1


def test_q6_the_daemon_can_start_on_a_full_disk(small_disk):
    """Opening throws off the ballast by itself rather than fail."""
    state = small_disk / "state"
    with Writer.open(state, now=NOW) as writer:
        put(writer, reading(-2))
    fill(small_disk)

    with Writer.open(state, now=NOW) as writer:
        assert put(writer, reading(-2), reading(-1)) == [False, True]
        assert not (state / BALLAST).exists()


COMMITTER = """
import sys
from datetime import timedelta
from pathlib import Path
from monitor.store import Writer
from tests.store.support import AIR, NOW, alarm, reading
first = int(sys.argv[2])
with Writer.open(Path(sys.argv[1]), now=NOW) as writer:
    print("ready", flush=True)
    for n in range(first, first + 100_000):
        with writer.transaction():
            writer.add_readings([reading(n * 10 + k, n) for k in range(7)], now=NOW)
            writer.count("commits")
        print(n, flush=True)
        if n % 40 == 39:
            writer.seal(NOW + timedelta(minutes=n * 10))
        if n % 25 == 24:
            writer.checkpoint()
"""


def test_q7_kill_9_loses_nothing_that_was_committed(state):
    """Killed 15 times as it commits, seals, checkpoints: printed commits are there."""
    chance = random.Random(20260310)  # noqa: S311 (when to kill, no secret)
    committed: list[int] = []
    for _ in range(15):
        first = (committed[-1] + 2) if committed else 0
        with subprocess.Popen(
            [sys.executable, "-c", COMMITTER, str(state), str(first)],
            stdout=subprocess.PIPE,
            text=True,
            cwd=PACKAGE.parent,
        ) as process:
            assert process.stdout is not None
            assert process.stdout.readline() == "ready\n"
            turns = chance.randrange(1, 120)
            committed += [int(process.stdout.readline()) for _ in range(turns)]
            process.send_signal(signal.SIGKILL)
            rest = process.stdout.read().splitlines()
            committed += [int(line) for line in rest if line]
            assert process.wait(DEADLINE_S) == -signal.SIGKILL

    with Writer.open(state, now=NOW) as writer:
        assert writer.mishap is None
        times, values = writer.reader().readings("shelf-a", AIR, FIRST, LAST)
        found = {int(v) for v in values}
        assert set(committed) <= found
        assert len(times) == 7 * len(found) == 7 * writer.reader().counters()["commits"]
    assert integrity(state) == "ok"


def spoil(state: Path) -> None:
    """Overwrite some pages in the middle, as a dying card does."""
    path = state / FILE
    with path.open("r+b") as file:
        file.seek(4096)
        file.write(os.urandom(4096 * (path.stat().st_size // 8192)))


def test_q8_a_damaged_store_is_moved_aside(state):
    """It opens again empty, tells it, keeps the damaged file, and works."""
    with Writer.open(state, now=NOW) as writer:
        put(writer, *(reading(m) for m in range(-3000, 0)))
    spoil(state)

    with Writer.open(state, now=NOW) as writer:
        mishap = writer.mishap
        assert put(writer, reading(0)) == [True]
        assert len(stored(writer.reader())) == 1
    aside = state / f"{FILE}.damaged-20260310T120000Z"

    assert mishap is not None
    assert str(aside) in mishap
    assert "no good backup" in mishap
    assert aside.stat().st_size > 100_000
    with Writer.open(state, now=NOW) as writer:
        assert writer.mishap is None


def test_q8_the_newest_good_backup_is_restored(state):
    """A damaged backup is passed over; the identity changes, the numbers go on."""
    later = NOW + timedelta(days=1)
    with Writer.open(state, now=NOW) as writer:
        put(writer, reading(-2))
        writer.backup(state / "backups" / "a.sqlite3")
        put(writer, *(reading(m) for m in range(-3000, -2)))
        writer.backup(state / "backups" / "b.sqlite3")
        identity = writer.reader().identity()
    (state / "backups" / "b.sqlite3").write_bytes(b"no database" * 1000)
    os.utime(state / "backups" / "a.sqlite3", (1, 1))
    spoil(state)

    with Writer.open(state, now=later) as writer:
        assert writer.mishap is not None
        assert "a.sqlite3 was put in its place" in writer.mishap
        assert put(writer, reading(-2), reading(-1)) == [False, True]
        assert writer.reader().identity() != identity
    assert integrity(state) == "ok"


def test_q8_a_file_of_rubbish_is_moved_aside(state):
    """Not even a database."""
    state.mkdir()
    (state / FILE).write_bytes(os.urandom(20_000))

    with Writer.open(state, now=NOW) as writer:
        assert writer.mishap is not None
        assert put(writer, reading(0)) == [True]


def test_q8_a_damaged_piece_is_told_with_the_path(writer):
    """What cannot be unpacked is an error in words, not a wrong number."""
    put(writer, reading(-3000))
    writer.seal(NOW)
    with writer.transaction():
        writer._connection.execute("UPDATE piece SET blob = substr(blob, 1, 9)")

    with pytest.raises(StoreError, match=r"rearing\.sqlite3: damaged piece"):
        stored(writer.reader())


NOTICE_SOON = """
INSERT INTO notice (keeper, why, priority, alarms, created_us, subject, short, long,
html) VALUES ('ines', '', 'soon', '[]', 1, '', '', '', '')
"""


@pytest.mark.parametrize(
    "statement",
    [
        "INSERT INTO reading_log VALUES (1, 'abc', 1, 20.0)",
        "INSERT INTO reading_log VALUES (1, 5, 1, 'abc')",
        "INSERT INTO reading_log VALUES (1, 5, 1, NULL)",
        "INSERT INTO reading_log VALUES (1, 5, 1, 9e999)",
        "INSERT INTO reading_log VALUES (1, 5, 77, 20.0)",
        "INSERT INTO series VALUES (2, '', 'x')",
        "INSERT INTO series SELECT 2, sensor, quantity FROM series",
        "INSERT INTO piece VALUES (1, 0, 0, 1, 1, 1, 5, 5, x'00')",
        "INSERT INTO piece VALUES (1, 0, 1, 2, 1, 1, 5, 5, x'00')",
        "INSERT INTO piece VALUES (1, 1, 1, 1, 1, 1, 5, 5, x'00')",
        "INSERT INTO piece VALUES (1, 0, 1, 1, 1, 1, 5, 5, 'text')",
        "INSERT INTO counter VALUES ('x', 1.5)",
        "INSERT INTO alarm_change VALUES (1, 9, 1, 'raised', '', '', '{}')",
        "INSERT INTO journal VALUES (1, 1, 1, 'ines', 'kind', '{', '')",
        "INSERT INTO quarantine VALUES (1, 1, '', '', zeroblob(513), 513)",
        NOTICE_SOON,
        "INSERT INTO state_record VALUES ('x', 1, 'text')",
    ],
)
def test_q9_wrong_types_are_refused_by_the_schema(writer, statement):
    """STRICT, CHECK, UNIQUE and foreign keys hold whatever the code does."""
    put(writer, reading(0))

    with (
        pytest.raises(StoreError, match=r"constraint failed|cannot store"),
        writer.transaction(),
    ):
        writer._connection.execute(statement)


def test_q9_every_table_is_strict_and_keys_are_checked(writer):
    """No table was forgotten."""
    ask = writer._connection.execute
    tables = ask("PRAGMA table_list").fetchall()

    loose = [t[1] for t in tables if t[2] == "table" and not t[5]]
    assert [name for name in loose if not name.startswith("sqlite_")] == []
    assert ask("PRAGMA foreign_keys").fetchone() == (1,)
    assert ask("PRAGMA journal_mode").fetchone() == ("wal",)
    assert ask("PRAGMA synchronous").fetchone() == (2,)


def test_q10_another_thread_is_refused(writer):
    """The writer belongs to the thread that opened it; its memory is not touched."""
    said: list[str] = []

    def work() -> None:
        try:
            put(writer, reading(-1))
        except StoreError as exc:
            said.append(str(exc))

    thread = threading.Thread(target=work)
    thread.start()
    thread.join(DEADLINE_S)

    assert len(said) == 1
    assert "thread" in said[0]
    assert put(writer, reading(-1)) == [True]


def test_q10_a_reader_serves_several_threads(writer, state):
    """Each question has a connection of its own."""
    put(writer, *(reading(m) for m in range(-100, 0)))
    reader = Reader.open(state)
    counts: list[int] = []
    threads = [
        threading.Thread(target=lambda: counts.append(len(stored(reader))))
        for _ in range(4)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(DEADLINE_S)

    assert counts == [100] * 4


def test_a_newer_schema_is_refused_in_words(state):
    """Neither the writer nor a reader touches what a newer program made."""
    with Writer.open(state, now=NOW) as writer, writer.transaction():
        writer._connection.execute("UPDATE meta SET value = '99' WHERE key = 'schema'")

    with pytest.raises(StoreError, match=r"schema 99.*newer program"):
        Writer.open(state, now=NOW)
    with pytest.raises(StoreError, match="schema 99"):
        Reader.open(state)


def test_another_database_is_refused_in_words(state):
    """A file of some other program is not written into."""
    state.mkdir()
    with contextlib.closing(sqlite3.connect(state / FILE)) as other:
        other.execute("CREATE TABLE t (x)")

    with pytest.raises(StoreError, match="no store of the rearing monitor"):
        Writer.open(state, now=NOW)


def test_m14_a_second_writer_is_refused_by_name(writer, state):
    """Within and across processes; the message names process and directory."""
    with pytest.raises(StoreBusyError, match=f"{state}: process {os.getpid()} "):
        Writer.open(state, now=NOW)

    code = (
        "import sys; from pathlib import Path; from monitor.store import Writer;"
        "from tests.store.support import NOW; Writer.open(Path(sys.argv[1]), now=NOW)"
    )
    other = subprocess.run(
        [sys.executable, "-c", code, str(state)],
        check=False,
        capture_output=True,
        text=True,
        cwd=PACKAGE.parent,
        timeout=DEADLINE_S,
    )

    assert other.returncode != 0
    assert f"StoreBusyError: {state}: process {os.getpid()} " in other.stderr
    assert put(writer, reading(0)) == [True]


def test_m14_the_holder_is_named_over_an_older_name(state):
    """A longer name left by a killed process does not shine through."""
    state.mkdir()
    (state / "writer.lock").write_text("99999999999\n88888888\n")

    with (
        Writer.open(state, now=NOW),
        pytest.raises(StoreBusyError, match=f"process {os.getpid()} already"),
    ):
        Writer.open(state, now=NOW)


def test_m14_the_lock_ends_with_the_writer(state):
    """Closed or failed to open, the next one gets it."""
    Writer.open(state, now=NOW).close()
    (state / FILE).rename(state / "kept")
    (state / FILE).mkdir()
    with pytest.raises(StoreError):
        Writer.open(state, now=NOW)
    (state / FILE).rmdir()

    with Writer.open(state, now=NOW) as writer:
        assert put(writer, reading(0)) == [True]


def test_s7_a_directory_that_cannot_be_written_is_named():
    """The error names the directory and what to mend, whoever runs the test."""
    with tempfile.TemporaryDirectory() as folder:
        closed = Path(folder) / "state"
        closed.mkdir()
        closed.chmod(0o555)
        Path(folder).chmod(0o755)
        root = os.geteuid() == 0
        if root:
            os.seteuid(65534)
        try:
            with pytest.raises(StoreError, match=f"{closed}: cannot be written"):
                Writer.open(closed, now=NOW)
        finally:
            if root:
                os.seteuid(0)


def test_a_missing_store_is_unreachable(tmp_path):
    """A reader says where it looked and what to check."""
    with pytest.raises(UnreachableError, match=f"{tmp_path}: there is no store"):
        Reader.open(tmp_path)


def test_a_reader_follows_a_store_that_is_written(writer, state):
    """A reader that is kept sees each commit, none before."""
    reader = Reader.open(state)
    with writer.transaction():
        writer.add_readings([Reading("shelf-a", AIR, NOW, 20.0)], now=NOW)
        assert stored(reader) == []
        assert len(stored(writer.reader())) == 1

    assert len(stored(reader)) == 1
