"""
When a stage began, where that was found between two visits.

Any instant between the two is as likely as another, but for one thing: the cohort was
still in the stage when it was found, so that it cannot have had more by then than the
stage needs. What the stage before needed is not concluded from; its end is no better
known than this beginning.
"""

from collections.abc import Iterable
from datetime import datetime

import numpy as np

from monitor.accounts.feeding import DAY
from monitor.accounts.sightings import StageSpan, by_cohort, spans_of
from monitor.science.forecast import Course
from monitor.science.requirement import Array, HeatRequirement, TimeRequirement
from monitor.site.house import Cohort, House
from monitor.site.journal import Entry
from monitor.site.species_file import Library

BEGINS = 5
"""The beginning is written as so many equally likely instants."""


def present_spans(
    house: House, library: Library, entries: Iterable[Entry], *, now: datetime
) -> dict[int, StageSpan]:
    """
    Tell what is known of the stage that each living cohort is in, by cohort.

    Nothing is told of one that came in its stage, or is only taken to be in it.

    Args:
        house: With all that the journal moved.
        library: The species.
        entries: The journal, in any order.
        now: The present. UTC.
    """
    told = by_cohort(entries)
    found: dict[int, StageSpan] = {}
    for cohort in house.living():
        species = library.species.get(cohort.species)
        if species is None:
            continue
        for span in spans_of(cohort, species, told.get(cohort.id, ()), now=now):
            if span.stage.casefold() == cohort.stage.casefold():
                found[cohort.id] = span
    return found


def stage_ages(
    span: StageSpan,
    at: datetime,
    course: Course,
    record: HeatRequirement | TimeRequirement,
) -> Array:
    """
    Tell how long a stage has lasted, as equally likely values.

    Args:
        span: Between which instants it began.
        at: The instant asked about. UTC.
        course: How its amount grows.
        record: What it needs.

    Returns:
        One where the beginning was seen, else `BEGINS`; below zero where the stage
        began after the instant. [d]
    """
    since_found = (at - span.begun_by) / DAY
    doubt = (span.begun_by - span.begun_after) / DAY
    pace = daily_pace(course)
    if pace:
        doubt = min(doubt, record.mean / pace)
    if not doubt > 0:
        return np.array([since_found])
    shares = (np.arange(BEGINS) + 0.5) / BEGINS
    return np.asarray(since_found + doubt * shares)


def daily_pace(course: Course) -> float:
    """What a day of the recent past gave on average. [amount/d]."""
    return float(course.past.mean())


def counted_since(cohort: Cohort) -> datetime:
    """
    Tell from when on the account counts for the stage that a cohort is in. UTC.

    Half-way between two visits, see `monitor.site.house.middle`, else when it was
    found; from the first time that the journal told of it without a break.
    """
    since = cohort.stages[-1].since
    for stay in reversed(cohort.stages):
        if stay.what != cohort.stage:
            break
        since = stay.since
    return since
