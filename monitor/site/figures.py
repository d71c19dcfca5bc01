"""
Learned figures as houses exchange them: what was found, and under which conditions.

There is nothing of the stock in them: no place, no cohort, no number of animals, no
date but the day of the export. A survival is told as a share in whole per cent and as
what it is worth in whole animals once the common luck of each tub is taken off, for
all cohorts together: enough to pool, too coarse to work a count back from it. Only
where eggs were kept singly is the number of cohorts that of the animals.
"""

import re
from collections.abc import Iterable, Iterator
from datetime import date
from typing import Literal

import msgspec

FORM = "rearing-figures"
VERSION = 2
"""Of the form; a file of a newer one is refused."""

OLDEST = 1
"""The form before survival was told, which is still read."""

BROOD_WORTH = 10
"""A cohort counts as no more animals: those of a tub share its luck; own choice."""

MOST_FIGURES = 2000
"""A file with more than this is none of a house."""

_ID = re.compile(r"[a-z0-9][a-z0-9-]{0,79}", re.IGNORECASE | re.ASCII)
_LABEL = re.compile(r"[^\x00-\x1f\x7f]{1,80}")
_COLDEST, _HOTTEST = -20.0, 60.0
_LARGEST = 1e6


class Rule(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """
    Thresholds and cutoff that an amount of warmth means anything with.

    Attributes:
        lower_threshold: [degC]
        upper_threshold: None for none. [degC]
        cutoff: What happens above it; None without one.
        assumed_threshold: The lower threshold is an assumption.
    """

    lower_threshold: float
    upper_threshold: float | None
    cutoff: Literal["horizontal", "intermediate", "vertical"] | None
    assumed_threshold: bool

    @property
    def counts_as(self) -> tuple[float, float | None, str | None]:
        """Degree-days of rules for which this is equal are the same."""
        return self.lower_threshold, self.upper_threshold, self.cutoff


class Figure(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """
    What a house found that a stage needs.

    Attributes:
        species: Id of the species.
        name: Its scientific name.
        stage: The stage.
        sex: Whose need.
        unit: Of mean and spread.
        rule: How the warmth was summed; None where time alone drives.
        n: Changes of stage that it rests on, one for each cohort.
        worth: How many exactly seen changes they are worth.
        mean: [the unit]
        sd: Spread among cohorts. [the unit]
        warmth_low: The coolest cohort's steady temperature; None for time. [degC]
        warmth_high: The warmest cohort's. [degC]
        coverage: Mean measured share of the time. [fraction]
    """

    species: str
    name: str
    stage: str
    sex: Literal["any", "female", "male"]
    unit: Literal["degC d", "d"]
    rule: Rule | None
    n: int
    worth: float
    mean: float
    sd: float
    warmth_low: float | None
    warmth_high: float | None
    coverage: float

    @property
    def key(self) -> tuple[str, str, str]:
        """Species, stage and sex."""
        return self.species, self.stage, self.sex


class Survived(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """
    What a house found of the way to the adult, without anything believed before.

    Attributes:
        species: Id of the species.
        name: Its scientific name.
        begin: The stage at which the animals were counted first.
        n: Cohorts that it rests on, each counted at both ends.
        worth: How many animals with fates of their own they count as, rounded down.
        share: Of them, what came through, to two decimals. [fraction]
        warmth_low: The coolest steady temperature of a stage on the way; None where
            none is known. [degC]
        warmth_high: The warmest. [degC]
    """

    species: str
    name: str
    begin: str
    n: int
    worth: int
    share: float
    warmth_low: float | None
    warmth_high: float | None


# a file of the oldest form has no survival, and its signature knows none
class HouseFigures(
    msgspec.Struct,
    frozen=True,
    forbid_unknown_fields=True,
    kw_only=True,
    omit_defaults=True,
):
    """
    All that one house tells others.

    Attributes:
        house: What the house calls itself towards others.
        made_on: The day of the export.
        figures: One for each species, stage and sex.
        survival: One for each species.
    """

    house: str
    made_on: date
    figures: tuple[Figure, ...]
    survival: tuple[Survived, ...] = ()

    @property
    def count(self) -> int:
        """How many figures of both kinds."""
        return len(self.figures) + len(self.survival)

    @property
    def version(self) -> int:
        """The oldest form that can tell it, for houses with an older program."""
        return VERSION if self.survival else OLDEST


def problem(told: HouseFigures) -> str | None:
    """Say what no house can have found, in words; None where all can be."""
    if not _LABEL.fullmatch(told.house):
        return f"house: {told.house!r} is no name of 1 to 80 letters"
    if not 0 < told.count <= MOST_FIGURES:
        return f"figures: {told.count} of them, not 1 to {MOST_FIGURES}"
    seen: set[tuple[str, str, str]] = set()
    for number, figure in enumerate(told.figures, 1):
        found = next(_figure_problems(figure), None)
        if found is None and figure.key in seen:
            found = "stands twice"
        if found is not None:
            return f"figure {number} ({' '.join(figure.key)}): {found}"
        seen.add(figure.key)
    return _survival_problem(told.survival)


def _survival_problem(told: Iterable[Survived]) -> str | None:
    seen: set[str] = set()
    for number, each in enumerate(told, 1):
        found = next(_survived_problems(each), None)
        if found is None and each.species in seen:
            found = "stands twice"
        if found is not None:
            return f"survival {number} ({each.species}): {found}"
        seen.add(each.species)
    return None


def _survived_problems(each: Survived) -> Iterator[str]:
    yield from _name_problems(each.species, each.begin, each.name, stage="begin")
    if not 0 < each.n < _LARGEST:
        yield f"n {each.n} does not lie between 0 and {_LARGEST:g}"
    if not 0 < each.worth <= BROOD_WORTH * each.n:
        yield (
            f"worth {each.worth} does not lie between 0 and {BROOD_WORTH * each.n},"
            f" {BROOD_WORTH} for each of n {each.n} cohorts"
        )
    if not 0 <= each.share <= 1:
        yield f"share {each.share} does not lie between 0 and 1"
    low, high = each.warmth_low, each.warmth_high
    yield from _temperature("warmth_low", low)
    yield from _temperature("warmth_high", high)
    if (low is None) is not (high is None):
        yield "warmth_low and warmth_high go together"
    if low is not None and high is not None and not low <= high:
        yield f"warmth_low {low:g} is above warmth_high {high:g}"


def _figure_problems(figure: Figure) -> Iterator[str]:
    yield from _name_problems(figure.species, figure.stage, figure.name)
    for name in ("n", "worth", "mean", "sd"):
        value = getattr(figure, name)
        if not 0 < value < _LARGEST:
            yield f"{name} {value} does not lie between 0 and {_LARGEST:g}"
    if figure.worth > figure.n:
        yield f"worth {figure.worth:g} is more than n {figure.n}"
    if not 0 <= figure.coverage <= 1:
        yield f"coverage {figure.coverage} does not lie between 0 and 1"
    for name in ("warmth_low", "warmth_high"):
        yield from _temperature(name, getattr(figure, name))
    if (figure.rule is None) is not (figure.unit == "d"):
        yield f"unit {figure.unit!r} does not go with its rule"
    yield from _rule_problems(figure.rule)


def _name_problems(
    species: str, begin: str, name: str, *, stage: str = "stage"
) -> Iterator[str]:
    for key, value in (("species", species), (stage, begin)):
        if not _ID.fullmatch(value):
            yield f"{key} {value!r} is no id"
    if not _LABEL.fullmatch(name):
        yield f"name {name!r} is no name"


def _rule_problems(rule: Rule | None) -> Iterator[str]:
    if rule is None:
        return
    low, high = rule.lower_threshold, rule.upper_threshold
    yield from _temperature("lower_threshold", low)
    yield from _temperature("upper_threshold", high)
    if high is not None and not low < high:
        yield f"lower_threshold {low:g} is not below upper_threshold {high:g}"
    if (high is None) is not (rule.cutoff is None):
        yield "upper_threshold and cutoff go together"


def _temperature(name: str, value: float | None) -> Iterator[str]:
    if value is not None and not _COLDEST <= value <= _HOTTEST:
        yield f"{name} {value} lies outside {_COLDEST:g} to {_HOTTEST:g} degC"
