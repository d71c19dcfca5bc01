"""A small invented house for the accounts: two shelves, a spare probe, two species."""

from collections import defaultdict
from collections.abc import Mapping
from datetime import UTC, date, datetime, timedelta
from types import MappingProxyType
from typing import NamedTuple

import numpy as np

from monitor.accounts.cache import Key, unpacked
from monitor.clock import to_us
from monitor.site.house import fold
from monitor.site.journal import (
    CohortAdvanced,
    CohortEnded,
    CohortMoved,
    CohortStarted,
    Count,
    Entry,
    PlaceCreated,
    PlaceMoved,
    PlaceSurveyed,
    ProbeMoved,
)
from monitor.site.site_file import Site
from monitor.site.species_file import Library, Species
from monitor.site.words import CountKind, PlaceKind, Quantity
from monitor.store.rows import AccountDay, StaleDay, StaleSeries

START = datetime(2026, 3, 2, tzinfo=UTC)
HOUR = timedelta(hours=1)
DAY = timedelta(days=1)
FIVE = timedelta(minutes=5)

AIR = "air_temperature"
SUBSTRATE = "substrate_temperature"


def site(**changes):
    """Shelves warm-a and warm-b with an air probe each; on the bench a spare one."""
    return Site.model_validate(
        {
            "site": {"name": "Quillmere Insectarium", "time_zone": "Europe/Dublin"},
            "room": [{"id": "warm", "name": "Warm room"}],
            "shelf": [
                {"id": "warm-a", "room": "warm"},
                {"id": "warm-b", "room": "warm"},
                {"id": "dark", "room": "warm"},
                {"id": "bench", "room": "warm"},
            ],
            "sensor": [
                probe("a-air", "warm-a", AIR),
                probe("b-air", "warm-b", AIR),
                probe("spare", "bench", SUBSTRATE),
            ],
        }
        | changes
    )


class Declared(NamedTuple):
    """What accounts need of a configuration."""

    site: Site
    library: Library
    checks: Mapping = MappingProxyType({})


def probe(name, place, quantity, interval="5 min"):
    return {
        "id": name,
        "place": place,
        "quantity": quantity,
        "interval": interval,
        "topic": f"rearing/{name}",
    }


def stage(name, *, bands=(), **development):
    made = {"id": name}
    if bands:
        made["band"] = [
            {"quantity": q, "tolerated": [15.0, 30.0], "source": "from-memory"}
            for q in bands
        ]
    if development:
        made["development"] = {"source": "from-memory"} | development
    return made


def heat(**more):
    """Thresholds 10 and 30, a requirement of 200 degree-days."""
    return {
        "driven_by": "heat",
        "lower_threshold": 10.0,
        "upper_threshold": 30.0,
        "cutoff": "horizontal",
        "fitted_with": "constant temperatures",
        "required_degree_days": [{"sex": "any", "mean": 200.0, "sd": 20.0}],
    } | more


def lasting(*durations, driven_by="heat", **more):
    """Durations by (sex, days, temperature), above an assumed threshold."""
    return {
        "driven_by": driven_by,
        "duration_days": [
            {"sex": sex, "mean": days, "sd": 1.0, "at": at}
            for sex, days, at in durations
        ],
    } | more


def library(**stages):
    """Species "scarab"; *stages* replace developments by their name."""
    developments = {"egg": heat(), "grub": heat(upper_threshold=32.0)} | stages
    table = {"id": "scarab", "name": "Exemplum", "group": "scarab"}
    species = Species.model_validate(
        {
            "species": table,
            "stage": [
                stage("egg", **developments["egg"]),
                stage("grub", bands=[SUBSTRATE], **developments["grub"]),
                stage("adult", **lasting(("any", 60.0, 24.0), driven_by="time")),
                stage("guest"),
            ],
        }
    )
    return Library(species={"scarab": species})


