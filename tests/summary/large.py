"""An invented house as large as promised: 60 probe places, 300 tubs, a whole week."""

from datetime import timedelta
from itertools import count, cycle, islice
from pathlib import Path

import numpy as np

from monitor.alarms.alarm import AlarmState
from monitor.clock import to_us
from monitor.site.journal import (
    CohortStarted,
    Count,
    Entry,
    PlaceCreated,
)
from monitor.site.words import CountKind, PlaceKind, Priority
from monitor.store import Writer
from tests.summary.house import DAY, END, HOUR, START, changed

MINUTE = timedelta(minutes=1)
STAGES = ("egg", "L1", "L2", "L3", "prepupa", "pupa", "adult")
SPECIES = 8

HEAD = """
[site]
name = "Quillmere Insectarium"
time_zone = "Europe/Dublin"

[[keeper]]
id = "ines"
name = "Ines"
mail = "ines@quillmere.example"
channels = []
role = "keeper"
"""

ROOM = """
[[room]]
id = "room-{n}"
name = "Room {n}, heated at its shelves"
"""

SHELF = """
[[shelf]]
id = "shelf-{n:02}"
room = "room-{room}"
name = "Shelf {n:02} (long name of a shelf near the outer wall)"

[[limit]]
place = "shelf-{n:02}"
quantity = "relative_humidity"
tolerated = [45.0, 90.0]

[[sensor]]
id = "shelf-{n:02}-air"
place = "shelf-{n:02}"
quantity = "air_temperature"
interval = "{interval}"

[[sensor]]
id = "shelf-{n:02}-humidity"
place = "shelf-{n:02}"
quantity = "relative_humidity"
interval = "{interval}"
"""

STAGE = """
[[stage]]
id = "{stage}"
[[stage.band]]
quantity = "air_temperature"
tolerated = [20.0, 28.0]
danger = [15.0, 33.0]
night = {{ tolerated = [18.0, 27.0] }}
source = "from-memory"
"""


def lay(where: Path, *, places: int = 60, interval: str = "10 min") -> Path:
    """Lay the files of the house."""
    for folder in ("species", "templates"):
        (where / folder).mkdir(parents=True)
    rooms = [ROOM.format(n=n) for n in range(1, 7)]
    shelves = [
        SHELF.format(n=n, room=1 + n % 6, interval=interval)
        for n in range(1, places + 1)
    ]
    (where / "site.toml").write_text(HEAD + "".join(rooms + shelves))
    (where / "sources.toml").write_text("")
    for number in range(1, SPECIES + 1):
        head = (
            f'[species]\nid = "beetle-{number}"\nname = "Exemplum numeri {number}"\n'
            'group = "lowland scarab"\n'
        )
        stages = "".join(STAGE.format(stage=stage) for stage in STAGES)
        (where / f"species/beetle-{number}.toml").write_text(head + stages)
    return where


def fill(
    state: Path, *, places: int = 60, tubs: int = 300, step: timedelta, bad: int
) -> None:
    """
    Record the week.

    Args:
        state: Directory of the store.
        places: Shelves with two probes each.
        tubs: Each with a cohort.
        step: Between two readings.
        bad: So many shelves were out of range, each with an alarm.
    """
    with Writer.open(state, now=START) as writer, writer.transaction():
        writer.add_entries(list(_entries(places, tubs)))
        for n in range(1, places + 1):
            _measure(writer, n, step, bad=n <= bad)
            if n <= bad:
                _alarm(writer, n)


def _entries(places, tubs):
    number = count(1)
    at = START - 9 * DAY
    kinds = cycle((s, k) for k in STAGES for s in range(1, SPECIES + 1))
    for tub, (species, stage) in enumerate(islice(kinds, tubs), 1):
        place = f"tub-{tub:03}"
        shelf = f"shelf-{1 + tub % places:02}"
        facts = (
            PlaceCreated(place, PlaceKind.REARING, shelf),
            CohortStarted(
                tub, f"beetle-{species}", stage, Count(CountKind.COUNTED, 12), place
            ),
        )
        for fact in facts:
            yield Entry(at, at, "ines", fact, id=next(number))


def _measure(writer, n, step, *, bad):
    noise = np.random.default_rng(n)
    for day in range(-1, 8):
        begun = START + day * DAY
        times = to_us(begun) + np.arange(DAY // step) * (
            step // timedelta(microseconds=1)
        )
        hours = (times - to_us(START)) / 3.6e9
        air = 23 + 2 * np.sin((hours - 9) / 24 * 2 * np.pi)
        if bad:
            for start, deep in ((30 + n % 7, 6.5 + n % 4), (80 + n % 11, 4), (140, 3)):
                away = np.clip(1 - np.abs(hours - start) / (2 + n % 5), 0, None)
                air -= deep * away
        damp = 68 + 6 * np.sin(hours / 24 * 2 * np.pi)
        for name, quantity, line, spread in (
            ("air", "air_temperature", air, 0.15),
            ("humidity", "relative_humidity", damp, 0.8),
        ):
            values = np.round(line + noise.normal(0, spread, times.size), 2)
            kept = _heard(hours, n)
            writer.import_day(
                f"shelf-{n:02}-{name}", quantity, times[kept], values[kept]
            )


def _heard(hours, n):
    """Every tenth shelf is silent for a day and a half."""
    return ~((n % 10 == 3) & (hours > 60) & (hours < 96))


def _alarm(writer, n):
    came = START + (30 + n % 7) * HOUR
    fields = {
        "id": n,
        "thing": f"shelf-{n:02}",
        "sensor": f"shelf-{n:02}-air",
        "since": came - 20 * MINUTE,
        "raised_at": came,
        "limit": 20.0,
        "side": "below",
        "worst": 16.0,
        "priority": Priority.URGENT if n % 5 == 0 else Priority.PROMPT,
    }
    changes = [changed(came, **fields)]
    if n % 3:
        answered = {"state": AlarmState.ACKNOWLEDGED, "answered_by": "ines"}
        changes.append(
            changed(came + 12 * MINUTE, "acknowledge", by="ines", **fields, **answered)
        )
    if n > 3:
        over = came + 3 * HOUR
        gone = {"state": AlarmState.NORMAL, "active": False, "over_at": over}
        changes.append(
            changed(over, "return to normal", **fields, **gone, closed_at=over)
        )
    for change in changes:
        writer.save_alarm(change.alarm, change.event, change.at, change.by)


NOW = END + 7 * HOUR
