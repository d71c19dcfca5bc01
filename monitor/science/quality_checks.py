"""
Quality checks of a series of readings, named and meant as in the QARTOD manuals.

U.S. IOOS, Manuals for Real-Time Quality Control (tests 1, 4, 6, 7, 8 and 10). Every
threshold is the house's: none has a default. What differs from the manuals, or from
programs that follow them, stands with each check.
"""

import math
from dataclasses import dataclass
from datetime import timedelta
from typing import Protocol

import numpy as np

from monitor.science.curve import MICROSECOND, Values
from monitor.science.quality_flags import (
    MISSING,
    PASS,
    FlagArray,
    graded,
    not_evaluated,
)
from monitor.science.stretches import Bools, Stretches, extremes

HOUR_US = 3_600_000_000
"""Microseconds of an hour."""

NOTHING = timedelta()


class Check(Protocol):
    """One check: a flag for every reading."""

    @property
    def lookback(self) -> timedelta:
        """How far back a flag depends on readings, beyond the one just before."""

    def judge(self, readings: Stretches) -> FlagArray:
        """Flag each reading; what is said of one without a finite value is unheard."""


@dataclass(frozen=True, slots=True)
class GrossRange:
    """
    Test 4: outside *fail* 4, outside *suspect* 3; limits are inside.

    Raises:
        ValueError: If a low is not below its high, or suspect is not within fail.
    """

    fail: tuple[float, float]
    suspect: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        _rising("fail", self.fail)
        if self.suspect is None:
            return
        _rising("suspect", self.suspect)
        if not (self.fail[0] <= self.suspect[0] and self.suspect[1] <= self.fail[1]):
            raise ValueError(
                f"suspect {list(self.suspect)} does not lie within fail"
                f" {list(self.fail)}: narrow suspect or widen fail"
            )

    @property
    def lookback(self) -> timedelta:
        """A value speaks for itself."""
        return NOTHING

    def judge(self, readings: Stretches) -> FlagArray:
        """Flag each reading."""
        suspect = self.fail if self.suspect is None else self.suspect
        values = readings.values
        return graded(_outside(values, suspect), _outside(values, self.fail))


@dataclass(frozen=True, slots=True)
class _Stepwise:
    """
    A check of what lies between a reading and its neighbours.

    Attributes:
        suspect: Above it 3. [unit of the series; of a rate, per hour]
        fail: Above it 4; None where nothing fails.

    Raises:
        ValueError: If suspect is not above zero, or not below fail.
    """

    suspect: float
    fail: float | None = None

    def __post_init__(self) -> None:
        _positive("suspect", self.suspect)
        _below("suspect", self.suspect, "fail", self.fail)

    @property
    def lookback(self) -> timedelta:
        """The neighbours only."""
        return NOTHING


@dataclass(frozen=True, slots=True)
class Spike(_Stepwise):
    """
    Test 6 in its differential form: one reading stands out between its neighbours.

    The smaller of the two steps, where they run in opposite directions, above the
    limit. The form by the mean of the neighbours also blames the good ones. 2 for the
    newest reading until the next has come, and beside a missing value or gap. Two
    readings that stand out together are no spike: see `RateOfChange`.
    """

    def judge(self, readings: Stretches) -> FlagArray:
        """Flag each reading."""
        flags = not_evaluated(readings.values.shape[0])
        steps = _steps(readings.values)
        before, after = steps[:-1], steps[1:]
        turns = np.sign(before) * np.sign(after) < 0
        size = np.where(turns, np.minimum(np.abs(before), np.abs(after)), 0.0)
        joined = readings.joined
        both = joined[1:-1] & joined[2:]
        found = graded(size > self.suspect, _above(size, self.fail))
        flags[1:-1] = np.where(both, found, flags[1:-1])
        return flags


@dataclass(frozen=True, slots=True)
class RateOfChange(_Stepwise):
    """
    Test 7 with a fixed limit: change since the reading before, per hour of real time.

    Which of the two readings is bad is unknown: both edges of a spike are flagged.
    Across a gap the mean rate is a lower bound: beyond the limit it is flagged, else
    2. The first reading and one after a missing value are 2, not 1, and so is one
    across more than the bridge of the readings.
    """

    def judge(self, readings: Stretches) -> FlagArray:
        """Flag each reading."""
        flags = not_evaluated(readings.values.shape[0])
        change = np.abs(_steps(readings.values))
        apart = readings.times_us[1:] - readings.times_us[:-1]
        # by the product: a division would find 24.000000000000004 per hour in an
        # exact 2 within 5 minutes
        over = change > self.suspect * apart / HOUR_US
        fail = None if self.fail is None else change > self.fail * apart / HOUR_US
        found = graded(over, fail)
        known = readings.usable[1:] & readings.usable[:-1] & readings.bridged
        known &= readings.joined[1:] | (found != PASS)
        flags[1:] = np.where(known, found, flags[1:])
        return flags


