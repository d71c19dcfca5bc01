"""What each stage of a species needs: the file's figures, or what was learned since."""

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from monitor.accounts.bounded import HeatRule
from monitor.accounts.degree_days import heat_rule, requirement
from monitor.science.requirement import (
    HeatRequirement,
    Sex,
    TimeRequirement,
)
from monitor.site.species_file import Development, Duration, Requirement, Species, Stage

Learned = Mapping[tuple[str, str, str], HeatRequirement | TimeRequirement]
"""What a house has learned, by (species, stage, sex); stands before the file."""

SEXES: tuple[Sex, Sex] = ("female", "male")


class StageNeed(NamedTuple):
    """
    A stage and what ends it.

    Attributes:
        stage: As the species file describes it.
        record: What it needs; None where nobody knows.
        earliest: Heat alone does not decide its end.
    """

    stage: Stage
    record: HeatRequirement | TimeRequirement | None
    earliest: bool

    @property
    def rule(self) -> HeatRule | None:
        """How warmth is summed for it; None where warmth does not count."""
        if isinstance(self.record, HeatRequirement):
            return self.record.summed_by(HeatRule)
        return None


def needs_of(species: Species, sex: Sex, learned: Learned) -> tuple[StageNeed, ...]:
    """
    Tell what every stage of a species needs, in order.

    Args:
        species: Its file.
        sex: Whose needs.
        learned: Taken before the file where it counts in the same degree-days; a
            figure of other thresholds, learned before the file was changed, is not.
    """
    return tuple(_stage_need(species, stage, sex, learned) for stage in species.stages)


def sexes_of(species: Species, sex: str, learned: Learned) -> tuple[Sex, ...]:
    """
    Tell for which sexes a cohort must be told apart.

    Args:
        species: Of the cohort.
        sex: Of the cohort; "any" where nobody has sexed it, or it is mixed.
        learned: As `needs_of`.
    """
    for known in SEXES:
        if sex == known:
            return (known,)
    female, male = (
        tuple(need.record for need in needs_of(species, each, learned))
        for each in SEXES
    )
    return ("any",) if _alike(female, male) else SEXES


def file_record(
    development: Development, sex: Sex
) -> HeatRequirement | TimeRequirement | None:
    """
    Bind what a species file says of a stage into one value.

    The mean is that of the account (`degree_days.requirement`). The spread belongs to
    the rows that the mean is of; of several temperatures it is their root mean square
    in degree-days, and None where one of them has none.

    Args:
        development: The table of the stage.
        sex: Whose requirement.
    """
    rows = _rows(development, sex)
    source = str(development.source)
    observed = tuple((row.mean, row.at) for row in rows if isinstance(row, Duration))
    if development.driven_by == "time":
        if not rows:
            return None
        mean = sum(row.mean for row in rows) / len(rows)
        return TimeRequirement(
            mean=mean,
            sd=_spread([row.sd for row in rows]),
            source=source,
            sex=_sex(rows),
            observed=observed,
        )
    rule, mean_needed = heat_rule(development), requirement(development, sex)
    if rule is None or mean_needed is None:
        return None
    return HeatRequirement(
        lower_c=rule.lower_c,
        upper_c=rule.upper_c,
        cutoff=rule.cutoff,
        mean=mean_needed,
        sd=_spread([_in_degree_days(row, rule.lower_c) for row in rows]),
        source=source,
        fitted_with=development.fitted_with,
        sex=_sex(rows),
        assumed_threshold=rule.assumed,
        observed=observed,
    )


def stage_number(species: Species, stage_id: str) -> int:
    """
    Tell the number of a stage in the file of its species, from 0.

    Raises:
        ValueError: If it has none of that id.
    """
    return [s.id.casefold() for s in species.stages].index(stage_id.casefold())


def _stage_need(
    species: Species, stage: Stage, sex: Sex, learned: Learned
) -> StageNeed:
    development = stage.development
    if development is None:
        return StageNeed(stage, None, earliest=False)
    earliest = development.driven_by == "heat-earliest"
    record = file_record(development, sex)
    for whose in (sex, "any"):
        better = learned.get((species.id, stage.id, whose))
        # what was learned of both together says nothing of how they differ
        blurred = whose != sex and record is not None and record.facts.sex == sex
        if better is not None and not blurred and _stands_for(better, record):
            return StageNeed(stage, better, earliest)
    return StageNeed(stage, record, earliest)


def _stands_for(
    better: HeatRequirement | TimeRequirement,
    record: HeatRequirement | TimeRequirement | None,
) -> bool:
    if isinstance(better, HeatRequirement) and isinstance(record, HeatRequirement):
        return better.counts_like(record)
    return type(better) is type(record)


def _rows(development: Development, sex: str) -> Sequence[Requirement | Duration]:
    """The rows that speak for a sex: its own, else those of any, else all."""
    every: Sequence[Requirement | Duration] = (
        development.required_degree_days or development.duration_days
    )
    for whose in (sex, "any"):
        found = [row for row in every if row.sex == whose]
        if found:
            return found
    return every


def _in_degree_days(row: Requirement | Duration, lower_c: float) -> float | None:
    if row.sd is None or isinstance(row, Requirement):
        return row.sd
    return row.sd * (row.at - lower_c)


def _spread(spreads: Sequence[float | None]) -> float | None:
    known = [sd for sd in spreads if sd is not None]
    if not known or len(known) < len(spreads):
        return None
    return float((sum(sd**2 for sd in known) / len(known)) ** 0.5)


def _sex(rows: Sequence[Requirement | Duration]) -> Sex:
    sexes = {row.sex for row in rows}
    return sexes.pop() if len(sexes) == 1 else "any"


def _alike(
    one: Sequence[HeatRequirement | TimeRequirement | None],
    other: Sequence[HeatRequirement | TimeRequirement | None],
) -> bool:
    def amounts(
        records: Sequence[HeatRequirement | TimeRequirement | None],
    ) -> Iterator[tuple[float, float | None] | None]:
        for record in records:
            if record is None:
                yield None
            else:
                yield record.facts.mean, record.facts.sd

    return list(amounts(one)) == list(amounts(other))
