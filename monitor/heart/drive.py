"""The step driven over recorded readings: at start, in replay, in tests."""

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, timedelta
from itertools import groupby

from monitor.heart.events import Event, Reading, Readings, Record, Tick
from monitor.heart.state import State
from monitor.heart.step import step

TICK = timedelta(seconds=10)
"""Ticks come at whole multiples of this."""

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def tick_after(at: datetime) -> datetime:
    """The first whole multiple of `TICK` later than *at*."""
    return _EPOCH + ((at - _EPOCH) // TICK + 1) * TICK


def ticks_between(after: datetime, until: datetime) -> Iterator[datetime]:
    """Every tick later than *after*, up to and with *until*."""
    tick = tick_after(after)
    while tick <= until:
        yield tick
        tick += TICK


def events_of(
    readings: Iterable[Reading], *, begin: datetime, end: datetime
) -> Iterator[Event]:
    """
    Order readings and ticks as a live daemon would have met them.

    Args:
        readings: In order of time, later than *begin*.
        begin: Where the ticks start.
        end: Where they stop.
    """
    reached = begin
    for instant, together in groupby(readings, key=lambda r: r.time):
        for tick in ticks_between(reached, instant - timedelta(microseconds=1)):
            yield Tick(tick)
        reached = max(reached, instant - timedelta(microseconds=1))
        yield Readings(instant, tuple(together))
    for tick in ticks_between(reached, end):
        yield Tick(tick)


def play(state: State, events: Iterable[Event]) -> tuple[State, tuple[Record, ...]]:
    """Let events happen one after the other; the records of all of them."""
    records: list[Record] = []
    for event in events:
        state, made = step(state, event)
        records += made
    return state, tuple(records)
