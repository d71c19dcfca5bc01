"""
How many of the eggs become adults, from what keepers counted.

Only what was counted counts. "At least" and "about" are left out: a bound on one end
of a share pulls it to one side. A cohort counts once as eggs and once as adults, and
as none where it died on the way; animals that were given away before are not told
from dead ones, so a cohort that was split should be ended.
"""

from collections.abc import Iterable, Sequence

import msgspec

from monitor.accounts.sightings import adult, by_cohort, died
from monitor.science.survival import Brood, Share, learn_share, published_share
from monitor.site.house import Cohort, House
from monitor.site.journal import (
    CohortAdvanced,
    CohortCounted,
    CohortEnded,
    CohortStarted,
    Count,
    Entry,
)
from monitor.site.species_file import Library, Species
from monitor.site.words import CountKind

SHARED_FATE = 0.1
"""Correlation of fates in a tub: a brood counts as ten animals at most: own choice."""


class LearnedSurvival(msgspec.Struct, frozen=True, kw_only=True):
    """
    Prior, data and posterior of the way from egg to adult.

    Attributes:
        species: Its id.
        name: Its scientific name.
        prior_mean: Of the species file; None where it has none: then any share is as
            likely as another.
        prior_sd: Of the same.
        broods: Cohorts that were counted at both ends.
        left_out: Cohorts that came to an end of the way without both counts.
        mean: Expected share.
        sd: Standard deviation.
        low: It lies above this with 95 %.
        high: And below this with 95 %.
    """

    species: str
    name: str
    prior_mean: float | None
    prior_sd: float | None
    broods: int
    left_out: int
    mean: float
    sd: float
    low: float
    high: float


def survivals(
    house: House, library: Library, entries: Iterable[Entry]
) -> tuple[LearnedSurvival, ...]:
    """
    Learn from every cohort that was an egg here.

    Args:
        house: With all that the journal moved.
        library: The species.
        entries: The journal.

    Returns:
        One for each species of which a cohort came to an end of the way.
    """
    told = by_cohort(entries)
    found: dict[str, tuple[list[Brood], int]] = {}
    for cohort in sorted(house.cohorts.values(), key=lambda c: c.id):
        species = library.species.get(cohort.species)
        if species is None or cohort.colony:
            continue
        brood = _brood(species, cohort, told.get(cohort.id, ()))
        if brood is None:
            continue
        broods, left_out = found.setdefault(species.id, ([], 0))
        if isinstance(brood, Brood):
            broods.append(brood)
        else:
            found[species.id] = broods, left_out + 1
    return tuple(_learned(library.species[key], *found[key]) for key in sorted(found))


def _learned(
    species: Species, broods: Sequence[Brood], left_out: int
) -> LearnedSurvival:
    told = species.species.survival_egg_to_adult
    prior = (
        published_share(None) if told is None else published_share(told.mean, told.sd)
    )
    share: Share = learn_share(prior, broods, correlation=SHARED_FATE)
    return LearnedSurvival(
        species=species.id,
        name=species.species.name,
        prior_mean=None if told is None else told.mean,
        prior_sd=None if told is None else told.sd,
        broods=len(broods),
        left_out=left_out,
        mean=share.mean,
        sd=share.sd,
        low=share.quantile(0.05),
        high=share.quantile(0.95),
    )


def _brood(
    species: Species, cohort: Cohort, entries: Iterable[Entry]
) -> Brood | str | None:
    """The two counts, a reason to leave it out, or None while it is on its way."""
    stages = {s.id.casefold(): s for s in species.stages}
    if cohort.stages[0].what.casefold() != species.stages[0].id.casefold():
        return None
    stage, began, reached, came = species.stages[0], None, None, False
    for entry in sorted(entries, key=lambda e: (e.happened_at, e.id)):
        match entry.fact:
            case CohortStarted(count=count):
                began = _counted(count)
            case CohortCounted(count=count) if stage is species.stages[0]:
                began = began or _counted(count)
            case CohortCounted(count=count) if adult(stage):
                reached = _counted(count) if reached is None else reached
            case CohortAdvanced(stage=name):
                stage = stages.get(name.casefold(), stage)
                came = came or adult(stage)
            case CohortEnded(reason=reason) if not adult(stage):
                reached, came = (0 if died(reason) else None), died(reason)
            case _:
                pass
    if not came:
        return None
    if began is None or reached is None or reached > began:
        return "not counted at both ends"
    return Brood(began, reached)


def _counted(count: Count) -> int | None:
    return count.number if count.kind is CountKind.COUNTED else None
