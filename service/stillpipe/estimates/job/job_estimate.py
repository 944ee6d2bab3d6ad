"""The whole job: everything that is asked of its freeze point, its room and its run."""

from dataclasses import dataclass
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from stillpipe.estimates import (
    assess,
    cautions,
    chances,
    co2_mass,
    cylinder_count,
    growth,
    hold_time,
    learned,
    spacing,
    ventilation,
)
from stillpipe.estimates.co2_mass import Co2Figures, Needed
from stillpipe.estimates.cylinder_count import CylinderFigures, Planned
from stillpipe.estimates.growth import Growth
from stillpipe.estimates.job import quote, timeline, waits
from stillpipe.estimates.job.quote import Quote
from stillpipe.estimates.job.timeline import Event
from stillpipe.estimates.solution import COOL_ENOUGH, Solution
from stillpipe.estimates.spacing import RunFigures
from stillpipe.estimates.ventilation import AirFigures
from stillpipe.model.declare import Chance, Figure, Plain
from stillpipe.model.figures import Answer, Range, Reason
from stillpipe.model.requests import JobEstimateRequest
from stillpipe.model.site import PlaceKind, Release

PROMISED = (0.5, 0.9)
"""Chances at which it is told when a job is done [-]."""


@dataclass(frozen=True, kw_only=True)
class Chances:
    """How likely each thing that is planned goes well, of a plug in any draw."""

    ready: Annotated[float, Chance(says="That the plug is ready by the planned time.")] = 0.0
    exchanges: Annotated[float, Chance(says="That the plug outlives every exchange.")] = 0.0
    cylinders: Annotated[float, Chance(says="That the cylinders taken are enough.")] = 0.0


@dataclass(frozen=True, kw_only=True)
class Promise:
    """When the job is done, at a chance."""

    chance: Annotated[float, Chance(says="That it is done by then.")]
    by: Annotated[float, Figure("time", says="Since arrival.")]


@dataclass(frozen=True, kw_only=True)
class JobFigures:
    """Figures of the whole job."""

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
    closure: Annotated[Range | None, Figure("time", says="From the first feed.")]
    ready: Annotated[Range | None, Figure("time", says="From the first feed.")]
    chance_of_ready_by: Annotated[
        float | None, Chance(says="That the plug is ready by the time `ready_by` of the request.")
    ]
    planned_ready: Annotated[
        float | None,
        Figure("time", says="By which it is ready at the chance that decides: cut no earlier."),
    ]
    plug_length: Annotated[Range | None, Figure("length", says="After the repair.")]
    survival: Annotated[Range | None, Figure("time", says="Bonded for so long after the repair.")]
    thaw: Annotated[Range | None, Figure("time", says="By itself, from the coolant's stop.")]
    planned_thaw: Annotated[
        Range | None,
        Figure(
            "time", says="From the coolant's stop, helped after two hours where that is sooner."
        ),
    ]
    co2: Annotated[Co2Figures, Plain(says="The CO2 that is needed.")]
    cylinders: Annotated[CylinderFigures, Plain(says="The cylinders that are needed.")]
    air: Annotated[AirFigures | None, Plain(says="The room's air, where a room was given.")]
    spacing: Annotated[RunFigures | None, Plain(says="The run, where places were given.")]
    quote: Annotated[Quote | None, Plain(says="What it costs, where rates were given.")]
    growth: Annotated[Growth, Plain(says="The plug's length while it is fed.")]


