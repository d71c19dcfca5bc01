"""One room of the Quillmere Insectarium for eighteen months: site, physics, probes."""

from datetime import UTC, datetime, timedelta

import numpy as np

from monitor.clock import to_us
from monitor.demo.physics import Air, Broken, Weather
from monitor.demo.plan import AIR

BEGIN = datetime(2025, 4, 14, tzinfo=UTC)
END = datetime(2026, 10, 14, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
HOUR = timedelta(hours=1)
DAY = timedelta(days=1)
EVERY = 30 * MINUTE
"""All probes of this house report so often."""
TICK = 10 * MINUTE
"""A whole multiple of 10 s, and often enough for delays of half an hour."""

SPECIES = "dynastes-hercules"
PLACES = {
    "incubator-1",
    "warm-room",
    "warm-room-a",
    "warm-room-b",
    "warm-room-c",
}
NODES = tuple(node for node in AIR if node.id in PLACES)

HEATER_DEAD = (
    datetime(2026, 1, 14, 18, tzinfo=UTC),
    datetime(2026, 1, 15, 3, tzinfo=UTC),
)
"""Shelf B, in a winter night, until somebody changes the heater."""
CURTAIN_OPEN = (
    datetime(2025, 6, 10, 12, 3, tzinfo=UTC),
    datetime(2025, 6, 10, 13, 10, tzinfo=UTC),
)
"""Shelf A cools for an hour while its radio cannot be heard."""
HELD_BACK = CURTAIN_OPEN[1] + DAY
"""When the two readings of that hour arrive."""
SILENT = (
    datetime(2026, 6, 9, 10, tzinfo=UTC),
    datetime(2026, 6, 10, 10, tzinfo=UTC),
)
"""Last reading and next reading of shelf C around an empty battery."""

PROBE = {
    "incubator-1-air": ("incubator-1", "air_temperature"),
    "shelf-a-air": ("warm-room-a", "air_temperature"),
    "shelf-b-air": ("warm-room-b", "air_temperature"),
    "shelf-c-air": ("warm-room-c", "air_temperature"),
    "tub-probe": ("bench", "substrate_temperature"),
}

_SITE = """
[site]
name = "Quillmere Insectarium"
time_zone = "Europe/Dublin"

[[room]]
id = "warm-room"
name = "Warm room"

[[shelf]]
id = "warm-room-a"
room = "warm-room"

[[shelf]]
id = "warm-room-b"
room = "warm-room"

[[shelf]]
id = "warm-room-c"
room = "warm-room"
name = "Quiet shelf"

[[shelf]]
id = "bench"
room = "warm-room"

[[enclosure]]
id = "incubator-1"
place = "warm-room"
kind = "incubator"

[[keeper]]
id = "ines"
name = "Ines"
mail = "ines@quillmere.example"
role = "keeper"

[[keeper]]
id = "tom"
name = "Tom"
mail = "tom@quillmere.example"
role = "keeper"

[[keeper]]
id = "ada"
name = "Ada"
mail = "ada@quillmere.example"
role = "administrator"

[mail]
host = "127.0.0.1"
security = "none"
from = "monitor@quillmere.example"

[alarms]
escalate_after = { day = "10 min", night = "15 min" }
"""


def write_site(directory):
    """The files of the house; species and sources are those that are shipped."""
    probes = "".join(
        f'\n[[sensor]]\nid = "{sensor}"\nplace = "{place}"\n'
        f'quantity = "{quantity}"\ninterval = "30 min"\n'
        for sensor, (place, quantity) in PROBE.items()
    )
    (directory / "site.toml").write_text(_SITE + probes, encoding="utf-8")
    return directory


class Truth:
    """What is felt where, minute by minute, from `BEGIN` to `END`."""

    def __init__(self):
        self.air = _air()
        index = {node.id: i for i, node in enumerate(NODES)}
        self.of = {place: self.air[:, index[place]] for place in PLACES}

    def tub(self, stays, begin, end):
        """
        Substrate that follows its shelf: 3 h behind, 0.3 K above.

        Args:
            stays: (since, shelf), the first from *begin* on.
            begin: When the tub is filled, as warm as its shelf.
            end: When nobody asks any more.
        """
        first, last = minute(begin), minute(end)
        around = np.empty(last - first)
        for since, shelf in stays:
            around[minute(since) - first :] = self.of[shelf][minute(since) : last]
        keep = float(np.exp(-1 / 180))
        value, felt = float(around[0]), []
        for rest in (around + 0.3).tolist():
            value = rest + (value - rest) * keep
            felt.append(value)
        made = np.full(len(self.air), np.nan)
        made[first:last] = felt
        return made


def minute(at):
    """The index of an instant in arrays of the truth."""
    return (at - BEGIN) // MINUTE


def _air():
    """Every day is stepped from rest six hours before it, all days side by side."""
    air, weather = Air(NODES), Weather()
    days, spin_up = (END - BEGIN).days + 1, 360
    midnights = BEGIN.timestamp() + 86400.0 * np.arange(days)
    begins = midnights - 60.0 * spin_up
    state = air.at_rest(weather.temperature_c(begins), weather.vapour_g_m3(begins))
    kept = np.empty((days, 1440, len(NODES)))
    for k in range(spin_up + 1440):
        now = begins + 60.0 * k
        state = air.step(
            state,
            outdoor_c=weather.temperature_c(now),
            outdoor_vapour=weather.vapour_g_m3(now),
            dt_s=60.0,
            broken=Broken(_dead(now), np.zeros((days, len(NODES)), np.bool_)),
        )
        if k >= spin_up:
            kept[:, k - spin_up] = state.temperature_c
    return kept.reshape(days * 1440, len(NODES))


def _dead(now):
    index = {node.id: i for i, node in enumerate(NODES)}
    dead = np.zeros((now.size, len(NODES)), np.bool_)
    for place, (since, until) in (
        ("warm-room-a", CURTAIN_OPEN),
        ("warm-room-b", HEATER_DEAD),
    ):
        dead[:, index[place]] = (now >= since.timestamp()) & (now < until.timestamp())
    return dead


def read(truth, seed):
    """
    A probe on its round: (times [us], values), one each half hour.

    Noise of 0.05 K and steps of 0.01 K; the noise is seeded.
    """
    at = np.arange(0, len(truth), EVERY // MINUTE)
    felt = truth[at]
    at, felt = at[~np.isnan(felt)], felt[~np.isnan(felt)]
    noise = np.random.default_rng(seed).normal(0.0, 0.05, at.size)
    times = to_us(BEGIN) + at.astype(np.int64) * 60_000_000
    return times, np.round(felt + noise, 2)
