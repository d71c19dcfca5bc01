"""What a probe makes of the truth: noise, resolution, lost radio, and its faults."""

import enum
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.site.words import Quantity

POWER_ON_C = 85.0
"""
What a common digital thermometer holds in its register after power-on, before its
first conversion: read too early it reports exactly this. [degC]
"""


class ProbeFault(enum.StrEnum):
    """Ways in which a probe goes wrong."""

    SILENT = "silent"
    STUCK = "stuck"
    POWER_ON = "reads-85-once"


@dataclass(frozen=True, slots=True)
class Make:
    """
    How well a kind of probe measures. Own choice for the demo, of common size.

    Attributes:
        noise: Standard deviation of one reading. In the unit of the quantity.
        resolution: Step of its digits. In the unit of the quantity.
        lost: Share of readings that the radio never delivers. [fraction]
    """

    noise: float
    resolution: float
    lost: float = 0.004


MAKES: Mapping[Quantity, Make] = {
    Quantity.AIR_TEMPERATURE: Make(0.04, 0.01),
    Quantity.RELATIVE_HUMIDITY: Make(0.4, 0.1),
    Quantity.SUBSTRATE_TEMPERATURE: Make(0.03, 0.0625),
    Quantity.SUBSTRATE_MOISTURE: Make(0.3, 0.1),
    Quantity.CARBON_DIOXIDE: Make(12.0, 1.0),
    Quantity.MAINS: Make(0.0, 1.0),
    Quantity.LEAK: Make(0.0, 1.0),
}

_BOUNDS = {
    Quantity.RELATIVE_HUMIDITY: (0.0, 100.0),
    Quantity.SUBSTRATE_MOISTURE: (0.0, 100.0),
    Quantity.CARBON_DIOXIDE: (0.0, np.inf),
}


def measure(
    truth: NDArray[np.float64], quantity: Quantity, rng: np.random.Generator
) -> NDArray[np.float64]:
    """What the probe shows: the truth with noise, in steps of its resolution."""
    make = MAKES[quantity]
    shown = truth + rng.normal(0.0, make.noise, np.shape(truth))
    shown = np.round(shown / make.resolution) * make.resolution
    low, high = _BOUNDS.get(quantity, (-np.inf, np.inf))
    # the last digits of a product are no digits of the probe
    return np.asarray(np.clip(np.round(shown, 4), low, high))


def delivered(
    count: int, quantity: Quantity, rng: np.random.Generator
) -> NDArray[np.bool_]:
    """Which of *count* readings the radio delivers."""
    return np.asarray(rng.random(count) >= MAKES[quantity].lost)


class LiveProbe:
    """A probe that is read now and then, and may be told to fail."""

    def __init__(self, quantity: Quantity, rng: np.random.Generator) -> None:
        self.quantity, self._rng = quantity, rng
        self.fault: ProbeFault | None = None
        self._last: float | None = None

    def read(self, truth: float) -> float | None:
        """
        The value that it sends, or None where nothing arrives.

        A stuck probe repeats its last value; 85.0 comes once, then it is well.
        """
        if self.fault is ProbeFault.STUCK and self._last is not None:
            return self._last
        value = float(measure(np.array([truth]), self.quantity, self._rng)[0])
        arrives = bool(delivered(1, self.quantity, self._rng)[0])
        if self.fault is ProbeFault.SILENT or not arrives:
            return None
        if self.fault is ProbeFault.POWER_ON:
            self.fault = None
            return POWER_ON_C
        self._last = value
        return value
