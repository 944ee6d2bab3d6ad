"""Moist air: whether frost can form on a cold pipe."""

import math


def saturation_pressure(T: float) -> float:
    """Pressure of saturated vapour [Pa] over water above 0 C, over ice below, ``T`` [K].

    Magnus form with Sonntag's constants, Z. Meteorol. 70 (1990) 340 (from memory).
    """
    t = T - 273.15
    if t >= 0.0:
        return 611.2 * math.exp(17.62 * t / (243.12 + t))
    return 611.2 * math.exp(22.46 * t / (272.62 + t))


def frost_point(T: float, humidity: float) -> float:
    """Temperature [K] below which the air's water settles; ``humidity`` relative [-], ``T`` [K].

    The dew point where it is above 0 C, else the frost point.
    """
    pressure = saturation_pressure(T) * max(humidity, 1e-6)
    x = math.log(pressure / 611.2)
    if x >= 0.0:
        return 273.15 + 243.12 * x / (17.62 - x)
    return 273.15 + 272.62 * x / (22.46 - x)
