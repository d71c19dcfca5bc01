"""
Degree-days from arrays: M readings/s on one core, beside a pure Python loop.

Beside it on the same data: the daily single sine of each day's extremes, resampled by
pandas and by NumPy, and the summation of each rate model.

Run ``python -m tests.bench.bench_degree_days``. Medians of several runs are printed; a
machine that is busy with other work slows all of them alike. The budget is 60 M
readings/s under each cutoff.
"""

import statistics
import sys
import time
from collections.abc import Callable
from datetime import timedelta
from functools import partial
from typing import get_args

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from monitor.science.daily import degree_days_of_days
from monitor.science.degree_days import DAY_US, Cutoff, integrate
from monitor.science.rate_models import MODELS
from monitor.science.summation import develop

READINGS = 5_000_000
SENSORS = 50
PYTHON_READINGS = 200_000
MODEL_READINGS = 500_000
RUNS = 7
GAP = timedelta(minutes=15)
LOWER, UPPER = 10.0, 30.0
BUDGET = 60e6

FITS = {
    # one stage of Cydia pomonella, Aghdam et al. 2009; Lactin-1: Lactin et al. 1995;
    # Sharpe and Schoolfield: Carposina sasakii, Kim et al. 2001
    "linear": {"T0": 9.706, "K": 588.2},
    "briere-1": {"a": 2e-5, "T0": 9.6188, "Tm": 36.5508},
    "briere-2": {"a": 3.4e-5, "T0": 7.7659, "Tm": 34.126, "m": 3.8342},
    "logan-6": {"phi": 0.0118, "rho": 0.1704, "Tm": 36.1906, "dT": 5.7743},
    "lactin-1": {"rho": 0.154034, "Tm": 38.953357, "dT": 6.467896},
    "lactin-2": {"rho": 0.0018, "Tm": 43.0451, "dT": 2.2827, "lambda": -1.0198},
    "sharpe-schoolfield-high": {
        "p25": 0.1721,
        "HA": 22734.0133,
        "TH": 304.6372,
        "HH": 47922.0620,
    },
    "taylor": {"Rm": 0.0316, "Tm": 29.9478, "To": 8.599},
}


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


def by_day(
    times: NDArray[np.int64], many: list[NDArray[np.float64]], cutoff: Cutoff
) -> None:
    """Degree-days of all sensors from each day's extremes, by the single sine."""
    days = times // DAY_US
    begins = np.flatnonzero(np.diff(days, prepend=days[0] - 1))
    for values in many:
        degree_days_of_days(
            np.minimum.reduceat(values, begins),
            np.maximum.reduceat(values, begins),
            lower=LOWER,
            upper=UPPER,
            method="single-sine",
            cutoff=cutoff,
        )


def by_day_in_pandas(times: NDArray[np.int64], many: list[NDArray[np.float64]]) -> None:
    """The same from daily extremes that pandas resamples, one sensor at a time."""
    index = pd.to_datetime(times, unit="us")
    for values in many:
        daily = pd.Series(values, index).resample("D")
        degree_days_of_days(
            daily.min().to_numpy(),
            daily.max().to_numpy(),
            lower=LOWER,
            upper=UPPER,
            method="single-sine",
        )


def median_rate(work: Callable[[], object], readings: int) -> float:
    """Readings per second, the median of several runs."""
    rates = []
    for _ in range(RUNS):
        begun = time.perf_counter()
        work()
        rates.append(readings / (time.perf_counter() - begun))
    return statistics.median(rates)


def print_models() -> None:
    """Print the rate of summation of each model."""
    long_times, long_values = series(MODEL_READINGS)
    for name, fitted in FITS.items():
        rate = MODELS[name].fitted(fitted)
        summed = partial(develop, long_times, long_values, rate, max_gap=GAP)
        sys.stdout.write(
            f"summation, {name}:"
            f" {median_rate(summed, MODEL_READINGS) / 1e6:.1f} M readings/s\n"
        )


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
    resampled = {
        "pandas": partial(by_day_in_pandas, times, many),
        "NumPy": partial(by_day, times, many, "horizontal"),
    }
    for who, work in resampled.items():
        sine = median_rate(work, each * SENSORS)
        sys.stdout.write(
            f"resampled to days by {who}, single sine: {sine / 1e6:.1f} M readings/s;"
            f" the exact integral does {rates['horizontal'] / sine:.2f} times as many\n"
        )
    print_models()
    agrees = abs(
        pure_python(times.tolist(), values.tolist())
        - integrate(
            times, values, lower_c=LOWER, upper_c=UPPER, max_gap=GAP
        ).degree_days
    )
    sys.stdout.write(f"both sums agree to {agrees:.1e} degree-days\n")
    return 0 if min(rates.values()) >= BUDGET else 1


if __name__ == "__main__":
    sys.exit(main())
