"""
Humid air: vapour pressure, dew point, deficit, absolute humidity, wet bulb.

One formula for the saturation vapour pressure serves both ways, so that air at
100 % has its dew point at its own temperature: Sonntag 1994 (Meteorol. Z. 3:51),
over liquid water at all temperatures. It was chosen because it lies within
0.003 % of IAPWS (Wagner and Pruss 2002) from 0 to 50 degC, closer than the other
formulas in common use (Hyland and Wexler, as in ASHRAE: 0.022 %; Magnus: 0.31 %).

Below 0 degC the values are those over supercooled water, as humidity probes give
relative humidity; tables of dew point over ice (frost point) are up to 1.7 degC
higher. The pure-phase formula is used without the enhancement factor of moist
air (0.46 % at 25 degC and 101,325 Pa). All of this is far below a probe's error:
3 % of relative humidity move the deficit at 25 degC and 80 % by 15 %.
"""

import math
from dataclasses import dataclass

ZERO_C_K = 273.15
"""0 degC. [K]"""

COLDEST_C, WARMEST_C = -100.0, 100.0
"""Where the saturation formula is used: its author's range, from memory. The tests
hold it against published values from -20 to 100 degC."""

LOWEST_PA, HIGHEST_PA = 30_000.0, 120_000.0
"""Pressures that a house can stand under: the highest peaks to the deepest mines."""

STANDARD_PA = 101_325.0
"""Standard pressure at sea level (ASHRAE Fundamentals 2017, ch. 1, table 1). [Pa]"""

VAPOUR_J_KG_K = 8.314462618 / 0.018015268
"""Specific gas constant of water vapour, R / M (CODATA 2018, IAPWS). [J/(kg K)]"""

MASS_RATIO = 0.621945
"""Molar mass of water over that of dry air (ASHRAE 2017, ch. 1, eq. 20)."""

_STEPS = 60
_CLOSE = 1e-11


@dataclass(frozen=True, slots=True)
class Air:
    """
    What temperature and relative humidity say about air.

    Attributes:
        saturation_vapour_pressure_pa: Over liquid water. [Pa]
        vapour_pressure_deficit_pa: What is lacking to saturation. [Pa]
        dew_point_c: Over liquid water. [degC]
        absolute_humidity_g_m3: Water in a cubic metre. [g/m3]
        wet_bulb_c: Thermodynamic wet bulb. [degC]
    """

    saturation_vapour_pressure_pa: float
    vapour_pressure_deficit_pa: float
    dew_point_c: float
    absolute_humidity_g_m3: float
    wet_bulb_c: float


def describe(
    temperature_c: float,
    humidity_percent: float,
    *,
    pressure_pa: float = STANDARD_PA,
) -> Air:
    """
    Compute all figures of this module for one state of the air.

    Args:
        temperature_c: From -100 to 100. [degC]
        humidity_percent: Above 0 to 100. [%]
        pressure_pa: From 30,000 to 120,000, above the saturation pressure. [Pa]

    Raises:
        ValueError: If a value is out of its range, in words.
    """
    return Air(
        saturation_vapour_pressure_pa(temperature_c),
        vapour_pressure_deficit_pa(temperature_c, humidity_percent),
        dew_point_c(temperature_c, humidity_percent),
        absolute_humidity_g_m3(temperature_c, humidity_percent),
        wet_bulb_c(temperature_c, humidity_percent, pressure_pa=pressure_pa),
    )


def saturation_vapour_pressure_pa(temperature_c: float) -> float:
    """
    Compute the saturation vapour pressure over liquid water [Pa].

    Args:
        temperature_c: From -100 to 100. [degC]

    Raises:
        ValueError: If the temperature is out of range.

    References:
        Sonntag 1994, Meteorol. Z. 3:51-66; coefficients as quoted by H. Voemel's
        collection and by Helten et al. 1999, with 0 degC = 273.15 K.
    """
    _check_temperature(temperature_c)
    return math.exp(_log_saturation(temperature_c + ZERO_C_K))


def vapour_pressure_pa(temperature_c: float, humidity_percent: float) -> float:
    """
    Compute the pressure of the water vapour in the air [Pa].

    Args:
        temperature_c: From -100 to 100. [degC]
        humidity_percent: From 0 to 100. [%]

    Raises:
        ValueError: If a value is out of its range.
    """
    if not 0.0 <= humidity_percent <= 100.0:  # noqa: PLR2004 - percent
        raise ValueError(
            f"relative humidity must lie between 0 and 100 %, got {humidity_percent:g}"
        )
    return saturation_vapour_pressure_pa(temperature_c) * humidity_percent / 100


def vapour_pressure_deficit_pa(temperature_c: float, humidity_percent: float) -> float:
    """
    Compute what the vapour pressure lacks to saturation [Pa].

    Raises:
        ValueError: As `vapour_pressure_pa`.
    """
    vapour = vapour_pressure_pa(temperature_c, humidity_percent)
    return saturation_vapour_pressure_pa(temperature_c) - vapour


def absolute_humidity_g_m3(temperature_c: float, humidity_percent: float) -> float:
    """
    Compute the mass of water in a cubic metre of air, an ideal gas [g/m3].

    Raises:
        ValueError: As `vapour_pressure_pa`.
    """
    vapour = vapour_pressure_pa(temperature_c, humidity_percent)
    return 1000 * vapour / (VAPOUR_J_KG_K * (temperature_c + ZERO_C_K))


