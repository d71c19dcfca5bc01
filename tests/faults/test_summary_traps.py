"""Rows P1, P3, P4, E5, E6, E7 and E11 of the known traps, for the weekly summary."""

import json
import os
import re
import subprocess
import sys
from dataclasses import replace
from datetime import timedelta

import pytest

from monitor.notices.channel import Sent
from monitor.notices.mail import MailChannel
from monitor.site.load import load
from monitor.site.site_file import Mail
from monitor.site.words import Priority
from monitor.store.reader import Reader
from monitor.store.rows import NoticeRow
from monitor.summary import charts, sheet
from monitor.summary.charts import Picture
from monitor.summary.headline import Occasion
from monitor.summary.making import make
from monitor.summary.pages.layout import HTML_LIMIT
from monitor.summary.pages.telling import PICTURES
from monitor.summary.shelving import shelve
from monitor.summary.words import WIDTH
from monitor.testing import FakeClock
from tests.source import ROOT
from tests.summary import large
from tests.summary.house import WEEK
from tests.summary.pages import is_sound
from tests.support.mail import CatchingServer

NOW = large.NOW
ONE = Occasion(made_at=NOW, number=7, next_due="Mon 9 Mar 07:00")

RENDERS = """
import gc, resource, sys
from pathlib import Path
from monitor.site.load import load
from monitor.summary.charts import picture
from monitor.summary.lines import place_charts
from monitor.summary.sections import conditions
from tests.summary.house import House, DAY, START, hourly, lay

house = House(load(lay(Path(sys.argv[1]) / "config")))
house.tub(START - DAY).start(START - DAY, stage="L1")
house.measure("a-air", [*hourly(24, 0, 60), *hourly(19, 90)])
week = house.week()
[chart] = [
    c for c in place_charts(week, conditions.figures(week)) if c.place == "shelf-a"
]

def resident():
    gc.collect()
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 1e6

for _ in range(5):
    picture(chart)
before = resident()
for _ in range(60):
    picture(chart)
print(resident() - before, "matplotlib.pyplot" in sys.modules)
"""


