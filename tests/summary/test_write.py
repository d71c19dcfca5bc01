"""``summary --write``: what lies on disk, and what the daemon reads."""

import json
import os
import threading
import time

import msgspec
import pytest

from monitor.chores import Written
from monitor.errors import StoreError, StoreFullError
from monitor.store import Writer
from monitor.summary import shelving
from monitor.summary.making import Made
from monitor.summary.shelving import shelve
from tests.summary.house import END, HOUR
from tests.summary.pages import is_sound

WORDS = ("--week", "2026-W09", "--write")
DUE = ("--number", "7", "--next-due", "2026-03-09 07:00:00+00:00")


def made(week="2026-W09", **more):
    fields = {
        "week": week,
        "subject": "s",
        "headline": f"Week {week[-2:]}: no alarm",
        "short": "s",
        "text": "t\n",
        "html": "<p>h</p>",
        "page": "<p>p</p>",
        "figures": json.dumps({"headline": f"Week {week[-2:]}: no alarm"}),
        "pictures": {"shelf-a": b"png"},
        "without_pictures": "",
    }
    return Made(**fields | more)


def test_it_writes_mail_page_figures_pictures_and_the_index(store, command):
    """Each file of the week, and a sentence and the paths on stdout."""
    got = command(*WORDS, *DUE)

    folder = store / "summaries" / "2026-W09"
    names = {path.name for path in folder.iterdir()}
    assert (got.code, got.err) == (0, "")
    assert names == {
        *("mail.txt", "mail.html", "page.html", "figures.json"),
        *("warm-room.png", "shelf-a.png", "shelf-b.png"),
    }
    lines = got.out.splitlines()
    assert lines[0].startswith("Week 9: 1 alarm, 1 still standing")
    assert set(lines[1:]) == {
        *(str(folder / name) for name in names),
        str(folder.parent / "index.html"),
    }
    page = is_sound((folder / "page.html").read_text())
    assert all((folder / p["src"]).is_file() for p in page.all("img"))
    assert len(page.all("img")) == 3
    figures = json.loads((folder / "figures.json").read_text())
    assert figures["headline"] == lines[0]
    assert figures["occasion"]["number"] == 7
    assert figures["conditions"]["probes"]


def test_the_daemon_reads_one_object(store, command):
    """It is what `Written` asks for, and its mail is the one on disk."""
    got = command(*WORDS, *DUE, "--late", "--json")

    written = msgspec.convert(json.loads(got.out), Written, strict=True)
    folder = store / written.folder
    assert written.subject.startswith("Week 9 (late): 1 alarm, 1 still standing")
    assert written.html == (folder / "mail.html").read_text()
    assert written.text == (folder / "mail.txt").read_text()
    assert "This is summary 7. The next one is due Mon 9 Mar 07:00." in " ".join(
        written.text.split()
    )
    assert "LATE: made Mon 2 Mar 09:00" in written.text
    assert len(written.short) <= 160


def test_it_works_beside_a_daemon_that_writes(store, command):
    """The writer's lock is held by another, and the store is only read."""
    with Writer.open(store, now=END + HOUR):
        got = command(*WORDS)

    assert got.code == 0


def test_the_same_week_is_replaced_and_others_stay(store, command):
    """What an older program left in the folder is gone, last week's is not."""
    folder = store / "summaries" / "2026-W09"
    shelve(made("2026-W08"), store)
    command(*WORDS)
    (folder / "old.png").write_bytes(b"")
    command(*WORDS)

    assert not (folder / "old.png").exists()
    assert (folder / "mail.txt").is_file()
    assert (folder.parent / "2026-W08" / "page.html").is_file()
    index = is_sound((folder.parent / "index.html").read_text())
    assert [a["href"] for a in index.all("a")] == [
        "2026-W09/page.html",
        "2026-W08/page.html",
    ]
    assert "Week 08: no alarm" in index.said
    assert sorted(p.name for p in folder.parent.iterdir()) == [
        *("2026-W08", "2026-W09", "index.html")
    ]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--late",), "--late needs --write"),
        (("--number", "3"), "--number needs --write"),
        (("--next-due", "x"), "--next-due needs --write"),
        (("--write", "--number", "0"), "'0' is no number from 1 on"),
        (("--write", "--number", "two"), "'two' is no number from 1 on"),
    ],
)
def test_wrong_usage_is_one_line_and_exit_2(store, command, words, said):
    """Nothing is written."""
    got = command(*words)

    assert (got.code, got.out) == (2, "")
    assert said in got.err
    assert got.err.count("\n") == 1
    assert not (store / "summaries").exists()


def test_a_folder_that_cannot_be_made_is_one_line_and_exit_69(store, command):
    """Something else has the name; stdout stays empty."""
    (store / "summaries").write_text("in the way")

    got = command(*WORDS, "--json")

    assert (got.code, got.out) == (69, "")
    assert "summaries: the summary cannot be written" in got.err
    assert got.err.count("\n") == 1


def test_a_full_disk_leaves_the_old_week_as_it_was(tmp_path, monkeypatch):
    """The new one is built beside it, and only a whole one takes its name."""
    shelve(made(), tmp_path)

    def full(_path):
        raise OSError(28, os.strerror(28))

    monkeypatch.setattr(shelving, "sync", full)

    with pytest.raises(StoreFullError, match="make room"):
        shelve(made(text="new\n"), tmp_path)
    folder = tmp_path / "summaries" / "2026-W09"
    assert (folder / "mail.txt").read_text() == "t\n"
    assert [p.name for p in folder.parent.iterdir() if p.name[0] == "."] == []


def test_what_a_killed_run_left_is_cleared_when_it_is_old(tmp_path):
    """An hour later it belongs to nobody; a fresh one may be at work."""
    shelve(made(), tmp_path)
    shelf = tmp_path / "summaries"
    for name in (".2026-W09.new-11", ".2026-W07.old-12", ".index.html.new-13"):
        (shelf / name).mkdir() if "W" in name else (shelf / name).write_text("")
        os.utime(shelf / name, (time.time() - 7200,) * 2)
    (shelf / ".2026-W09.new-14").mkdir()
    (shelf / "notes").mkdir()

    shelve(made(), tmp_path)

    assert sorted(p.name for p in shelf.iterdir()) == [
        *(".2026-W09.new-14", "2026-W09", "index.html", "notes")
    ]


def test_two_runs_at_once_leave_one_whole_week(tmp_path, monkeypatch):
    """The daemon's child and a keeper's command may meet: no error, no mixture."""
    pids = threading.local()
    monkeypatch.setattr(shelving.os, "getpid", lambda: pids.number)
    failed = []

    def run(number):
        pids.number = number
        try:
            for _ in range(20):
                shelve(made(text=f"{number}\n", html=f"{number}\n"), tmp_path)
        except StoreError as error:
            failed.append(error)

    threads = [threading.Thread(target=run, args=(n,)) for n in (1, 2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)

    folder = tmp_path / "summaries" / "2026-W09"
    assert failed == []
    assert (folder / "mail.txt").read_text() == (folder / "mail.html").read_text()
    assert sorted(p.name for p in folder.parent.iterdir()) == ["2026-W09", "index.html"]


def test_an_index_stands_even_where_a_week_is_damaged(tmp_path):
    """It is named, and its figures are said to be unreadable."""
    shelve(made("2026-W08", figures="{"), tmp_path)
    shelve(made(), tmp_path)

    index = (tmp_path / "summaries" / "index.html").read_text()

    assert "its figures cannot be read" in index
