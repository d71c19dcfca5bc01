"""A small invented house for the summary: two shelves with probes, and a spare one."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import msgspec
import numpy as np

from monitor.accounts.bounded import Record
from monitor.accounts.degree_days import DayHeat
from monitor.accounts.feeding import longest_gap
from monitor.alarms.alarm import Alarm, AlarmState
from monitor.clock import to_us
from monitor.heart.events import AlarmChanged
from monitor.site.house import fold
from monitor.site.journal import (
    CohortAdvanced,
    CohortCounted,
    CohortEnded,
    CohortMoved,
    CohortStarted,
    Count,
    Entry,
    HandReading,
    PlaceCreated,
    PlaceMoved,
    ProbeMoved,
)
from monitor.site.words import CountKind, PlaceKind, Priority, Quantity
from monitor.store.rows import AccountDay
from monitor.summary.view import WeekView
from monitor.summary.week import Week, bounds

AIR = "air_temperature"
HOUR = timedelta(hours=1)
DAY = timedelta(days=1)
WEEK = Week(2026, 9)
START = datetime(2026, 2, 23, tzinfo=UTC)
"""Monday of 2026-W09; Dublin keeps UTC in winter."""
END = datetime(2026, 3, 2, tzinfo=UTC)

SITE = """
[site]
name = "Quillmere Insectarium"
time_zone = "Europe/Dublin"

[[room]]
id = "warm-room"
name = "Warm room"

[[shelf]]
id = "shelf-a"
room = "warm-room"
name = "Shelf A"

[[shelf]]
id = "shelf-b"
room = "warm-room"
name = "Shelf B"

[[sensor]]
id = "a-air"
place = "shelf-a"
quantity = "air_temperature"
interval = "1 h"

[[sensor]]
id = "b-air"
place = "shelf-b"
quantity = "air_temperature"
interval = "1 h"

[[sensor]]
id = "b-humidity"
place = "shelf-b"
quantity = "relative_humidity"
interval = "1 h"

[[sensor]]
id = "spare"
place = "warm-room"
quantity = "substrate_temperature"
interval = "1 h"

[[sensor]]
id = "mains"
place = "warm-room"
quantity = "mains"
interval = "1 h"

[[keeper]]
id = "ines"
name = "Ines"
mail = "ines@quillmere.example"
channels = []
role = "keeper"
"""

LOWLAND = """
[species]
id = "lowland"
name = "Exemplum calidum"
group = "lowland scarab"

[[stage]]
id = "egg"
[[stage.band]]
quantity = "air_temperature"
tolerated = [20.0, 29.0]
night = { tolerated = [18.0, 27.0] }
source = "from-memory"
[[stage.band]]
quantity = "relative_humidity"
tolerated = [50.0, 90.0]
source = "from-memory"
[stage.development]
driven_by = "heat"
lower_threshold = 10.0
upper_threshold = 30.0
cutoff = "horizontal"
fitted_with = "constant temperatures"
required_degree_days = [{ mean = 200.0, sd = 20.0 }]
source = "from-memory"

[[stage]]
id = "L1"
[[stage.band]]
quantity = "air_temperature"
tolerated = [22.0, 26.0]
source = "from-memory"

[[stage]]
id = "adult"
"""

MONTANE = """
[species]
id = "montane"
name = "Exemplum montanum"
group = "montane scarab"

[[stage]]
id = "L1"
[[stage.band]]
quantity = "air_temperature"
tolerated = [13.0, 21.0]
source = "from-memory"

