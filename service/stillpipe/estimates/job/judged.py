"""What a job is judged by: its freeze points, cylinders, air, runs, hands; and every reason."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from stillpipe.estimates import assess, cautions, hold_time, spacing, words
from stillpipe.estimates.job import air, supply, waits
from stillpipe.estimates.job.plan import Kind, Plan
from stillpipe.estimates.job.supply import Supply
from stillpipe.estimates.spacing import RunFigures, Sited
from stillpipe.estimates.ventilation import AirFigures
from stillpipe.model.figures import Amount, Answer, Caution, Reason, Verdict, verdict_of
from stillpipe.model.job import Job
from stillpipe.model.site import Place, PlaceKind


@dataclass(frozen=True, kw_only=True, eq=False)
class Judged:
    """What was found of a planned job, and the reasons."""

    plan: Plan
    needed: Supply
    air: Answer[AirFigures] | None
    run: RunFigures | None
    reasons: tuple[Reason, ...]

    @property
    def verdict(self) -> Verdict:
        """What the reasons come to."""
        return verdict_of(self.reasons)

    def again(self, request: Job) -> "Judged":
        """Return what is found of a changed job; what is solved already is not solved again."""
        return judge(Plan(request, self.plan.pool, self.plan))

    @property
    def codes(self) -> set[str]:
        """The codes of the reasons."""
        return {r.code for r in self.reasons}


def judge(plan: Plan) -> Judged:
    """Judge a planned job."""
    needed = supply.supply(plan)
    aired, sited = air.air(plan, needed.drawn), _sited(plan)
    run = spacing.along(sited) if sited else None
    reasons = [*_of_points(plan), *(r.within("cylinders") for r in needed.reasons)]
    reasons += air.reasons(plan, aired)
    if run is not None:
        reasons += (r.within("spacing") for r in spacing.reasons(sited, run))
    reasons += _of_plan(plan, sited)
    return Judged(
        plan=plan, needed=needed, air=aired, run=run, reasons=tuple(dict.fromkeys(reasons))
    )  # fmt: skip


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
            yield reason if plan.is_one else _named(plan, kind, reason)
        if waits.is_warm(kind.request):
            found = _cool_first(kind)
            yield found if plan.is_one else _named(plan, kind, found)


def _named(plan: Plan, kind: Kind, reason: Reason) -> Reason:
    """Return a ``reason`` with the names of the freeze points that it is about.

    Its figure is that of the first of them.
    """
    index = [p.name for p in plan.request.each].index(kind.names[0])
    named = replace(reason, text=f"{', '.join(kind.names)}: {reason.text}")
    return named.within(f"freeze_points.{index}")


def _cool_first(kind: Kind) -> Reason:
    """Say that a warm line is cooled first, and how; or that it never is."""
    request = kind.request
    warm, enough = waits.in_words(waits.arrival(request)), waits.in_words(request.cooling.to)
    time = waits.cooling(request, kind.solution)
    held: dict[str, Any] = {
        "figure": "inputs.fluid.temperature",
        "value": Amount(waits.arrival(request), "temperature"),
        "limit": Amount(request.cooling.to, "temperature"),
    }
    if time is None:
        text = (
            f"The line, at {warm}, does not come to {enough}: room or flushing water is no colder."
        )
        return assess.stop(
            "never-cools", text, **held,
            action="State colder water to flush it with, or a higher temperature to feed it at.",
        )  # fmt: skip
    how = "Flush it with cold water" if waits.is_flushed(request, kind.solution) else "Let it stand"
    text = (
        f"The line is at {warm}; it comes to {enough} in {words.time(time.likely)} (up to "
        f"{words.time(time.longest)}). All is estimated for a line fed then."
    )
    return assess.warn(
        "cool-first", text, **held, action=f"{how} until it is at {enough}, and measure it."
    )


def _of_plan(plan: Plan, sited: tuple[Sited, ...]) -> Iterator[Reason]:
    """Yield what is wrong with hands, jackets and with what is not placed."""
    if plan.request.crew < 2:
        yield assess.stop(
            "alone", f"A crew of {plan.request.crew}: nobody works alone where CO2 is let out.",
            figure="inputs.crew", value=Amount(plan.request.crew, "factor"),
            limit=Amount(2.0, "factor"), action="Send two.",
        )  # fmt: skip
    if plan.too_many:
        text = (
            f"A run has {plan.too_many} freeze points, which are frozen together; jackets and "
            f"hands are there for {plan.most}."
        )
        yield assess.stop(
            "too-few-hands", text, figure="inputs.jackets", value=Amount(plan.most, "factor"),
            limit=Amount(plan.too_many, "factor"), action="Take more jackets and send more hands.",
        )  # fmt: skip
    placed = sum(s.solution is not None for s in sited)
    count = len(plan.request.each)
    if placed < count and count > 1:
        text = (
            f"{count - placed} of {count} freeze points have no place: whether water is trapped "
            "between two of them, and whether they are far enough apart, was not judged."
        )
        yield assess.warn(
            "places-not-judged", text, figure="inputs.places", value=Amount(placed, "factor"),
            limit=Amount(count, "factor"),
            action="State their places, or keep vents open between them.",
        )  # fmt: skip


def cautions_of(plan: Plan) -> tuple[Caution, ...]:
    """Return the cautions of all freeze points, each once."""
    found: list[Caution] = []
    for request in plan.solutions:
        fluid = replace(request.fluid, temperature=waits.arrival(request))
        found += cautions.of_job(replace(request, fluid=fluid))
    return tuple({c.code: c for c in found}.values())
