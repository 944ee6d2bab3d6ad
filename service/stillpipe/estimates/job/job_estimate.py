"""The whole job: everything that is asked of its freeze points, its room and its runs of pipe."""

from dataclasses import dataclass
from typing import Annotated

from stillpipe.estimates import chances, learned
from stillpipe.estimates.co2_mass import Co2Figures
from stillpipe.estimates.growth import Growth
from stillpipe.estimates.job import course, options, points, quote, remedies, timeline
from stillpipe.estimates.job.course import Chances, Promise
from stillpipe.estimates.job.judged import cautions_of, judge
from stillpipe.estimates.job.letting_go import LettingGo, shortest
from stillpipe.estimates.job.options import OptionFigures
from stillpipe.estimates.job.plan import Plan
from stillpipe.estimates.job.points import PointFigures
from stillpipe.estimates.job.quote import Quote
from stillpipe.estimates.job.remedies import Remedies
from stillpipe.estimates.job.supply import JobCylinders
from stillpipe.estimates.job.timeline import Event
from stillpipe.estimates.spacing import RunFigures
from stillpipe.estimates.stock_mix import Mix
from stillpipe.estimates.ventilation import AirFigures
from stillpipe.model.declare import Chance, Figure, Plain
from stillpipe.model.figures import Answer, Range
from stillpipe.model.options import JobEstimateRequest


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
    mix: Annotated[Mix | None, Plain(says="The best mix of the stock, where one was given.")]
    letting_go: Annotated[
        LettingGo | None,
        Plain(says="Of the plug that lasts shortest unfed after the repair, and what comes then."),
    ]
    air: Annotated[AirFigures | None, Plain(says="The room's air, where a room was given.")]
    spacing: Annotated[RunFigures | None, Plain(says="The runs, where places were given.")]
    quote: Annotated[Quote | None, Plain(says="What it costs, where rates were given.")]
    remedies: Annotated[
        Remedies | None, Plain(says="What would make the job go, where that was asked.")
    ]
    options: Annotated[tuple[OptionFigures, ...], Plain(says="Every variant of the job.")]
    growth: Annotated[
        Growth, Plain(says="The plug's length while it is fed, where all points are alike.")
    ]


def job_estimate(request: JobEstimateRequest) -> Answer[JobFigures]:
    """Estimate the whole job."""
    plan = Plan(request)
    judged = judge(plan)
    needed = judged.needed
    events = timeline.timeline(plan, needed.figures.exchanges)
    well, each = course.chances_of(plan, needed)
    promised = course.promises(plan, well)
    told = points.figures(plan, needed, events)
    figures = JobFigures(
        timeline=events,
        chance=chances.chance(well),
        chances=each,
        promises=promised,
        freeze_points=told,
        **course.of_all(plan),
        co2=needed.co2,
        cylinders=needed.figures,
        mix=needed.mix,
        letting_go=min((p.letting_go for p in told if p.letting_go), key=shortest, default=None),
        air=None if judged.air is None else judged.air.figures,
        spacing=judged.run,
        quote=quote.of_plan(plan, needed, {p.chance: p.by for p in promised}),
        remedies=remedies.remedies(judged) if request.remedies else None,
        options=options.options(request, plan),
        growth=told[0].growth if plan.is_one and plan.closes else Growth(),
    )
    return Answer(
        reasons=judged.reasons,
        cautions=cautions_of(plan),
        figures=figures,
        effort=plan.effort,
        learned=learned.told(plan.lead) if plan.is_one else None,
    )
