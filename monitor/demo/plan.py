"""
The Quillmere Insectarium as bodies of air and substrate, and what each probe feels.

An invented house. Every capacity, conductance, power and set point is our own choice
for the demo, picked for time constants of the right order: a room some hours, a shelf
behind a curtain eleven minutes, a tub of substrate three hours, a bin of a cubic
metre two days.
"""

import zlib
from collections.abc import Mapping
from dataclasses import dataclass

from monitor.demo.physics import AirNode
from monitor.site.words import Quantity

MINUTE_S = 60.0
HOUR_S = 3600.0
DAY_S = 86400.0

FAILING_SHELF = "warm-room-c"
"""Its heater fails in the story: eggs, prepupae and pupae stand on it."""


def _room(
    id: str,  # noqa: A002 - the word of the files
    set_c: float,
    set_percent: float,
    *,
    cool_above_c: float | None = None,
) -> AirNode:
    """A room: time constant 1.9 h, heater lift 31 K, air changed every 2 h."""
    return AirNode(
        id=id,
        parent=None,
        heat_capacity_j_k=550e3,
        loss_w_k=80.0,
        heater_w=2500.0,
        set_c=set_c,
        cooler_w=1200.0,
        cool_above_c=cool_above_c,
        exchange_s=2 * HOUR_S,
        humidifier_g_m3=16.0,
        set_percent=set_percent,
    )


def _shelf(
    id: str,  # noqa: A002 - the word of the files
    parent: str,
    *,
    gradient_k: float,
    wall_share: float = 0.0,
    set_c: float | None = None,
    set_percent: float | None = None,
    heater_w: float = 96.0,
) -> AirNode:
    """A shelf behind a curtain: time constant 11 min, 96 W lift it by 12 K."""
    return AirNode(
        id=id,
        parent=parent,
        heat_capacity_j_k=5280.0,
        loss_w_k=8.0,
        gradient_k=gradient_k,
        wall_share=wall_share,
        heater_w=0.0 if set_c is None else heater_w,
        set_c=set_c,
        exchange_s=20 * MINUTE_S,
        humidifier_g_m3=0.0 if set_percent is None else 11.0,
        set_percent=set_percent,
    )


AIR: tuple[AirNode, ...] = (
    _room("warm-room", 16.8, 62.0, cool_above_c=17.6),
    _room("cool-room", 18.0, 66.0, cool_above_c=19.5),
    _room("substrate-room", 17.0, 55.0, cool_above_c=21.0),
    _shelf("warm-room-a", "warm-room", gradient_k=0.9, set_c=24.8, set_percent=70.0),
    _shelf("warm-room-b", "warm-room", gradient_k=0.5, set_c=24.4, set_percent=70.0),
    _shelf("warm-room-c", "warm-room", gradient_k=-0.2, set_c=24.0, set_percent=74.0),
    _shelf(
        "warm-room-d",
        "warm-room",
        gradient_k=-0.4,
        set_c=30.0,
        set_percent=48.0,
        heater_w=144.0,
    ),
    _shelf(
        "cool-room-a", "cool-room", gradient_k=0.6, wall_share=0.06, set_percent=74.0
    ),
    _shelf(
        "cool-room-b", "cool-room", gradient_k=-0.3, wall_share=0.1, set_percent=74.0
    ),
    AirNode(
        id="incubator-1",
        parent="warm-room",
        heat_capacity_j_k=9000.0,
        loss_w_k=6.0,
        heater_w=120.0,
        set_c=26.0,
        hysteresis_k=0.4,
        exchange_s=90 * MINUTE_S,
        humidifier_g_m3=16.0,
        set_percent=75.0,
    ),
    AirNode(
        id="exhibit-1",
        parent="warm-room",
        heat_capacity_j_k=14000.0,
        loss_w_k=10.0,
        heater_w=150.0,
        set_c=25.0,
        hysteresis_k=0.8,
        exchange_s=30 * MINUTE_S,
        humidifier_g_m3=12.0,
        set_percent=76.0,
    ),
)
"""Parents before children."""


