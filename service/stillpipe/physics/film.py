"""Heat from the room to the pipe: natural convection and radiation, or through insulation."""

import math

STEFAN_BOLTZMANN = 5.670374419e-8


def natural_convection(diameter: float, surface: float, ambient: float) -> float:
    """Conductance of still air on a horizontal cylinder [W/(m2 K)].

    ``diameter`` [m], temperatures [K]. Churchill and Chu, Int. J. Heat Mass Transfer 18 (1975)
    1049, all Rayleigh numbers; air at the film temperature: k = 0.0241 (T/273)^0.9,
    nu = 1.33e-5 (T/273)^1.76, Pr 0.71 (fits, within 2 % of handbook tables, from memory).
    """
    mean = 0.5 * (surface + ambient)
    k = 0.0241 * math.pow(mean / 273.15, 0.9)
    nu = 1.33e-5 * math.pow(mean / 273.15, 1.76)
    difference = abs(ambient - surface)
    rayleigh = 9.80665 / mean * difference * diameter**3 / (nu * nu) * 0.71
    shape = math.pow(1.0 + math.pow(0.559 / 0.71, 9.0 / 16.0), 8.0 / 27.0)
    root: float = 0.60 + 0.387 * math.pow(rayleigh, 1.0 / 6.0) / shape
    nusselt = root * root
    return nusselt * k / diameter


def radiation(surface: float, ambient: float, emissivity: float) -> float:
    """Linearised radiation conductance [W/(m2 K)], temperatures [K]."""
    squares = surface * surface + ambient * ambient
    return emissivity * STEFAN_BOLTZMANN * squares * (surface + ambient)


def beside(
    diameter: float,
    surface: float,
    ambient: float,
    emissivity: float,
    thickness: float,
    conductivity: float,
) -> float:
    """Conductance from the room to the pipe's surface [W/(m2 K)], on the bare diameter.

    ``thickness`` [m] and ``conductivity`` [W/(m K)] of the insulation; thickness 0 for none.
    """
    outer = diameter + 2.0 * thickness
    film = natural_convection(outer, surface, ambient) + radiation(surface, ambient, emissivity)
    if thickness <= 0.0:
        return film
    resistance = math.log(outer / diameter) / (2.0 * conductivity) + 1.0 / (film * outer)
    return 1.0 / (diameter * resistance)
