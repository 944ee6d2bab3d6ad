"""The whole job: everything that is asked of its freeze point, its room and its run."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated

from stillpipe.estimates import (
    assess,
    cautions,
    co2_mass,
    cylinder_count,
    hold_time,
    spacing,
    ventilation,
)
from stillpipe.estimates.co2_mass import Co2Figures, Consumption, Needed
from stillpipe.estimates.cylinder_count import CylinderFigures
from stillpipe.estimates.job import quote, timeline, waits
from stillpipe.estimates.job.quote import Quote
from stillpipe.estimates.job.timeline import Event
from stillpipe.estimates.solution import COOL_ENOUGH, Solution
from stillpipe.estimates.spacing import RunFigures
from stillpipe.estimates.ventilation import AirFigures
from stillpipe.model.declare import Figure, Plain
from stillpipe.model.figures import Answer, Range, Reason
from stillpipe.model.requests import JobEstimateRequest
from stillpipe.model.site import PlaceKind, Release


@dataclass(frozen=True, kw_only=True)
class JobFigures:
    """Figures of the whole job."""

    timeline: Annotated[tuple[Event, ...], Plain(says="The moments of the job in order.")]
    closure: Annotated[Range | None, Figure("time", says="From the first feed.")]
    ready: Annotated[Range | None, Figure("time", says="From the first feed.")]
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


def job_estimate(request: JobEstimateRequest) -> Answer[JobFigures]:
    """Estimate the whole job."""
    solution = Solution(request, request.hold_duration, member="repair")
    needed = co2_mass.needed(request, solution)
    cylinders, cylinder_reasons = cylinder_count.plan(request, solution, needed)
    air = _air(request, needed)
    run = spacing.along(solution, request.places) if request.places else None
    reasons = [*hold_time.reasons(solution), *cylinder_reasons, *_of_air(request, air)]
    if run is not None:
        reasons += [*spacing.reasons(solution, request.places, run), *_of_points(request)]
    if request.fluid.temperature > COOL_ENOUGH:
        reasons.append(_cool_first(solution))
    held = hold_time.figures(solution)
    figures = JobFigures(
        timeline=timeline.timeline(request, solution, cylinders),
        closure=None if solution.stays_slush else solution.closure,
        ready=None if solution.stays_slush else solution.ready,
        plug_length=held.plug_length,
        survival=held.survival,
        thaw=held.thaw,
        planned_thaw=None if held.ready is None else waits.thaw(solution),
        co2=needed.figures,
        cylinders=cylinders,
        air=None if air is None else air.figures,
        spacing=run,
        quote=quote.quote(request, solution, needed.figures, cylinders),
    )
    return Answer(
        reasons=tuple(dict.fromkeys(reasons)),
        cautions=cautions.of_job(request),
        figures=figures,
        effort=solution.effort,
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


def _air(request: JobEstimateRequest, needed: Needed) -> Answer[AirFigures] | None:
    """Estimate the room's air while all points are frozen and held, at the unfavourable ends.

    Those that let out CO2 the fastest while freezing and while holding, and the most in all. None
    without a room or a plug.
    """
    if request.room is None or not needed.every:
        return None
    ends: tuple[Callable[[Consumption], float], ...] = (
        _freeze_rate, lambda c: c.rate, lambda c: c.total,
    )  # fmt: skip
    worst = dict.fromkeys(max(needed.every, key=end) for end in ends)
    return ventilation.air(request.room, *(_release(request, c) for c in worst))


def _freeze_rate(c: Consumption) -> float:
    """Return the CO2 that one freeze point draws while freezing [kg/s]."""
    return c.freeze / c.ready


def _release(request: JobEstimateRequest, c: Consumption) -> tuple[Release, ...]:
    """Return what all points let out on one scenario, freezing and then holding."""
    return (
        Release(rate=request.points * _freeze_rate(c), duration=c.ready),
        Release(rate=request.points * c.rate, duration=max(request.hold_duration, 1.0)),
    )


def _of_air(request: JobEstimateRequest, air: Answer[AirFigures] | None) -> tuple[Reason, ...]:
    """Return the reasons found with the air, or that nobody has judged it."""
    if request.room is None:
        text = "No room was stated, so its air was not judged: state the room, or work outdoors."
        return (assess.warn("air-not-judged", text),)
    return () if air is None else air.reasons
