"""
What a house has learned of each species, stage and sex, and what it tells others.

A published requirement is the prior, changes of stage are the observations, figures of
other houses stand between the two. The files of the library are never touched: what
is learned is worked out from the journal and the readings whenever it is asked for.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from typing import Literal, cast

import msgspec

from monitor.accounts.forecast_needs import file_record
from monitor.accounts.observing import Observation
from monitor.science.learning import (
    Evidence,
    Posterior,
    Prior,
    alone,
    learn,
    pooled,
    published,
)
from monitor.science.log_normal import moments, of_quantiles
from monitor.science.requirement import HeatRequirement, Sex, TimeRequirement
from monitor.site.figures import Figure, HouseFigures, Rule
from monitor.site.species_file import Library

Record = HeatRequirement | TimeRequirement
Key = tuple[str, str, str]
"""Species, stage and sex."""

HOUSE_CAP = 4.0
"""The figures of another house count as no more cohorts than this: own choice."""

SLIP = 10.0
"""An amount so many times off the published mean is a slip of the journal."""

FORGOTTEN = 2.0
"""A stage that nobody noted a look at does not last so many times the mean."""

LEAST_TOLD = 2
"""A figure that fewer changes of stage stand behind is not told to others."""


class Learned(msgspec.Struct, frozen=True, kw_only=True):
    """
    Prior, data and posterior of one species, stage and sex.

    Attributes:
        species: Its id.
        name: Its scientific name.
        provisional: The species file is a template.
        stage: The stage.
        sex: Of the cohorts.
        unit: Of all amounts: "degC d" or "d".
        rule: How warmth is summed; None where time alone drives.
        earliest: Heat alone does not end the stage.
        prior_mean: Of the species file.
        prior_sd: Of the species file; None where nobody published one.
        prior_worth: How many cohorts the published mean counts as.
        source: Of the published figures.
        houses: Other houses whose figures are pooled.
        n: Changes of stage that were seen to be over.
        lasting: Stages that last, or were left, without being seen to end.
        taken: Of both, those whose last look nobody noted.
        slips: Amounts left out as slips of the journal, and forgotten cohorts.
        amounts: Each observation as least and most; None for no upper bound.
        coverage: Mean measured share of the time. [fraction]
        warmth_low: The coolest cohort's steady temperature. [degC]
        warmth_high: The warmest cohort's. [degC]
        posterior: What is believed now.
    """

    species: str
    name: str
    provisional: bool
    stage: str
    sex: str
    unit: Literal["degC d", "d"]
    rule: Rule | None
    earliest: bool
    prior_mean: float
    prior_sd: float | None
    prior_worth: float
    source: str
    houses: int
    n: int
    lasting: int
    taken: int
    slips: int
    amounts: tuple[tuple[float, float | None], ...]
    coverage: float
    warmth_low: float | None
    warmth_high: float | None
    posterior: Posterior

    @property
    def key(self) -> Key:
        """Species, stage and sex."""
        return self.species, self.stage, self.sex


class _Known(msgspec.Struct, frozen=True):
    """What the library says of a key."""

    name: str
    record: Record
    earliest: bool
    provisional: bool

    @property
    def prior(self) -> Prior:
        return published(self.record.facts.mean, self.record.facts.sd)

    @property
    def rule(self) -> Rule | None:
        facts = self.record.facts
        if facts.lower_threshold is None:
            return None
        return Rule(
            facts.lower_threshold,
            facts.upper_threshold,
            facts.cutoff,
            facts.assumed_threshold,
        )


def learned(
    observations: Iterable[Observation],
    library: Library,
    houses: Iterable[HouseFigures] = (),
) -> tuple[Learned, ...]:
    """
    Learn from all that was seen, here and elsewhere.

    A figure of another house counts for the same species, stage and sex, and only
    where its degree-days are those of the species file here: the same thresholds and
    the same cutoff. It counts as at most `HOUSE_CAP` cohorts.

    Args:
        observations: What the cohorts of this house needed, in any order.
        library: The species.
        houses: What other houses tell, each house once.

    Returns:
        One for each species, stage and sex that anybody saw, in the library's order.
    """
    seen = _sorted(observations)
    told: dict[Key, list[Figure]] = {}
    for figure in (f for house in houses for f in house.figures):
        told.setdefault(figure.key, []).append(figure)
    found: list[Learned] = []
    for key in _keys(library, {*seen, *told}):
        known = _known(library, key)
        if known is None:
            continue
        figures = [f for f in told.get(key, ()) if counts(f, library) is None]
        rows = seen.get(key, [])
        if rows or figures:
            found.append(_learned(key, known, rows, figures))
    return tuple(found)


def records(found: Iterable[Learned], library: Library) -> dict[Key, Record]:
    """
    Give what was learned as the requirements that a forecast takes.

    Mean and spread are those of the log-normal with the predicted 10 and 90 % points,
    so that the doubt that is left about both is in the dates.

    Args:
        found: What was learned with the same library.
        library: The species.
    """
    made: dict[Key, Record] = {}
    for each in found:
        known = _known(library, each.key)
        if known is not None and (each.posterior.effective or each.houses):
            made[each.key] = _record(each, known.record)
    return made


def counts(figure: Figure, library: Library) -> str | None:
    """Say in words why a figure of another house counts for nothing here, or None."""
    where = f"{figure.species} {figure.stage}"
    species = library.species.get(figure.species)
    if species is None or species.species.name != figure.name:
        return (
            f"{where}: no species file here describes {figure.name} as {figure.species}"
        )
    known = _known(library, figure.key)
    if known is None:
        return f"{where}: the file here gives the stage no requirement to learn"
    mine, theirs = known.rule, figure.rule
    if (mine and mine.counts_as) != (theirs and theirs.counts_as):
        return (
            f"{where}: they sum {_rule_words(theirs)}, the file here"
            f" {_rule_words(mine)}: not the same degree-days"
        )
    return None


def house_figures(
    observations: Iterable[Observation],
    library: Library,
    *,
    house: str,
    made_on: date,
) -> HouseFigures:
    """
    Tell what this house alone saw, for others.

    Neither the published prior nor the figures of other houses are in it, so that
    nobody who pools it counts them twice. Templates are of no species and stay here.

    Args:
        observations: What the cohorts of this house needed.
        library: The species.
        house: What the house calls itself towards others.
        made_on: The day of the export.
    """
    seen = _sorted(observations)
    found: list[Figure] = []
    for key in _keys(library, seen):
        known = _known(library, key)
        if known is None or known.provisional:
            continue
        rows, _ = _without_slips(seen[key], known.record.facts.mean)
        over = [row for row in rows if row.over]
        if len(over) < LEAST_TOLD:
            continue
        made = learn(alone(known.prior), [row.amount for row in rows])
        low, high = _warmth(over)
        if made.effective < 1:
            continue
        found.append(
            Figure(
                species=key[0],
                name=known.name,
                stage=key[1],
                sex=cast("Sex", key[2]),
                unit=_unit(known),
                rule=known.rule,
                n=len(over),
                worth=round(min(made.effective, len(over)), 2),
                mean=float(f"{made.mean:.5g}"),
                sd=float(f"{made.sd:.4g}"),
                warmth_low=low,
                warmth_high=high,
                coverage=_coverage(over),
            )
        )
    return HouseFigures(house=house, made_on=made_on, figures=tuple(found))


def _learned(
    key: Key, known: _Known, rows: Sequence[Observation], figures: Sequence[Figure]
) -> Learned:
    facts, prior = known.record.facts, known.prior
    worth = prior.weight
    # one order of the sums, whoever was imported first
    for figure in sorted(figures, key=lambda f: (f.mean, f.sd, f.worth)):
        evidence = Evidence(figure.worth, figure.mean, figure.sd)
        prior = pooled(prior, evidence, cap=HOUSE_CAP)
    kept, slips = _without_slips(rows, facts.mean)
    over = [row for row in kept if row.over]
    low, high = _warmth(over)
    return Learned(
        species=key[0],
        name=known.name,
        provisional=known.provisional,
        stage=key[1],
        sex=key[2],
        unit=_unit(known),
        rule=known.rule,
        earliest=known.earliest,
        prior_mean=facts.mean,
        prior_sd=facts.sd,
        prior_worth=worth,
        source=facts.source,
        houses=len(figures),
        n=len(over),
        lasting=len(kept) - len(over),
        taken=sum(row.span.taken for row in kept),
        slips=slips,
        amounts=tuple((row.low, row.high) for row in kept),
        coverage=_coverage(kept),
        warmth_low=low,
        warmth_high=high,
        posterior=learn(prior, [row.amount for row in kept]),
    )


def _record(each: Learned, file: Record) -> Record:
    mean, sd = moments(*of_quantiles(each.posterior.q10, each.posterior.q90))
    houses = f", {each.houses} other houses" if each.houses else ""
    source = (
        f"learned from {each.n} changes of stage here{houses}; before {each.source}"
    )
    if isinstance(file, HeatRequirement):
        return file.learned(mean=mean, sd=sd, source=source)
    return TimeRequirement(mean=mean, sd=sd, source=source, sex=file.facts.sex)


def _known(library: Library, key: Key) -> _Known | None:
    species = library.species.get(key[0])
    stage = library.stage(key[0], key[1])
    if species is None or stage is None or stage.development is None:
        return None
    record = file_record(stage.development, cast("Sex", key[2]))
    if record is None:
        return None
    return _Known(
        species.species.name,
        record,
        stage.development.driven_by == "heat-earliest",
        species.id in library.provisional,
    )


def _sorted(observations: Iterable[Observation]) -> dict[Key, list[Observation]]:
    found: dict[Key, list[Observation]] = {}
    for row in sorted(observations, key=lambda o: (o.cohort, o.span.begun_by)):
        found.setdefault((row.species, row.stage, row.sex), []).append(row)
    return found


def _keys(library: Library, wanted: Mapping[Key, object] | set[Key]) -> Iterator[Key]:
    for species in sorted(library.species.values(), key=lambda s: s.id):
        for stage in species.stages:
            for sex in ("any", "female", "male"):
                if (species.id, stage.id, sex) in wanted:
                    yield species.id, stage.id, sex


def _without_slips(
    rows: Sequence[Observation], mean: float
) -> tuple[list[Observation], int]:
    """
    Leave out what no animal does.

    A stage that was entered and left within a tenth of the published need was entered
    by mistake. One that lasts twice the need, and nobody noted a look at it, was
    forgotten: that it lasts still is only taken to be so.
    """
    kept = [
        row
        for row in rows
        if row.low < SLIP * mean
        and (row.high is None or row.high > mean / SLIP)
        and not (row.high is None and row.span.taken and row.low > FORGOTTEN * mean)
    ]
    return kept, len(rows) - len(kept)


def _warmth(rows: Sequence[Observation]) -> tuple[float | None, float | None]:
    known = [round(row.warmth_c, 1) for row in rows if row.warmth_c is not None]
    return min(known, default=None), max(known, default=None)


def _coverage(rows: Sequence[Observation]) -> float:
    return round(sum(row.coverage for row in rows) / len(rows), 3) if rows else 1.0


def _unit(known: _Known) -> Literal["degC d", "d"]:
    return "d" if known.rule is None else "degC d"


def _rule_words(rule: Rule | None) -> str:
    if rule is None:
        return "days alone"
    said = f"warmth above {rule.lower_threshold:g} degC"
    if rule.upper_threshold is not None:
        said += f" with {rule.cutoff} cutoff at {rule.upper_threshold:g} degC"
    return said
