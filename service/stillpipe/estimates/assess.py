"""Reasons that lie in a freeze itself: cylinder, slush, pipe, room, flow, closure, readiness."""

from functools import partial

from stillpipe.estimates.solution import PLUG_ICE_FRACTION, Solution
from stillpipe.model.figures import Reason, Severity
from stillpipe.physics import co2, constants
from stillpipe.uncertainty.scenarios import ICE_FRACTION_BAND, SLOW

BAR = 1e5
"""[Pa]"""

LIQUID_ENDS = 299.96
"""Two-phase CO2 ends in a 68 % full cylinder [K] (26.81 C); CoolProp, Span and Wagner 1996."""

stop = partial(Reason, severity=Severity.STOP)
warn = partial(Reason, severity=Severity.WARN)


def blockers(solution: Solution) -> tuple[Reason, ...]:
    """Return the reasons known before solving: the cylinder's temperature and slush."""
    found = []
    temperature = solution.point.cylinder.temperature
    if temperature >= co2.CRITICAL:
        text = "Above 31.0 degC a cylinder holds no liquid CO2; cool the cylinder first."
        found.append(stop("no-liquid-co2", text))
    elif temperature > LIQUID_ENDS:
        text = (
            "Above 26.8 degC a cylinder filled to 68 % holds liquid only in part of its use; cool "
            "the cylinder."
        )
        found.append(warn("cylinder-near-critical", text))
    return (*found, *_of_ice(solution))


def _of_ice(solution: Solution) -> list[Reason]:
    """Return whether the fluid holds enough ice for a plug, at the likely and the worst need."""
    most, need = solution.most_ice, PLUG_ICE_FRACTION
    if solution.stays_slush:
        text = (
            f"At most {100 * most:.0f} % of this fluid turns to ice; a plug needs more than "
            f"{100 * need:.0f} %. It stays slush."
        )
        return [stop("slush", text)]
    if most < ICE_FRACTION_BAND[1]:
        text = (
            f"At most {100 * most:.0f} % of this fluid turns to ice; a plug needs some "
            f"{100 * need:.0f} %, at the unfavourable end {100 * ICE_FRACTION_BAND[1]:.0f} %. It "
            "may stay slush: prove the plug by venting the section."
        )
        return [warn("may-stay-slush", text)]
    return []


def of_line(solution: Solution) -> tuple[Reason, ...]:
    """Return the reasons that lie in the pipe, its pressure and its room, known before solving."""
    point = solution.point
    found = []
    pressure, rating = point.line_pressure, point.pressure_rating
    if pressure > rating:
        source = "its allowable stress gives" if point.pipe.rating is None else "it is rated for"
        text = (
            f"The line pressure, {pressure / BAR:.2f} bar, is above what {source}, "
            f"{rating / BAR:.2f} bar."
        )
        found.append(stop("over-rating", text))
    if point.material.condition:
        found.append(warn("pipe-material", point.material.condition))
    if point.ambient.temperature <= point.fluid.freezing_point:
        text = (
            "The room is no warmer than the fluid's freezing point, "
            f"{point.fluid.freezing_point - constants.ZERO_C:.1f} degC: the line freezes by "
            "itself, far beyond the plug, and can burst. Warm the room first."
        )
        found.append(warn("room-below-freezing", text))
    return tuple(found)


def is_stopped(reasons: tuple[Reason, ...]) -> bool:
    """Tell whether any of ``reasons`` stops the job."""
    return any(r.severity is Severity.STOP for r in reasons)


def reasons(solution: Solution) -> tuple[Reason, ...]:
    """Return all reasons of a freeze, those found by solving too."""
    known = (*blockers(solution), *of_line(solution))
    if solution.stays_slush:
        return known
    return (*known, *_of_flow(solution), *_of_plug(solution))


def _of_flow(solution: Solution) -> list[Reason]:
    if solution.point.fluid.flow <= 0.0:
        return []
    if solution.prevented:
        text = "The flow carries in more heat than the jacket can take out; stop the flow."
        return [stop("flowing", text)]
    if solution.streamed(SLOW).closure is None:
        text = "The flow is near the most that can be frozen; stop it if you can."
        return [warn("flow-near-limit", text)]
    return []


def _of_plug(solution: Solution) -> list[Reason]:
    if solution.prevented:
        return []
    if solution.closure is None and not solution.is_water:
        text = (
            "Within four hours the bore does not come to the "
            f"{100 * PLUG_ICE_FRACTION:.0f} % of ice that a plug needs: it stays slush."
        )
        return [stop("slush", text)]
    if solution.closure is None:
        return [stop("never-closes", "The bore does not freeze shut within four hours.")]
    if solution.ready is None:
        text = (
            "The plug does not grow long enough to carry the line pressure with the safety factor; "
            "lower the pressure or use a longer jacket."
        )
        return [stop("never-ready", text)]
    if solution.run(SLOW).ready is None:
        text = (
            "With the least favourable inputs the plug carries no more than "
            f"{solution.least_pressure / BAR:.1f} bar with its safety factor, the line has "
            f"{solution.point.line_pressure / BAR:.1f} bar: lower the pressure, or prove the plug "
            "before cutting."
        )
        return [warn("may-not-be-ready", text)]
    return []
