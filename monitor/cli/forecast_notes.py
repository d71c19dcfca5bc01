"""What the dates of a forecast rest on: said once, below all that rests on it."""

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from monitor.accounts.forecast_values import CohortForecast, StageForecast
from monitor.accounts.forecast_warmth import RECORD_DAYS, Basis
from monitor.cli.forecast_words import folded, ids
from monitor.science.requirement import ASSUMED_SPREAD, Facts
from monitor.site.house import Cohort

MARK = "*"
"""Stands behind a date that rests on an assumption."""

OBSERVED = 3
"""So many durations stand in a note."""

_DISTANCES = {
    "surveyed": " (surveyed)",
    "neighbours": " (as tubs nearby were surveyed)",
    "assumed": " (assumed: no survey)",
}
_SPREAD = f"a spread of {100 * ASSUMED_SPREAD:.0f} % is assumed of"
_MEND = "place survey tells how far a tub is from its probe"


class Told(NamedTuple):
    """A cohort, the name of its species, and what is expected of it."""

    cohort: Cohort
    name: str
    forecast: CohortForecast


def mark(stage: StageForecast) -> str:
    """The sign behind a date that rests on an assumption; "" behind others."""
    return MARK if stage.assumed_threshold or stage.assumed_spread else ""


def notes(told: Sequence[Told], *, degree_days: bool, sources: bool) -> Iterator[str]:
    """
    All notes below the cohorts of one species.

    Args:
        told: The cohorts.
        degree_days: Tell each requirement whole.
        sources: Tell where the figures are from.
    """
    assumed = dict.fromkeys(_needs(told, assumed=True))
    if degree_days:
        for each in _needs(told):
            label, facts = each
            sign = f"{MARK} " if each in assumed else ""
            yield from folded(f"{sign}{label}: {requirement_words(facts)}", "  ")
    else:
        for label, facts in assumed:
            if facts.assumed_threshold:
                yield from folded(f"* {label}: {threshold_words(facts)}", "  ")
        loose = [label for label, facts in assumed if facts.assumed_sd is not None]
        if loose:
            yield from folded(f"* {_SPREAD} {', '.join(loose)}", "  ")
    yield from _bases(told)
    if sources and not degree_days:
        yield from _sources(told)


def house_notes(
    told: Sequence[Told], marked: Iterable[tuple[str, str]]
) -> Iterator[str]:
    """
    Notes below the overview of a whole house.

    Args:
        told: Its cohorts.
        marked: Name of the species and stage that a marked date waits for the end of.
    """
    wanted = set(marked)
    durations: dict[tuple[str, str], dict[str, None]] = {}
    spreads: dict[str, dict[str, None]] = {}
    for each in told:
        if (each.name, each.forecast.stage) in wanted:
            for label, facts in _needs([each], assumed=True, of=each.forecast.stage):
                if facts.assumed_threshold:
                    base, said = _brief(label, facts)
                    durations.setdefault((each.name, base), {})[said] = None
                if facts.assumed_sd is not None:
                    spreads.setdefault(each.name, {})[label] = None
    for (name, base), stages in durations.items():
        yield from folded(f"* {name}, {base}: {', '.join(stages)}")
    if spreads:
        whose = [f"{name} {', '.join(stages)}" for name, stages in spreads.items()]
        yield from folded(f"* {_SPREAD} {'; '.join(whose)}")
    yield from _house_basis(told)


def _brief(label: str, facts: Facts) -> tuple[str, str]:
    """What stages have in common with others, and a stage's own part of it."""
    threshold = f"assumed threshold {facts.lower_threshold:g} C"
    temperatures = {at for _, at in facts.observed}
    if not temperatures:
        return f"degree-days, {threshold}", f"{label} {facts.mean:.0f}"
    if len(temperatures) > 1:
        return f"durations, {threshold}", f"{label} {_durations(facts)}"
    days = ", ".join(f"{days:g} d" for days, _ in facts.observed)
    return f"at {temperatures.pop():g} C, {threshold}", f"{label} {days}"


def threshold_words(facts: Facts) -> str:
    """An assumed threshold, and what is reckoned above it."""
    base = f"{facts.mean:.0f} degree-days"
    if facts.observed:
        base = _durations(facts)
    return f"by {base}, assumed threshold {facts.lower_threshold:g} C"


