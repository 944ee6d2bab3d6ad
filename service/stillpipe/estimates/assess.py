"""Reasons that lie in a freeze itself: cylinder, slush, pipe, room, flow, closure, readiness."""

import math
from functools import partial

from stillpipe.estimates import seen
from stillpipe.estimates.solution import Solution
from stillpipe.model.figures import Reason, Severity
from stillpipe.physics import co2, constants

BAR = 1e5
"""[Pa]"""

LITTLE = 0.05
"""Of a plug that may not close it is not said that it may not be ready, unless that is less likely
by more than this [-]."""
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
    """Return how likely the fluid holds as much ice as a plug needs."""
    chance, most = solution.freezing_chance, solution.cases.most_ice
    if solution.is_sure(chance):
        return []
    need = solution.cases.input("ice_fraction")
    text = (
        f"At most {100 * most:.0f} % of this fluid turns to ice; a plug needs from "
        f"{100 * need.low:.0f} to {100 * need.high:.0f} % (5th to 95th percentile)."
    )
    if chance <= 0.0:
        return [stop("slush", f"{text} It stays slush.")]
    text = f"{text} The chance that it freezes to a plug is {percent(chance)} at most."
    if chance < 0.5:
        return [stop("slush", text)]
    return [warn("may-stay-slush", f"{text} Prove the plug by venting the section.")]


def percent(chance: float) -> str:
    """Return a ``chance`` [-] in words, rounded down."""
    return f"{math.floor(100.0 * chance + 1e-9):.0f} %"


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
    known = point.calibration
    if known is not None and not known.reaches(point.pipe.outside_diameter):
        text = (
            "The calibration was made on pipes of "
            f"{1e3 * known.least_diameter:.0f} to {1e3 * known.greatest_diameter:.0f} mm outside "
            "diameter; this one is far from them, and so may its jacket be."
        )
        found.append(warn("outside-calibration", text))
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
        return (*known, *_of_seen(solution))
    return (*known, *_of_seen(solution), *_of_closing(solution), *_of_ready(solution))


def _of_closing(solution: Solution) -> list[Reason]:
    """Return how likely the bore freezes shut."""
    flows, chance = solution.point.fluid.flow > 0.0, solution.closing_chance
    if solution.is_sure(chance):
        return []
    if flows and chance < 0.5:
        text = "The flow carries in more heat than the jacket can take out; stop the flow."
        return [stop("flowing", text)]
    if flows:
        text = (
            "The flow is near the most that can be frozen, the chance that it freezes shut is "
            f"{percent(chance)}: stop it if you can."
        )
        return [warn("flow-near-limit", text)]
    if not solution.cases.is_water:
        return _of_slush(solution)
    if chance < 0.5:
        return [stop("never-closes", "The bore does not freeze shut within four hours.")]
    text = f"The chance that the bore freezes shut within four hours is {percent(chance)}."
    return [warn("may-not-close", text)]


def _of_slush(solution: Solution) -> list[Reason]:
    """Return that a solution does not close, where its ice could do."""
    if solution.freezing_chance < 0.5 or solution.closing_chance >= 0.5:
        return []
    text = "Within four hours the bore does not come to the ice that a plug needs: it stays slush."
    return [stop("slush", text)]


def _of_ready(solution: Solution) -> list[Reason]:
    """Return how likely the plug carries the line pressure."""
    chance, closing = solution.ready_chance, solution.closing_chance
    if closing < 0.5 or solution.is_sure(chance):
        return []
    if not solution.is_sure(closing) and 0.5 <= chance > closing - LITTLE:
        return []  # what keeps it from closing is said
    if chance < 0.5:
        text = (
            "The plug does not grow long enough to carry the line pressure with the safety factor; "
            "lower the pressure or use a longer jacket."
        )
        return [stop("never-ready", text)]
    text = (
        "The chance that the plug carries the line pressure with its safety factor within four "
        f"hours is {percent(chance)}: lower the pressure, or prove the plug before cutting."
    )
    return [warn("may-not-be-ready", text)]


def _of_seen(solution: Solution) -> list[Reason]:
    """Return what the observations mean for the job."""
    known = solution.evidence
    if known is None:
        if not solution.point.observations:
            return []
        text = "No plug is to be expected, so what was seen tells nothing about one."
        return [warn("observations-not-used", text)]
    if known.least >= seen.UNLIKELY:
        return []
    worst = min(known.foretold, key=lambda f: f.probability).observation
    text = (
        "What is seen does not fit a still, full line of this pipe: least of all what was seen "
        f"{worst.elapsed:.0f} s after the first feed ({worst.kind}), as likely as "
        f"{max(known.least, 1e-4):.2g} or less. Do not cut before the cause is found: a flow, "
        "warm water, a badly fed jacket, an empty or another pipe, a wrong reading."
    )
    if known.used:
        return [warn("observations-do-not-fit", text)]
    text = f"{text} The figures are those from before anything was seen."
    return [stop("observations-do-not-fit", text)]
