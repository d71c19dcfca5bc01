"""
Stages that a cohort was taken to be perhaps in, and since when.

Recorded when it is taken up: a forecast of the past depends on what was known then.
"""

from collections.abc import Iterable, Sequence
from datetime import datetime

import msgspec

from monitor.alarms.rule import Perhaps


class PerhapsSince(msgspec.Struct, frozen=True):
    """
    What a cohort was taken to be perhaps in, from an instant on until the next one.

    Attributes:
        at: When it was taken up. UTC.
        cohort: Whose stages.
        stages: Unseen later ones, in order; () for none any more.
    """

    at: datetime
    cohort: int
    stages: tuple[str, ...]


def taken_up(known: Perhaps, found: Perhaps, at: datetime) -> tuple[PerhapsSince, ...]:
    """
    Tell what changed, in the order of the cohorts.

    Args:
        known: What was taken to be so.
        found: What is so from *at* on.
        at: The instant. UTC.
    """
    return tuple(
        PerhapsSince(at, cohort, found.get(cohort, ()))
        for cohort in sorted(known.keys() | found.keys())
        if known.get(cohort, ()) != found.get(cohort, ())
    )


def perhaps_at(taken: Iterable[PerhapsSince], at: datetime) -> Perhaps:
    """
    Tell what was taken to be so at an instant, changes of that instant included.

    Args:
        taken: All that was taken up, in the order of taking.
        at: The instant. UTC.
    """
    return newest(change for change in taken if change.at <= at)


def newest(taken: Iterable[PerhapsSince]) -> Perhaps:
    """
    Tell what was taken to be so last, whatever the clock said then or says now.

    Args:
        taken: All that was taken up, in the order of taking.
    """
    found = {change.cohort: change.stages for change in taken}
    return {cohort: stages for cohort, stages in found.items() if stages}


def within(
    taken: Iterable[PerhapsSince], since: datetime, until: datetime
) -> tuple[PerhapsSince, ...]:
    """
    Keep of many years what tells all instants between two, the ends included.

    What held at *since* already is told as if taken up then. What a clock that was
    ahead dated later than what was taken up after it is left out.

    Args:
        taken: All that was taken up, in the order of taking.
        since: The beginning. UTC.
        until: The end. UTC.
    """
    every = _standing(tuple(taken))
    held = perhaps_at(every, since)
    return (
        *(PerhapsSince(since, cohort, held[cohort]) for cohort in sorted(held)),
        *(change for change in every if since < change.at <= until),
    )


def _standing(taken: Sequence[PerhapsSince]) -> tuple[PerhapsSince, ...]:
    """Leave out what never held: dated later than the next of its cohort."""
    first: dict[int, datetime] = {}
    kept: list[PerhapsSince] = []
    for change in reversed(taken):
        if change.at <= first.get(change.cohort, change.at):
            first[change.cohort] = change.at
            kept.append(change)
    return tuple(reversed(kept))


def instants(
    taken: Iterable[PerhapsSince], since: datetime, until: datetime
) -> set[datetime]:
    """When something was taken up between two instants, the ends left out."""
    return {change.at for change in taken if since < change.at < until}
