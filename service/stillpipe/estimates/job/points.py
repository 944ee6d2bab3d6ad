"""What is told of each freeze point of a job."""

from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np

from stillpipe.estimates import chances, growth, hold_time, learned
from stillpipe.estimates.co2_mass import Consumption
from stillpipe.estimates.course import Of
from stillpipe.estimates.growth import Growth
from stillpipe.estimates.hold_time import HoldTimeFigures
from stillpipe.estimates.job import timeline, waits
from stillpipe.estimates.job.letting_go import LettingGo, letting_go
from stillpipe.estimates.job.plan import Kind, Plan
from stillpipe.estimates.job.supply import Supply
from stillpipe.estimates.job.timeline import Event
from stillpipe.estimates.manifold import Exchange
from stillpipe.estimates.sampled import Array
from stillpipe.estimates.solution import Solution
from stillpipe.model.declare import Chance, Figure, Plain
from stillpipe.model.figures import Range, Verdict, verdict_of


@dataclass(frozen=True, kw_only=True)
class PointFigures:
    """One freeze point of a job; times from its own first feed where nothing else is said."""

    name: Annotated[str, Plain(says="Of the freeze point.")]
    run: Annotated[str | None, Plain(says="On which run of pipe it lies.")]
    at: Annotated[float | None, Figure("length", says="Where on that run.")]
    pipe: Annotated[str, Plain(says="The catalogue's name of the pipe, or its measures.")]
    group: Annotated[int, Plain(says="In which group it is frozen.")]
    manifold: Annotated[str, Plain(says="On which manifold it hangs.")]
    verdict: Annotated[Verdict, Plain(says="Of its own freeze and hold.")]
    chance: Annotated[float, Chance(says="That its plug is ready by the planned time.")]
    feed_at: Annotated[float, Figure("time", says="Of its first feed, since arrival.")]
    cut_at: Annotated[
        float | None, Figure("time", says="When its whole group is ready, since arrival.")
    ]
    closure: Annotated[Range | None, Figure("time", says="Until no liquid path is left.")]
    ready: Annotated[Range | None, Figure("time", says="Until it carries the line pressure.")]
    planned_ready: Annotated[
        float | None, Figure("time", says="By which it is ready at the chance that decides.")
    ]
    plug_length: Annotated[Range | None, Figure("length", says="After the repair.")]
    survival: Annotated[Range | None, Figure("time", says="Bonded for so long after the repair.")]
    thaw: Annotated[Range | None, Figure("time", says="By itself, from the coolant's stop.")]
    planned_thaw: Annotated[Range | None, Figure("time", says="As planned, helped where sooner.")]
    residual_flow_limit: Annotated[
        Range | None, Figure("mass_flow", says="Greatest flow that still freezes shut.")
    ]
    co2: Annotated[Range | None, Figure("mass", says="CO2 for its freeze and hold.")]
    letting_go: Annotated[
        LettingGo | None, Plain(says="How long its plug holds unfed, and what comes then.")
    ]
    growth: Annotated[Growth, Plain(says="The plug's length while it is fed.")]
    learned: Annotated[Any, Plain(says="What was learned from what was seen of it.")]
    timeline: Annotated[tuple[Event, ...], Plain(says="Its moments in order.")]


def lengths(solution: Solution) -> Array:
    """Return the plug's length after the hold, of the draws [m]."""
    return solution.grown(Of.SOUND, solution.plan_end)


def figures(plan: Plan, needed: Supply, events: tuple[Event, ...]) -> tuple[PointFigures, ...]:
    """Return what is told of each freeze point, in the caller's order."""
    of = {name: kind for kind in plan.kinds for name in kind.names}
    hangs = {name: m.name for m in needed.figures.manifolds for name in m.points}
    made = {kind: _common(plan, kind, needed.drawn.get(kind)) for kind in plan.kinds}
    go = {kind: let_go(plan, kind, needed.figures.exchanges) for kind in plan.kinds}
    found = []
    for each in plan.request.each:
        kind = of[each.name]
        found.append(
            PointFigures(
                name=each.name,
                run=each.point.run,
                at=each.point.at,
                group=kind.group,
                manifold=hangs[each.name],
                letting_go=go[kind],
                timeline=timeline.of_point(events, kind.group, each.name),
                **made[kind],
            )
        )
    return tuple(found)


def let_go(plan: Plan, kind: Kind, exchanges: tuple[Exchange, ...]) -> LettingGo | None:
    """Return how long plugs of a ``kind`` hold unfed, at the ``exchanges`` of the first too."""
    if not plan.group_of(kind).closes:
        return None
    of_first = tuple(s for s in exchanges if any(p.name == kind.names[0] for p in s.points))
    return letting_go(kind.solution, of_first, plan.request.supply_length)


def _common(plan: Plan, kind: Kind, drawn: Consumption | None) -> dict[str, Any]:
    """Return what is alike at freeze points of a kind, by member."""
    solution, group = kind.solution, plan.group_of(kind)
    planned = solution.planned_ready if kind.closes else None
    held = hold_time.figures(solution) if kind.closes else HoldTimeFigures()
    return {
        "pipe": _named(kind),
        "verdict": verdict_of(hold_time.reasons(solution)),
        "chance": 0.0 if planned is None else chances.chance(solution.readies <= planned),
        "feed_at": group.feed,
        "cut_at": group.ready if group.closes else None,
        "closure": solution.closure,
        "ready": solution.ready,
        "planned_ready": planned,
        "plug_length": held.plug_length,
        "survival": held.survival,
        "thaw": held.thaw,
        "planned_thaw": None if held.ready is None else waits.thaw(solution),
        "residual_flow_limit": solution.flow_limit,
        "growth": growth.growth(solution) if kind.closes else Growth(),
        "learned": learned.told(solution),
        "co2": None if drawn is None else solution.range(np.asarray(drawn.total)),
    }


def _named(kind: Kind) -> str:
    """Return the catalogue's name of a pipe, or its measures and material."""
    pipe = kind.request.pipe
    if pipe.id is not None:
        return pipe.id
    return f"{1e3 * pipe.outside_diameter:.1f} x {1e3 * pipe.wall:.1f} mm {pipe.material}"
