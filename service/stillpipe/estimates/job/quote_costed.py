"""What a job takes that costs something, whatever the rates."""

import math
from dataclasses import dataclass

from stillpipe.estimates import chances
from stillpipe.estimates.co2_mass import Needed
from stillpipe.estimates.cylinder_count import CylinderFigures
from stillpipe.estimates.job import timeline, waits
from stillpipe.estimates.solution import Solution
from stillpipe.estimates.stock_mix import Mix
from stillpipe.model.cylinder import Stock
from stillpipe.model.requests import JobEstimateRequest

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


def costed(
    request: JobEstimateRequest, solution: Solution, needed: Needed, cylinders: CylinderFigures,
    mix: Mix | None, promised: dict[float, float],
) -> Costed | None:  # fmt: skip
    """Return what the job takes; None where no plug is planned or no rates are given.

    ``promised`` is when the job is done [s] by the chance of it [-], where it is.
    """
    ready = None if solution.hopeless else solution.planned_ready
    mass, drawn = needed.figures.job_total, needed.drawn
    if request.rates is None or ready is None or mass is None or drawn is None:
        return None
    done, late = promised.get(LIKELY), promised.get(SELDOM)
    most = chances.percentile(drawn.total, SELDOM)
    planned = as_planned(request, solution, ready)
    likely = spent(request, solution, planned if done is None else done, mass.likely)
    seldom = None
    if late is not None and most is not None:
        seldom = spent(request, solution, late, most * request.points)
    return Costed(
        likely=likely,
        seldom=seldom,
        promised=done is not None,
        setup=request.setup,
        repair=request.repair,
        points=request.points,
        jackets=request.points,
        crew=request.rates.crew,
        exchanges=_exchanges(request, cylinders, mix),
        cylinders=_taken(request, cylinders, mix),
        enough=mix is None or mix.enough,
    )


def as_planned(request: JobEstimateRequest, solution: Solution, ready: float) -> float:
    """When all is done [s] after arrival, the plug ``ready`` [s] after the first feed."""
    thaw = waits.thaw(solution)
    begun = timeline.begin_feeding(request, solution)
    return begun + ready + request.hold_duration + (0.0 if thaw is None else thaw.likely)


def spent(request: JobEstimateRequest, solution: Solution, done: float, co2: float) -> Spent:
    """Return what a job takes that is ``done`` [s] after arrival and draws ``co2`` [kg]."""
    begun = timeline.begin_feeding(request, solution)
    thaw = max(done - begun - solution.plan_end, 0.0)
    assisted = waits.is_assisted(solution) or thaw >= waits.assisted_thaw(solution)
    return Spent(
        labour=done,
        waiting=min(thaw, waits.PATIENCE) if assisted else thaw,
        shut=done - begun + waits.cooling(solution).likely,
        co2=co2,
        assisted=assisted,
    )


def _exchanges(
    request: JobEstimateRequest, cylinders: CylinderFigures, mix: Mix | None
) -> int:  # fmt: skip
    """Return how often a cylinder is exchanged: of a mix all but the first of every manifold."""
    groups = max(request.points / request.jackets_per_cylinder, 1.0)
    if mix is None:
        return round(len(cylinders.exchanges) * groups)
    return max(sum(x.count for x in mix.cylinders) - math.ceil(groups - 1e-9), 0)


def _taken(
    request: JobEstimateRequest, cylinders: CylinderFigures, mix: Mix | None
) -> tuple[Taken, ...]:
    """Return the cylinders of the ``mix`` of a stock, else as many as planned of the one named."""
    if mix is not None:
        kinds = ((Stock(id=x.id, count=x.count), x.count) for x in mix.cylinders)
        at = request.cylinder.temperature
        return tuple(Taken(net_mass=s.cylinder(at).net_mass, count=n) for s, n in kinds)
    count = cylinders.planned_count
    if count is None:
        return ()
    return (Taken(net_mass=request.cylinder.net_mass, count=count),)
