"""Moist air: whether frost can form on a cold pipe."""

import math

from stillpipe.physics.constants import ZERO_C

PRESSURE_AT_ZERO_C = 611.2
"""Of saturated vapour [Pa]; Sonntag 1990 (from memory)."""


def saturation_pressure(T: float) -> float:
    """Pressure of saturated vapour [Pa] over water above 0 C, over ice below, ``T`` [K].

    Magnus form with Sonntag's constants, Z. Meteorol. 70 (1990) 340 (from memory).
    """
    t = T - ZERO_C
    if t >= 0.0:
        return PRESSURE_AT_ZERO_C * math.exp(17.62 * t / (243.12 + t))
    return PRESSURE_AT_ZERO_C * math.exp(22.46 * t / (272.62 + t))


def frost_point(T: float, relative_humidity: float) -> float:
    """Temperature [K] below which water settles out of air at ``T`` [K].

    ``relative_humidity`` [-] of that air. The dew point where it is above 0 C, else the frost
    point.
    """
    pressure = saturation_pressure(T) * max(relative_humidity, 1e-6)
    x = math.log(pressure / PRESSURE_AT_ZERO_C)
    if x >= 0.0:
        return ZERO_C + 243.12 * x / (17.62 - x)
    return ZERO_C + 272.62 * x / (22.46 - x)