@dataclass(frozen=True, slots=True)
class SlowBody:
    """
    Substrate that follows the air around it.

    Attributes:
        id: The enclosure.
        air: The place whose air is around it.
        time_constant_s: [s]
        lift_k: Rests this much above the air (animals and rot). [K]
        peak_k: Highest self-heating of a fermenting pile. [K]
        peak_s: Age of the pile at the peak. [s]
        set_up_days: How many days before the demo's beginning it was set up.
    """

    id: str
    air: str
    time_constant_s: float
    lift_k: float = 0.3
    peak_k: float = 0.0
    peak_s: float = 9 * DAY_S
    set_up_days: float = 0.0


BINS: tuple[SlowBody, ...] = (
    SlowBody("bin-1", "substrate-room", 40 * HOUR_S, 0.0, 14.0, 9 * DAY_S, 47.0),
    SlowBody("bin-2", "substrate-room", 40 * HOUR_S, 0.0, 16.0, 9 * DAY_S, 18.0),
)

PROBED_TUBS: Mapping[str, str] = {
    "tub-003": "warm-room-a",
    "tub-011": "warm-room-a",
    "tub-027": "warm-room-b",
    "tub-034": "warm-room-b",
    "tub-048": "warm-room-c",
    "tub-067": "warm-room-d",
    "tub-088": "cool-room-a",
    "tub-109": "cool-room-b",
}
"""The eight tubs with a probe of their own, and the shelf where each stands."""

TUBS_ON: Mapping[str, tuple[int, int]] = {
    "warm-room-a": (1, 24),
    "warm-room-b": (25, 44),
    "warm-room-c": (45, 60),
    "warm-room-d": (61, 76),
    "cool-room-a": (77, 98),
    "cool-room-b": (99, 120),
}
"""First and last number of the tubs of each shelf."""


def tub(number: int) -> str:
    """The id of a tub."""
    return f"tub-{number:03d}"


SLOW: tuple[SlowBody, ...] = (
    *(SlowBody(t, shelf, 3 * HOUR_S) for t, shelf in PROBED_TUBS.items()),
    *BINS,
)
"""Every body of substrate that a probe sits in."""

PROBE_OF_TUB: Mapping[str, str] = {
    t: f"tub-probe-{n}" for n, t in enumerate(PROBED_TUBS, start=1)
}
"""Which probe of site.toml was buried in which tub."""

CARBON_DIOXIDE_OUTDOORS_PPM = 425.0
"""Common order of the open air [ppm]."""

CARBON_DIOXIDE_PPM_K = 18.0
"""Rise in the substrate room per kelvin of self-heating of all bins [ppm/K]."""

MOISTURE_PERCENT = 62.0
"""Of a fresh pile, wet basis [%]."""

DRYING_PERCENT_DAY = 0.12
"""Moisture lost a day [%/d]."""


STEADY: Mapping[Quantity, float] = {Quantity.MAINS: 1.0, Quantity.LEAK: 0.0}
"""Nothing in the story cuts the mains or spills water."""


@dataclass(frozen=True, slots=True)
class Felt:
    """What a probe feels: a quantity of a place of the physics."""

    place: str
    quantity: Quantity


def felt(sensor: str, first_place: str, quantity: Quantity) -> Felt:
    """
    Tell what a sensor of site.toml feels in the simulated house.

    Args:
        sensor: Its id.
        first_place: Where site.toml hangs it.
        quantity: What it measures.
    """
    buried = {probe: t for t, probe in PROBE_OF_TUB.items()}
    return Felt(buried.get(sensor, first_place), quantity)


BARE = frozenset(
    {
        "incubator-1-air",
        "cool-room-b-humidity",
        "substrate-room-air",
        "warm-room-mains",
    }
)
"""Sensors that send a bare number or word; all others say when they measured."""


def offset_minutes(sensor: str, interval_minutes: int) -> int:
    """In which minute of its interval a sensor reports: spread, and always the same."""
    return zlib.crc32(sensor.encode()) % interval_minutes
