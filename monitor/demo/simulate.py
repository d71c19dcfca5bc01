"""The house over time: weeks at once for the back-fill, and step by step when live."""

from collections.abc import Mapping
from dataclasses import dataclass

import msgspec
import numpy as np
from numpy.typing import NDArray

from monitor.demo.physics import (
    Air,
    AirNode,
    AirState,
    Array,
    Broken,
    Mask,
    Weather,
    relax,
    self_heating_k,
)
from monitor.demo.plan import (
    AIR,
    CARBON_DIOXIDE_OUTDOORS_PPM,
    CARBON_DIOXIDE_PPM_K,
    DAY_S,
    DRYING_PERCENT_DAY,
    MINUTE_S,
    MOISTURE_PERCENT,
    SLOW,
    STEADY,
    Felt,
)
from monitor.site.words import Quantity

SPIN_UP_MINUTES = 360
"""Each day of the back-fill begins so long before midnight, from rest."""


@dataclass(frozen=True, slots=True)
class History:
    """
    The truth, minute by minute.

    Attributes:
        epoch_s: Seconds since 1970-01-01 UTC, one a minute.
        temperature_c: Of each body of air, (minutes, nodes).
        humidity_percent: The same.
        slow_c: Of each body of substrate, (minutes, bodies).
        last: State of the air at the end.
    """

    epoch_s: Array
    temperature_c: Array
    humidity_percent: Array
    slow_c: Array
    last: AirState


class Snapshot(msgspec.Struct, frozen=True):
    """The state at which the back-fill ended and the live house goes on."""

    at_s: float
    temperature_c: list[float]
    vapour_g_m3: list[float]
    heating: list[bool]
    cooling: list[bool]
    moistening: list[bool]
    slow_c: list[float]


def lift_k(epoch_s: NDArray[np.float64] | float, began_s: float) -> Array:
    """
    How much above its air each body of substrate would rest [K].

    Args:
        epoch_s: Instants, any shape; the bodies become the last axis.
        began_s: When the demo began, from which the ages of the bins count.
    """
    t = np.asarray(epoch_s, dtype=np.float64)
    lifts = [
        body.lift_k
        + self_heating_k(
            t - (began_s - body.set_up_days * DAY_S),
            highest_k=body.peak_k,
            peak_s=body.peak_s,
        )
        for body in SLOW
    ]
    return np.stack(np.broadcast_arrays(*lifts), axis=-1)


_AIR = Air(AIR)
_SURROUNDED_BY = np.array([_AIR.index[body.air] for body in SLOW])
_CONSTANTS_S = np.array([body.time_constant_s for body in SLOW])
_BINS = np.array([body.peak_k > 0 for body in SLOW])
_SLOW_INDEX = {body.id: i for i, body in enumerate(SLOW)}


