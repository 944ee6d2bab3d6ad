"""Waiting that a job plans: until a warm line is cool, and until the plug has thawed.

Each comes by itself where that is quick enough, and else with help, so that a job has a plan, a
time and a price where nature takes a day or never comes there. What is planned is the shorter of
the two, and so moves evenly with the temperatures of line and room.
"""

import math

import numpy as np

from stillpipe.estimates.sampled import Array
from stillpipe.estimates.solution import COOL_ENOUGH, Solution
from stillpipe.model.figures import Range
from stillpipe.physics import constants, media
from stillpipe.uncertainty.table import Z95

FLUSHING = 3600.0
"""Time constant of a line that is flushed with cold water, fitting the hose included [s]: an
assumption."""
COLD_WATER = 288.15
"""Temperature of the water that a line is flushed with [K]: an assumption."""
PATIENCE = 7200.0
"""How long a plug is left to thaw by itself before it is helped [s]: an assumption."""
HELP = 50.0
"""Conductance of warm water or warm air on the pipe [W/(m2 K)]: an assumption."""
HELP_TEMPERATURE = 40.0
"""How far above the freezing point that water or air is [K]: an assumption."""


def flushing(temperature: float) -> float:
    """Time [s] in which flushing cools a line from ``temperature`` [K] to ``COOL_ENOUGH``."""
    if temperature <= COOL_ENOUGH:
        return 0.0
    return FLUSHING * math.log((temperature - COLD_WATER) / (COOL_ENOUGH - COLD_WATER))


def is_flushed(solution: Solution) -> bool:
    """Tell whether the plan is to flush a warm line, which cools by itself too slowly or never."""
    natural = solution.cooling_time
    return natural is None or natural > flushing(solution.point.fluid.temperature)


def cooling(solution: Solution) -> Range:
    """Return how long a warm line takes until it is cool enough [s], flushed where that is sooner.

    By itself by the room film's range.
    """
    natural, flushed = solution.cooling_time, flushing(solution.point.fluid.temperature)
    if natural is None:
        return Range(flushed, flushed, flushed)
    film = solution.cases.input("room_film")
    low, high = (natural / film.at(z).item() for z in (Z95, -Z95))
    return Range(min(low, flushed), min(natural, flushed), min(high, flushed))


def assisted_thaw(solution: Solution) -> float:
    """Time [s] from the coolant's stop until a plug is gone that is helped after ``PATIENCE``.

    All its ice, as if none had melted by then, through wall and lining from the pipe's surface: of
    the plug's length this does not depend. L rho d^2 / (4 D) over the heat through each area.
    """
    point, material = solution.point, solution.point.material
    bore, outer = point.bore, point.pipe.outside_diameter
    inner = outer - 2.0 * point.pipe.wall
    wall = 0.5 * outer * math.log(outer / inner) / material.conductivity
    lining = 0.5 * outer * point.lining_resistance
    heat = media.ICE_DENSITY * media.LATENT * bore * bore / (4.0 * outer)
    return PATIENCE + heat * (1.0 / HELP + wall + lining) / HELP_TEMPERATURE


def is_assisted(solution: Solution) -> bool:
    """Tell whether the plan is to help the likely plug thaw."""
    natural = None if solution.thaw is None else solution.thaw.likely
    return natural is None or natural > assisted_thaw(solution)


def thaws(solution: Solution) -> Array:
    """Return how long the thaw takes as planned, of the draws [s], helped where that is sooner."""
    return np.minimum(solution.thaws, assisted_thaw(solution))


def thaw(solution: Solution) -> Range | None:
    """Return how long the thaw takes as planned [s], helped where that is sooner."""
    return solution.range(thaws(solution)[solution.holds]) if solution.is_planned else None


def until_cool() -> str:
    """Return the temperature of a line that is cool enough, in words."""
    return f"{COOL_ENOUGH - constants.ZERO_C:.0f} degC"
