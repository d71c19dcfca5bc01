"""A small house for tests of the step: two shelves, two species, three keepers."""

from datetime import UTC, datetime, timedelta

from monitor.alarms.plan import make_plan
from monitor.heart.events import Reading, Readings, Started, Tick
from monitor.heart.state import State
from monitor.heart.step import step
from monitor.site.house import fold
from monitor.site.journal import CohortStarted, Count, Entry, PlaceCreated, ProbeMoved
from monitor.site.site_file import Site
from monitor.site.species_file import Library, Species
from monitor.site.words import CountKind, PlaceKind

T0 = datetime(2026, 3, 2, 12, tzinfo=UTC)
MIN = timedelta(minutes=1)
AIR = "air_temperature"
SHELF_A = ("shelf-a-air", AIR)

# Bands and days below are invented: they test what is done with them.
SITE = {
    "site": {"name": "Quillmere Insectarium", "time_zone": "Europe/Dublin"},
    "room": [{"id": "warm-room", "name": "Warm room"}],
    "shelf": [
        {"id": "shelf-a", "room": "warm-room"},
        {"id": "shelf-b", "room": "warm-room"},
    ],
    "sensor": [
        {
            "id": "shelf-a-air",
            "place": "shelf-a",
            "quantity": AIR,
            "interval": "5 min",
        },
        {
            "id": "shelf-a-humidity",
            "place": "shelf-a",
            "quantity": "relative_humidity",
            "interval": "5 min",
        },
        {
            "id": "tub-probe",
            "place": "shelf-a",
            "quantity": "substrate_temperature",
            "interval": "5 min",
        },
        {
            "id": "shelf-b-air",
            "place": "shelf-b",
            "quantity": AIR,
            "interval": "5 min",
        },
    ],
    "keeper": [
        {"id": "ines", "name": "Ines", "mail": "i@q.example", "role": "keeper"},
        {"id": "tom", "name": "Tom", "mail": "t@q.example", "role": "keeper"},
        {"id": "ada", "name": "Ada", "mail": "a@q.example", "role": "administrator"},
    ],
    "mail": {"host": "127.0.0.1", "security": "none", "from": "m@q.example"},
    "rota": {
        "order": ["ines", "tom"],
        "first_change": T0.date() - timedelta(days=14),
        "change": "Mon 09:00",
    },
    "alarms": {"escalate_after": {"day": "10 min", "night": "15 min"}},
}


def species(ident, stages):
    """A species with one band a stage; None leaves the stage without one."""
    return Species.model_validate(
        {
            "species": {"id": ident, "name": ident.title(), "group": "invented"},
            "stage": [
                {"id": name, "acts": ["look"], "band": [band] if band else []}
                for name, band in stages.items()
            ],
        }
    )


def band(tolerated, danger=None, quantity="substrate_temperature", **more):
    """A band of the form of a species file."""
    made = {"quantity": quantity, "tolerated": list(tolerated), "source": "from-memory"}
    if danger:
        made["danger"] = list(danger)
    return made | more


LIBRARY = Library(
    species={
        "beetle": species(
            "beetle",
            {
                "egg": band((20.0, 27.0), (15.0, 32.0)),
                "larva": band((18.0, 29.0), (12.0, 33.0)),
                "pupa": band((20.0, 28.0), (15.0, 31.0)),
            },
        ),
        "cricket": species("cricket", {"nymph": band((24.0, 34.0), (18.0, 40.0))}),
    }
)


def entry(fact, at=T0 - timedelta(days=30)):
    """A journal entry by Ines."""
    return Entry(at, at, "ines", fact)


JOURNAL = (
    entry(PlaceCreated("tub-1", PlaceKind.REARING, "shelf-a")),
    entry(PlaceCreated("tub-2", PlaceKind.REARING, "shelf-a")),
    entry(PlaceCreated("tub-3", PlaceKind.REARING, "shelf-b")),
    entry(ProbeMoved("tub-probe", "tub-2")),
    entry(CohortStarted(1, "beetle", "larva", Count(CountKind.COUNTED, 1), "tub-1")),
    entry(CohortStarted(2, "beetle", "pupa", Count(CountKind.COUNTED, 1), "tub-2")),
)


def site(**changes):
    """The small house, with some tables replaced."""
    return Site.model_validate(SITE | changes)


def begin(*entries, made=None, at=T0, journal=JOURNAL):
    """A state just after the start."""
    made = made or site()
    house = fold(made, (*journal, *entries))
    state = State(make_plan(made, LIBRARY, house, configuration="c0ffee"))
    return step(state, Started(at))[0]


class Run:
    """
    Drives the step with readings and ticks, and keeps the records.

    Unless they are asked to be quiet, all sensors but the one of shelf A say every
    5 min that all is well.
    """

    def __init__(self, state, at=T0, *, quiet=False):
        self.state, self.at, self.records = state, at, []
        self.began, self.quiet = at, quiet

    def happen(self, event):
        """Let one event happen."""
        self.state, made = step(self.state, event)
        self.records += made
        return made

    def read(self, value, *, after=5 * MIN, series=SHELF_A, **more):
        """Some minutes of ticks, then a reading."""
        self.wait(after)
        reading = Reading(*series, self.at, value, **more)
        return self.happen(Readings(self.at, (reading,)))

    def wait(self, span):
        """Ticks every 10 s for a span."""
        end = self.at + span
        while self.at + timedelta(seconds=10) <= end:
            self.at += timedelta(seconds=10)
            self.happen(Tick(self.at))
            if not self.quiet and (self.at - self.began) % (5 * MIN) == 0 * MIN:
                self.happen(Readings(self.at, self._others()))
        self.at = end

    def _others(self):
        return tuple(
            Reading(*series, self.at, 60.0 if "humid" in series[1] else 24.0)
            for series in self.state.plan.sensors
            if series != SHELF_A
        )

    def alarms(self, kind=None):
        """Live alarms, of one kind where it is given."""
        return [a for a in self.state.alarms.values() if kind in (None, a.kind)]

    def notices(self):
        """(minutes since the beginning, keeper, why) of every notice wanted so far."""
        return [
            ((r.at - self.began) / MIN, r.keeper, r.why)
            for r in self.records
            if type(r).__name__ == "NoticeWanted"
        ]
