"""How the desk writes instants, values, bands and lists of what exists."""

import difflib
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime

from monitor.site.house import Cohort
from monitor.site.species_file import Library
from monitor.site.words import Quantity, Unit

UNITS = {
    Quantity.AIR_TEMPERATURE: Unit.DEG_C,
    Quantity.SUBSTRATE_TEMPERATURE: Unit.DEG_C,
    Quantity.RELATIVE_HUMIDITY: Unit.PERCENT,
    Quantity.SUBSTRATE_MOISTURE: Unit.PERCENT,
    Quantity.CARBON_DIOXIDE: Unit.PPM,
    Quantity.AMMONIA: Unit.PPM,
    Quantity.MAINS: Unit.ON_OFF,
    Quantity.HEATER: Unit.ON_OFF,
    Quantity.HUMIDIFIER: Unit.ON_OFF,
    Quantity.LIGHT: Unit.ON_OFF,
    Quantity.DOOR: Unit.ON_OFF,
    Quantity.LEAK: Unit.ON_OFF,
}
"""The canonical unit of each quantity, in which every value is stored."""


def unit_of(quantity: Quantity, declared: Unit | None = None) -> Unit:
    """The unit of stored values: a clamp's are amperes, not on and off."""
    return Unit.AMPERE if declared is Unit.AMPERE else UNITS[quantity]


SHOWN = 12
"""So many names stand in an error; the rest are counted."""


def iso(at: datetime) -> str:
    """RFC 3339 in UTC with Z, microseconds only where there are any."""
    return at.astimezone(UTC).isoformat().replace("+00:00", "Z")


def iso_or_none(at: datetime | None) -> str | None:
    """RFC 3339, or None."""
    return None if at is None else iso(at)


def words(quantity: str) -> str:
    """A quantity as people say it."""
    return quantity.replace("_", " ")


def figure(value: float) -> str:
    """A value without needless digits."""
    return f"{value:.1f}".rstrip("0").rstrip(".") if value % 1 else f"{value:.0f}"


def band_words(band: tuple[float, float], quantity: Quantity) -> str:
    """A band with its unit."""
    return f"{figure(band[0])} to {figure(band[1])} {UNITS[quantity]}"


def cohort_words(cohort: Cohort, library: Library) -> str:
    """A cohort by number, species and stage."""
    return (
        f"cohort {cohort.id} ({species_words(cohort.species, library)}, {cohort.stage})"
    )


def species_words(species: str, library: Library) -> str:
    """The name of a species, or its id where the library has lost it."""
    found = library.species.get(species)
    return found.species.name if found else species


def listed(names: Iterable[str], *, shown: int = SHOWN) -> str:
    """Names with commas, the rest counted; "none" where there is none."""
    every = list(names)
    text = ", ".join(every[:shown])
    if len(every) > shown:
        text += f" and {len(every) - shown} more"
    return text or "none"


def unknown(what: str, asked: str, known: Sequence[str]) -> str:
    """
    Say that a name does not exist, and what does: close ones first.

    Args:
        what: The kind of thing, such as "species".
        asked: The name that was given.
        known: The names that exist.
    """
    close = difflib.get_close_matches(asked, known, n=3, cutoff=0.6)
    rest = [name for name in known if name not in close]
    guess = f" (did you mean {' or '.join(close)}?)" if close else ""
    return f"no {what} {asked!r}{guess}; there are: {listed([*close, *rest])}"
