"""
How many of the eggs become adults, from what keepers counted, here and elsewhere.

Only what was counted counts. "At least" and "about" are left out: a bound on one end
of a share pulls it to one side. A cohort counts once as eggs and once as adults, and
as none where it died on the way; animals that were given away before are not told
from dead ones, so a cohort that was split should be ended.

What a house tells others is what its broods alone say: the published prior and the
figures of other houses are not in it, so that pooling it counts neither twice. It is
rounded (a share to 0.01, its worth down to whole animals), which moves a pooled mean by
less than 0.005 + 1 / (all animals that the posterior is worth). As with requirements,
animals of another house are other animals: its figure counts as `HOUSE_CAP` cohorts at
most.
"""

from collections.abc import Iterable

import msgspec

from monitor.accounts.forecast_show import SurvivalFigure
from monitor.accounts.learning import HOUSE_CAP, LEAST_TOLD
from monitor.accounts.observing import Observation
from monitor.accounts.sightings import adult, by_cohort, died
from monitor.science.survival import (
    Brood,
    ShareEvidence,
    evidence_of,
    pooled_share,
    published_share,
)
from monitor.site.figures import BROOD_WORTH, HouseFigures, Survived
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

SHARED_FATE = 1 / BROOD_WORTH
"""Correlation of fates in a tub: a brood counts as ten animals at most: own choice."""

ELSEWHERE_CAP = HOUSE_CAP * BROOD_WORTH
"""Another house counts as no more animals than this: its `HOUSE_CAP` cohorts."""


class LearnedSurvival(msgspec.Struct, frozen=True, kw_only=True):
    """
    Prior, data and posterior of the way from egg to adult.

    Attributes:
        species: Its id.
        name: Its scientific name.
        prior_mean: Of the species file; None where it has none: then any share is as
            likely as another.
        prior_sd: Of the same.
        prior_worth: How many animals the prior counts as.
        source: Of the published share; None where there is none.
        houses: Other houses whose figures are pooled.
        elsewhere_n: Their cohorts.
        elsewhere_share: What came through there; None without other houses.
        elsewhere_worth: How many animals they count as here.
        broods: Cohorts of this house that were counted at both ends.
        left_out: Cohorts that came to an end of the way without both counts.
        began: Animals at the beginning of those broods.
        reached: Those of them that became adults.
        seen_share: What came through here, as it counts: a large brood counts for less
            than its animals; None without a brood.
        seen_worth: How many animals with fates of their own the broods count as.
        mean: Expected share.
        sd: Standard deviation.
        low: It lies above this with 95 %.
        high: And below this with 95 %.
    """

    species: str
    name: str
    prior_mean: float | None
    prior_sd: float | None
    prior_worth: float
    source: str | None
    houses: int
    elsewhere_n: int
    elsewhere_share: float | None
    elsewhere_worth: float
    broods: int
    left_out: int
    began: int
    reached: int
    seen_share: float | None
    seen_worth: float
    mean: float
    sd: float
    low: float
    high: float


class _Seen(msgspec.Struct):
    """Broods of a species by cohort, and how many were left out."""

    broods: dict[int, Brood] = msgspec.field(default_factory=dict)
    left_out: int = 0

    @property
    def evidence(self) -> ShareEvidence:
        return evidence_of(self.broods.values(), correlation=SHARED_FATE)


def survivals(
    house: House,
    library: Library,
    entries: Iterable[Entry],
    houses: Iterable[HouseFigures] = (),
) -> tuple[LearnedSurvival, ...]:
    """
    Learn from every cohort that was an egg here, and from other houses.

    Args:
        house: With all that the journal moved.
        library: The species.
        entries: The journal.
        houses: What other houses tell, each house once.

    Returns:
        One for each species of which a cohort came to an end of the way, or another
        house tells a share that counts here, in order of id.
    """
    seen = _seen(house, library, entries)
    told: dict[str, list[Survived]] = {}
    for each in (s for other in houses for s in other.survival):
        if survival_counts(each, library) is None:
            told.setdefault(each.species, []).append(each)
    return tuple(
        _learned(library.species[key], seen.get(key, _Seen()), told.get(key, ()))
        for key in sorted({*seen, *told})
    )


def survival_figures(found: Iterable[LearnedSurvival]) -> dict[str, SurvivalFigure]:
    """
    Give what was learned as the shares that a show forecast takes, by species.

    Where nothing was counted, here or elsewhere, the species file speaks: left out.
    """
    return {
        each.species: SurvivalFigure(each.mean, each.sd, _source(each))
        for each in found
        if each.broods or each.houses
    }


