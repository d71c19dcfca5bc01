"""
What a probe reads when it fails: values that its chip or its driver gives for none.

Only what a single series can tell for certain. Left out on purpose: 25.0 degC, which
copies of a common thermometer read after power-on, and 100 %, at which drivers cut,
for both are honest readings here; and doubled or halved values of a bad line, which
are spikes. Values as sent: a calibration would move them away.
"""

import math
from dataclasses import dataclass
from datetime import timedelta

import numpy as np

from monitor.science.quality_flags import FAIL, NOT_EVALUATED, PASS, FlagArray
from monitor.science.stretches import Bools, Stretches, extremes

WITHIN = timedelta(hours=1)
"""A jump is seen against readings less than this away. Own choice: what stays at a
value for longer may be a heap that burns, and is never silenced."""

JUMP = 20.0
"""Nothing that lives in a house, nor a heap of tonnes, changes so much within that
time. Own choice. [K, or percent of humidity]"""

_DIGITS = 0.005
"""Senders round to two digits; the steps of the chips are coarser. [unit]"""


@dataclass(frozen=True, slots=True)
class Signature:
    """
    A span of values that means failure.

    Attributes:
        low: Lowest of them, itself one. [unit of the series]
        high: Highest of them, itself one. [unit of the series]
        jump: None where the value alone is certain; else how far readings nearby must
            be from it. [unit of the series]

    Raises:
        ValueError: If low is above high, or the jump is not above zero.
    """

    low: float
    high: float
    jump: float | None = None

    def __post_init__(self) -> None:
        if not self.low <= self.high:
            raise ValueError(f"low {self.low} is above high {self.high} (swap them?)")
        if self.jump is not None and not 0 < self.jump < math.inf:
            raise ValueError(f"jump {self.jump} must be above zero, or None")


def _exactly(value: float, jump: float | None = None) -> Signature:
    return Signature(value - _DIGITS, value + _DIGITS, jump)


TEMPERATURE: tuple[Signature, ...] = (
    # milesburton/Arduino-Temperature-Control-Library, DallasTemperature.h: disconnected
    _exactly(-127.0),
    # the same file: thermocouple open, shorted to ground, shorted to supply
    _exactly(-254.0),
    _exactly(-253.0),
    _exactly(-252.0),
    # cpetrich/counterfeit_DS18B20, README: 0x07FF / 16, a conversion that failed
    _exactly(127.9375),
    # SHT4x data sheet: -45 + 175 raw / 65535 at raw 0xFFFF, a line held high
    _exactly(130.0),
    # issues of public sensor firmware: bad contact or supply of a BME280
    Signature(-150.0, -140.0),
    # DS18B20 data sheet: register after power-on; BME280_SensorAPI, bme280.c: clamp
    _exactly(85.0, JUMP),
    _exactly(-40.0, JUMP),
    # SHT4x data sheet, the same formula at raw 0x0000: a line held low
    _exactly(-45.0, JUMP),
)
"""In degC."""

HUMIDITY: tuple[Signature, ...] = (
    # SHT4x data sheet: -6 + 125 raw / 65535 at raw 0x0000, cut at 0
    _exactly(0.0, JUMP),
)
"""In percent relative humidity of air."""


@dataclass(frozen=True, slots=True)
class Signatures:
    """
    The check of known failure values: 4 where certain, never 3.

    Of a value that only a jump betrays, any reading less than `WITHIN` before it and
    the one next to come are evidence, unless they are failure values themselves; 2
    where there is no such reading.
    """

    known: tuple[Signature, ...]

    @property
    def lookback(self) -> timedelta:
        """How far back a flag depends on readings."""
        return WITHIN if any(s.jump is not None for s in self.known) else timedelta()

    def judge(self, readings: Stretches) -> FlagArray:
        """Flag each reading."""
        values = readings.values
        flags = np.full(values.shape, PASS, dtype=np.int8)
        hits = [
            readings.usable & (s.low <= values) & (values <= s.high) for s in self.known
        ]
        failed = np.logical_or.reduce([np.zeros(values.shape, np.bool_), *hits])
        jumping = [
            (hit, s.jump)
            for hit, s in zip(hits, self.known, strict=True)
            if s.jump is not None and hit.any()
        ]
        if jumping:
            below, above = _distances(readings, readings.usable & ~failed)
            for hit, jump in jumping:
                flags[hit & np.isneginf(below)] = NOT_EVALUATED
                flags[hit & (np.maximum(below, above) > jump)] = FAIL
        for hit, s in zip(hits, self.known, strict=True):
            if s.jump is None:
                flags[hit] = FAIL
        return flags


def _distances(readings: Stretches, honest: Bools) -> tuple[np.ndarray, np.ndarray]:
    """How far honest readings nearby are below and above each; -inf if none is."""
    values, times = readings.values, readings.times_us
    first = readings.since(WITHIN) + 1
    lowest, _ = extremes(np.where(honest, values, np.inf), first)
    _, highest = extremes(np.where(honest, values, -np.inf), first)
    near = honest[1:] & (times[1:] - times[:-1] < WITHIN // timedelta(microseconds=1))
    near &= readings.bridged
    following = values[1:]
    lowest[:-1] = np.where(near, np.minimum(lowest[:-1], following), lowest[:-1])
    highest[:-1] = np.where(near, np.maximum(highest[:-1], following), highest[:-1])
    return values - lowest, highest - values