def job_estimate(request: JobEstimateRequest) -> Answer[JobFigures]:
    """Estimate the whole job."""
    solution = Solution(request, request.hold_duration, member="repair")
    needed = co2_mass.needed(request, solution)
    planned, cylinder_reasons = cylinder_count.plan(request, solution, needed)
    cylinders, air = planned.figures, _air(request, solution, needed)
    run = spacing.along(solution, request.places) if request.places else None
    reasons = [*hold_time.reasons(solution), *cylinder_reasons, *_of_air(request, air)]
    if run is not None:
        reasons += [*spacing.reasons(solution, request.places, run), *_of_points(request)]
    if request.fluid.temperature > COOL_ENOUGH:
        reasons.append(_cool_first(solution))
    held, (well, each) = hold_time.figures(solution), _chances(solution, planned)
    figures = JobFigures(
        timeline=timeline.timeline(request, solution, cylinders),
        chance=chances.chance(well),
        chances=each,
        promises=_promises(request, solution, well),
        closure=solution.closure,
        ready=solution.ready,
        chance_of_ready_by=solution.chance_of_ready_by(request.ready_by),
        planned_ready=held.planned_ready,
        plug_length=held.plug_length,
        survival=held.survival,
        thaw=held.thaw,
        planned_thaw=None if held.ready is None else waits.thaw(solution),
        co2=needed.figures,
        cylinders=cylinders,
        air=None if air is None else air.figures,
        spacing=run,
        quote=quote.quote(request, solution, needed.figures, cylinders),
        growth=growth.growth(solution),
    )
    return Answer(
        reasons=tuple(dict.fromkeys(reasons)),
        cautions=cautions.of_job(request),
        figures=figures,
        effort=solution.effort,
        learned=learned.told(solution),
    )


def _of_points(request: JobEstimateRequest) -> list[Reason]:
    """Return that ``points`` and the freeze points among ``places`` are not as many."""
    placed = sum(place.kind is PlaceKind.FREEZE_POINT for place in request.places)
    if placed == request.points:
        return []
    text = (
        f"points says {request.points} freeze point(s), places has {placed}: CO2, cylinders, air "
        "and quote are for the first, distances for the second."
    )
    return [assess.warn("points-and-places", text)]


def _cool_first(solution: Solution) -> Reason:
    """Say that a warm line is cooled first, and how."""
    how = "Let the line cool near room temperature"
    if waits.is_flushed(solution):
        how = "The room cools the line too slowly or not at all: flush it with cold water"
    return assess.warn("cool-first", f"{how}, then estimate again with that temperature.")


def _chances(
    solution: Solution, planned: Planned
) -> tuple[NDArray[np.bool_], Chances]:  # fmt: skip
    """Return of every draw whether all goes as planned, and the chance of each thing that is.

    All points are alike, and so go well or ill together.
    """
    well = np.zeros(len(solution.sample), dtype=bool)
    if len(planned.enough) == 0:
        return well, Chances()
    ready = solution.readies[solution.holds] <= (solution.planned_ready or 0.0)
    well[solution.holds] = ready & planned.enough & planned.survived
    share = len(planned.enough) / len(solution.sample)
    each = [share * chances.chance(x) for x in (ready, planned.survived, planned.enough)]
    return well, Chances(ready=each[0], exchanges=each[1], cylinders=each[2])


def _promises(
    request: JobEstimateRequest, solution: Solution, well: NDArray[np.bool_]
) -> tuple[Promise, ...]:
    """Return when the job is done at the chances ``PROMISED``; never where it does not go well."""
    if not well.any():
        return ()
    stop = timeline.begin_feeding(request, solution) + solution.plan_end
    done = np.where(well, stop + waits.thaws(solution), np.inf)
    times = ((p, chances.percentile(done, p)) for p in PROMISED)
    return tuple(Promise(chance=p, by=time) for p, time in times if time is not None)


def _air(
    request: JobEstimateRequest, solution: Solution, needed: Needed
) -> Answer[AirFigures] | None:
    """Estimate the room's air while all points are frozen and held.

    On what is let out in the freeze and in the hold at the chance that decides, each for itself:
    the sum is on the safe side. None without a room or a plug.
    """
    drawn = needed.drawn
    if request.room is None or drawn is None:
        return None
    freeze, rate = (solution.at_most(x) or 0.0 for x in (drawn.freeze, drawn.rate))
    release = (
        Release(rate=request.points * freeze / drawn.ready, duration=drawn.ready),
        Release(rate=request.points * rate, duration=max(request.hold_duration, 1.0)),
    )
    return ventilation.air(request.room, release)


def _of_air(request: JobEstimateRequest, air: Answer[AirFigures] | None) -> tuple[Reason, ...]:
    """Return the reasons found with the air, or that nobody has judged it."""
    if request.room is None:
        text = "No room was stated, so its air was not judged: state the room, or work outdoors."
        return (assess.warn("air-not-judged", text),)
    return () if air is None else air.reasons
