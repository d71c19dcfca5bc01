"""
Minimum and maximum read by hand, as the degree-day account counts them.

A thermometer that keeps its extremes tells nothing of the instant that it is read at,
but bounds the whole time since its reset. That time counts as measured, at the rate
that the daily method of the stage makes of the two (`monitor.science.daily`), spread
evenly over it.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from itertools import islice, zip_longest

import msgspec
import numpy as np

from monitor.clock import to_us
from monitor.science.curve import Times, Values
from monitor.site.house import HAND
from monitor.site.journal import Entry, HandReading
from monitor.site.words import Quantity

HAND_GAP = timedelta(hours=26)
"""A person reads once a day, and not on the minute."""

FOLLOWS = timedelta(hours=2)
"""A pair whose time begins later is of another night: own choice."""

_Place = tuple[str, Quantity]


class Extremes(msgspec.Struct, frozen=True):
    """
    The lowest and highest of a time, read when it was over.

    Attributes:
        since: Its beginning: the reset. UTC.
        until: When they were read. UTC.
        lowest: [degC]
        highest: [degC]
        next_lowest: The lowest of the time that follows at once; None where nobody
            read it. [degC]
    """

    since: datetime
    until: datetime
    lowest: float
    highest: float
    next_lowest: float | None = None


class HandLog(msgspec.Struct, frozen=True):
    """
    Everything that was read of a place with a minimum and maximum.

    Attributes:
        extremes: In order of time, none overlapping.
        values: The value at each such instant [us], where one was read too.
    """

    extremes: tuple[Extremes, ...]
    values: Mapping[int, float | None]


HandLogs = Mapping[_Place, HandLog]


def hand_logs(entries: Iterable[Entry]) -> HandLogs:
    """
    Gather the minima and maxima of a journal, by place and quantity.

    The time of a pair begins at the reset that was told, else at the reading before
    it. It never reaches back beyond that reading, whose own pair counts there, nor
    more than 26 h: an extreme of a week says little of each of its days, so the rest
    of a longer time is missing. A first reading without a told reset has no time.

    Args:
        entries: The journal, in any order.
    """
    read: dict[_Place, list[Entry]] = {}
    for entry in sorted(entries, key=lambda e: (e.happened_at, e.id)):
        fact = entry.fact
        if isinstance(fact, HandReading) and _has_extremes(fact):
            read.setdefault((fact.place, fact.quantity), []).append(entry)
    return {place: _log(found) for place, found in read.items()}


def without_extremes(
    sensor: str, quantity: str, times: Times, values: Values, logs: HandLogs
) -> Values:
    """
    Give the values of a series as values of their instants.

    With minimum and maximum the store holds whichever the alarms were judged by.
    Where no value of the instant was read it becomes NaN: something was heard then.

    Args:
        sensor: The series; one that is not of a hand is given back as it is.
        quantity: What it measures.
        times: [us since 1970-01-01 UTC]
        values: As stored.
        logs: As `hand_logs` gathers them.
    """
    place = sensor.removeprefix(HAND)
    log = None if place == sensor else logs.get((place, Quantity(quantity)))
    if log is None:
        return values
    told = values.copy()
    for at_us, value in log.values.items():
        index = int(np.searchsorted(times, at_us))
        if index < times.size and times[index] == at_us:
            told[index] = np.nan if value is None else value
    return told


def cut_by(
    extremes: Iterable[Extremes], since: datetime, until: datetime | None
) -> Iterator[tuple[datetime, datetime | None, Extremes | None]]:
    """Cut a time where pairs begin and end: each piece with its pair, or None."""
    at = since
    for pair in extremes:
        begin = max(pair.since, at)
        end = pair.until if until is None else min(pair.until, until)
        if begin >= end:
            continue
        if at < begin:
            yield at, begin, None
        yield begin, end, pair
        at = end
    if until is None or at < until:
        yield at, until, None


def _has_extremes(fact: HandReading) -> bool:
    low, high = fact.minimum, fact.maximum
    # the desk refuses others; a journal from elsewhere is never refused afterwards
    return low is not None and high is not None and low <= high


def _log(entries: Iterable[Entry]) -> HandLog:
    extremes: list[Extremes] = []
    values: dict[int, float | None] = {}
    before: datetime | None = None
    for entry in entries:
        fact, at = entry.fact, entry.happened_at
        if not isinstance(fact, HandReading):
            continue
        low, high = fact.minimum, fact.maximum
        values[to_us(at)] = fact.value
        reset = fact.since or before
        if low is not None and high is not None and reset is not None:
            since = max(reset, before or reset, at - HAND_GAP)
            if since < at:
                extremes.append(Extremes(since, at, low, high))
        before = at
    return HandLog(tuple(_looking_ahead(extremes)), values)


def _looking_ahead(extremes: Sequence[Extremes]) -> Iterator[Extremes]:
    """Tell each pair the lowest of the one that follows it."""
    for pair, following in zip_longest(extremes, islice(extremes, 1, None)):
        if following is not None and following.since - pair.until <= FOLLOWS:
            yield msgspec.structs.replace(pair, next_lowest=following.lowest)
        else:
            yield pair
