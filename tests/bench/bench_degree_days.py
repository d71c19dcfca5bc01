"""
Degree-days from arrays: M readings/s on one core, beside a pure Python loop.

Run ``python -m tests.bench.bench_degree_days``. Medians of several runs are printed.
The budget is 60 M readings/s; on a machine that is busy with other work, which slows
both alike, the same as a ratio to the loop (1.9 M/s where the budget was set).
"""

import statistics
import sys
import time
from collections.abc import Callable
from datetime import timedelta
from functools import partial
from typing import get_args

import numpy as np
from numpy.typing import NDArray

from monitor.science.degree_days import Cutoff, integrate

READINGS = 5_000_000
SENSORS = 50
PYTHON_READINGS = 200_000
RUNS = 7
GAP = timedelta(minutes=15)
LOWER, UPPER = 10.0, 30.0
BUDGET = 60e6
BUDGET_RATIO = BUDGET / 1.9e6


def series(count: int) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """A year-like series at one reading a minute that crosses both thresholds."""
    random = np.random.default_rng(7)
    times = np.arange(count, dtype=np.int64) * 60_000_000
    days = np.arange(count) / 1440
    values = 20 + 12 * np.sin(2 * np.pi * days) + random.normal(0, 0.1, count)
    return times, values


def area(low: float, high: float, threshold: float) -> float:
    """Mean of max(0, T - threshold) over the line from low to high."""
    u, v = low - threshold, high - threshold
    if u >= 0 and v >= 0:
        return (u + v) / 2
    if u <= 0 and v <= 0:
        return 0.0
    return float(max(u, v) ** 2 / (2 * abs(v - u)))


def pure_python(times: list[int], values: list[float]) -> float:
    """The same sum in a plain loop over pairs."""
    gap = int(GAP.total_seconds() * 1e6)
    total = 0.0
    for index in range(1, len(times)):
        span = times[index] - times[index - 1]
        if span <= gap:
            a, b = values[index - 1], values[index]
            total += span * (area(a, b, LOWER) - area(a, b, UPPER))
    return total / 86_400e6


def all_sensors(
    times: NDArray[np.int64], many: list[NDArray[np.float64]], cutoff: Cutoff
) -> None:
    """The sums of all sensors, one after the other."""
    for values in many:
        integrate(
            times, values, lower_c=LOWER, upper_c=UPPER, cutoff=cutoff, max_gap=GAP
        )


def median_rate(work: Callable[[], object], readings: int) -> float:
    """Readings per second, the median of several runs."""
    rates = []
    for _ in range(RUNS):
        begun = time.perf_counter()
        work()
        rates.append(readings / (time.perf_counter() - begun))
    return statistics.median(rates)


def main() -> int:
    """Print the figures; 1 where the budget is missed."""
    each = READINGS // SENSORS
    times, values = series(each)
    many = [values + 0.01 * n for n in range(SENSORS)]
    slow = median_rate(
        lambda: pure_python(
            times[:each].tolist()[:PYTHON_READINGS], values.tolist()[:PYTHON_READINGS]
        ),
        min(each, PYTHON_READINGS),
    )
    rates = {}
    for cutoff in get_args(Cutoff):
        fast = median_rate(partial(all_sensors, times, many, cutoff), each * SENSORS)
        rates[cutoff] = fast
        sys.stdout.write(
            f"degree-days, {cutoff}: {fast / 1e6:.1f} M readings/s,"
            f" {fast / slow:.0f} times a pure Python loop ({slow / 1e6:.2f} M/s)\n"
        )
    whole = rates["horizontal"]
    agrees = abs(
        pure_python(times.tolist(), values.tolist())
        - integrate(
            times, values, lower_c=LOWER, upper_c=UPPER, max_gap=GAP
        ).degree_days
    )
    sys.stdout.write(f"both sums agree to {agrees:.1e} degree-days\n")
    return 0 if whole >= BUDGET or whole / slow >= BUDGET_RATIO else 1


if __name__ == "__main__":
    sys.exit(main())
