"""Waiting that a job plans: until a warm line is cool, and until the plug has thawed.

Each comes by itself where that is quick enough, and else with help, so that a job has a plan, a
time and a price where nature takes a day or never comes there. What is planned is the shorter of
the two, and so moves evenly with the temperatures of line and room.
"""

import math

import numpy as np

from stillpipe.estimates import chances
from stillpipe.estimates.sampled import Array
from stillpipe.estimates.solution import Solution
from stillpipe.model.figures import Range
from stillpipe.model.job import Cooling, CoolingMethod, Job
from stillpipe.physics import constants, film, media
from stillpipe.uncertainty import draws
from stillpipe.uncertainty.table import Z95

WATER_HEAT = 4.18e6
"""Heat capacity of water [J/(m3 K)], about 20 degC; from memory."""
FLUSHED_WITHIN = 2.0
"""Flushing takes between 1 / so many times and so many times as long as likely, 5th to 95th
percentile [-]: an assumption."""
PATIENCE = 7200.0
"""How long a plug is left to thaw by itself before it is helped [s]: an assumption."""
HELP = 50.0
"""Conductance of warm water or warm air on the pipe [W/(m2 K)]: an assumption."""
HELP_TEMPERATURE = 40.0
"""How far above the freezing point that water or air is [K]: an assumption."""


def flushing(warm: float, cooling: Cooling) -> float:
    """Time [s] in which flushing cools a line from ``warm`` [K]; infinite where it never does."""
    if warm <= cooling.to:
        return 0.0
    if cooling.water >= cooling.to:
        return math.inf
    return cooling.time_constant * math.log((warm - cooling.water) / (cooling.to - cooling.water))


def standing(request: Job, solution: Solution) -> float:
    """Time [s] in which the room cools a line, likely; infinite where it never does.

    As a lump: the heat of water and wall over the film to the room, exponential in time.
    """
    warm, ambient, to = arrival(request), request.ambient.temperature, request.cooling.to
    if warm <= to:
        return 0.0
    if ambient >= to:
        return math.inf
    material, diameter = request.material, request.pipe.outside_diameter
    inner = diameter - 2.0 * request.pipe.wall
    heat = WATER_HEAT * 0.25 * math.pi * request.bore**2
    heat += material.heat_capacity * 0.25 * math.pi * (diameter**2 - inner**2)
    conductance = film.at(solution.room_film, 0.5 * (warm + to))
    constant = heat / (conductance * math.pi * diameter)
    return constant * math.log((warm - ambient) / (to - ambient))


def arrival(request: Job) -> float:
    """Return the temperature of the line of a freeze point on arrival [K]."""
    return request.fluid.temperature if request.arrival is None else request.arrival


def is_warm(request: Job) -> bool:
    """Tell whether the line of a freeze point is cooled before it is fed."""
    return arrival(request) > request.cooling.to


def is_flushed(request: Job, solution: Solution) -> bool:
    """Tell whether the plan is to flush a warm line."""
    method = request.cooling.method
    if not is_warm(request) or method is CoolingMethod.ROOM:
        return False
    if method is CoolingMethod.FLUSH:
        return True
    return standing(request, solution) > flushing(arrival(request), request.cooling)


def coolings(request: Job, solution: Solution) -> Array:
    """Return how long a warm line takes until it is cool enough, of the draws [s].

    By itself by the film of the room, flushed by how well that goes; infinite where it never is.
    """
    if is_flushed(request, solution):
        spread = FLUSHED_WITHIN ** (draws.flushing() / Z95)
        return np.asarray(flushing(arrival(request), request.cooling) * spread)
    film_of = solution.cases.input("room_film").at(solution.sample.of("room_film"))
    return np.asarray(standing(request, solution) / film_of)


def cooling(request: Job, solution: Solution) -> Range | None:
    """Return how long a warm line takes until it is cool enough [s]; None where it never is."""
    if not is_warm(request):
        return Range(0.0, 0.0, 0.0)
    return chances.range_of(coolings(request, solution), request.percentiles)


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


def in_words(temperature: float) -> str:
    """Return a ``temperature`` [K] in words."""
    return f"{temperature - constants.ZERO_C:.0f} degC"
