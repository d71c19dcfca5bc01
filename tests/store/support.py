"""What tests of the store are made of."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import numpy as np

from monitor.alarms.alarm import Alarm, AlarmState
from monitor.clock import from_us, to_us
from monitor.heart.events import Reading
from monitor.site.words import Priority, Quantity
from monitor.store import Reader, Writer
from monitor.store.queries import Queries
from monitor.store.reading_queries import BEGINNING, as_reading
from monitor.store.rows import NewNotice

NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)
AIR = "air_temperature"
FIRST = datetime(2026, 1, 1, tzinfo=UTC)
LAST = datetime(2027, 1, 1, tzinfo=UTC)
END = datetime.max.replace(tzinfo=UTC)


def reading(minute: float, value: float = 21.5, sensor: str = "shelf-a") -> Reading:
    """A reading some minutes from NOW."""
    return Reading(sensor, AIR, NOW + timedelta(minutes=minute), value)


def put(writer: Writer, *readings: Reading, now: datetime = NOW) -> list[bool]:
    """Store readings in a transaction of their own."""
    with writer.transaction():
        return writer.add_readings(readings, now=now)


def every_reading(
    queries: Queries,
    sensor: str | None = None,
    start: datetime = BEGINNING,
    end: datetime = END,
) -> Iterator[Reading]:
    """Readings of every series, ordered by sensor, quantity and time."""
    for series in sorted((row.sensor, row.quantity) for row in queries.series()):
        if sensor in {None, series[0]}:
            times, values = queries.readings(*series, start, end)
            for ts_us, value in zip(times.tolist(), values.tolist(), strict=True):
                yield as_reading(*series, ts_us, value)


def stored(queries: Queries, sensor: str = "shelf-a") -> list[tuple[int, float]]:
    """All readings of a series as pairs."""
    times, values = queries.readings(sensor, AIR, FIRST, LAST)
    return list(zip(times.tolist(), values.tolist(), strict=True))


def pairs(*readings: Reading) -> list[tuple[int, float]]:
    """The same of readings that were given."""
    return sorted((to_us(r.time), r.value) for r in readings)


def minutes(day: datetime, n: int = 1440) -> tuple[np.ndarray, np.ndarray]:
    """Minute readings of 0.01 degC from the beginning of a day."""
    times = to_us(day) + np.arange(n, dtype=np.int64) * 60_000_000
    values = np.round(24 + np.sin(np.arange(n) / 229), 2)
    return times, values


def alarm(number: int = 1, **changes: object) -> Alarm:
    """An alarm of shelf A."""
    fields: dict[str, object] = {
        "id": number,
        "thing": "shelf-a",
        "kind": "outside-tolerated",
        "state": AlarmState.UNACKNOWLEDGED,
        "active": True,
        "priority": Priority.PROMPT,
        "since": NOW,
        "raised_at": NOW + timedelta(minutes=20),
        "quantity": Quantity.AIR_TEMPERATURE,
        "value": 29.5,
        "limit": 28.0,
    }
    return Alarm(**(fields | changes))


def notice(keeper: str = "ines", **changes: object) -> NewNotice:
    """A notice of alarm 1."""
    fields: dict[str, object] = {
        "keeper": keeper,
        "why": "raised",
        "priority": Priority.PROMPT,
        "alarms": (1,),
        "created": NOW,
        "subject": "shelf A too warm",
        "short": "shelf A 29.5 C",
        "long": "The air of shelf A is at 29.5 C.",
        "html": "<p>29.5 C</p>",
    }
    return NewNotice(**(fields | changes))


def reopened(writer: Writer) -> Writer:
    """The same store after a restart."""
    writer.close()
    return Writer.open(writer.directory, now=NOW)


def day_end(us: int) -> datetime:
    """The end of the UTC day of an instant."""
    return from_us((us // 86_400_000_000 + 1) * 86_400_000_000)


def read(writer: Writer) -> Reader:
    """A reader of the writer's store."""
    return Reader.open(writer.directory)
