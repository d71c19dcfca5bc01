"""
Measure the store; prints medians of three and ratios. Run from the checkout root.

Rates depend on the disk of this run, so each stands beside a yardstick of the same run.
"""

import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from monitor.clock import from_us, to_us
from monitor.heart.events import Reading
from monitor.store import Writer
from monitor.store.connection import FILE

START = datetime(2026, 1, 1, tzinfo=UTC)
BATCH = 500
DAY = 1440
TURNS = 3


def say(line: str) -> None:
    """Print one line of the result."""
    sys.stdout.write(line + "\n")


def day_of_minutes(day: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """A day of minute readings, jitter of 2 s in microseconds, 0.01 degC."""
    noise = np.random.default_rng(seed * 1000 + day)
    first = to_us(START + timedelta(days=day)) + 5_000_000
    times = first + np.arange(DAY) * 60_000_000 + noise.integers(0, 2_000_000, DAY)
    wave = 24 + 2 * np.sin(np.arange(DAY) / DAY * 2 * np.pi)
    return times, np.round(wave + noise.normal(0, 0.05, DAY), 2)


def median_s(work: Callable[[], object]) -> float:
    """Median time of a few runs, in seconds."""
    took = []
    for _ in range(TURNS):
        began = time.perf_counter()
        work()
        took.append(time.perf_counter() - began)
    return statistics.median(took)


def insert_rate(directory: Path) -> None:
    """Readings a second in batches of 500, one commit each."""
    with Writer.open(directory, now=START) as writer:
        minute = -1

        def batch() -> list[Reading]:
            nonlocal minute
            minute += 1
            at = START + timedelta(minutes=minute)
            return [
                Reading(f"probe-{n:03d}", "air_temperature", at, 20 + n / 100)
                for n in range(BATCH)
            ]

        batches = [batch() for _ in range(100 * TURNS)]
        todo = iter(batches)

        def hundred() -> None:
            for _ in range(100):
                with writer.transaction():
                    writer.add_readings(next(todo), now=START)

        took = median_s(hundred)
        page = bytes(4096 * 4)
        with (directory / "yardstick").open("wb", buffering=0) as file:

            def yardstick() -> None:
                for _ in range(100):
                    file.write(page)
                    os.fdatasync(file.fileno())

            bare = median_s(yardstick)
    say(f"insert: {100 * BATCH / took:,.0f} readings/s in batches of {BATCH};")
    say(f"  {took / bare:.1f} times 100 bare writes of 16 KiB with fdatasync")


def sealed_year(directory: Path) -> None:
    """Bytes per sealed reading; a year of one series beside np.load."""
    series = 4
    with Writer.open(directory, now=START) as writer:
        for number in range(series):
            with writer.transaction():
                for day in range(365):
                    run = day_of_minutes(day, number)
                    writer.import_day(f"probe-{number}", "air_temperature", *run)
        writer.checkpoint()
        size = (directory / FILE).stat().st_size
        end = START + timedelta(days=366)
        reader = writer.reader()
        year = reader.readings("probe-1", "air_temperature", START, end)
        np.save(directory / "year.npy", np.stack([year[0].view(np.float64), year[1]]))
        took = median_s(
            lambda: reader.readings("probe-1", "air_temperature", START, end)
        )
        bare = median_s(lambda: np.load(directory / "year.npy"))
    say(f"sealed: {size / (series * 365 * DAY):.2f} bytes a reading, all included")
    say(f"a year of one series ({len(year[0]):,} readings): {took * 1000:.1f} ms,")
    say(f"  {took / bare:.1f} times np.load of the same ({bare * 1000:.1f} ms)")
    opened = median_s(lambda: Writer.open(directory, now=START).close())
    say(f"open with {size / 1e6:.0f} MB: {opened * 1000:.0f} ms")


def a_day(directory: Path) -> None:
    """Seal a day of 100 series; open with a full hot log."""
    probes = 100
    with Writer.open(directory, now=START) as writer:
        for minute in range(DAY):
            at = START + timedelta(minutes=minute)
            with writer.transaction():
                writer.add_readings(
                    [
                        Reading(f"probe-{n}", "air_temperature", at, 20 + n / 100)
                        for n in range(probes)
                    ],
                    now=at,
                )
    rows = probes * DAY
    opened = median_s(lambda: Writer.open(directory, now=START).close())
    say(f"open with {rows:,} hot readings: {opened * 1000:.0f} ms")
    with Writer.open(directory, now=START) as writer:
        latest = median_s(writer.reader().latest)
        began = time.perf_counter()
        moved = writer.seal(from_us(to_us(START) + 86_400_000_000))
        took = time.perf_counter() - began
    say(f"latest of {probes} series: {latest * 1000:.1f} ms")
    say(f"seal a day: {moved / took:,.0f} readings/s ({took:.2f} s)")


if __name__ == "__main__":
    for measure in (insert_rate, sealed_year, a_day):
        with tempfile.TemporaryDirectory() as folder:
            measure(Path(folder))
