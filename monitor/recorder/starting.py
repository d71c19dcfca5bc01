"""The start: the store's state, and what happened since it was saved."""

import logging
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import msgspec

from monitor.alarms.perhaps import newest
from monitor.clock import Clock
from monitor.heart.drive import events_of, play
from monitor.heart.events import Reading, Record
from monitor.heart.saving import loaded
from monitor.heart.state import SeriesState, State
from monitor.recorder.batch import Batch
from monitor.recorder.ledger import Ledger
from monitor.recorder.living import Living, plan_of
from monitor.recorder.wording import notices_of
from monitor.site.house import fold
from monitor.site.load import Configuration
from monitor.store.queries import Queries
from monitor.store.writer import Writer

log = logging.getLogger(__name__)

LOOK_BACK = timedelta(hours=2)
"""Readings before the saved state that are looked at again; known ones do nothing."""

MOST_TICKS = timedelta(hours=26)
"""Never more than this is played at the start."""


@dataclass(frozen=True, slots=True)
class OpenStore:
    """
    The store, opened in the recorder's thread, and what it held.

    Attributes:
        latest: The newest stored reading of each series.
        identity: Of the store, part of each Message-ID.
        mishap: What had to be done to open it, in words; "" for nothing.
    """

    ledger: Ledger
    living: Living
    latest: dict[tuple[str, str], Reading]
    identity: str
    mishap: str


def open_store(
    directory: Path, configuration: Configuration, clock: Clock
) -> OpenStore:
    """
    Open the store for writing and bring the state up to what it holds.

    Raises:
        StoreError: If it cannot be opened.
    """
    writer = Writer.open(directory, now=clock.now())
    try:
        ledger, queries = Ledger(writer), writer.reader()
        living, records = start(queries, configuration, clock.now())
        ledger.adopt(queries)
        first = Batch(clock.now(), configuration=configuration)
        first.records += records
        first.notices += notices_of(living, records)
        ledger.commit(first)
        return OpenStore(
            ledger,
            living,
            dict(queries.latest()),
            queries.identity(),
            writer.mishap or "",
        )
    except BaseException:
        writer.close()
        raise


def start(
    queries: Queries, configuration: Configuration, now: datetime
) -> tuple[Living, tuple[Record, ...]]:
    """
    Load the state and let happen what the store holds beyond it.

    Args:
        queries: The store.
        configuration: In force from now on.
        now: The instant of the start.

    Returns:
        What is true now, and records that playing the rest of the log made.
    """
    entries = tuple(queries.entries())
    house = fold(configuration.site, entries)
    # the first forecast may be long in coming: until then what was last taken up holds
    perhaps = newest(queries.perhaps())
    plan = plan_of(configuration, house, perhaps)
    alarms = {a.id: a for a in queries.alarms(open_only=True)}
    state = loaded(
        queries.states(), plan, alarms=alarms, next_alarm=queries.next_alarm_id()
    )
    # without a saved state everything that may still matter is played
    reached = max((s.time for s in state.series.values()), default=now - MOST_TICKS)
    since = max(reached - LOOK_BACK, now - MOST_TICKS)
    rest = sorted(
        (
            logged.reading
            for logged in queries.readings_since(since)
            if _is_new(logged.reading, state)
        ),
        key=lambda r: r.time,
    )
    records: tuple[Record, ...] = ()
    if rest:
        begin = min(rest[0].time, reached)
        state, records = play(state, events_of(rest, begin=begin, end=rest[-1].time))
        log.info("played the log", extra={"readings": len(rest)})
    state = _with_latest(state, queries)
    return Living(configuration, entries, house, state, perhaps), records


def _with_latest(state: State, queries: Queries) -> State:
    """Take the newest stored reading of a series that the state does not know."""
    series = dict(state.series)
    for key, reading in queries.latest().items():
        if key in state.plan.sensors and key not in series:
            series[key] = SeriesState(reading.time, reading.value)
    return msgspec.structs.replace(state, series=series)


def _is_new(reading: Reading, state: State) -> bool:
    heard = state.series.get((reading.sensor, reading.quantity))
    return heard is None or reading.time > heard.time
