"""
The formulas behind the rate models, what is wrong with parameters, and their forms.

Each model of `monitor.science.rate_models`, where equations and references stand, has
a formula (rates at temperatures, zero where nothing develops), a fault (what is wrong
with its parameters, in words) and a form (corners and optimum of its curve).
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]
Numbers = tuple[float, ...]

KELVIN = 273.15
GAS_CAL = 1.987
"""Gas constant, as Schoolfield et al. (1981) round it. [cal/(mol K)]"""
STANDARD_K = 298.0
"""25 degC, as Schoolfield et al. (1981) round it; later users take 298.15. [K]"""
LARGEST_EXPONENT = 700.0
"""The exponential function of little more has no double."""


@dataclass(frozen=True, slots=True)
class Form:
    """
    What integrating and bounding a rate must know of its curve.

    Attributes:
        corners_c: Where the formula begins or ends, rising. [degC]
        optimum_c: Where the rate is highest; None where it rises for ever. [degC]
    """

    corners_c: Numbers
    optimum_c: float | None


def above_zero(names: str, numbers: Numbers) -> str | None:
    """The first of the named numbers that is not above zero, in words."""
    for name, number in zip(names.split(), numbers, strict=True):
        if not number > 0:
            return f"{name} must be above zero, got {number:g}"
    return None


def linear(t: Values, p: Numbers) -> Values:
    """Rates along a straight line from the threshold up. [1/d]."""
    lower, required = p
    rates: Values = np.maximum(t - lower, 0.0) / required
    return rates


def briere(t: Values, p: Numbers) -> Values:
    """Rates by Briere-1 (three parameters) and Briere-2 (four). [1/d]."""
    a, lower, upper, *root = p
    m = root[0] if root else 2.0
    # below 0 degC both factors of a fit with T0 < 0 change sign: nothing develops
    inside = (t > max(lower, 0.0)) & (t < upper)
    u = np.where(inside, t, upper)
    rates: Values = a * u * (u - lower) * (upper - u) ** (1 / m)
    return np.where(inside, rates, 0.0)


def briere_fault(p: Numbers) -> str | None:
    """Tell what is wrong with the parameters of `briere`."""
    a, lower, upper, *root = p
    if not max(lower, 0.0) < upper:
        return (
            f"Tm {upper:g} is not above T0 {lower:g} and 0 degC, so that nothing"
            " develops (swap them?)"
        )
    return above_zero("a m", (a, *(root or [2.0])))


def briere_form(p: Numbers) -> Form:
    """Both thresholds are corners; the optimum is exact."""
    # the root of d(ln r)/dT = 1/T + 1/(T - T0) - 1/(m (Tm - T)) inside
    _, lower, upper, *root = p
    m = root[0] if root else 2.0
    mixed = 2 * m * upper + (m + 1) * lower
    under = (2 * m * upper) ** 2 + ((m + 1) * lower) ** 2 - 4 * m * m * lower * upper
    return Form((max(lower, 0.0), upper), (mixed + math.sqrt(under)) / (4 * m + 2))


def _difference(t: Values, rho: float, upper: float, width: float) -> Values:
    """exp(rho T) - exp(rho Tm - (Tm - T) / dT), without cancellation near Tm."""
    fall = np.clip((1 / width - rho) * (upper - t), -LARGEST_EXPONENT, None)
    grown = np.exp(np.clip(rho * t, None, LARGEST_EXPONENT))
    with np.errstate(over="ignore"):  # far above Tm it is minus infinity
        found: Values = -grown * np.expm1(-fall)
    return found


def difference_fault(rho: float, upper: float, width: float) -> str | None:
    """Tell what is wrong with what Logan-6 and Lactin have in common."""
    fault = above_zero("rho dT", (rho, width))
    if fault is None and not rho * width < 1:
        fault = (
            f"rho * dT must be below 1, or no rate is above zero below Tm; got"
            f" {rho:g} * {width:g} = {rho * width:g}"
        )
    if fault is None and not abs(rho * upper) < LARGEST_EXPONENT:
        fault = f"exp(rho * Tm) is no number: rho {rho:g} and Tm {upper:g}"
    return fault


def _difference_optimum(rho: float, upper: float, width: float) -> float:
    """Where rho exp(rho T) = exp(rho Tm - (Tm - T) / dT) / dT."""
    return upper + math.log(rho * width) / (1 / width - rho)


def logan6(t: Values, p: Numbers) -> Values:
    """Rates by Logan-6, which is Lactin-1 times a scale. [1/d]."""
    phi, *rest = p
    return phi * lactin1(t, tuple(rest))


def logan6_fault(p: Numbers) -> str | None:
    """Tell what is wrong with the parameters of `logan6`."""
    phi, rho, upper, width = p
    return above_zero("phi", (phi,)) or difference_fault(rho, upper, width)


def logan6_form(p: Numbers) -> Form:
    """As `lactin1_form`: a scale moves nothing."""
    return lactin1_form(p[1:])


def lactin1(t: Values, p: Numbers) -> Values:
    """Rates by Lactin-1. [1/d]."""
    rho, upper, width = p
    return _difference(np.minimum(t, upper), rho, upper, width)


def lactin1_form(p: Numbers) -> Form:
    """The lethal maximum is a corner; the optimum is exact."""
    return Form((p[1],), _difference_optimum(*p))


def lactin2(t: Values, p: Numbers) -> Values:
    """Rates by Lactin-2. [1/d]."""
    *three, shift = p
    rates: Values = np.maximum(_difference(t, *three) + shift, 0.0)
    return rates


def lactin2_fault(p: Numbers) -> str | None:
    """Tell what is wrong with the parameters of `lactin2`."""
    rho, upper, width, shift = p
    fault = difference_fault(rho, upper, width)
    if fault is None:
        best = _difference_optimum(rho, upper, width)
        peak = float(lactin2(np.array([best]), p)[0])
        if not peak > 0:
            return f"lambda {shift:g} leaves no rate above zero at any temperature"
    return fault


def lactin2_form(p: Numbers) -> Form:
    """The roots are corners, found to the last digit by halving."""
    rho, upper, width, shift = p
    best = _difference_optimum(rho, upper, width)

    def positive(t: float) -> bool:
        return float(_difference(np.array([t]), rho, upper, width)[0]) + shift > 0

    hot = _last_inside(positive, best, step=1.0)
    if shift >= 0:
        # above zero however cold it is, save that without lambda it ends at Tm
        return Form((hot,), best)
    return Form((_last_inside(positive, best, step=-1.0), hot), best)


def _last_inside(positive: Callable[[float], bool], at: float, *, step: float) -> float:
    """Where a rate that is above zero *at* ends, going by *step* and then halving."""
    outside = at + step
    while positive(outside):
        at, step = outside, 2 * step
        outside = at + step
    for _ in range(100):
        between = (at + outside) / 2
        if positive(between):
            at = between
        else:
            outside = between
    return at


def schoolfield(t: Values, p: Numbers) -> Values:
    """Rates by Sharpe and Schoolfield without inactivation by cold. [1/d]."""
    standard, activation, half, inactivation = p
    # at absolute zero and below nothing moves
    kelvin = np.maximum(t + KELVIN, 1e-3)
    up = activation / GAS_CAL * (1 / STANDARD_K - 1 / kelvin)
    down = inactivation / GAS_CAL * (1 / half - 1 / kelvin)
    limit = LARGEST_EXPONENT
    rates: Values = (
        standard
        * (kelvin / STANDARD_K)
        * np.exp(np.clip(up, -limit, limit))
        / (1 + np.exp(np.clip(down, -limit, limit)))
    )
    return rates


def schoolfield_fault(p: Numbers) -> str | None:
    """Tell what is wrong with the parameters of `schoolfield`."""
    _, _, half, inactivation = p
    fault = above_zero("p25 HA TH HH", p)
    if fault is None and half < KELVIN - 50:
        fault = f"TH is in kelvin, got {half:g}: add {KELVIN:g} to a value in degC"
    if fault is None and inactivation < half:
        fault = (
            "HH is in calories per mole, where published values have five or six"
            f" digits, got {inactivation:g}"
        )
    return fault


def schoolfield_form(p: Numbers) -> Form:
    """The optimum is where the share inactivated comes to (HA + R T) / HH."""
    _, activation, half, inactivation = p

    def rising(t: float) -> bool:
        kelvin = t + KELVIN
        down = inactivation / GAS_CAL * (1 / half - 1 / kelvin)
        share = 1 / (1 + math.exp(min(-down, LARGEST_EXPONENT)))
        return activation + GAS_CAL * kelvin > inactivation * share

    hottest = 200.0
    if rising(hottest):
        return Form((), None)
    return Form((), _last_inside(rising, -200.0, step=1.0))


def taylor(t: Values, p: Numbers) -> Values:
    """Rates along a bell. [1/d]."""
    highest, optimum, width = p
    away = np.clip(np.abs((t - optimum) / width), None, 1e3)
    rates: Values = highest * np.exp(-(away**2) / 2)
    return rates