@dataclass(frozen=True, slots=True)
class FlatLine:
    """
    Test 8 in real time: readings have not moved for a span.

    The run that a reading ends lasts from its first reading to this one; a gap or a
    missing value ends a run, since nobody knows what was there. Readings of a run that
    is still too short pass, and keep that flag when it has grown. Elsewhere the span
    is turned into a count of readings, which a gap deceives.

    Attributes:
        suspect: From this duration on 3.
        tolerance: Highest minus lowest of the run is at most this; 0 for readings
            that are equal. [unit of the series]
        fail: From this duration on 4; None where nothing fails.

    Raises:
        ValueError: If a span is not above zero, suspect is not below fail, or
            tolerance is below zero.
    """

    suspect: timedelta
    tolerance: float
    fail: timedelta | None = None

    def __post_init__(self) -> None:
        _long("suspect", self.suspect)
        if self.fail is not None and not self.suspect < self.fail:
            raise ValueError(
                f"suspect {self.suspect} must be shorter than fail {self.fail}"
                " (swap them?)"
            )
        if not 0 <= self.tolerance < math.inf:
            raise ValueError(
                f"tolerance {self.tolerance} must not be below zero: give half a step"
                " of the probe, or 0 for readings that are equal"
            )

    @property
    def lookback(self) -> timedelta:
        """The longer span."""
        return self.suspect if self.fail is None else self.fail

    def judge(self, readings: Stretches) -> FlagArray:
        """Flag each reading."""
        fail = None if self.fail is None else self._still(readings, self.fail)
        return graded(self._still(readings, self.suspect), fail)

    def _still(self, readings: Stretches, span: timedelta) -> Bools:
        since = readings.since(span)
        full = since >= readings.start
        first = np.where(full, since, readings.index)
        lowest, highest = extremes(readings.values, first)
        return full & (highest - lowest <= self.tolerance)


@dataclass(frozen=True, slots=True)
class AttenuatedSignal:
    """
    Test 10 by the range: readings move too little within a period.

    Highest minus lowest of the readings of the last *period* (its far end excluded).
    2 until a stretch without gap or missing value is as long as the period, and where
    the readings span less than half of it. Ranges at the limit pass.

    Attributes:
        period: Of the rolling window.
        suspect: A range below it is 3. [unit of the series]
        fail: A range below it is 4; None where nothing fails.

    Raises:
        ValueError: If the period or a limit is not above zero, or fail is not below
            suspect.
    """

    period: timedelta
    suspect: float
    fail: float | None = None

    def __post_init__(self) -> None:
        _long("period", self.period)
        _positive("suspect", self.suspect)
        if self.fail is not None:
            _positive("fail", self.fail)
            _below("fail", self.fail, "suspect", self.suspect)

    @property
    def lookback(self) -> timedelta:
        """The period."""
        return self.period

    def judge(self, readings: Stretches) -> FlagArray:
        """Flag each reading."""
        since = readings.since(self.period)
        full = since >= readings.start
        first = np.where(full, since + 1, readings.index)
        times = readings.times_us
        full &= 2 * (times - times[first]) >= self.period // MICROSECOND
        lowest, highest = extremes(readings.values, first)
        moved = highest - lowest
        found = graded(
            moved < self.suspect, None if self.fail is None else moved < self.fail
        )
        return np.where(full, found, not_evaluated(readings.values.shape[0]))


@dataclass(frozen=True, slots=True)
class Gap:
    """
    Test 1: too long since the reading before.

    The first reading after the gap carries the flag, and it is 9: what is missing
    lies before it, and its own value may be good. (The manual's result is 9 too; a
    program gives 4, as if the value were bad.) Of readings with a bridge the first
    is 9 too: nothing came within the longest span before it, as far as anybody looks.

    Attributes:
        longest: Two readings further apart have a gap between them.

    Raises:
        ValueError: If it is not above zero.
    """

    longest: timedelta

    def __post_init__(self) -> None:
        _long("longest", self.longest)

    @property
    def lookback(self) -> timedelta:
        """The longest span: it may hold the reading before."""
        return self.longest

    def judge(self, readings: Stretches) -> FlagArray:
        """Flag each reading."""
        flags = np.full(readings.values.shape, PASS, dtype=np.int8)
        if readings.bridge is not None:
            flags[:1] = MISSING
        apart = readings.times_us[1:] - readings.times_us[:-1]
        flags[1:][apart > self.longest // MICROSECOND] = MISSING
        return flags


def _steps(values: Values) -> Values:
    return values[1:] - values[:-1]


def _outside(values: Values, span: tuple[float, float]) -> Bools:
    return ~((span[0] <= values) & (values <= span[1]))


def _above(values: Values, limit: float | None) -> Bools | None:
    return None if limit is None else values > limit


def _rising(name: str, span: tuple[float, float]) -> None:
    low, high = span
    if not -math.inf < low < high < math.inf:
        raise ValueError(f"{name}: low {low} is not below high {high} (swap them?)")


def _positive(name: str, value: float) -> None:
    if not 0 < value < math.inf:
        raise ValueError(f"{name} {value} must be above zero: give the unit's number")


def _below(name: str, value: float, other: str, limit: float | None) -> None:
    if limit is not None and not value < limit < math.inf:
        raise ValueError(f"{name} {value} is not below {other} {limit} (swap them?)")


def _long(name: str, span: timedelta) -> None:
    if not span > NOTHING:
        raise ValueError(f"{name} {span} must be above zero: give a span of time")
