"""A small house for the tests of desk, socket and commands."""

import tomllib
from datetime import UTC, datetime, timedelta
from itertools import count

import msgspec

from monitor.alarms.alarm import Alarm, AlarmState, Dweller
from monitor.desk.desk import perform
from monitor.desk.view import Health, Outcome, Request, View
from monitor.heart.events import Reading
from monitor.site.house import fold
from monitor.site.journal import Entry
from monitor.site.site_file import Site
from monitor.site.species_file import Library, Species
from monitor.site.words import Priority, Quantity

NOW = datetime(2026, 3, 1, 13, tzinfo=UTC)
"""A Sunday, 13:00 in Dublin too."""
MINUTE = timedelta(minutes=1)
HOUR = timedelta(hours=1)
DAY = timedelta(days=1)

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

[[shelf]]
id = "shelf-b"
room = "warm-room"

[[enclosure]]
id = "incubator-1"
place = "warm-room"
kind = "incubator"

[[limit]]
place = "shelf-b"
quantity = "air_temperature"
tolerated = [26.0, 35.0]

[[sensor]]
id = "room-humidity"
place = "warm-room"
quantity = "relative_humidity"
interval = "5 min"

[[sensor]]
id = "a-air"
place = "shelf-a"
quantity = "air_temperature"
interval = "5 min"

[[sensor]]
id = "b-air"
place = "shelf-b"
quantity = "air_temperature"
interval = "1 min"

[[sensor]]
id = "spare"
place = "warm-room"
quantity = "substrate_temperature"
interval = "5 min"

[[keeper]]
id = "ines"
name = "Ines"
mail = "ines@quillmere.example"
role = "keeper"

[mail]
host = "127.0.0.1"
from = "monitor@quillmere.example"

[[keeper]]
id = "tadhg"
name = "Tadhg"
mail = "tadhg@quillmere.example"
role = "keeper"
"""

LOWLAND = """
[species]
id = "lowland-scarab"
name = "Exemplum calidum"
common_name = "Warm beetle"
group = "lowland scarab"

[[stage]]
id = "egg"
[[stage.band]]
quantity = "substrate_temperature"
tolerated = [20.0, 29.0]
danger = [12.0, 33.0]
source = "from-memory"

[[stage]]
id = "L1"
acts = ["look"]
[[stage.band]]
quantity = "substrate_temperature"
tolerated = [20.0, 29.0]
danger = [12.0, 33.0]
source = "from-memory"

[[stage]]
id = "pupa"
unseen = true
[[stage.band]]
quantity = "substrate_temperature"
tolerated = [21.0, 26.0]
night = { tolerated = [16.0, 19.0] }
source = "from-memory"

[[stage]]
id = "adult"
"""

MONTANE = """
[species]
id = "montane-scarab"
name = "Exemplum montanum"
group = "montane scarab"

[[stage]]
id = "L1"
[[stage.band]]
quantity = "air_temperature"
tolerated = [13.0, 19.0]
source = "from-memory"
"""

HUNTER = """
[species]
id = "hunter"
name = "Exemplum vorax"
group = "tarantula"
eats_its_own = true

[[stage]]
id = "nymph"
"""


def a_site(text: str = SITE) -> Site:
    """The declared house."""
    return Site.model_validate(tomllib.loads(text))


def a_library() -> Library:
    """Three species; the hunter is provisional."""
    found = [
        Species.model_validate(tomllib.loads(t)) for t in (LOWLAND, MONTANE, HUNTER)
    ]
    return Library(species={s.id: s for s in found}, provisional=frozenset({"hunter"}))


class Quillmere:
    """A house that carries out what the desk decides, in memory."""

    def __init__(self, now: datetime = NOW) -> None:
        self.site, self.library, self.now = a_site(), a_library(), now
        self.entries: list[Entry] = []
        self.alarms: tuple[Alarm, ...] = ()
        self.latest: dict[tuple[str, str], Reading] = {}
        self.heat = {}
        self.health = Health("running", 0, 2, 500, now, {"late": 1})
        self._ids = count(1)

    def view(self) -> View:
        """Everything at this instant."""
        house = fold(self.site, self.entries)
        return View(
            now=self.now,
            site=self.site,
            library=self.library,
            house=house,
            alarms=self.alarms,
            latest=self.latest,
            heat=self.heat,
            health=self.health,
            next_cohort=max(house.cohorts, default=0) + 1,
        )

    def ask(self, do: str, **args: object) -> Outcome:
        """Only ask; nothing is carried out."""
        names = {name.removesuffix("_"): value for name, value in args.items()}
        return perform(Request(do, names), self.view())

    def do(self, do: str, **args: object) -> dict[str, object]:
        """Ask, carry it out, and give the result as it comes over the socket."""
        return self.carry_out(self.ask(do, **args))

    def carry_out(self, outcome: Outcome) -> dict[str, object]:
        """Store what an outcome wants stored."""
        for entry in outcome.entries:
            self.entries.append(msgspec.structs.replace(entry, id=next(self._ids)))
        for reading in outcome.readings:
            self.latest[reading.sensor, reading.quantity] = reading
        return msgspec.json.decode(msgspec.json.encode(outcome.result))

    def heard(
        self, sensor: str, quantity: Quantity, value: float, ago: timedelta
    ) -> None:
        """A reading that was measured some time ago."""
        reading = Reading(sensor, quantity.value, self.now - ago, value)
        self.latest[sensor, quantity.value] = reading


def an_alarm(number: int = 12, **more: object) -> Alarm:
    """A standing alarm of shelf A."""
    plain = {
        "thing": "shelf-a",
        "kind": "outside-tolerated",
        "state": AlarmState.UNACKNOWLEDGED,
        "active": True,
        "priority": Priority.PROMPT,
        "since": NOW - HOUR,
        "raised_at": NOW - HOUR + 20 * MINUTE,
        "quantity": Quantity.AIR_TEMPERATURE,
        "sensor": "a-air",
        "value": 31.2,
        "value_at": NOW - MINUTE,
        "limit": 29.0,
        "at_risk": (Dweller(1, "Exemplum calidum", "L1", "12", "tub-1"),),
    }
    return Alarm(id=number, **(plain | more))
