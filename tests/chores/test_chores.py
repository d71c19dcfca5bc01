"""Chores: done once a period, handed over whole, and tried again when they fail."""

import json
import sys
from datetime import UTC, datetime, timedelta

import pytest

from monitor.chores import ChildSummary, ChoreDone, ChoreFailed, Chores, Written
from monitor.errors import MonitorError
from monitor.schedule import Due
from monitor.store.reader import Reader
from tests.heart.house import site
from tests.recorder.support import Bench

MONDAY = datetime(2026, 3, 2, 7, tzinfo=UTC)
WEEKLY = {"summary": {"day": "Mon", "time": "07:00", "to": ["ines", "tom"]}}
WORK = Due("summary/2026-W09", "summary", "2026-W09", MONDAY, late=False)
MADE = Written("The week", "The week, short", "All well.\n", "<p>All well.</p>", "")


class Desk:
    """Chores on a real store, whose results go to a recorder's bench."""

    def __init__(self, tmp_path, *, begun=MONDAY - timedelta(days=3)):
        self.bench = Bench(tmp_path, at=begun, **WEEKLY)
        self.bench.cycle()
        self.asked, self.fail, self.seconds = [], "", 0.0
        self.handed = []
        self.open()

    def open(self):
        """Begin anew, as a restart does."""
        self.chores = Chores(
            site=lambda: site(**WEEKLY),
            reader=Reader.open(self.bench.path),
            state=self.bench.path,
            commission=self.make,
            hand_over=self.take,
            now=self.bench.clock.now,
            monotonic=lambda: self.seconds,
        )

    def make(self, work, *, number, following):
        """A summary, or a failure."""
        self.asked.append((work.period, work.late, number, following))
        if self.fail:
            raise MonitorError(self.fail)
        return MADE

    def take(self, made):
        """To the recorder, as the service does."""
        self.handed.append(made)
        self.bench.recorder.take_chore(made)

    def at(self, now):
        """Look at an instant, and let the recorder store what comes of it."""
        self.bench.clock.at = now
        self.chores.look()
        self.bench.cycle()

    def mails(self):
        """(keeper, subject) of the outbox."""
        rows = self.bench.writer.reader().notices()
        return [(n.keeper, n.subject) for n in rows if n.why == "summary"]


@pytest.fixture
def desk(tmp_path):
    """A house with a weekly summary for two keepers."""
    made = Desk(tmp_path)
    yield made
    made.bench.close()


def test_one_summary_a_week_for_each_who_wants_it(desk):
    """Asked before, at and after its time: one mail each, once."""
    for minutes in (-1, 0, 1, 20, 60 * 24):
        desk.at(MONDAY + timedelta(minutes=minutes))

    assert desk.mails() == [("ines", "The week"), ("tom", "The week")]
    assert [a[:3] for a in desk.asked] == [("2026-W09", False, 1)]
    assert desk.asked[0][3].startswith("2026-03-09")


def test_a8_a_restart_at_the_due_minute_sends_nothing_twice(desk):
    """Before, during and after a restart: the key in the store decides (A8)."""
    desk.at(MONDAY)
    desk.open()
    desk.at(MONDAY + timedelta(seconds=20))
    desk.open()
    desk.at(MONDAY + timedelta(hours=3))

    assert len(desk.mails()) == 2


def test_a8_a_kill_between_the_child_and_the_commit_makes_it_again(desk):
    """What was never committed was never done: made again, mailed once."""
    desk.bench.recorder.take_chore, real = (
        (lambda _made: None),
        (desk.bench.recorder.take_chore),
    )
    desk.at(MONDAY)
    assert desk.mails() == []
    desk.bench.recorder.take_chore = real
    desk.open()
    desk.at(MONDAY + timedelta(minutes=20))

    assert len(desk.mails()) == 2
    assert [late for _, late, _, _ in desk.asked] == [False, True]


def test_summaries_are_numbered(desk):
    """The second has number 2: a missing one shows."""
    desk.at(MONDAY)
    desk.at(MONDAY + timedelta(days=7))

    assert [number for _, _, number, _ in desk.asked] == [1, 2]


def test_a_summary_that_fails_is_told_and_tried_again_later(desk):
    """A note in the list; a quarter of an hour later it is tried again and over."""
    desk.fail = "no room"
    desk.at(MONDAY)
    desk.at(MONDAY + timedelta(minutes=1))
    [alarm] = desk.bench.alarms("summary-failing")
    assert (alarm.detail, len(desk.asked)) == ("no room", 1)
    desk.fail, desk.seconds = "", 1000.0
    desk.at(MONDAY + timedelta(minutes=17))

    assert len(desk.mails()) == 2
    assert not any(a.active for a in desk.bench.alarms("summary-failing"))
    assert any(isinstance(made, ChoreFailed) for made in desk.handed)


def test_a_backup_is_made_every_day_and_is_whole(desk):
    """Three days, three files, each of them a store that opens."""
    for day in range(3):
        desk.at(MONDAY + timedelta(days=day))
    made = sorted((desk.bench.path / "backups").glob("*.sqlite3"))

    done = [m for m in desk.handed if isinstance(m, ChoreDone)]
    assert len([m for m in done if m.key.startswith("backup/")]) == len(made) == 3


def child(tmp_path, text, *, deadline_s=20.0):
    """A commission whose command is a script."""
    script = tmp_path / "script.py"
    script.write_text(text)
    return ChildSummary(
        tmp_path, {}, command=(sys.executable, str(script)), deadline_s=deadline_s
    )


def test_the_child_is_told_all_it_must_know(tmp_path):
    """Week, number, lateness and the next date reach the command."""
    told = tmp_path / "told"
    made = child(
        tmp_path,
        f"""
import json, sys
open({str(told)!r}, "w").write(json.dumps(sys.argv[1:]))
print(json.dumps(dict(subject="s", short="h", text="t", html="", folder="f")))
""",
    )(WORK, number=4, following="Mon")

    assert made == Written("s", "h", "t", "", "f")
    words = json.loads(told.read_text())
    assert words[:3] == ["summary", "--week", "2026-W09"]
    assert words[words.index("--number") + 1] == "4"
    assert "--late" not in words


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("import time; time.sleep(60)", "was not done within"),
        ("import sys; sys.exit('no store')", "no store"),
        ("print('nonsense')", "something else"),
        ("print('{}')", "something else"),
    ],
)
def test_p2_a_child_that_hangs_or_fails_is_an_error_in_words(tmp_path, text, words):
    """Whatever the child does, the daemon gets one clear error in time (P2)."""
    commission = child(tmp_path, text, deadline_s=1.0)

    with pytest.raises(MonitorError, match=words):
        commission(WORK, number=1, following="")
