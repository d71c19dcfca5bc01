"""The vocabulary that every room of the program shares."""

import enum
from typing import NewType

PlaceId = NewType("PlaceId", str)
SensorId = NewType("SensorId", str)
SpeciesId = NewType("SpeciesId", str)
KeeperId = NewType("KeeperId", str)
CohortId = NewType("CohortId", int)
AlarmId = NewType("AlarmId", int)


class Quantity(enum.StrEnum):
    """What a series measures; the canonical unit stands beside each."""

    AIR_TEMPERATURE = "air_temperature"  # degC
    RELATIVE_HUMIDITY = "relative_humidity"  # percent
    SUBSTRATE_TEMPERATURE = "substrate_temperature"  # degC
    SUBSTRATE_MOISTURE = "substrate_moisture"  # percent, wet basis
    CARBON_DIOXIDE = "carbon_dioxide"  # ppm
    AMMONIA = "ammonia"  # ppm
    MAINS = "mains"  # 0 or 1
    HEATER = "heater"  # 0 or 1, or ampere
    HUMIDIFIER = "humidifier"  # 0 or 1, or ampere
    LIGHT = "light"  # 0 or 1
    DOOR = "door"  # 0 or 1, 1 = open
    LEAK = "leak"  # 0 or 1, 1 = wet


TEMPERATURES = frozenset({Quantity.AIR_TEMPERATURE, Quantity.SUBSTRATE_TEMPERATURE})
"""The quantities that are told in degC."""


SWITCHES = frozenset(
    {
        Quantity.MAINS,
        Quantity.HEATER,
        Quantity.HUMIDIFIER,
        Quantity.LIGHT,
        Quantity.DOOR,
        Quantity.LEAK,
    }
)
"""The quantities that are on or off, or the current of what is on."""


class Unit(enum.StrEnum):
    """Units that a payload may be in."""

    DEG_C = "degC"
    DEG_F = "degF"
    KELVIN = "K"
    PERCENT = "percent"
    FRACTION = "fraction"
    PPM = "ppm"
    ON_OFF = "on-off"
    AMPERE = "ampere"


class PlaceKind(enum.StrEnum):
    """Levels of the house; an enclosure says what it is for."""

    ROOM = "room"
    SHELF = "shelf"
    REARING = "rearing"
    INCUBATOR = "incubator"
    FERMENTATION = "fermentation"
    EXHIBIT = "exhibit"


class Priority(enum.StrEnum):
    """How soon a keeper must act."""

    URGENT = "urgent"
    PROMPT = "prompt"
    NOTE = "note"

    @property
    def rank(self) -> int:
        """0 for the most pressing."""
        return (Priority.URGENT, Priority.PROMPT, Priority.NOTE).index(self)


class Role(enum.StrEnum):
    """What a keeper is for."""

    ADMINISTRATOR = "administrator"
    KEEPER = "keeper"
    COVER = "cover"
    NIGHT_CONTACT = "night-contact"


class CountKind(enum.StrEnum):
    """How well the number of a cohort is known."""

    COUNTED = "counted"
    AT_LEAST = "at-least"
    ESTIMATE = "estimate"
    UNKNOWN = "unknown"


class Flag(enum.IntEnum):
    """Quality of a reading (UNESCO/IOC 2013 primary flags, as in QARTOD)."""

    PASS = 1
    NOT_EVALUATED = 2
    SUSPECT = 3
    FAIL = 4
    MISSING = 9
