"""
Heat and water of the simulated house: first-order balances, pure, stepped exactly.

Every body of air or substrate exchanges heat with what surrounds it through one
conductance and stores it in one capacity; vapour is exchanged with the air of the
surroundings. That is the simplest physics which has the behaviour that a monitor
must be able to watch: sawteeth of thermostats, day and night, slow substrate,
exponential cooling after a heater died. Neglected: radiation, draughts, the heat
that shelves give to their room, and the heat of evaporation.

All parameters of houses are our own choice for the demo; see `monitor.demo.plan`.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

YEAR_S = 365.2425 * 86400.0
DAY_S = 86400.0
GAS_CONSTANT_OF_VAPOUR = 461.52
"""Specific gas constant of water vapour [J kg-1 K-1]."""


def saturation_vapour_g_m3(temperature_c: ArrayLike) -> Array:
    """
    Mass of vapour in saturated air over water [g m-3].

    Args:
        temperature_c: Of the air. [degC]

    References:
        WMO-No. 8 (2008), Annex 4.B, pure-phase Magnus form, and the gas law:
        `monitor.science.air` is more exact, and for one value at a time.
    """
    t = np.asarray(temperature_c, dtype=np.float64)
    pressure_pa = 611.2 * np.exp(17.62 * t / (243.12 + t))
    return np.asarray(1000.0 * pressure_pa / (GAS_CONSTANT_OF_VAPOUR * (t + 273.15)))


@dataclass(frozen=True, slots=True)
class Weather:
    """
    Air outdoors: a sine over the year, one over the day, and two slow waves.

    The figures are our own choice for a mild coast; no station is meant.

    Attributes:
        mean_c: Of the year. [degC]
        season_k: Half the difference of summer and winter; warmest on 25 July. [K]
        day_k: Half the difference of day and night; warmest at 15:00 UTC. [K]
        waves_k: Amplitude of each passing wave of weather. [K]
        phases: Where the waves of 3.1 and 7.3 days begin. [rad]
        humidity: Relative humidity at the mean of the day. [fraction]
    """

    mean_c: float = 9.8
    season_k: float = 5.5
    day_k: float = 3.5
    waves_k: float = 1.0
    phases: tuple[float, float] = (0.4, 2.1)
    humidity: float = 0.8

    def slow_c(self, epoch_s: ArrayLike) -> Array:
        """Temperature without day and night [degC]."""
        t = np.asarray(epoch_s, dtype=np.float64)
        season = np.cos(2 * np.pi * (t / YEAR_S - 205.0 / 365.2425))
        waves = np.sin(2 * np.pi * t / (3.1 * DAY_S) + self.phases[0]) + np.sin(
            2 * np.pi * t / (7.3 * DAY_S) + self.phases[1]
        )
        return np.asarray(self.mean_c + self.season_k * season + self.waves_k * waves)

    def temperature_c(self, epoch_s: ArrayLike) -> Array:
        """Temperature of the air outdoors [degC]."""
        t = np.asarray(epoch_s, dtype=np.float64)
        day = np.cos(2 * np.pi * (t / DAY_S - 15.0 / 24.0))
        return np.asarray(self.slow_c(t) + self.day_k * day)

    def vapour_g_m3(self, epoch_s: ArrayLike) -> Array:
        """Vapour outdoors, which follows the mean of the day [g m-3]."""
        return np.asarray(self.humidity * saturation_vapour_g_m3(self.slow_c(epoch_s)))


@dataclass(frozen=True, slots=True, kw_only=True)
class AirNode:
    """
    One body of air: a room, a shelf behind its curtain, an incubator, an exhibit.

    Attributes:
        id: The place.
        parent: The place whose air surrounds it; None for the open.
        heat_capacity_j_k: Of the air and the light things in it. [J/K]
        loss_w_k: Conductance to the surroundings. [W/K]
        gradient_k: Warmer by this than the mean of its surroundings (height). [K]
        wall_share: Share of the loss that goes through an outer wall. [fraction]
        heater_w: Power of the heater. [W]
        set_c: The thermostat's middle; None where nothing heats. [degC]
        hysteresis_k: Between switching on and off. [K]
        cooler_w: Power that a cooling unit takes out. [W]
        cool_above_c: Where it begins; None where nothing cools. [degC]
        exchange_s: Time constant of the exchange of air. [s]
        humidifier_g_m3: Steady rise of vapour with the humidifier on. [g m-3]
        set_percent: The hygrostat's middle; None where nothing moistens.
        hysteresis_percent: Between switching on and off.
    """

    id: str
    parent: str | None
    heat_capacity_j_k: float
    loss_w_k: float
    gradient_k: float = 0.0
    wall_share: float = 0.0
    heater_w: float = 0.0
    set_c: float | None = None
    hysteresis_k: float = 0.6
    cooler_w: float = 0.0
    cool_above_c: float | None = None
    exchange_s: float
    humidifier_g_m3: float = 0.0
    set_percent: float | None = None
    hysteresis_percent: float = 3.0

    @property
    def time_constant_s(self) -> float:
        """Capacity over conductance [s]."""
        return self.heat_capacity_j_k / self.loss_w_k


@dataclass(frozen=True, slots=True)
class AirState:
    """
    State of all bodies of air; the last axis is the node, others are free.

    Attributes:
        temperature_c: [degC]
        vapour_g_m3: [g m-3]
        heating: The thermostat calls for heat.
        cooling: The thermostat calls for cold.
        moistening: The hygrostat calls for water.
    """

    temperature_c: Array
    vapour_g_m3: Array
    heating: Mask
    cooling: Mask
    moistening: Mask

    @property
    def humidity_percent(self) -> Array:
        """Relative humidity [%]."""
        full = saturation_vapour_g_m3(self.temperature_c)
        return np.asarray(np.clip(100.0 * self.vapour_g_m3 / full, 0.0, 100.0))


@dataclass(frozen=True, slots=True)
class Broken:
    """Which heaters and humidifiers are dead, one truth per node."""

    heaters: Mask
    humidifiers: Mask


class Air:
    """The balances of a set of bodies of air, parents before children."""

    def __init__(self, nodes: Sequence[AirNode]) -> None:
        self.nodes = tuple(nodes)
        self.index = {n.id: i for i, n in enumerate(nodes)}
        # the open air is appended as one more column
        self._parent = np.array(
            [len(nodes) if n.parent is None else self.index[n.parent] for n in nodes]
        )
        self.time_constant_s = np.array([n.time_constant_s for n in nodes])
        self._gradient = np.array([n.gradient_k for n in nodes])
        self._wall = np.array([n.wall_share for n in nodes])
        self._lift = np.array([n.heater_w / n.loss_w_k for n in nodes])
        self._drop = np.array([n.cooler_w / n.loss_w_k for n in nodes])
        self._exchange_s = np.array([n.exchange_s for n in nodes])
        self._humidifier = np.array([n.humidifier_g_m3 for n in nodes])
        half = np.array([n.hysteresis_k / 2 for n in nodes])
        self._set = np.array([-np.inf if n.set_c is None else n.set_c for n in nodes])
        self._cool = np.array(
            [np.inf if n.cool_above_c is None else n.cool_above_c for n in nodes]
        )
        self._on_below, self._off_above = self._set - half, self._set + half
        self._cool_on, self._cool_off = self._cool + half, self._cool - half
        half_rh = np.array([n.hysteresis_percent / 2 for n in nodes])
        water = np.array(
            [-np.inf if n.set_percent is None else n.set_percent for n in nodes]
        )
        self._moist_on, self._moist_off = water - half_rh, water + half_rh

    def whole(self) -> Broken:
        """Nothing is broken."""
        none = np.zeros(len(self.nodes), dtype=np.bool_)
        return Broken(none, none)

    def at_rest(self, outdoor_c: Array, outdoor_vapour: Array) -> AirState:
        """
        A guess of the state in which the house has stood for long.

        Where something heats the air is at its set point, elsewhere it has the
        temperature of its surroundings; the same for water.
        """
        shape = (*np.shape(outdoor_c), len(self.nodes))
        temperature, vapour = np.empty(shape), np.empty(shape)
        for i, node in enumerate(self.nodes):
            up = None if node.parent is None else self.index[node.parent]
            around = outdoor_c if up is None else temperature[..., up]
            outside = outdoor_vapour if up is None else vapour[..., up]
            free = around + node.gradient_k
            free = free + node.wall_share * (outdoor_c - free)
            if node.cool_above_c is not None:
                free = np.minimum(free, node.cool_above_c)
            temperature[..., i] = np.maximum(free, self._set[i])
            full = saturation_vapour_g_m3(temperature[..., i])
            least = 0.0 if node.set_percent is None else node.set_percent / 100 * full
            vapour[..., i] = np.minimum(np.maximum(outside, least), full)
        off = np.zeros(shape, dtype=np.bool_)
        return AirState(temperature, vapour, off, off, off)

    def step(
        self,
        state: AirState,
        *,
        outdoor_c: Array,
        outdoor_vapour: Array,
        dt_s: float,
        broken: Broken,
    ) -> AirState:
        """
        Advance by *dt_s*, exactly for surroundings that are constant meanwhile.

        Args:
            state: Shape (..., nodes).
            outdoor_c: Shape (...). [degC]
            outdoor_vapour: Shape (...). [g m-3]
            dt_s: Well below the smallest time constant, since thermostats switch
                only between steps. [s]
            broken: Dead heaters and humidifiers give nothing, whatever is called for.
        """
        t, w = state.temperature_c, state.vapour_g_m3
        heating = (t < self._on_below) | (state.heating & (t <= self._off_above))
        cooling = (t > self._cool_on) | (state.cooling & (t >= self._cool_off))
        humidity = state.humidity_percent
        moistening = (humidity < self._moist_on) | (
            state.moistening & (humidity <= self._moist_off)
        )
        around = self._around(t, outdoor_c) + self._gradient
        around += self._wall * (np.asarray(outdoor_c)[..., np.newaxis] - around)
        rest = around + self._lift * (heating & ~broken.heaters) - self._drop * cooling
        t = rest + (t - rest) * np.exp(-dt_s / self.time_constant_s)
        wet = self._around(w, outdoor_vapour) + self._humidifier * (
            moistening & ~broken.humidifiers
        )
        w = wet + (w - wet) * np.exp(-dt_s / self._exchange_s)
        # what is above saturation condenses on the walls
        w = np.minimum(w, saturation_vapour_g_m3(t))
        return replace(
            state,
            temperature_c=t,
            vapour_g_m3=w,
            heating=heating,
            cooling=cooling,
            moistening=moistening,
        )

    def _around(self, values: Array, outdoors: Array) -> Array:
        out = np.asarray(outdoors)[..., np.newaxis]
        return np.concatenate([values, out], axis=-1)[..., self._parent]


def relax(
    value: Array | float, towards: Array | float, *, dt_s: float, constant_s: ArrayLike
) -> Array:
    """
    Let a slow body follow its surroundings for *dt_s*: exact first-order lag.

    Args:
        value: Temperature of the body. [degC]
        towards: Temperature at which it would come to rest. [degC]
        dt_s: Time passed. [s]
        constant_s: Its time constant. [s]
    """
    gain = np.exp(-dt_s / np.asarray(constant_s, dtype=np.float64))
    return np.asarray(towards + (value - towards) * gain)


def self_heating_k(age_s: ArrayLike, *, highest_k: float, peak_s: float) -> Array:
    """
    How much warmer than its room a fermenting pile would rest [K].

    A smooth bump x exp(1 - x) with x = age / peak: steep rise, long tail. Our own
    choice of form for the demo; no model of microbes.

    Args:
        age_s: Since the pile was set up; before that there is no heat. [s]
        highest_k: At the peak. [K]
        peak_s: Age at the peak. [s]
    """
    x = np.maximum(np.asarray(age_s, dtype=np.float64), 0.0) / peak_s
    return np.asarray(highest_k * x * np.exp(1.0 - x))
