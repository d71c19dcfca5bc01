"""One set of limits on a series: what is held against its readings, and for whom."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import timedelta

import msgspec

from monitor.alarms.alarm import Dweller
from monitor.alarms.defaults import DEADBAND, OFF_DELAY, ON_DELAY
from monitor.alarms.limits import Delays
from monitor.site.house import Cohort
from monitor.site.site_file import Site
from monitor.site.species_file import Library, Stage
from monitor.site.words import Quantity

Range = tuple[float, float]

Perhaps = Mapping[int, tuple[str, ...]]
"""Unseen later stages that cohorts may be in, by cohort; no key where there is none."""


class Gate(msgspec.Struct, frozen=True):
    """
    Another measure that must be low before a rule counts.

    Attributes:
        series: Those that tell it; one of them is enough.
        below: By day. In the unit of their quantity.
        night_below: At night.
    """

    series: tuple[tuple[str, str], ...]
    below: float
    night_below: float

    def level(self, *, night: bool) -> float:
        """The limit of day or night."""
        return self.night_below if night else self.below


class Rule(msgspec.Struct, frozen=True):
    """
    One set of limits on a series, and for whom it stands.

    Attributes:
        key: Tells rules apart; the same limits keep the same key.
        delays: On-delay, off-delay and deadband.
        tolerated: By day. Outside: alarm.
        danger: By day. Outside: urgent.
        night_tolerated: At night.
        night_danger: At night.
        dwellers: Cohorts with these limits; () for a limit of the site.
        condition: Id of the one condition that judges by `usual`; "" for bands.
        usual: What is on or off is as it should be inside this range.
        gate: Counts only while this is open; None for always.
    """

    key: str
    delays: Delays
    tolerated: Range | None = None
    danger: Range | None = None
    night_tolerated: Range | None = None
    night_danger: Range | None = None
    dwellers: tuple[Dweller, ...] = ()
    condition: str = ""
    usual: Range | None = None
    gate: Gate | None = None

    def at_time(self, *, night: bool) -> tuple[Range | None, Range | None]:
        """Tolerated and danger limits of day or night."""
        if night:
            return self.night_tolerated, self.night_danger
        return self.tolerated, self.danger


class Watch(msgspec.Struct, frozen=True):
    """Every rule on one quantity at the place of one probe."""

    place: str
    quantity: str
    rules: tuple[Rule, ...]


def delays_for(
    site: Site,
    quantity: Quantity,
    *,
    on: timedelta | None = None,
    off: timedelta | None = None,
    deadband: float | None = None,
) -> Delays:
    """Delays of a quantity: the species', else the site's, else the defaults."""
    table = site.alarms
    return Delays(
        on or table.on_delay.get(quantity) or ON_DELAY[quantity],
        off or table.off_delay.get(quantity) or OFF_DELAY[quantity],
        deadband
        if deadband is not None
        else table.deadband.get(quantity, DEADBAND[quantity]),
    )


def rule_key(quantity: Quantity, *parts: object) -> str:
    """Spell what makes a rule, so that the same limits keep the same key."""
    return "|".join([quantity.value, *(_spell(p) for p in parts)])


def _spell(part: object) -> str:
    if isinstance(part, tuple):
        return "..".join(f"{x:g}" for x in part)
    if isinstance(part, Delays):
        on, off = part.on.total_seconds(), part.off.total_seconds()
        return f"{on:g}/{off:g}/{part.deadband:g}"
    return "-" if part is None else str(part)


def dweller_of(
    cohort: Cohort, library: Library, *, perhaps: tuple[str, ...] = ()
) -> Dweller:
    """
    Tell what a keeper must know of a cohort at risk.

    Args:
        cohort: The animals.
        library: Species and templates.
        perhaps: Unseen later stages that it may be in: only what all of them allow
            may be done, and their cautions come first.
    """
    species = library.species.get(cohort.species)
    stages = stages_of(cohort, library, perhaps)
    name = species.species.name if species else cohort.species
    if cohort.species in library.provisional:
        name += " (provisional)"
    return Dweller(
        cohort.id,
        name,
        cohort.stage,
        "colony" if cohort.colony else str(cohort.count),
        cohort.place,
        _acts(stages),
        _caution(cohort, stages),
        may_be(cohort, library, perhaps),
    )


def dwellers_of(
    cohorts: Iterable[Cohort], library: Library, perhaps: Perhaps
) -> tuple[Dweller, ...]:
    """Tell it of several, in the order of their numbers."""
    ordered = sorted(cohorts, key=lambda c: c.id)
    return tuple(
        dweller_of(cohort, library, perhaps=perhaps.get(cohort.id, ()))
        for cohort in ordered
    )


def stages_of(
    cohort: Cohort, library: Library, perhaps: Iterable[str]
) -> tuple[Stage, ...]:
    """
    Find the stage of a cohort, and later ones that it may be in.

    What the species does not have is left out: its file may have changed since a stage
    was thought of. So is what the cohort has reached or passed by now.
    """
    found = (library.stage(cohort.species, s) for s in (cohort.stage, *perhaps))
    known = [stage for stage in found if stage is not None]
    species = library.species.get(cohort.species)
    own = library.stage(cohort.species, cohort.stage)
    if species is None or own is None or len(known) == 1:
        return tuple(known)
    order = [stage.id for stage in species.stages]
    reached = order.index(own.id)
    return (own, *(s for s in known[1:] if order.index(s.id) > reached))


def may_be(cohort: Cohort, library: Library, perhaps: Iterable[str]) -> tuple[str, ...]:
    """Ids of the later stages that a cohort may be in, of those that are thought of."""
    own = cohort.stage.casefold()
    stages = stages_of(cohort, library, perhaps)
    return tuple(stage.id for stage in stages if stage.id.casefold() != own)


def _acts(stages: Sequence[Stage]) -> tuple[str, ...]:
    if not stages:
        return ()
    own, *others = stages
    return tuple(a for a in own.acts if all(a in other.acts for other in others))


def _caution(cohort: Cohort, stages: Sequence[Stage]) -> str | None:
    """Quiet comes first: what may be in its cell outranks what was last seen."""
    said = [
        stage.caution
        if stage.id.casefold() == cohort.stage.casefold()
        else f"Perhaps {stage.id} already: {stage.caution}"
        for stage in reversed(stages)
        if stage.caution
    ]
    return " ".join(said) or None
