"""The whole job: everything that is asked of its freeze points, its room and its runs of pipe."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Annotated, Any

import numpy as np
from numpy.typing import NDArray

from stillpipe.estimates import assess, cautions, chances, hold_time, learned, spacing
from stillpipe.estimates.co2_mass import Co2Figures
from stillpipe.estimates.job import air, points, quote, supply, timeline, waits
from stillpipe.estimates.job.plan import Kind, Plan
from stillpipe.estimates.job.points import PointFigures
from stillpipe.estimates.job.quote import Quote
from stillpipe.estimates.job.supply import JobCylinders, Supply
from stillpipe.estimates.job.timeline import Event
from stillpipe.estimates.spacing import RunFigures, Sited
from stillpipe.estimates.ventilation import AirFigures
from stillpipe.model.declare import Chance, Figure, Plain
from stillpipe.model.figures import Answer, Caution, Range, Reason
from stillpipe.model.job import JobEstimateRequest
from stillpipe.model.site import Place, PlaceKind

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
    air: Annotated[AirFigures | None, Plain(says="The room's air, where a room was given.")]
    spacing: Annotated[RunFigures | None, Plain(says="The runs, where places were given.")]
    quote: Annotated[Quote | None, Plain(says="What it costs, where rates were given.")]


def job_estimate(request: JobEstimateRequest) -> Answer[JobFigures]:
    """Estimate the whole job."""
    plan = Plan(request)
    needed = supply.supply(plan)
    aired, sited = air.air(plan, needed.drawn), _sited(plan)
    run = spacing.along(sited) if sited else None
    reasons = [*_of_points(plan), *needed.reasons, *air.reasons(plan, aired)]
    if run is not None:
        reasons += spacing.reasons(sited, run)
    reasons += _of_plan(plan, sited)
    events = timeline.timeline(plan, needed.figures.exchanges)
    well, each = _chances(plan, needed)
    figures = JobFigures(
        timeline=events,
        chance=chances.chance(well),
        chances=each,
        promises=_promises(plan, well),
        freeze_points=points.figures(plan, needed, events),
        **_of_all(plan),
        co2=needed.co2,
        cylinders=needed.figures,
        air=None if aired is None else aired.figures,
        spacing=run,
        quote=quote.quote(plan, needed),
    )
    return Answer(
        reasons=tuple(dict.fromkeys(reasons)),
        cautions=_cautions(plan),
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


def _sited(plan: Plan) -> tuple[Sited, ...]:
    """Return what lies along the runs, with what is frozen there; nothing without any place."""
    found = [Sited(place=p) for p in plan.request.places if p.kind is not PlaceKind.FREEZE_POINT]
    solutions = {name: kind.solution for kind in plan.kinds for name in kind.names}
    for each in plan.request.each:
        point = each.point
        if point.at is not None:
            place = Place(
                name=point.name, kind=PlaceKind.FREEZE_POINT, at=point.at, run=point.run
            )  # fmt: skip
            found.append(Sited(place=place, solution=solutions[point.name]))
    return tuple(found)


def _of_points(plan: Plan) -> Iterator[Reason]:
    """Yield the reasons of every freeze and its hold, with the names of the points concerned."""
    for kind in plan.kinds:
        for reason in hold_time.reasons(kind.solution):
            yield reason if plan.is_one else replace(reason, text=_of(kind, reason.text))
        if waits.is_warm(kind.request):
            found = _cool_first(kind)
            yield found if plan.is_one else replace(found, text=_of(kind, found.text))


def _of(kind: Kind, text: str) -> str:
    """Return a ``text`` with the names of the freeze points that it is about."""
    return f"{', '.join(kind.names)}: {text}"


def _cool_first(kind: Kind) -> Reason:
    """Say that a warm line is cooled first, and how; or that it never is."""
    request = kind.request
    warm, enough = waits.in_words(waits.arrival(request)), waits.in_words(request.cooling.to)
    time = waits.cooling(request, kind.solution)
    if time is None:
        text = (
            f"The line, at {warm}, does not come to {enough}: room or flushing water is no colder. "
            "State colder water to flush it with, or a higher temperature to feed it at."
        )
        return assess.stop("never-cools", text)
    how = "flush it with cold water" if waits.is_flushed(request, kind.solution) else "let it stand"
    text = (
        f"The line is at {warm}: {how} until it is at {enough}, in {time.likely / 60.0:.0f} min "
        f"(up to {time.longest / 60.0:.0f}), and measure it. All is estimated for a line fed then."
    )
    return assess.warn("cool-first", text)


def _of_plan(plan: Plan, sited: tuple[Sited, ...]) -> Iterator[Reason]:
    """Yield what is wrong with hands, jackets and with what is not placed."""
    if plan.request.crew < 2:
        yield assess.stop("alone", "Nobody works alone where CO2 is let out: send two.")
    if plan.too_many:
        text = (
            f"A run has {plan.too_many} freeze points, which are frozen together; jackets and "
            f"hands are there for {plan.most}: take more of both."
        )
        yield assess.stop("too-few-hands", text)
    placed = sum(s.solution is not None for s in sited)
    if placed < len(plan.request.each) and len(plan.request.each) > 1:
        text = (
            f"{len(plan.request.each) - placed} of {len(plan.request.each)} freeze points have no "
            "place: whether water is trapped between two of them, and whether they are far enough "
            "apart, was not judged. State places, or keep vents open between them."
        )
        yield assess.warn("places-not-judged", text)


def _cautions(plan: Plan) -> tuple[Caution, ...]:
    """Return the cautions of all freeze points, each once."""
    found: list[Caution] = []
    for request in plan.solutions:
        fluid = replace(request.fluid, temperature=waits.arrival(request))
        found += cautions.of_job(replace(request, fluid=fluid))
    return tuple({c.code: c for c in found}.values())


def _chances(plan: Plan, needed: Supply) -> tuple[NDArray[np.bool_], Chances]:
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


def _promises(plan: Plan, well: NDArray[np.bool_]) -> tuple[Promise, ...]:
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
