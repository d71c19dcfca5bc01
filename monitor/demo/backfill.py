"""Eight weeks before the story, written into the store as sealed days."""

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from tqdm import tqdm

from monitor.clock import to_us
from monitor.demo.physics import Weather
from monitor.demo.plan import felt, offset_minutes
from monitor.demo.probes import delivered, measure
from monitor.demo.residents import hand_values
from monitor.demo.simulate import History, Snapshot, history, snapshot, truth
from monitor.site.house import HAND
from monitor.site.journal import Entry
from monitor.site.site_file import Sensor
from monitor.store.writer import Writer

DAYS = 56
"""Eight weeks."""

EVERY_MINUTES = 5
"""One reading of each series in so many minutes, or as often as it declares."""


@dataclass(frozen=True, slots=True)
class Track:
    """Readings of one series, in order of time."""

    sensor: str
    quantity: str
    times_us: NDArray[np.int64]
    values: NDArray[np.float64]


def tracks(
    sensors: Sequence[Sensor], past: History, *, began_at: datetime, seed: int
) -> Iterator[Track]:
    """
    What each sensor reported over the history: same noise for the same seed.

    Args:
        sensors: As site.toml declares them.
        past: The truth.
        began_at: Beginning of the story, from which the ages of the bins count. UTC.
        seed: Of the noise and of the radio.
    """
    streams = np.random.default_rng(seed).spawn(len(sensors))
    for sensor, rng in zip(sensors, streams, strict=True):
        spread_by = sensor.effective_topic if sensor.pointer else sensor.id
        what = felt(sensor.id, sensor.place, sensor.quantity)
        minutes = np.arange(len(past.epoch_s)) + int(past.epoch_s[0] // 60)
        every = min(EVERY_MINUTES, sensor.interval // timedelta(minutes=1))
        due = minutes % every == offset_minutes(spread_by, every)
        shown = measure(
            truth(past, what, began_at.timestamp())[due], sensor.quantity, rng
        )
        kept = delivered(len(shown), sensor.quantity, rng)
        times = (past.epoch_s[due][kept] * 1e6).astype(np.int64)
        yield Track(sensor.id, sensor.quantity.value, times, shown[kept])


def hand_tracks(entries: Sequence[Entry]) -> Iterator[Track]:
    """The hand readings of the journal, one track a place and quantity."""
    found: dict[tuple[str, str], list[tuple[int, float]]] = {}
    for place, quantity, at, value in hand_values(entries):
        found.setdefault((HAND + place, quantity.value), []).append((to_us(at), value))
    for (series, measured), values in found.items():
        times, numbers = zip(*values, strict=True)
        yield Track(series, measured, np.array(times), np.array(numbers))


def fill(
    store: Path,
    sensors: Sequence[Sensor],
    entries: Sequence[Entry],
    *,
    began_at: datetime,
    seed: int,
    days: int = DAYS,
) -> Snapshot:
    """
    Write readings and journal of the time before the story, with a progress bar.

    Args:
        store: The daemon's state directory.
        sensors: As site.toml declares them.
        entries: The journal.
        began_at: A whole minute; the last readings are of this instant. UTC.
        seed: Of noise and radio.
        days: How many days of readings.

    Returns:
        The state in which the live house begins.

    Raises:
        StoreError: If the store cannot be written.
    """
    past = history(began_at.timestamp(), days, Weather())
    with Writer.open(store, now=began_at) as writer:
        with writer.transaction():
            writer.add_entries(entries)
        series = tqdm(
            tracks(sensors, past, began_at=began_at, seed=seed),
            total=len(sensors),
            desc=f"{days} days of readings",
            unit="series",
        )
        for track in itertools.chain(series, hand_tracks(entries)):
            with writer.transaction():
                writer.import_day(
                    track.sensor, track.quantity, track.times_us, track.values
                )
    return snapshot(past)
