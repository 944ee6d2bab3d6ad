"""Reasons that lie in a freeze itself: cylinder, slush, flow, closure, readiness."""

from functools import partial

from stillpipe.estimates.solution import PLUG_ICE_FRACTION, Solution
from stillpipe.model.figures import Reason, Severity
from stillpipe.physics import co2
from stillpipe.uncertainty.scenarios import SLOW

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
    if solution.stays_slush:
        text = (
            f"At most {100 * solution.most_ice:.0f} % of this fluid turns to ice; a plug needs "
            f"{100 * PLUG_ICE_FRACTION:.0f} %. It stays slush."
        )
        found.append(stop("slush", text))
    return tuple(found)


def is_stopped(reasons: tuple[Reason, ...]) -> bool:
    """Tell whether any of ``reasons`` stops the job."""
    return any(r.severity is Severity.STOP for r in reasons)


def reasons(solution: Solution) -> tuple[Reason, ...]:
    """Return all reasons of a freeze, those found by solving too."""
    known = blockers(solution)
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
            "With the least favourable inputs the plug does not carry the line pressure; lower the "
            "pressure or prove the plug before cutting."
        )
        return [warn("may-not-be-ready", text)]
    return []