def history(end_s: float, days: int, weather: Weather) -> History:
    """
    Simulate the *days* before *end_s*, ending at that minute.

    The air of all days is stepped side by side, each day from rest six hours
    earlier: a shelf forgets within the hour, a room within the six. Where two days
    meet, a temperature may jump inside the hysteresis of its thermostat. Substrate
    remembers for longer and is stepped through the whole time.

    Args:
        end_s: Instant of the last value, a whole minute.
        days: How many.
        weather: Outdoors.
    """
    minutes = int(DAY_S // MINUTE_S)
    start = end_s - (days * minutes - 1) * MINUTE_S
    begins: Array = (
        start + np.arange(days, dtype=np.float64) * DAY_S - SPIN_UP_MINUTES * MINUTE_S
    )
    kept_t = np.empty((minutes, days, len(AIR)))
    kept_rh = np.empty_like(kept_t)
    state = _AIR.at_rest(weather.temperature_c(begins), weather.vapour_g_m3(begins))
    whole = _AIR.whole()
    for k in range(SPIN_UP_MINUTES + minutes):
        now = begins + k * MINUTE_S
        state = _AIR.step(
            state,
            outdoor_c=weather.temperature_c(now),
            outdoor_vapour=weather.vapour_g_m3(now),
            dt_s=MINUTE_S,
            broken=whole,
        )
        if k >= SPIN_UP_MINUTES:
            kept_t[k - SPIN_UP_MINUTES] = state.temperature_c
            kept_rh[k - SPIN_UP_MINUTES] = state.humidity_percent
    epoch_s: Array = start + np.arange(days * minutes, dtype=np.float64) * MINUTE_S
    temperature = kept_t.swapaxes(0, 1).reshape(days * minutes, len(AIR))
    slow = _follow(temperature[:, _SURROUNDED_BY] + lift_k(epoch_s, end_s))
    return History(
        epoch_s,
        temperature,
        kept_rh.swapaxes(0, 1).reshape(days * minutes, len(AIR)),
        slow,
        AirState(
            state.temperature_c[-1],
            state.vapour_g_m3[-1],
            state.heating[-1],
            state.cooling[-1],
            state.moistening[-1],
        ),
    )


def _follow(rest: Array) -> Array:
    """Substrate after its surroundings, from rest at the first day's mean."""
    followed = np.empty_like(rest)
    value = rest[: int(DAY_S // MINUTE_S)].mean(axis=0)
    keep = np.exp(-MINUTE_S / _CONSTANTS_S)
    gained = rest * (1.0 - keep)
    for k in range(len(rest)):
        value = gained[k] + value * keep
        followed[k] = value
    return followed


def truth(past: History, what: Felt, began_s: float) -> Array:
    """What a probe would feel in each minute of the history."""
    if what.place in _SLOW_INDEX and what.quantity is Quantity.SUBSTRATE_TEMPERATURE:
        return past.slow_c[:, _SLOW_INDEX[what.place]]
    if what.quantity is Quantity.AIR_TEMPERATURE:
        return past.temperature_c[:, _AIR.index[what.place]]
    if what.quantity is Quantity.RELATIVE_HUMIDITY:
        return past.humidity_percent[:, _AIR.index[what.place]]
    return _of_others(past.epoch_s, what, began_s)


def _of_others(epoch_s: Array, what: Felt, began_s: float) -> Array:
    if what.quantity is Quantity.CARBON_DIOXIDE:
        lifts = lift_k(epoch_s, began_s)[..., _BINS].sum(axis=-1)
        return np.asarray(CARBON_DIOXIDE_OUTDOORS_PPM + CARBON_DIOXIDE_PPM_K * lifts)
    if what.quantity is Quantity.SUBSTRATE_MOISTURE:
        body = SLOW[_SLOW_INDEX[what.place]]
        age_d = (epoch_s - began_s) / DAY_S + body.set_up_days
        dried = DRYING_PERCENT_DAY * np.maximum(age_d, 0.0)
        return np.asarray(MOISTURE_PERCENT - dried)
    if what.quantity in STEADY:
        return np.full_like(epoch_s, STEADY[what.quantity])
    raise ValueError(f"no physics for {what.quantity} of {what.place}")


def snapshot(past: History) -> Snapshot:
    """The end of the history, for the live house."""
    last = past.last
    return Snapshot(
        float(past.epoch_s[-1]),
        last.temperature_c.tolist(),
        last.vapour_g_m3.tolist(),
        last.heating.tolist(),
        last.cooling.tolist(),
        last.moistening.tolist(),
        past.slow_c[-1].tolist(),
    )


class LiveHouse:
    """The same physics, stepped along with the clock, with things that break."""

    STEP_S = 15.0

    def __init__(self, begin: Snapshot, weather: Weather) -> None:
        self._weather = weather
        self.began_s = self.now_s = begin.at_s
        self.air = AirState(
            np.array(begin.temperature_c),
            np.array(begin.vapour_g_m3),
            np.array(begin.heating),
            np.array(begin.cooling),
            np.array(begin.moistening),
        )
        self.slow_c = np.array(begin.slow_c)
        self._heaters: Mask = np.zeros(len(AIR), dtype=np.bool_)
        self._humidifiers: Mask = np.zeros(len(AIR), dtype=np.bool_)

    def set_heater(self, place: str, *, works: bool) -> None:
        """Break or mend the heater of a place."""
        self._heaters[_AIR.index[place]] = not works

    def set_humidifier(self, place: str, *, works: bool) -> None:
        """Break or mend the humidifier of a place."""
        self._humidifiers[_AIR.index[place]] = not works

    def advance(self, to_s: float) -> None:
        """Step until the instant *to_s* is reached [s since 1970-01-01 UTC]."""
        while self.now_s < to_s:
            dt = min(self.STEP_S, to_s - self.now_s)
            self.air = _AIR.step(
                self.air,
                outdoor_c=self._weather.temperature_c(self.now_s),
                outdoor_vapour=self._weather.vapour_g_m3(self.now_s),
                dt_s=dt,
                broken=Broken(self._heaters, self._humidifiers),
            )
            self.now_s += dt
            rest = self.air.temperature_c[_SURROUNDED_BY] + lift_k(
                self.now_s, self.began_s
            )
            self.slow_c = relax(self.slow_c, rest, dt_s=dt, constant_s=_CONSTANTS_S)

    def feels(self, what: Felt) -> float:
        """What a probe feels now."""
        if (
            what.place in _SLOW_INDEX
            and what.quantity is Quantity.SUBSTRATE_TEMPERATURE
        ):
            return float(self.slow_c[_SLOW_INDEX[what.place]])
        if what.quantity is Quantity.AIR_TEMPERATURE:
            return float(self.air.temperature_c[_AIR.index[what.place]])
        if what.quantity is Quantity.RELATIVE_HUMIDITY:
            return float(self.air.humidity_percent[_AIR.index[what.place]])
        return float(_of_others(np.array(self.now_s), what, self.began_s))


def places() -> Mapping[str, AirNode]:
    """The bodies of air by id."""
    return {node.id: node for node in AIR}
