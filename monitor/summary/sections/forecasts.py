"""Forecasts against what happened: how often the 10 to 90 % interval held."""

from datetime import timedelta

import msgspec

from monitor.accounts.scoring import StageScore, totals
from monitor.summary.section import Section
from monitor.summary.view import WeekView
from monitor.summary.words import cut, folded, many, percent

SPAN = timedelta(days=365)
"""What was over in the year before the end of the week is scored."""

MOST = 100
"""No more than the latest so many: each costs the readings of 28 days."""

ENOUGH = 10
"""Of fewer forecasts no share is told: it would say nothing."""

_SOON = 0.5


class Figures(msgspec.Struct, frozen=True):
    """
    Scores of the year before the end of the week.

    Attributes:
        scores: All together, then by species and stage; () where nothing is scored.
    """

    scores: tuple[StageScore, ...]


def figures(week: WeekView) -> Figures:
    """Tell how the forecasts of the last year held."""
    return Figures(totals(week.scores))


def text(told: Figures) -> list[str]:
    """Say it for all, then stage by stage."""
    if not told.scores:
        return ["No forecast has come to its end in the last year."]
    everything, *stages = told.scores
    said = (
        f"Of {many(everything.n, 'forecast')} from the beginning of a stage, with what"
        f" was known then, {percent(everything.inside)} held: the stage ended between"
        " the 10 and the 90 % date (80 % is right)."
    )
    if everything.n < ENOUGH:
        said = (
            f"{many(everything.n, 'forecast')} came to an end in the last year: too few"
            " to say how well they hold."
        )
    lines = folded(said)
    for score in stages:
        held = f", {percent(score.inside)} held" if score.n >= ENOUGH else ""
        lines.append(cut(f"  {score.name}, {score.stage}: {score.n}{held};"))
        lines.append(f"    {_when(score)}")
    return lines


def _when(score: StageScore) -> str:
    days = abs(score.error_days)
    if days < _SOON:
        said = "as expected, in the middle"
    else:
        word = "later" if score.error_days > 0 else "sooner"
        said = f"{days:.0f} d {word} than expected, in the middle"
    return f"{said}; off by {score.off_days:.1f} d"


FORECASTS = Section("forecasts", "Forecasts and what happened", figures, text)
