"""What the parts of a page are told from: the week, how much of it, its pictures."""

from collections.abc import Callable

import msgspec

from monitor.summary.charts import Drawn
from monitor.summary.findings import Finding
from monitor.summary.headline import Occasion
from monitor.summary.summary import Summary

DEGREE = "°"
"""HTML shows every letter, so a temperature has its sign there."""


class Detail(msgspec.Struct, frozen=True, kw_only=True):
    """
    How much of everything is told.

    Attributes:
        alarms: In full, with their whole course.
        lines: Further alarms, in a line each.
        look: Things to look at.
        cards: Places with a card of their own, and with a picture.
        rows: Series of further places, in a row each.
        spells: Of a series, one by one.
        groups: Species and stages.
        sensors: That were heard badly.
        hands: Places that were read by hand.
        all_cohorts: Each cohort in a row too.
        all_tubs: A card also for tubs of which nothing asks for a look.
    """

    alarms: int
    lines: int
    look: int
    cards: int
    rows: int
    spells: int
    groups: int
    sensors: int
    hands: int
    all_cohorts: bool = False
    all_tubs: bool = False


EVERYTHING = Detail(
    alarms=1000,
    lines=10_000,
    look=10_000,
    cards=10_000,
    rows=0,
    spells=20,
    groups=10_000,
    sensors=10_000,
    hands=10_000,
    all_cohorts=True,
    all_tubs=True,
)
"""For the page on disk."""

PICTURES = 24
"""So many pictures go with a mail at most."""

FOR_MAIL = tuple(
    Detail(
        alarms=alarms,
        lines=lines,
        look=look,
        cards=cards,
        rows=rows,
        spells=spells,
        groups=groups,
        sensors=few,
        hands=few,
    )
    for alarms, lines, look, cards, rows, spells, groups, few in (
        (12, 40, 24, PICTURES, 240, 3, 80, 20),
        (10, 20, 16, PICTURES, 140, 2, 60, 12),
        (8, 12, 12, 16, 80, 1, 40, 8),
        (6, 6, 8, 8, 40, 1, 20, 6),
        (4, 0, 6, 3, 12, 1, 8, 3),
    )
)
"""For the mail: the first that keeps it below the limit (E7)."""


class Telling(msgspec.Struct, frozen=True, kw_only=True):
    """
    Everything that a part of a page may ask.

    Attributes:
        found: What to look at, the worst first.
        source: The address of a picture by its name, as this page needs it.
    """

    summary: Summary
    found: tuple[Finding, ...]
    occasion: Occasion
    drawn: Drawn
    detail: Detail
    source: Callable[[str], str]
    page: str = ""
