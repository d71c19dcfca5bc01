"""The complete form of a site, of a species file and of checks, as in the contract."""

import copy
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

Way = tuple[str | int, ...]

SITE = """\
[site]
name = "Quillmere Insectarium"
time_zone = "Europe/Dublin"

[broker]
host = "127.0.0.1"
port = 1883
username = "monitor"
tls = false
client_id = "quillmere-monitor"

[[room]]
id = "warm-room"
name = "Warm room"

[[shelf]]
id = "warm-room-a"
room = "warm-room"

[[enclosure]]
id = "incubator-1"
place = "warm-room"
kind = "incubator"

[[limit]]
place = "warm-room"
quantity = "air_temperature"
target = [22.0, 26.0]
tolerated = [20.0, 29.0]
danger = [15.0, 34.0]

[[sensor]]
id = "warm-room-a-air"
place = "warm-room-a"
quantity = "air_temperature"
topic = "rearing/warm-room-a/air_temperature"
interval = "5 min"
pointer = "/temperature"
unit = "degC"
name_in_pack = "t1"

[[keeper]]
id = "ines"
name = "Ines"
mail = "ines@quillmere.example"
role = "keeper"
channels = ["mail", "ines-text"]

[[channel]]
id = "ines-text"
rings = true

[rota]
order = ["ines"]
first_change = 2026-01-05
change = "Mon 09:00"
fallback = "ines"

[mail]
host = "127.0.0.1"
port = 587
security = "starttls"
username = "monitor@quillmere.example"
from = "monitor@quillmere.example"

[alarms]
on_delay = { air_temperature = "20 min", relative_humidity = "60 min", \
substrate_temperature = "30 min" }
off_delay = { air_temperature = "10 min" }
deadband = { air_temperature = 0.5, relative_humidity = 3.0 }
escalate_after = { day = "10 min", night = "15 min" }

[summary]
day = "Mon"
time = "07:00"
to = ["ines"]

[mirror]
url = "http://127.0.0.1:8086"
org = "quillmere"
bucket = "rearing"

[page]
listen = "127.0.0.1:8460"
address = "https://insects.quillmere.example"
"""

SPECIES = """\
[species]
id = "example-scarab"
name = "Exemplum scarabaeus"
group = "lowland scarab"
eats_its_own = false
survival_egg_to_adult = { mean = 0.6, sd = 0.15, source = "from-memory" }

[[stage]]
id = "egg"
acts = ["look", "moisten", "carry-level"]
due = [{ act = "look", every = "7 d" }]
caution = "Eggs take up water; do not let the substrate dry. Do not turn them."

[[stage.band]]
quantity = "substrate_temperature"
of = "tub"
target = [22.0, 26.0]
tolerated = [19.0, 29.0]
danger = [12.0, 33.0]
night = { tolerated = [17.0, 27.0] }
on_delay = "30 min"
source = "from-memory"

[stage.development]
driven_by = "heat"
lower_threshold = 10.0
upper_threshold = 32.0
cutoff = "horizontal"
fitted_with = "constant temperatures"
required_degree_days = [{ sex = "any", mean = 210.0, sd = 21.0 }]
source = "from-memory"

[[stage]]
id = "pupa"
acts = ["look", "carry-level"]
unseen = true
caution = "In its cell. No digging, no knocks, no weighing."

[stage.development]
driven_by = "heat"
duration_days = [{ sex = "female", mean = 75.0, sd = 10.0, at = 24.0 }, \
{ sex = "male", mean = 85.0, sd = 12.0, at = 24.0 }]
assumed_lower_threshold = 10.0
source = "common-practice"

[[stage]]
id = "resting-adult"
acts = ["look", "carry-level"]
"""

CHECKS = """\
[gross_range]
fail = [-10.0, 60.0]
suspect = [5.0, 40.0]

[spike]
suspect = 2.0
fail = 5.0

[rate_of_change]
suspect = 24.0
fail = 60.0

[flat_line]
suspect = "30 min"
fail = "50 min"
tolerance = 0.005

[attenuated_signal]
period = "2 h"
suspect = 0.05
fail = 0.01

[gap]
longest = "15 min"
"""

SECRETS = ("broker_password", "mail_password", "channel_ines-text", "mirror_token")
"""What a site of this form needs."""


def site_data() -> dict[str, Any]:
    """The site as read."""
    return tomllib.loads(SITE)


def species_data() -> dict[str, Any]:
    """The species file as read."""
    return tomllib.loads(SPECIES)


def checks_data() -> dict[str, Any]:
    """The checks as read."""
    return tomllib.loads(CHECKS)


def edited(text: str, *edits: tuple[str, str]) -> str:
    """Replace each first text by the second; each must be there."""
    for old, new in edits:
        assert old in text, old
        text = text.replace(old, new, 1)
    return text


def config_dir(where: Path, site: str = SITE, *, species: str | None = None) -> Path:
    """Lay a directory of configuration."""
    where.mkdir(parents=True, exist_ok=True)
    (where / "site.toml").write_text(site)
    if species is not None:
        (where / "species").mkdir()
        (where / "species" / "example.toml").write_text(species)
    return where


def secrets_dir(where: Path, value: str = "s") -> Path:
    """Lay all secrets that the site of this form needs."""
    where.mkdir(parents=True, exist_ok=True)
    for name in SECRETS:
        (where / name).write_text(f"{value}\n")
        (where / name).chmod(0o600)
    return where


def keys(data: object, way: Way = ()) -> Iterator[Way]:
    """The way to every key of every table."""
    if isinstance(data, dict):
        for key, value in data.items():
            yield (*way, key)
            yield from keys(value, (*way, key))
    elif isinstance(data, list):
        for i, value in enumerate(data):
            yield from keys(value, (*way, i))


def leaves(data: object, way: Way = ()) -> Iterator[tuple[Way, Any]]:
    """Every value that is no table and no list, and the way to it."""
    if isinstance(data, dict):
        for key, value in data.items():
            yield from leaves(value, (*way, key))
    elif isinstance(data, list):
        for i, value in enumerate(data):
            yield from leaves(value, (*way, i))
    else:
        yield way, data


def numbers(data: object) -> list[Way]:
    """The way to every number."""
    return [
        way
        for way, value in leaves(data)
        if isinstance(value, int | float) and not isinstance(value, bool)
    ]


def at(data: Any, way: Way) -> Any:
    """What stands at the end of a way."""
    for step in way:
        data = data[step]
    return data


def put(data: dict[str, Any], way: Way, value: object) -> dict[str, Any]:
    """A copy with another value at the end of a way."""
    changed = copy.deepcopy(data)
    at(changed, way[:-1])[way[-1]] = value
    return changed


def renamed(data: dict[str, Any], way: Way, name: str) -> dict[str, Any]:
    """A copy with another key at the end of a way."""
    changed = copy.deepcopy(data)
    table = at(changed, way[:-1])
    table[name] = table.pop(way[-1])
    return changed


def without(data: dict[str, Any], way: Way) -> dict[str, Any]:
    """A copy without the key at the end of a way."""
    changed = copy.deepcopy(data)
    del at(changed, way[:-1])[way[-1]]
    return changed
