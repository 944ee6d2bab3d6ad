"""The room's air at the pipe: convection, radiation, insulation, and whether frost forms."""

import math

from stillpipe.physics.constants import GRAVITY, STEFAN_BOLTZMANN, ZERO_C

PRESSURE_AT_ZERO_C = 611.2
"""Of saturated vapour [Pa]; Sonntag 1990 (from memory)."""


def natural_convection(diameter: float, surface: float, ambient: float) -> float:
    """Heat transfer coefficient of still air on a horizontal cylinder [W/(m2 K)].

    ``diameter`` [m], temperatures [K]. Churchill and Chu, Int. J. Heat Mass Transfer 18 (1975)
    1049, all Rayleigh numbers; air at the film temperature: k = 0.0241 (T/273)^0.9,
    nu = 1.33e-5 (T/273)^1.76, Pr 0.71 (fits, within 2 % of handbook tables, from memory).
    """
    mean = 0.5 * (surface + ambient)
    k = 0.0241 * math.pow(mean / ZERO_C, 0.9)
    nu = 1.33e-5 * math.pow(mean / ZERO_C, 1.76)
    difference = abs(ambient - surface)
    rayleigh = GRAVITY / mean * difference * diameter**3 / (nu * nu) * 0.71
    shape = math.pow(1.0 + math.pow(0.559 / 0.71, 9.0 / 16.0), 8.0 / 27.0)
    root: float = 0.60 + 0.387 * math.pow(rayleigh, 1.0 / 6.0) / shape
    nusselt = root * root
    return nusselt * k / diameter


def radiation(surface: float, ambient: float, emissivity: float) -> float:
    """Linearised heat transfer coefficient of radiation [W/(m2 K)], temperatures [K]."""
    squares = surface * surface + ambient * ambient
    return emissivity * STEFAN_BOLTZMANN * squares * (surface + ambient)


def h_ambient(
    diameter: float,
    surface: float,
    ambient: float,
    emissivity: float,
    thickness: float,
    conductivity: float,
) -> float:
    """Heat transfer coefficient from the room to the pipe [W/(m2 K)], on the bare diameter.

    ``thickness`` [m] and ``conductivity`` [W/(m K)] of the insulation; thickness 0 for none.
    """
    outer_diameter = diameter + 2.0 * thickness
    film = natural_convection(outer_diameter, surface, ambient)
    film += radiation(surface, ambient, emissivity)
    if thickness <= 0.0:
        return film
    insulation = math.log(outer_diameter / diameter) / (2.0 * conductivity)
    return 1.0 / (diameter * (insulation + 1.0 / (film * outer_diameter)))


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
