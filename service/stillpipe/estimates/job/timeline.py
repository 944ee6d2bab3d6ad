"""The moments of a job in order."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated

from stillpipe.estimates.cylinder_count import CylinderFigures
from stillpipe.estimates.solution import Solution
from stillpipe.model.declare import Figure, Plain
from stillpipe.model.figures import Range
from stillpipe.model.freeze_point import FreezePoint
from stillpipe.model.requests import JobEstimateRequest
from stillpipe.physics import constants, film
from stillpipe.uncertainty.scenarios import FILM_BAND

COOL_ENOUGH = 298.15
"""A line warmer than this is left to cool first [K]: water near room temperature; common
practice, no source."""
LEAST_DIFFERENCE = 0.5
"""How much colder than that the room must be for the line to cool by itself [K]."""
WATER_HEAT = 4.18e6
"""Heat capacity of water [J/(m3 K)], about 20 degC; from memory."""


@dataclass(frozen=True, kw_only=True)
class Event:
    """A moment of the job."""

    code: Annotated[str, Plain(says="Stable code of the moment.")]
    at: Annotated[float, Figure("time", says="Since arrival, likely.")]
    earliest: Annotated[float, Figure("time", says="Since arrival, at the earliest.")]
    latest: Annotated[float | None, Figure("time", says="Since arrival, at the latest.")]
    text: Annotated[str, Plain(says="What to do.")]


def begin_feeding(request: JobEstimateRequest) -> float:
    """When feeding begins [s] after arrival: set up, and a warm line cool enough."""
    return max(request.setup, cooling_time(request) or 0.0)


def timeline(
    request: JobEstimateRequest, solution: Solution, cylinders: CylinderFigures
) -> tuple[Event, ...]:
    """Return the moments of the job in order."""
    begun = begin_feeding(request)
    found = [
        _fixed(
            "arrive", 0.0,
            "Ventilate, close the valves, prove that the line is still, bare and clean the pipe, "
            "fit the jackets, secure the cylinders.",
        ),
        *_cooled(request),
        _fixed("feed", begun, "Open the cylinders; feed all freeze points."),
    ]  # fmt: skip
    if solution.stays_slush or solution.ready is None or solution.closure is None:
        return tuple(found)
    found += [
        Event(
            code=code,
            at=span.likely,
            earliest=span.low,
            latest=span.high,
            text=text,
        )
        for code, span, text in _of_plug(solution, begun)
    ]
    found += [
        _fixed("exchange", begun + swap.at, f"Exchange cylinder {swap.cylinder}. {swap.advice}")
        for swap in cylinders.exchanges
    ]
    return tuple(sorted(found, key=lambda e: e.at))


def _fixed(code: str, at: float, text: str) -> Event:
    """Return a moment ``at`` [s] that has no range."""
    return Event(code=code, at=at, earliest=at, latest=at, text=text)


def _of_plug(solution: Solution, begun: float) -> Iterator[tuple[str, Range, str]]:
    """Yield the moments of a plug fed from ``begun`` [s] on: code, range, text."""
    if solution.frost_by is not None:
        text = "Frost beside every jacket; if not, stop and look for the cause."
        yield "frost-by", solution.frost_by.moved(begun), text
    if solution.closure is None or solution.ready is None:
        return
    yield "closed", solution.closure.moved(begun), "The bore is frozen shut."
    text = "Prove the plug by venting the section, then cut."
    yield "ready", solution.ready.moved(begun), text
    stop = solution.ready.moved(begun + solution.hold)
    yield "stop", stop, "Repair done and tested: close the cylinders."
    survival = solution.range_held(lambda held: held.survival)
    if survival is not None:
        yield "bond-lost", stop.plus(survival), "The plug may let go from now on."
    thaw = solution.range_held(lambda held: held.thaw)
    if thaw is not None:
        yield "thawed", stop.plus(thaw), "The bore is open; look for leaks."


def cooling_time(point: FreezePoint) -> float | None:
    """Time [s] in which the still line cools to 25 degC in the room; 0 where it is no warmer.

    Lumped: the heat of water and wall over the film to the room, exponential in time; None where
    the room is too warm for it.
    """
    warm, ambient = point.fluid.temperature, point.ambient.temperature
    if warm <= COOL_ENOUGH:
        return 0.0
    if ambient >= COOL_ENOUGH - LEAST_DIFFERENCE:
        return None
    material, diameter = point.material, point.pipe.outside_diameter
    inner = diameter - 2.0 * point.pipe.wall
    wall_area = 0.25 * math.pi * (diameter**2 - inner**2)
    heat = WATER_HEAT * 0.25 * math.pi * point.bore**2
    heat += material.density * material.specific_heat * wall_area
    conductance = film.h_ambient(
        diameter, 0.5 * (warm + COOL_ENOUGH), ambient, material.emissivity,
        point.insulation_thickness, point.insulation_conductivity,
    )  # fmt: skip
    constant = heat / (conductance * math.pi * diameter)
    return constant * math.log((warm - ambient) / (COOL_ENOUGH - ambient))


def _cooled(request: JobEstimateRequest) -> list[Event]:
    """Return the moment when a warm line is cool enough, by the room film's range."""
    time = cooling_time(request)
    if time == 0.0:
        return []
    if time is None:
        text = "The room is too warm for the line to cool by itself: cool it first."
        return [Event(code="cooled", at=0.0, earliest=0.0, latest=None, text=text)]
    low, high = (time / factor for factor in reversed(FILM_BAND))
    text = (
        f"The line has cooled to {COOL_ENOUGH - constants.ZERO_C:.0f} degC; measure it before "
        "feeding."
    )
    return [Event(code="cooled", at=time, earliest=low, latest=high, text=text)]
