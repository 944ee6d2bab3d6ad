"""The whole job: everything that is asked of its freeze point, its room and its run."""

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
from stillpipe.estimates.co2_mass import Co2Figures, Needed
from stillpipe.estimates.cylinder_count import CylinderFigures
from stillpipe.estimates.job import quote, timeline
from stillpipe.estimates.job.quote import Quote
from stillpipe.estimates.job.timeline import Event
from stillpipe.estimates.solution import COOL_ENOUGH, Solution
from stillpipe.estimates.spacing import RunFigures
from stillpipe.estimates.ventilation import AirFigures
from stillpipe.model.declare import Figure, Plain
from stillpipe.model.figures import Answer, Range
from stillpipe.model.requests import JobEstimateRequest
from stillpipe.model.site import Release


@dataclass(frozen=True, kw_only=True)
class JobFigures:
    """Figures of the whole job."""

    timeline: Annotated[tuple[Event, ...], Plain(says="The moments of the job in order.")]
    closure: Annotated[Range | None, Figure("time", says="From the first feed.")]
    ready: Annotated[Range | None, Figure("time", says="From the first feed.")]
    plug_length: Annotated[Range | None, Figure("length", says="After the repair.")]
    survival: Annotated[Range | None, Figure("time", says="Bonded for so long after the repair.")]
    thaw: Annotated[Range | None, Figure("time", says="From the coolant's stop.")]
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
    reasons = [*hold_time.reasons(solution), *cylinder_reasons]
    if air is not None:
        reasons += air.reasons
    if run is not None:
        reasons += spacing.reasons(solution, request.places, run)
    if request.fluid.temperature > COOL_ENOUGH:
        text = "Let the line cool near room temperature, then estimate again with that temperature."
        reasons.append(assess.warn("cool-first", text))
    held = hold_time.figures(solution)
    figures = JobFigures(
        timeline=timeline.timeline(request, solution, cylinders),
        closure=None if solution.stays_slush else solution.closure,
        ready=None if solution.stays_slush else solution.ready,
        plug_length=held.plug_length,
        survival=held.survival,
        thaw=held.thaw,
        co2=needed.figures,
        cylinders=cylinders,
        air=None if air is None else air.figures,
        spacing=run,
        quote=quote.quote(request, solution, needed.figures, cylinders),
    )
    return Answer(
        reasons=tuple(dict.fromkeys(reasons)),
        cautions=cautions.of_job(request, air.cautions if air else ()),
        figures=figures,
        effort=solution.effort,
    )


def _air(request: JobEstimateRequest, needed: Needed) -> Answer[AirFigures] | None:
    """Estimate the room's air while all points are frozen and held; None without a room."""
    likely = needed.likely
    if request.room is None or likely is None:
        return None
    release = (
        Release(rate=request.points * likely.freeze / likely.ready, duration=likely.ready),
        Release(rate=request.points * likely.rate, duration=max(request.hold_duration, 1.0)),
    )
    return ventilation.air(request.room, release)
