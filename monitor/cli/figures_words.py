"""Learned figures as people read them: prior, data and posterior below each other."""

import textwrap
from collections.abc import Iterator

from monitor.accounts.learning import Learned
from monitor.accounts.survival import LearnedSurvival
from monitor.store.figures import Signed, spelled

WIDTH = 72
SHOWN = 12
"""So many single observations are shown; the rest is counted."""

_SEXES = {"any": "", "female": ", females", "male": ", males"}


def learned_lines(each: Learned) -> Iterator[str]:
    """One species, stage and sex."""
    known = " (provisional)" if each.provisional else ""
    yield f"{each.name}{known}, {each.stage}{_SEXES[each.sex]}: {_unit(each)}"
    sd = f" +- {each.prior_sd:g}" if each.prior_sd is not None else ", spread unknown"
    yield from _row(
        "published",
        f"{each.prior_mean:.4g}{sd}; counts as {_cohorts(each.prior_worth)}"
        f" ({each.source})",
    )
    if each.houses:
        yield from _row("elsewhere", f"figures of {_many(each.houses, 'other house')}")
    yield from _row("seen here", _seen(each))
    if each.amounts:
        yield from _row("", _amounts(each))
    made = each.posterior
    yield from _row(
        "now",
        f"{made.mean:.4g} +- {made.sd:.3g}; the mean lies between {made.mean_low:.4g}"
        f" and {made.mean_high:.4g} (90 %)",
    )
    yield from _row(
        "next cohort",
        f"{made.q10:.4g}, {made.q50:.4g}, {made.q90:.4g} (10, 50, 90 %); what was seen"
        f" here is worth {_cohorts(made.effective)} seen to the hour",
    )
    if each.earliest:
        yield from _row("", "heat alone does not end this stage: an earliest only")


def survival_lines(each: LearnedSurvival) -> Iterator[str]:
    """One species from egg to adult."""
    yield f"{each.name}, egg to adult: share that comes through"
    prior, source = "nothing: any share is as likely as another", ""
    if each.prior_mean is not None:
        prior = f"{each.prior_mean:.0%} +- {each.prior_sd or 0:.0%}"
        source = f" ({each.source})"
    yield from _row(
        "published", f"{prior}; counts as {_animals(each.prior_worth)}{source}"
    )
    if each.elsewhere_share is not None:
        yield from _row(
            "elsewhere",
            f"{each.elsewhere_share:.0%} in {_many(each.elsewhere_n, 'cohort')} of"
            f" {_many(each.houses, 'other house')}; counts as"
            f" {_animals(each.elsewhere_worth)}",
        )
    yield from _row("seen here", _came(each))
    yield from _row(
        "now",
        f"{each.mean:.0%} +- {each.sd:.0%}; it lies between {each.low:.0%} and"
        f" {each.high:.0%} (90 %)",
    )


def house_line(signed: Signed, used: int) -> str:
    """Another house whose figures are kept."""
    told = signed.told
    return (
        f"{told.house}, {told.made_on}: {used} of {_many(told.count, 'figure')} used;"
        f" key {spelled(signed.fingerprint)}"
    )


def _unit(each: Learned) -> str:
    if each.rule is None:
        return "days"
    rule = each.rule
    said = f"degree-days above {rule.lower_threshold:g} C"
    if rule.assumed_threshold:
        said = f"degree-days above an assumed {rule.lower_threshold:g} C"
    if rule.upper_threshold is not None:
        said += f", {rule.cutoff} cutoff at {rule.upper_threshold:g} C"
    return said


def _seen(each: Learned) -> str:
    said = f"{_many(each.n, 'change')} of stage"
    if each.lasting:
        said += f", {each.lasting} not seen to end"
    if each.taken:
        said += f"; {each.taken} without a last look, taken as one round before"
    if each.slips:
        said += f"; {each.slips} left out as slips or forgotten"
    if each.n and each.warmth_low is not None and each.warmth_high is not None:
        said += f"; at {each.warmth_low:g} to {each.warmth_high:g} C"
        said += f", {each.coverage:.0%} of the time measured"
    return said


def _amounts(each: Learned) -> str:
    said = [
        f"{low:.4g} or more" if high is None else f"{low:.4g} to {high:.4g}"
        for low, high in each.amounts[:SHOWN]
    ]
    more = len(each.amounts) - SHOWN
    return ", ".join(said) + (f", and {more} more" if more > 0 else "")


def _came(each: LearnedSurvival) -> str:
    left = f", {each.left_out} not counted at both ends" if each.left_out else ""
    if each.seen_share is None:
        return f"no cohort counted{left}"
    return (
        f"{each.reached} of {each.began} in {_many(each.broods, 'cohort')}{left};"
        f" counts as {each.seen_share:.0%} of {_animals(each.seen_worth)}, since those"
        " of a tub share its luck"
    )


def _row(head: str, text: str) -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=f"  {head:<13}", subsequent_indent=" " * 15
    )


def _cohorts(count: float) -> str:
    return f"{count:.2g} cohort{'' if round(count, 2) == 1 else 's'}"


def _animals(count: float) -> str:
    return f"{count:.2g} animal{'' if f'{count:.2g}' == '1' else 's'}"


def _many(count: int, one: str) -> str:
    return f"{count} {one}{'' if count == 1 else 's'}"