def child(*words, **variables):
    """Python in a process of its own, with no home that could be written to."""
    return subprocess.run(
        [sys.executable, *words],
        env={
            "PATH": os.environ["PATH"],
            "PYTHONPATH": str(ROOT),
            "HOME": "/proc/nobody",
            **variables,
        },
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


@pytest.fixture(scope="module")
def house(tmp_path_factory):
    """A small eventful house: configuration and store."""
    return built(tmp_path_factory.mktemp("house"), places=9, tubs=40, bad=3)


def built(root, *, places, tubs, bad):
    large.lay(root / "config", places=places)
    (root / "state").mkdir()
    step = timedelta(minutes=10)
    large.fill(root / "state", places=places, tubs=tubs, step=step, bad=bad)
    return root


def summary(root, **more):
    """The whole summary of a house's week."""
    reader, configuration = Reader.open(root / "state"), load(root / "config")
    return make(reader, configuration, WEEK, ONE, now=NOW, **more)


def test_p1_sixty_renders_keep_nothing_and_never_load_pyplot(tmp_path):
    """P1: RSS grows by less than 20 MB, where 60 kept figures take 130."""
    ended = child("-c", RENDERS, str(tmp_path), MPLCONFIGDIR=str(tmp_path))

    assert ended.returncode == 0, ended.stderr
    grown, pyplot = ended.stdout.split()
    assert float(grown) < 20
    assert pyplot == "False"


def test_p1_pyplot_is_imported_nowhere_in_the_summary():
    """P1: and only one module knows the drawing library, inside functions."""
    for path in (ROOT / "monitor/summary").rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        imports = re.findall(r"(?m)^( *)(?:from|import) (?:matplotlib|PIL)\S*", text)
        assert "import matplotlib.pyplot" not in text
        assert "from matplotlib import pyplot" not in text
        assert all(imports)
        assert not imports or path.name == "sheet.py"


@pytest.mark.parametrize("cache", [True, False])
def test_p3_without_a_home_fonts_are_kept_where_the_daemon_may_write(
    house, tmp_path, cache
):
    """P3: in $CACHE_DIRECTORY, else in the state; no warning, no place lost."""
    variables = {"REARING_STATE": str(house / "state")}
    if cache:
        variables["CACHE_DIRECTORY"] = str(tmp_path)
    words = ("summary", "--week", "2026-W09", "--write", "--json")

    ended = child(
        "-m", "monitor", *words, "--config", str(house / "config"), **variables
    )

    assert ended.returncode == 0, ended.stderr
    assert not re.search(r"(?i)writable|temporary|warn", ended.stderr)
    kept = tmp_path if cache else house / "state" / "cache"
    assert list((kept / "matplotlib").glob("fontlist*.json"))
    assert "cid:shelf-01" in json.loads(ended.stdout)["html"]


def test_p4_a_renderer_that_raises_costs_the_pictures_alone(house, monkeypatch):
    """P4: figures, text and page are complete, and both say why there are none."""
    whole = summary(house)

    def broken(_sheet):
        raise OSError("no font was found")

    monkeypatch.setattr(sheet.Sheet, "png", broken)
    bare = summary(house)

    why = "Without pictures: the charts could not be drawn (OSError: no font was found)"
    assert why in " ".join(bare.text.split())
    assert why in is_sound(bare.html).said
    assert is_sound(bare.html).all("img") == []
    assert bare.pictures == {}
    assert bare.subject == whole.subject
    assert is_sound(bare.html).said.count("shelf near the outer wall") >= 9


def mailed(root, made):
    """What a mail server gets of a summary, through the daemon's own channel."""
    folder = shelve(made, root / "state")
    notice = NoticeRow(
        id=7,
        keeper="ines",
        why="summary",
        priority=Priority.NOTE,
        alarms=(),
        created=NOW,
        subject=made.subject,
        short=made.short,
        long=made.text,
        html=made.html,
        pictures=f"summaries/{folder.name}",
    )
    with CatchingServer() as server:
        channel = MailChannel(
            Mail(
                host="127.0.0.1",
                port=server.port,
                security="none",
                sender="monitor@quillmere.example",
            ),
            to="ines@quillmere.example",
            password=None,
            clock=FakeClock(NOW),
            store="5a4e",
            directory=root / "state",
        )
        result = channel.send(notice, deadline=NOW + timedelta(seconds=20))
        assert result == Sent()
        [caught] = server.wait_for(1)
    return caught


def tree(part):
    """The golden form of a mail: types, nested."""
    if part.is_multipart():
        return [part.get_content_type(), *map(tree, part.iter_parts())]
    return part.get_content_type()


def test_e5_the_mail_on_the_wire_has_the_tree_that_readers_show(house):
    """E5: alternative[plain, related[html, png …]]; every cid resolves to a PNG."""
    made = summary(house)
    mail = mailed(house, made).mail

    pictures = list(made.pictures)
    assert len(pictures) == 9
    assert tree(mail) == [
        "multipart/alternative",
        "text/plain",
        ["multipart/related", "text/html", *["image/png"] * 9],
    ]
    page = is_sound(mail.get_body(("html",)).get_content())
    shown = {p["src"] for p in page.all("img")}
    held = {
        f"cid:{part['Content-ID'].strip('<>')}": part.get_content()
        for part in mail.walk()
        if part.get_content_type() == "image/png"
    }
    assert shown == held.keys()
    assert all(png.startswith(b"\x89PNG\r\n") for png in held.values())
    assert all(
        part.get_content_disposition() == "inline"
        for part in mail.walk()
        if part.get_content_type() == "image/png"
    )


def test_e5_the_plain_part_is_complete_in_itself(house):
    """E5: each alarm, each place and its figures, in lines of 72 letters."""
    text = mailed(house, summary(house)).mail.get_body(("plain",)).get_content()

    lines = text.splitlines()
    assert max(map(len, lines)) <= WIDTH
    for number in range(1, 4):
        assert any(
            line.startswith(f"  {number} prompt, STANDING: Room") for line in lines
        )
    flat = " ".join(text.split())
    for number in range(1, 10):
        assert f"Shelf {number:02} (long name of a shelf near the outer wall)" in flat


@pytest.mark.parametrize("form", ["html", "page"])
def test_e6_nothing_comes_from_outside_and_no_picture_is_in_the_text(house, form):
    """E6: no data URI, no address, no style that loads."""
    html = getattr(summary(house), form)

    assert not re.search(r"""(?i)(src|href)\s*=\s*["']?(data:|https?:|//)""", html)
    assert not re.search(r"(?i)url\(|@import|<link|<script|<iframe", html)


@pytest.fixture(scope="module")
def promised(tmp_path_factory):
    """300 tubs on 60 places with two probes each, and every place out of range."""
    root = tmp_path_factory.mktemp("large")
    return built(root, places=60, tubs=300, bad=60)


def plain_picture(chart):
    """A picture that takes no time: its size on disk is no matter of the HTML."""
    return Picture(chart.place, b"\x89PNG", 298)


def test_e7_the_largest_house_fits_where_mail_readers_clip(promised):
    """
    E7: below 90 kB for 300 tubs and 60 places, the worst first, all pictures counted.

    What does not fit is counted and stands on the page of the week.
    """
    made = summary(promised, draw=plain_picture)
    page = is_sound(made.html)

    assert len(made.html.encode()) < HTML_LIMIT == 90_000
    assert len(page.all("img")) == PICTURES == 24
    said = page.said
    assert said.startswith("Week 9: 60 alarms, 3 still standing, out of range in 60")
    order = ("Alarms", "STANDING", "To look at", "Conditions", "Cohorts", "Sensors")
    places = [said.index(words) for words in order]
    assert places == sorted(places)
    assert "36 more places. Their pictures are on summaries/2026-W09/page.html" in said
    assert "This is summary 7" in said
    whole = is_sound(made.page)
    assert len(whole.all("img")) == len(made.pictures) == 60
    assert "300 Exemplum numeri" in whole.said


def test_e7_whatever_the_names_are_the_mail_fits(promised):
    """E7: names of 300 letters, each of which takes six bytes when escaped."""
    configuration = load(promised / "config")
    site = configuration.site
    shelves = tuple(
        shelf.model_copy(update={"name": "&\"<>'" * 60}) for shelf in site.shelves
    )
    configuration = replace(
        configuration, site=site.model_copy(update={"shelves": shelves})
    )

    made = make(
        Reader.open(promised / "state"),
        configuration,
        WEEK,
        ONE,
        now=NOW,
        draw=plain_picture,
    )

    assert len(made.html.encode()) < HTML_LIMIT
    assert is_sound(made.html)
    assert max(map(len, made.text.splitlines())) <= WIDTH


def test_e11_the_mail_says_its_number_and_what_the_absence_of_the_next_means(house):
    """E11: near the end of text and HTML, and in the shortest form the date."""
    made = summary(house)

    words = (
        "This is summary 7. The next one is due Mon 9 Mar 07:00. If it has not come an "
        "hour later, that is no good news"
    )
    for said in (" ".join(made.text.split()), is_sound(made.html).said):
        assert words in said
        assert said.index(words) > 0.8 * len(said)
    assert made.short.endswith("Next due Mon 9 Mar 07:00.")


def test_pictures_of_a_phone_are_small(house):
    """Each below 25 kB, so that 24 of them are a mail of little more than half a MB."""
    made = summary(house)

    assert all(len(png) <= 25_000 for png in made.pictures.values())
    assert charts.WIDTH == 340