def house_survival(
    house: House,
    library: Library,
    entries: Iterable[Entry],
    observations: Iterable[Observation],
) -> tuple[Survived, ...]:
    """
    Tell what the broods of this house alone say, for others.

    No prior and no other house is in it. One brood is too little to tell, and would
    give its animals away; templates are of no species and stay here.

    Args:
        house: With all that the journal moved.
        library: The species.
        entries: The journal.
        observations: What the cohorts of this house needed: for the conditions.
    """
    warmth: dict[int, list[float]] = {}
    for row in observations:
        if row.warmth_c is not None:
            warmth.setdefault(row.cohort, []).append(round(row.warmth_c, 1))
    found: list[Survived] = []
    for key, seen in sorted(_seen(house, library, entries).items()):
        if key in library.provisional or len(seen.broods) < LEAST_TOLD:
            continue
        species, evidence = library.species[key], seen.evidence
        known = [each for cohort in seen.broods for each in warmth.get(cohort, ())]
        found.append(
            Survived(
                species=key,
                name=species.species.name,
                begin=species.stages[0].id,
                n=len(seen.broods),
                # a hair below a whole number is that number
                worth=int(evidence.worth + 1e-9),
                share=round(evidence.share, 2),
                warmth_low=min(known, default=None),
                warmth_high=max(known, default=None),
            )
        )
    return tuple(found)


def survival_counts(told: Survived, library: Library) -> str | None:
    """Say in words why a share of another house counts for nothing here, or None."""
    where = f"{told.species} survival"
    species = library.species.get(told.species)
    if species is None or species.species.name != told.name:
        return f"{where}: no species file here describes {told.name} as {told.species}"
    begin = species.stages[0]
    if begin.id.casefold() != told.begin.casefold():
        return (
            f"{where}: they count from {told.begin}, the file here begins with"
            f" {begin.id}: not the same way"
        )
    if adult(begin) or not any(map(adult, species.stages)):
        return f"{where}: the file here tells no way to an adult"
    return None


def _learned(
    species: Species, seen: _Seen, told: Iterable[Survived]
) -> LearnedSurvival:
    # one order of the sums, whoever was imported first
    told = sorted(told, key=lambda t: (t.share, t.worth, t.n))
    file = species.species.survival_egg_to_adult
    share = prior = (
        published_share(None) if file is None else published_share(file.mean, file.sd)
    )
    for each in told:
        theirs = ShareEvidence(each.worth, each.share)
        share = pooled_share(share, theirs, cap=ELSEWHERE_CAP)
    weights = [min(each.worth, ELSEWHERE_CAP) for each in told]
    came = sum(each.share * w for each, w in zip(told, weights, strict=True))
    here, broods = seen.evidence, seen.broods.values()
    share = pooled_share(share, here)
    return LearnedSurvival(
        species=species.id,
        name=species.species.name,
        prior_mean=None if file is None else file.mean,
        prior_sd=None if file is None else file.sd,
        prior_worth=prior.weight,
        source=None if file is None else str(file.source),
        houses=len(told),
        elsewhere_n=sum(each.n for each in told),
        elsewhere_share=min(came / sum(weights), 1.0) if told else None,
        elsewhere_worth=float(sum(weights)),
        broods=len(broods),
        left_out=seen.left_out,
        began=sum(brood.began for brood in broods),
        reached=sum(brood.reached for brood in broods),
        seen_share=here.share if broods else None,
        seen_worth=here.worth,
        mean=share.mean,
        sd=share.sd,
        low=share.quantile(0.05),
        high=share.quantile(0.95),
    )


def _source(each: LearnedSurvival) -> str:
    said = []
    if each.broods:
        said.append(f"{each.broods} brood{'' if each.broods == 1 else 's'} here")
    if each.houses:
        said.append(f"{each.houses} other house{'' if each.houses == 1 else 's'}")
    before = f"; before {each.source}" if each.source else ""
    return f"learned from {', '.join(said)}{before}"


def _seen(house: House, library: Library, entries: Iterable[Entry]) -> dict[str, _Seen]:
    told = by_cohort(entries)
    found: dict[str, _Seen] = {}
    for cohort in sorted(house.cohorts.values(), key=lambda c: c.id):
        species = library.species.get(cohort.species)
        if species is None or cohort.colony:
            continue
        brood = _brood(species, cohort, told.get(cohort.id, ()))
        if brood is None:
            continue
        seen = found.setdefault(species.id, _Seen())
        if isinstance(brood, Brood):
            seen.broods[cohort.id] = brood
        else:
            seen.left_out += 1
    return found


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