[[stage]]
id = "L2"
[[stage.band]]
quantity = "air_temperature"
tolerated = [13.0, 19.0]
source = "from-memory"
"""


def lay(where: Path, *, zone: str = "Europe/Dublin") -> Path:
    """Lay the files of the house."""
    for folder in ("species", "templates"):
        (where / folder).mkdir(parents=True)
    (where / "site.toml").write_text(SITE.replace("Europe/Dublin", zone))
    (where / "sources.toml").write_text("")
    (where / "species/lowland.toml").write_text(LOWLAND)
    (where / "species/montane.toml").write_text(MONTANE)
    return where


class House:
    """A week that is told fact by fact and reading by reading."""

    def __init__(self, configuration):
        self.configuration = configuration
        self.site, self.library = configuration.site, configuration.library
        self.entries, self.alarms, self.days = [], [], {}
        self.series = {}

    def tell(self, at, fact):
        entry = Entry(at, at, "ines", fact, id=len(self.entries) + 1)
        self.entries.append(entry)
        return self

    def tub(self, at, place="tub-1", parent="shelf-a"):
        return self.tell(at, PlaceCreated(place, PlaceKind.REARING, parent))

    def start(self, at, cohort=1, *, place="tub-1", of="lowland", stage="egg", **more):
        count = more.pop("count", Count(CountKind.COUNTED, 12))
        return self.tell(at, CohortStarted(cohort, of, stage, count, place, **more))

    def advance(self, at, stage, cohort=1, **more):
        return self.tell(at, CohortAdvanced(cohort, stage, **more))

    def move(self, at, place, cohort=1):
        return self.tell(at, CohortMoved(cohort, place))

    def carry(self, at, parent, place="tub-1"):
        return self.tell(at, PlaceMoved(place, parent))

    def hang(self, at, sensor, place):
        return self.tell(at, ProbeMoved(sensor, place))

    def count(self, at, number, cohort=1):
        return self.tell(at, CohortCounted(cohort, Count(CountKind.ESTIMATE, number)))

    def end(self, at, cohort=1, reason="given away"):
        return self.tell(at, CohortEnded(cohort, reason))

    def read(self, at, place="tub-1", quantity=Quantity.AIR_TEMPERATURE, **values):
        return self.tell(at, HandReading(place, quantity, **values))

    def measure(self, sensor, pairs, quantity=AIR):
        """Readings as (hours from the week's start, value)."""
        times = [to_us(START + hours * HOUR) for hours, _ in pairs]
        values = [float(value) for _, value in pairs]
        self.series[sensor, quantity] = (
            np.array(times, np.int64),
            np.array(values, np.float64),
        )
        return self

    def alarm(self, *changes):
        """An alarm as the list of its changes."""
        self.alarms.append(tuple(changes))
        return self

    def heat(self, cohort, stage, day, degree_days, **more):
        """A whole day of an account."""
        fields = {
            "day": day,
            "degree_days": degree_days,
            "least": degree_days,
            "most": degree_days,
            "measured_s": 86400.0,
            "missing_s": 0.0,
            "minutes": (("shelf", 1440.0),),
            "up_to": datetime(day.year, day.month, day.day, tzinfo=UTC) + DAY,
            "complete": True,
        } | more
        known = Record(fields["measured_s"], fields["missing_s"], 20.0, 30.0)
        fields["records"] = {"shelf-a air_temperature": known}
        body = msgspec.json.encode(DayHeat(**fields))
        self.days.setdefault(cohort, []).append(AccountDay(cohort, stage, day, body))
        return self

    def week(self, week=WEEK, *, now=None, now_is=None, **more):
        """
        The view of a week; *now* at its end or later makes it whole.

        *now_is* is the instant that it tells of itself.
        """
        start, end = bounds(week, self.site.site.time_zone)
        until = min(end, now or end)
        empty = np.empty(0, np.int64), np.empty(0, np.float64)
        return WeekView(
            week=week,
            start=start,
            end=end,
            until=until,
            site=self.site,
            library=self.library,
            house=fold(self.site, self.entries, until=until),
            readings=lambda *series: self.series.get(series, empty),
            gap=longest_gap(self.site),
            entries=tuple(e for e in self.entries if start <= e.happened_at < until),
            alarms=tuple(self.alarms),
            account_days={c: tuple(rows) for c, rows in self.days.items()},
            now=now_is or now,
            **more,
        )


def hourly(value, begin=0, end=168):
    """One reading each hour, both ends in."""
    return [(hour, value) for hour in range(begin, end + 1)]


def changed(at, event="abnormal condition", *, by="", **changes):
    """A change of alarm 12: shelf A too warm."""
    fields = {
        "id": 12,
        "thing": "shelf-a",
        "kind": "outside-tolerated",
        "state": AlarmState.UNACKNOWLEDGED,
        "active": True,
        "priority": Priority.PROMPT,
        "since": START + 10 * HOUR,
        "raised_at": START + 10 * HOUR + timedelta(minutes=20),
        "quantity": Quantity.AIR_TEMPERATURE,
        "sensor": "a-air",
        "value": 29.5,
        "worst": 29.5,
        "limit": 29.0,
        "side": "above",
    } | changes
    return AlarmChanged(at, msgspec.convert(fields, Alarm), event, by)