def dew_point_c(temperature_c: float, humidity_percent: float) -> float:
    """
    Compute the temperature at which the air would be saturated [degC].

    Args:
        temperature_c: From -100 to 100. [degC]
        humidity_percent: Above 0 to 100; dry air has no dew point. [%]

    Raises:
        ValueError: If a value is out of its range, or the dew point lies below
            -100 degC.
    """
    _check_not_dry(humidity_percent)
    vapour = vapour_pressure_pa(temperature_c, humidity_percent)
    return dew_point_from_vapour_pressure_c(vapour)


def dew_point_from_vapour_pressure_c(vapour_pa: float) -> float:
    """
    Invert `saturation_vapour_pressure_pa`, by Newton's method on its logarithm.

    Args:
        vapour_pa: Between the saturation pressures at -100 and 100 degC. [Pa]

    Raises:
        ValueError: If the pressure is out of that range.
    """
    least = saturation_vapour_pressure_pa(COLDEST_C)
    most = saturation_vapour_pressure_pa(WARMEST_C)
    if not least <= vapour_pa <= most:
        raise ValueError(
            f"a vapour pressure of {vapour_pa:g} Pa has no dew point between"
            f" {COLDEST_C:g} and {WARMEST_C:g} C"
        )
    wanted = math.log(vapour_pa)
    # Magnus (WMO-No. 8) is a start within 0.1 K near room temperature
    start = math.log(vapour_pa / 611.2)
    kelvin = ZERO_C_K + 243.12 * start / (17.62 - start)
    for _ in range(_STEPS):
        step = (_log_saturation(kelvin) - wanted) / _log_slope(kelvin)
        kelvin -= step
        if abs(step) < _CLOSE:
            break
    return min(max(kelvin - ZERO_C_K, COLDEST_C), WARMEST_C)


def wet_bulb_c(
    temperature_c: float,
    humidity_percent: float,
    *,
    pressure_pa: float = STANDARD_PA,
) -> float:
    """
    Compute the thermodynamic wet-bulb temperature, over liquid water [degC].

    Args:
        temperature_c: From -100 to 100. [degC]
        humidity_percent: Above 0 to 100. [%]
        pressure_pa: From 30,000 to 120,000, above the saturation pressure. [Pa]

    Raises:
        ValueError: If a value is out of its range.

    References:
        ASHRAE Fundamentals 2017, ch. 1, eq. 33, for ratios by eq. 20. Deviation:
        that equation is kept below 0 degC, where a wet bulb may carry ice and
        ASHRAE changes to eq. 35.
    """
    saturated = saturation_vapour_pressure_pa(temperature_c)
    if not LOWEST_PA <= pressure_pa <= HIGHEST_PA:
        raise ValueError(
            f"pressure must lie between {LOWEST_PA:.0f} and {HIGHEST_PA:.0f} Pa,"
            f" got {pressure_pa:g} (1013 hPa are 101300 Pa)"
        )
    if not saturated < pressure_pa:
        raise ValueError(
            f"water boils at {temperature_c:g} C under {pressure_pa:g} Pa:"
            " there is no wet bulb"
        )
    ratio = _mass_ratio(
        vapour_pressure_pa(temperature_c, humidity_percent), pressure_pa
    )
    low = dew_point_c(temperature_c, humidity_percent)
    high = temperature_c
    # eq. 33 rises with the wet bulb, from below the ratio at the dew point to the
    # saturated ratio at the air's own temperature: halving cannot fail
    for _ in range(_STEPS):
        middle = (low + high) / 2
        if _ratio_at_wet_bulb(temperature_c, middle, pressure_pa) < ratio:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _ratio_at_wet_bulb(
    temperature_c: float, wet_bulb_c: float, pressure_pa: float
) -> float:
    wet = _mass_ratio(saturation_vapour_pressure_pa(wet_bulb_c), pressure_pa)
    given = (2501 - 2.326 * wet_bulb_c) * wet - 1.006 * (temperature_c - wet_bulb_c)
    return given / (2501 + 1.86 * temperature_c - 4.186 * wet_bulb_c)


def _mass_ratio(vapour_pa: float, pressure_pa: float) -> float:
    return MASS_RATIO * vapour_pa / (pressure_pa - vapour_pa)


def _log_saturation(kelvin: float) -> float:
    return (
        math.log(100)
        - 6096.9385 / kelvin
        + 16.635794
        - 2.711193e-2 * kelvin
        + 1.673952e-5 * kelvin**2
        + 2.433502 * math.log(kelvin)
    )


def _log_slope(kelvin: float) -> float:
    return (
        6096.9385 / kelvin**2 - 2.711193e-2 + 2 * 1.673952e-5 * kelvin
    ) + 2.433502 / kelvin


def _check_temperature(temperature_c: float) -> None:
    if not COLDEST_C <= temperature_c <= WARMEST_C:
        raise ValueError(
            f"temperature must lie between {COLDEST_C:g} and {WARMEST_C:g} C,"
            f" got {temperature_c:g}"
        )


def _check_not_dry(humidity_percent: float) -> None:
    if humidity_percent == 0:
        raise ValueError(
            "relative humidity 0 %: perfectly dry air has no dew point and no probe"
            " reads it (give a value above 0)"
        )
