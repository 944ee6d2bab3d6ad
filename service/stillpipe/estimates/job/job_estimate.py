"""The whole job: everything that is asked of its freeze points, its room and its runs of pipe."""

from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np
from numpy.typing import NDArray

from stillpipe.estimates import chances, learned
from stillpipe.estimates.co2_mass import Co2Figures
from stillpipe.estimates.job import points, quote, timeline, waits
from stillpipe.estimates.job.judged import cautions_of, judge
from stillpipe.estimates.job.letting_go import LettingGo, shortest
from stillpipe.estimates.job.plan import Plan
from stillpipe.estimates.job.points import PointFigures
from stillpipe.estimates.job.quote import Quote
from stillpipe.estimates.job.supply import JobCylinders, Supply
from stillpipe.estimates.job.timeline import Event
from stillpipe.estimates.spacing import RunFigures
from stillpipe.estimates.ventilation import AirFigures
from stillpipe.model.declare import Chance, Figure, Plain
from stillpipe.model.figures import Answer, Range
from stillpipe.model.job import JobEstimateRequest

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


@dataclass(frozen=True, kw_only=True)
class JobFigures:
    """Figures of the whole job; of several freeze points those of the last or the weakest."""

    timeline: Annotated[tuple[Event, ...], Plain(says="The moments of the job in order.")]
    chance: Annotated[
        float,
        Chance(
            says="That the plugs are ready as planned, outlive every exchange and the cylinders "
            "taken are enough: all points at once.",
        ),
    ]
    chances: Annotated[Chances, Plain(says="The chance of each thing that is planned.")]
    promises: Annotated[
        tuple[Promise, ...],
        Plain(says="When the job is done as planned, from arrival to the open bore."),
    ]
    freeze_points: Annotated[tuple[PointFigures, ...], Plain(says="Every freeze point.")]
    closure: Annotated[Range | None, Figure("time", says="Of the last, from the first feed.")]
    ready: Annotated[Range | None, Figure("time", says="Of the last, from the first feed.")]
    chance_of_ready_by: Annotated[
        float | None, Chance(says="That all are ready by the time `ready_by` of the request.")
    ]
    planned_ready: Annotated[
        float | None,
        Figure("time", says="By which they are ready at the chance that decides: cut no earlier."),
    ]
    plug_length: Annotated[Range | None, Figure("length", says="Of the longest, after the repair.")]
    survival: Annotated[
        Range | None, Figure("time", says="Of the weakest, bonded for so long after the repair.")
    ]
    thaw: Annotated[
        Range | None, Figure("time", says="Of the last by itself, from the coolant's stop.")
    ]
    planned_thaw: Annotated[
        Range | None,
        Figure(
            "time", says="From the coolant's stop, helped after two hours where that is sooner."
        ),
    ]
    co2: Annotated[Co2Figures, Plain(says="The CO2 that is needed.")]
    cylinders: Annotated[JobCylinders, Plain(says="The cylinders that are needed.")]
    letting_go: Annotated[
        LettingGo | None,
        Plain(says="Of the plug that lasts shortest unfed after the repair, and what comes then."),
    ]
    air: Annotated[AirFigures | None, Plain(says="The room's air, where a room was given.")]
    spacing: Annotated[RunFigures | None, Plain(says="The runs, where places were given.")]
    quote: Annotated[Quote | None, Plain(says="What it costs, where rates were given.")]


def job_estimate(request: JobEstimateRequest) -> Answer[JobFigures]:
    """Estimate the whole job."""
    plan = Plan(request)
    judged = judge(plan)
    needed = judged.needed
    events = timeline.timeline(plan, needed.figures.exchanges)
    well, each = chances_of(plan, needed)
    told = points.figures(plan, needed, events)
    figures = JobFigures(
        timeline=events,
        chance=chances.chance(well),
        chances=each,
        promises=promises(plan, well),
        freeze_points=told,
        **_of_all(plan),
        co2=needed.co2,
        cylinders=needed.figures,
        letting_go=min((p.letting_go for p in told if p.letting_go), key=shortest, default=None),
        air=None if judged.air is None else judged.air.figures,
        spacing=judged.run,
        quote=quote.quote(plan, needed),
    )
    return Answer(
        reasons=judged.reasons,
        cautions=cautions_of(plan),
        figures=figures,
        effort=plan.effort,
        learned=learned.told(plan.lead) if plan.is_one else None,
    )


def _of_all(plan: Plan) -> dict[str, Any]:
    """Return the figures of all freeze points together: of the last, the longest, the weakest."""
    lead, holds, by = plan.lead, plan.holds, plan.request.ready_by
    late = None if by is None else 0.0
    found: dict[str, Any] = {
        "closure": None, "ready": None, "chance_of_ready_by": late, "planned_ready": None,
        "plug_length": None, "survival": None, "thaw": None, "planned_thaw": None,
    }  # fmt: skip
    if any(k.solution.hopeless for k in plan.kinds):
        return found
    readies = plan.last("readies")
    found |= {"closure": lead.range(plan.last("closures")), "ready": lead.range(readies)}
    if by is not None:
        found["chance_of_ready_by"] = chances.chance(readies <= by)
    if not plan.closes:
        return found
    kinds = list(plan.kinds)
    survival = np.minimum.reduce([k.solution.survivals for k in kinds])
    length = np.maximum.reduce([points.lengths(k.solution) for k in kinds])
    helped = np.maximum.reduce([waits.thaws(k.solution) for k in kinds])
    planned = max(k.solution.planned_ready or 0.0 for k in kinds)
    return found | {
        "planned_ready": planned,
        "plug_length": lead.range(length[holds]),
        "survival": lead.range(survival[holds]),
        "thaw": lead.range(plan.last("thaws")[holds]),
        "planned_thaw": lead.range(helped[holds]),
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