class Told:
    """A journal as it is told, entry by entry."""

    def __init__(self):
        self.entries = []

    def tell(self, at, fact):
        entry = Entry(at, at, "ines", fact, id=len(self.entries) + 1)
        self.entries.append(entry)
        return self

    def tub(self, at, place="tub-1", parent="warm-a", *, surveyed=True):
        """A tub; as warm as its shelf's probe on either shelf, unless not surveyed."""
        self.tell(at, PlaceCreated(place, PlaceKind.REARING, parent))
        for shelf in ("warm-a", "warm-b") if surveyed else ():
            self.survey(at, 0.0, 0.0, shelf=shelf, place=place)
        return self

    def survey(self, at, offset_k, spread_k, *, shelf="warm-a", place="tub-1"):
        air = Quantity.AIR_TEMPERATURE
        fact = PlaceSurveyed(place, air, shelf, air, offset_k, spread_k)
        return self.tell(at, fact)

    def start(self, at, *, cohort=1, place="tub-1", stage="egg", sex="any"):
        count = Count(CountKind.COUNTED, 12)
        return self.tell(
            at, CohortStarted(cohort, "scarab", stage, count, place, sex=sex)
        )

    def move(self, at, place, cohort=1):
        return self.tell(at, CohortMoved(cohort, place))

    def carry(self, at, parent, place="tub-1"):
        return self.tell(at, PlaceMoved(place, parent))

    def hang(self, at, sensor, place):
        return self.tell(at, ProbeMoved(sensor, place))

    def advance(self, at, stage, cohort=1, not_before=None):
        return self.tell(at, CohortAdvanced(cohort, stage, not_before=not_before))

    def end(self, at, cohort=1):
        return self.tell(at, CohortEnded(cohort, "on show"))

    def house(self, of=None):
        return fold(of or site(), self.entries)


def instants(begin, end, step=FIVE):
    count = (end - begin) // step + 1
    us = step // timedelta(microseconds=1)
    return to_us(begin) + np.arange(count, dtype=np.int64) * us


def steady(begin, end, celsius, step=FIVE):
    times = instants(begin, end, step)
    return times, np.full(times.size, float(celsius))


class Memory:
    """The store as the worker sees it, in memory, writing as the recorder would."""

    def __init__(self, told):
        self.told = told
        self.series = defaultdict(dict)
        self.accounts = {}
        self.marks, self.series_marks = [], []
        self.asked = []

    def put(self, sensor, times, values, quantity=AIR, *, mark=False):
        """Add readings; with *mark* as late ones of days that are over."""
        values = np.broadcast_to(np.asarray(values, np.float64), times.shape)
        self.series[sensor, quantity] |= dict(
            zip(times.tolist(), values.tolist(), strict=True)
        )
        if mark:
            days = sorted({us // 86_400_000_000 for us in times.tolist()})
            self.series_marks += [
                StaleSeries(sensor, quantity, date(1970, 1, 1) + DAY * day, 1)
                for day in days
            ]

    def drop(self, sensor, begin, end, quantity=AIR):
        held = self.series[sensor, quantity]
        gone = [us for us in held if to_us(begin) < us < to_us(end)]
        return {us: held.pop(us) for us in gone}

    def mark(self, cohort, day):
        self.marks.append(StaleDay(cohort, day, 1))

    def write(self, results):
        for drop in results.drops:
            gone = [
                key
                for key in self.accounts
                if key[0] == drop.cohort and key[2] >= drop.from_day
            ]
            for key in gone:
                del self.accounts[key]
        for row in results.days:
            self.accounts[row.cohort, row.stage, row.day] = row.body
        self.marks = [m for m in self.marks if m not in results.settled]
        self.series_marks = [
            m for m in self.series_marks if m not in results.settled_series
        ]
        return results

    def days(self, cohort=1) -> dict[Key, object]:
        """The cached days of a cohort."""
        return unpacked(self.account_days(cohort))[0]

    # what AccountSource asks

    def entries(self, *, after=0):
        return [e for e in self.told.entries if e.id > after]

    def readings(self, sensor, quantity, start, end):
        self.asked.append((sensor, quantity, start, end))
        held = self.series.get((sensor, quantity), {})
        times = sorted(us for us in held if to_us(start) <= us < to_us(end))
        values = [held[us] for us in times]
        return np.array(times, np.int64), np.array(values, np.float64)

    def account_days(self, cohort):
        return [
            AccountDay(*key, body)
            for key, body in sorted(self.accounts.items())
            if key[0] == cohort
        ]

    def stale_days(self):
        return list(self.marks)

    def stale_series(self):
        return list(self.series_marks)
