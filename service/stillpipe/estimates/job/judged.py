"""What a job is judged by: its freeze points, cylinders, air, runs, hands; and every reason."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from stillpipe.estimates import assess, cautions, hold_time, spacing
from stillpipe.estimates.job import air, supply, waits
from stillpipe.estimates.job.plan import Kind, Plan
from stillpipe.estimates.job.supply import Supply
from stillpipe.estimates.spacing import RunFigures, Sited
from stillpipe.estimates.ventilation import AirFigures
from stillpipe.model.figures import Answer, Caution, Reason, Verdict, verdict_of
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
        return judge(Plan(request, self.plan.pool))

    @property
    def codes(self) -> set[str]:
        """The codes of the reasons."""
        return {r.code for r in self.reasons}


def judge(plan: Plan) -> Judged:
    """Judge a planned job."""
    needed = supply.supply(plan)
    aired, sited = air.air(plan, needed.drawn), _sited(plan)
    run = spacing.along(sited) if sited else None
    reasons = [*_of_points(plan), *needed.reasons, *air.reasons(plan, aired)]
    if run is not None:
        reasons += spacing.reasons(sited, run)
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


def cautions_of(plan: Plan) -> tuple[Caution, ...]:
    """Return the cautions of all freeze points, each once."""
    found: list[Caution] = []
    for request in plan.solutions:
        fluid = replace(request.fluid, temperature=waits.arrival(request))
        found += cautions.of_job(replace(request, fluid=fluid))
    return tuple({c.code: c for c in found}.values())
