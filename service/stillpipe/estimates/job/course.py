"""How likely a job goes as planned, when it is done, and the figures of all its freeze points."""

from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np
from numpy.typing import NDArray

from stillpipe.estimates import chances
from stillpipe.estimates.job import points, waits
from stillpipe.estimates.job.plan import Plan
from stillpipe.estimates.job.supply import Supply
from stillpipe.estimates.solution import Solution
from stillpipe.model.declare import Chance, Figure

PROMISED = (0.5, 0.9)
"""Chances at which it is told when a job is done [-]."""


@dataclass(frozen=True, kw_only=True)
class Chances:
    """How likely each thing that is planned goes well, of a plug in any draw."""

    ready: Annotated[float, Chance(says="That the plugs are ready by the planned time.")] = 0.0
    exchanges: Annotated[float, Chance(says="That the plugs outlive every exchange.")] = 0.0
    cylinders: Annotated[float, Chance(says="That the cylinders taken are enough.")] = 0.0


@dataclass(frozen=True, kw_only=True)
class Promise:
    """When the job is done, at a chance."""

    chance: Annotated[float, Chance(says="That it is done by then.")]
    by: Annotated[float, Figure("time", says="Since arrival.")]


def planned_ready(plan: Plan) -> float | None:
    """Return the time from the first feed by which all are ready at the chance that decides [s]."""
    if not plan.closes:
        return None
    return max(kind.solution.planned_ready or 0.0 for kind in plan.kinds)


def of_all(plan: Plan) -> dict[str, Any]:
    """Return the figures of all freeze points together: of the last, the longest, the weakest."""
    lead, holds, by = plan.lead, plan.holds, plan.request.ready_by
    late = None if by is None else 0.0
    found: dict[str, Any] = {
        "closure": None, "ready": None, "chance_of_ready_by": late, "planned_ready": None,
        "plug_length": None, "survival": None, "thaw": None, "planned_thaw": None,
    }  # fmt: skip
    kinds = list(plan.kinds)
    if any(k.solution.hopeless for k in kinds):
        return found
    if len(kinds) == 1:
        return found | _of_one(lead, by, closes=plan.closes)
    readies = plan.last("readies")
    found |= {"closure": lead.range(plan.last("closures")), "ready": lead.range(readies)}
    if by is not None:
        found["chance_of_ready_by"] = chances.chance(readies <= by)
    if not plan.closes:
        return found
    survival = np.minimum.reduce([k.solution.survivals for k in kinds])
    length = np.maximum.reduce([points.lengths(k.solution) for k in kinds])
    helped = np.maximum.reduce([waits.thaws(k.solution) for k in kinds])
    return found | {
        "planned_ready": planned_ready(plan),
        "plug_length": lead.range(length[holds]),
        "survival": lead.range(survival[holds]),
        "thaw": lead.range(plan.last("thaws")[holds]),
        "planned_thaw": lead.range(helped[holds]),
    }


def _of_one(solution: Solution, by: float | None, *, closes: bool) -> dict[str, Any]:
    """Return those figures where all freeze points are alike; ``closes`` as the plan's.

    The chance that they are ready is told ``by`` a time [s], if one is given.
    """
    found = {
        "closure": solution.closure, "ready": solution.ready,
        "chance_of_ready_by": solution.chance_of_ready_by(by),
    }  # fmt: skip
    if not closes:
        return found
    return found | {
        "planned_ready": solution.planned_ready,
        "plug_length": solution.plug_length,
        "survival": solution.survival,
        "thaw": solution.thaw,
        "planned_thaw": waits.thaw(solution),
    }


def chances_of(plan: Plan, needed: Supply) -> tuple[NDArray[np.bool_], Chances]:
    """Return of every draw whether all goes as planned, and the chance of each thing that is.

    What is uncertain is alike at all points: they go well or ill together.
    """
    if not needed.enough.any():
        return np.zeros(len(plan.lead.sample), dtype=bool), Chances()
    ready = np.array(plan.holds)
    for kind in plan.kinds:
        ready &= kind.solution.readies <= (kind.solution.planned_ready or 0.0)
    well = ready & needed.enough & needed.survived
    told = [chances.chance(x) for x in (ready, needed.survived, needed.enough)]
    return well, Chances(ready=told[0], exchanges=told[1], cylinders=told[2])


def promises(plan: Plan, well: NDArray[np.bool_]) -> tuple[Promise, ...]:
    """Return when the job is done at the chances ``PROMISED``; never where it does not go well.

    A line that cools later than planned delays all that comes after.
    """
    if not well.any():
        return ()
    done = np.zeros(len(well))
    late = np.zeros(len(well))
    for group in plan.groups:
        for kind in group.kinds:
            if waits.is_warm(kind.request):
                cool = waits.coolings(kind.request, kind.solution)
                late = np.maximum(late, cool - group.feed)
        for kind in group.kinds:
            done = np.maximum(done, group.stop + late + waits.thaws(kind.solution))
    done = np.where(well, done, np.inf)
    times = ((p, chances.percentile(done, p)) for p in PROMISED)
    return tuple(Promise(chance=p, by=time) for p, time in times if time is not None)
