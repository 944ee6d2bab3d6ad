"""What a job takes that costs something, whatever the rates."""

from collections.abc import Mapping
from dataclasses import dataclass

from stillpipe.estimates import chances
from stillpipe.estimates.job import waits
from stillpipe.estimates.job.plan import Plan
from stillpipe.estimates.job.supply import Supply
from stillpipe.model.cylinder import Stock
from stillpipe.model.job import Job

LIKELY, SELDOM = 0.5, 0.9
"""Chances at which what a job costs is not exceeded [-]."""


@dataclass(frozen=True, kw_only=True)
class Spent:
    """What is not exceeded at a chance.

    Parameters
    ----------
    labour
        from arrival until every bore is open [s]
    waiting
        of that, while plugs are left to thaw by themselves [s]
    shut
        the line, while it cools and while it is frozen [s]
    co2
        of all freeze points [kg]
    assisted
        whether the thaw is helped
    """

    labour: float
    waiting: float
    shut: float
    co2: float
    assisted: bool


@dataclass(frozen=True, kw_only=True)
class Taken:
    """So many cylinders of a kind, each with ``net_mass`` [kg] of CO2."""

    net_mass: float
    count: int


@dataclass(frozen=True, kw_only=True)
class Costed:
    """What a job takes that costs something.

    Parameters
    ----------
    likely
        at 50 %
    seldom
        at 90 %; None where the job does not go as planned so likely
    promised
        whether the job goes as planned at 50 %; else ``likely`` is as the timeline has it
    setup, repair
        how long each takes, the pipe frozen or drained [s]
    points, jackets, crew, exchanges
        how many freeze points, jackets, persons and exchanges of a cylinder
    cylinders
        that are taken, by kind
    enough
        whether those hold the CO2 that is needed
    """

    likely: Spent
    seldom: Spent | None
    promised: bool
    setup: float
    repair: float
    points: int
    jackets: int
    crew: int
    exchanges: int
    cylinders: tuple[Taken, ...]
    enough: bool


def costed(plan: Plan, needed: Supply, promised: Mapping[float, float]) -> Costed | None:
    """Return what the job takes; None where no plug is planned.

    ``promised`` is when the job is done [s] by the chance of it [-], where it is.
    """
    request, mass = plan.request, needed.co2.job_total
    if not plan.closes or mass is None or not needed.drawn:
        return None
    done, late = promised.get(LIKELY), promised.get(SELDOM)
    most = chances.percentile(needed.total, SELDOM)
    likely = spent(plan, as_planned(plan) if done is None else done, mass.likely)
    return Costed(
        likely=likely,
        seldom=None if late is None or most is None else spent(plan, late, most),
        promised=done is not None,
        setup=request.setup,
        repair=request.repair,
        points=len(request.each),
        jackets=min(request.jackets, len(request.each)),
        crew=request.crew,
        exchanges=_exchanges(needed),
        cylinders=_taken(request, needed),
        enough=needed.mix is None or needed.mix.enough,
    )


def as_planned(plan: Plan) -> float:
    """When all is done [s] after arrival."""
    ends = []
    for kind in plan.kinds:
        thaw = waits.thaw(kind.solution)
        ends.append(plan.group_of(kind).stop + (0.0 if thaw is None else thaw.likely))
    return max(ends)


def spent(plan: Plan, done: float, co2: float) -> Spent:
    """Return what a job takes that is ``done`` [s] after arrival and draws ``co2`` [kg].

    Those on site wait while the plugs of the last group thaw, if none is helped.
    """
    last, begun = plan.groups[-1], plan.groups[0].feed
    thaw = max(done - last.stop, 0.0)
    helped = max(waits.assisted_thaw(kind.solution) for kind in last.kinds)
    assisted = any(waits.is_assisted(k.solution) for k in plan.kinds) or thaw >= helped
    cooled = [waits.cooling(k.request, k.solution) for k in plan.kinds]
    return Spent(
        labour=done,
        waiting=min(thaw, waits.PATIENCE) if assisted else thaw,
        shut=done - begun + max(0.0 if c is None else c.likely for c in cooled),
        co2=co2,
        assisted=assisted,
    )


def _exchanges(needed: Supply) -> int:
    """Return how often a cylinder is exchanged: of a mix all but the first of every manifold."""
    if needed.mix is None:
        return len(needed.figures.exchanges)
    taken = sum(x.count for x in needed.mix.cylinders)
    return max(taken - len(needed.figures.manifolds), 0)


def _taken(request: Job, needed: Supply) -> tuple[Taken, ...]:
    """Return the cylinders of the mix of a stock, else as many as planned of the one named."""
    if needed.mix is not None:
        kinds = ((Stock(id=x.id, count=x.count), x.count) for x in needed.mix.cylinders)
        at = request.cylinder.temperature
        return tuple(Taken(net_mass=s.cylinder(at).net_mass, count=n) for s, n in kinds)
    count = needed.figures.planned_count
    if count is None:
        return ()
    return (Taken(net_mass=request.cylinder.net_mass, count=count),)
