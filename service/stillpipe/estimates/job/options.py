"""Variants of a job, side by side."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Annotated

from stillpipe.estimates import chances
from stillpipe.estimates.job import course, quote
from stillpipe.estimates.job.course import Promise
from stillpipe.estimates.job.judged import judge
from stillpipe.estimates.job.plan import Plan
from stillpipe.model.declare import Chance, Figure, Plain
from stillpipe.model.figures import Range, Reason, Verdict
from stillpipe.model.options import JobEstimateRequest


@dataclass(frozen=True, kw_only=True)
class OptionFigures:
    """What a variant of the job comes to."""

    name: Annotated[str, Plain(says="Of the variant.")]
    verdict: Annotated[Verdict, Plain(says="What its reasons come to.")]
    reasons: Annotated[tuple[Reason, ...], Plain(says="Why the verdict is what it is.")]
    chance: Annotated[float, Chance(says="That everything goes as planned.")]
    promises: Annotated[tuple[Promise, ...], Plain(says="When it is done as planned.")]
    planned_ready: Annotated[
        float | None, Figure("time", says="By which all are ready at the chance that decides.")
    ]
    co2: Annotated[Range | None, Figure("mass", says="CO2 of all freeze points.")]
    cylinders: Annotated[int | None, Plain(says="How many to take.")]
    total: Annotated[Decimal | None, Plain(says="Of the quote, where rates were given.")]


def options(request: JobEstimateRequest, plan: Plan) -> tuple[OptionFigures, ...]:
    """Return the figures of each variant; what they share with the job is solved once."""
    found = []
    for option, variant in zip(request.options, request.variants, strict=True):
        other = Plan(variant, plan.pool)
        judged = judge(other)
        well, _ = course.chances_of(other, judged.needed)
        promised = course.promises(other, well)
        quoted = quote.of_plan(other, judged.needed, {p.chance: p.by for p in promised})
        found.append(
            OptionFigures(
                name=option.name,
                verdict=judged.verdict,
                reasons=judged.reasons,
                chance=chances.chance(well),
                promises=promised,
                planned_ready=course.planned_ready(other),
                co2=judged.needed.co2.job_total,
                cylinders=judged.needed.figures.planned_count,
                total=None if quoted is None else quoted.total,
            )
        )
    return tuple(found)