def requirement_words(facts: Facts) -> str:
    """A requirement with all that it means."""
    sd, assumed = facts.sd, ""
    if sd is None:
        sd, assumed = facts.assumed_sd or 0.0, " (spread assumed)"
    if facts.lower_threshold is None:
        return f"{facts.mean:.0f} +- {sd:.0f} d{assumed}; {facts.source}"
    published = "assumed" if facts.assumed_threshold else "published"
    upper = "no upper threshold"
    if facts.upper_threshold is not None:
        upper = f"up to {facts.upper_threshold:g} C, {facts.cutoff} cutoff"
    parts = [
        f"{facts.mean:.0f} +- {sd:.0f} degree-days{assumed}",
        f"above {facts.lower_threshold:g} C ({published})",
        upper,
    ]
    if facts.fitted_with:
        parts.append(f"fitted with {facts.fitted_with}")
    if facts.observed:
        parts.append(f"from {_durations(facts)}")
    return f"{', '.join(parts)}; {facts.source}"


def _durations(facts: Facts) -> str:
    said = [f"{days:g} d at {at:g} C" for days, at in facts.observed]
    more = len(said) - OBSERVED
    return ", ".join(said[:OBSERVED]) + (f" and {more} more" if more > 0 else "")


def _needs(
    told: Iterable[Told], *, assumed: bool = False, of: str | None = None
) -> Iterator[tuple[str, Facts]]:
    """Each requirement once, with its stage, and its sex where the sexes differ."""
    found: dict[str, dict[Facts, None]] = {}
    sexes = [sex for each in told for sex in each.forecast.sexes]
    # the youngest have all stages ahead, in their order
    for sex in sorted(sexes, key=lambda each: len(each.needs), reverse=True):
        resting: set[str] = set()
        for stage in sex.stages:
            resting.update(stage.assumed_threshold, stage.assumed_spread)
        for stage_id, facts in sex.needs:
            if (not assumed or stage_id in resting) and of in (None, stage_id):
                found.setdefault(stage_id, {})[facts] = None
    for stage_id, records in found.items():
        for facts in records:
            sex_words = "" if facts.sex == "any" else f" {facts.sex}"
            yield f"{stage_id}{sex_words}", facts


def _basis_words(basis: Basis) -> str:
    if basis.set_point_c is not None:
        said = f"at a stated {basis.set_point_c:g} C"
    elif basis.days:
        places = ", ".join(basis.sources)
        said = f"as warm as in {basis.days} of the last {RECORD_DAYS} days ({places})"
    else:
        return ""
    if basis.spread_c:
        said += f", give or take {basis.spread_c:.2g} C"
        said += _DISTANCES.get(basis.distance, "")
    return said


def _dated(told: Iterable[Told]) -> Iterator[tuple[int, Basis]]:
    for each in told:
        basis = each.forecast.basis
        if basis is not None and any(sex.stages for sex in each.forecast.sexes):
            yield each.cohort.id, basis


def _bases(told: Sequence[Told]) -> Iterator[str]:
    found: dict[str, list[int]] = {}
    unsurveyed = False
    for cohort, basis in _dated(told):
        said = _basis_words(basis)
        if said:
            found.setdefault(said, []).append(cohort)
            unsurveyed |= basis.distance == "assumed"
    for said, cohorts in found.items():
        whose = f"{ids(cohorts)}: " if len(found) > 1 else ""
        yield from folded(f"{whose}{said}", "  ")
    if unsurveyed:
        yield from folded(_MEND, "  ")


def _house_basis(told: Sequence[Told]) -> Iterator[str]:
    bases = [basis for _, basis in _dated(told)]
    bases = [basis for basis in bases if _basis_words(basis)]
    if not bases:
        return
    if bases[0].set_point_c is not None:
        yield from folded(f"All dates are {_basis_words(bases[0])}.")
        return
    least = min(basis.days for basis in bases)
    some = "" if least == RECORD_DAYS else f" (of some only {least} measured)"
    yield from folded(f"As warm as in each place's last {RECORD_DAYS} days{some}.")
    rough = [basis for basis in bases if basis.distance == "assumed"]
    if rough:
        most = max(basis.spread_c for basis in rough)
        many = "1 cohort" if len(rough) == 1 else f"{len(rough)} cohorts"
        yield from folded(f"Give or take {most:.2g} C, assumed for {many}; {_MEND}.")


def _sources(told: Iterable[Told]) -> Iterator[str]:
    """Where the figures of each stage are from, each source once."""
    found: dict[str, dict[str, None]] = {}
    for each in told:
        for sex in each.forecast.sexes:
            for stage, facts in sex.needs:
                found.setdefault(facts.source, {})[stage] = None
    for source, stages in found.items():
        yield from folded(f"{', '.join(stages)}: {source}", "  ")
