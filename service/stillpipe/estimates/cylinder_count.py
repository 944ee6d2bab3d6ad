"""Cylinders: what each delivers, how many, when each is exchanged, and the best of a stock."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from stillpipe.estimates import assess, cautions, co2_mass
from stillpipe.estimates.co2_mass import Co2Figures, Consumption, Needed
from stillpipe.estimates.solution import Solution
from stillpipe.model.cylinder import Stock
from stillpipe.model.declare import Figure, Plain
from stillpipe.model.figures import Answer, Range, Reason
from stillpipe.model.requests import CylinderCountRequest, FromCylinders

Array = NDArray[np.float64]

MOST = 200
"""Most cylinders, and most exchanges of one freeze point, that are planned."""


@dataclass(frozen=True, kw_only=True)
class Exchange:
    """One exchange, on the likely scenario."""

    cylinder: Annotated[int, Plain(says="Which cylinder is empty, counted from 1.")]
    at: Annotated[float, Figure("time", says="Since the first feed.")]
    survival: Annotated[
        float | None, Figure("time", says="How long the likely plug lasts unfed at that moment.")
    ] = None
    margin: Annotated[
        float | None, Figure("time", says="What is left of it after the exchange.")
    ] = None
    verdict: Annotated[str, Plain(says="Whether the plug outlives the exchange.")]
    advice: Annotated[str, Plain(says="What to do.")]


@dataclass(frozen=True, kw_only=True)
class CylinderFigures:
    """What the cylinders deliver, how many are needed and when each is exchanged."""

    usable: Annotated[Range | None, Figure("mass", says="Liquid that one delivers.")] = None
    count: Annotated[Range | None, Figure("factor", says="How many are needed.")] = None
    exchanges: Annotated[tuple[Exchange, ...], Plain(says="When each is exchanged.")] = ()


@dataclass(frozen=True, kw_only=True)
class MixEntry:
    """So many cylinders of a kind."""

    id: Annotated[str, Plain(says="Which cylinder of the catalogue.")]
    count: Annotated[int, Plain(says="How many to take.")]


@dataclass(frozen=True, kw_only=True)
class Mix:
    """The best mix of a stock: fewest cylinders, then least mass."""

    cylinders: Annotated[tuple[MixEntry, ...], Plain(says="Which cylinders to take.")]
    usable: Annotated[float, Figure("mass", says="Liquid that they deliver.")]
    net_mass: Annotated[float, Figure("mass", says="CO2 in them.")]
    enough: Annotated[bool, Plain(says="Whether they hold enough.")]
    shortfall: Annotated[float, Figure("mass", says="What is lacking.")] = 0.0


@dataclass(frozen=True, kw_only=True)
class CylinderCountFigures(CylinderFigures):
    """Figures of the cylinder estimate."""

    co2: Annotated[Co2Figures, Plain(says="The CO2 that is needed.")]
    mix: Annotated[Mix | None, Plain(says="The best mix of the stock, where one was given.")] = None


def cylinder_count(request: CylinderCountRequest) -> Answer[CylinderCountFigures]:
    """Estimate the cylinders and check every exchange."""
    solution = Solution(request, request.hold)
    needed = co2_mass.needed(request, solution)
    planned, reasons = plan(request, solution, needed)
    mix = None
    if request.stock and needed.likely is not None and request.cylinder.dip_tube:
        mass = needed.likely.total * request.points / (1.0 - request.reserve)
        mix = best_mix(mass, request.stock, request.cylinder.temperature)
        if not mix.enough:
            text = "The stock does not hold enough CO2."
            reasons = (*reasons, assess.stop("stock-too-small", text))
    figures = CylinderCountFigures(
        co2=needed.figures, usable=planned.usable, count=planned.count,
        exchanges=planned.exchanges, mix=mix,
    )  # fmt: skip
    return Answer(
        reasons=reasons,
        cautions=cautions.of_feeding(request),
        figures=figures,
        effort=solution.effort,
    )


def best_mix(needed: float, stock: tuple[Stock, ...], temperature: float) -> Mix:
    """Return the fewest cylinders of a ``stock`` for ``needed`` [kg], then the least mass.

    ``temperature`` [K] of the cylinders. Exact: two integer programmes solved by branch and bound
    (HiGHS through scipy).
    """
    kinds = [s.cylinder(temperature) for s in stock]
    each = np.array([c.usable.low if c.dip_tube else 0.0 for c in kinds])
    net = np.array([c.net_mass for c in kinds])
    have = np.array([s.count for s in stock], dtype=float)
    total = float(each @ have)
    if total < needed:
        return _mix(stock, have, each, net, shortfall=needed - total)
    return _mix(stock, _fewest(needed, each, net, have), each, net)


def _fewest(needed: float, each: Array, net: Array, have: Array) -> Array:
    """Return how many of each kind, shape as ``have``; masses [kg]."""
    from scipy.optimize import Bounds, LinearConstraint, milp  # noqa: PLC0415 - half a second

    limits = Bounds(0.0, have)
    enough = LinearConstraint(each[None, :], needed, np.inf)
    whole = np.ones(len(have))
    first = milp(whole, constraints=[enough], bounds=limits, integrality=whole)
    fewest = round(float(first.fun))
    exactly = LinearConstraint(whole[None, :], fewest, fewest)
    second = milp(net, constraints=[enough, exactly], bounds=limits, integrality=whole)
    return np.round(np.asarray(second.x, dtype=float))


def _mix(
    stock: tuple[Stock, ...], counts: Array, each: Array, net: Array,
    shortfall: float = 0.0,
) -> Mix:  # fmt: skip
    entries = (MixEntry(id=s.id, count=int(n)) for s, n in zip(stock, counts, strict=True) if n)
    return Mix(
        cylinders=tuple(entries),
        usable=float(each @ counts),
        net_mass=float(net @ counts),
        enough=shortfall == 0.0,
        shortfall=shortfall,
    )


def plan(
    request: FromCylinders, solution: Solution, needed: Needed
) -> tuple[CylinderFigures, tuple[Reason, ...]]:
    """Return the cylinders for what is ``needed``, and the reasons found with them."""
    reasons = co2_mass.reasons(solution)
    likely, total = needed.likely, needed.figures.total
    if not request.cylinder.dip_tube:
        text = "Without a dip tube the cylinder gives gas, not liquid: no dry ice forms."
        return CylinderFigures(), (*reasons, assess.stop("no-dip-tube", text))
    if total is None or likely is None:
        return CylinderFigures(), reasons
    each = request.cylinder.usable
    if each.low <= 0.0:
        text = "As warm and as little filled as it is the cylinder holds no liquid CO2; cool it."
        return CylinderFigures(usable=each), (*reasons, assess.stop("no-liquid-co2", text))
    groups = math.ceil(request.points / request.jackets_per_cylinder - 1e-9)
    share = min(request.jackets_per_cylinder, request.points)
    kept = each.low * (1.0 - request.reserve)
    low, middle, high = (
        float(groups * math.ceil(share * mass / kept - 1e-9))
        for mass in (total.low, total.likely, total.longest)
    )
    count = Range(low, middle, high)
    moments = exchange_times(likely, kept / share)
    if middle > MOST or len(moments) > MOST:
        text = f"More than {MOST} cylinders."
        figures = CylinderFigures(usable=each, count=count)
        return figures, (*reasons, assess.stop("too-many-cylinders", text))
    survivals = solution.survivals([at for at in moments if at >= likely.ready])
    early = [None] * (len(moments) - len(survivals))
    swaps = tuple(
        _exchange(request, number, at, survival)
        if at >= likely.ready
        else _early_exchange(number, at)
        for number, (at, survival) in enumerate(
            zip(moments, [*early, *survivals], strict=True), start=1
        )
    )
    figures = CylinderFigures(usable=each, count=count, exchanges=swaps)
    return figures, (*reasons, *_of_exchanges(swaps))


def _of_exchanges(swaps: tuple[Exchange, ...]) -> Iterator[Reason]:
    """Yield the reasons found with the exchanges, each by the advice of the first that has it."""
    for code, reason in (
        ("early-exchange", assess.warn), ("exchange-not-survived", assess.stop),
    ):  # fmt: skip
        advice = next((s.advice for s in swaps if s.verdict == code), None)
        if advice is not None:
            yield reason(code, advice)


def exchange_times(likely: Consumption, per_jacket: float) -> list[float]:
    """Return when a cylinder is empty [s], at most one more than are planned.

    ``per_jacket`` [kg] is what a cylinder gives to one jacket.
    """
    end = likely.ready + likely.hold_duration
    count = min(math.ceil((likely.total - 1e-9) / per_jacket) - 1, MOST + 1)
    found = []
    for number in range(1, count + 1):
        drawn = number * per_jacket
        if drawn <= likely.freeze:
            found.append(likely.ready * drawn / likely.freeze)
        else:
            found.append(min(likely.ready + (drawn - likely.freeze) / likely.rate, end))
    return found


def _early_exchange(number: int, at: float) -> Exchange:
    """Return the exchange of cylinder ``number`` at a time [s] when the plug is not ready yet."""
    advice = (
        f"Cylinder {number} ends before the plug is ready: use a larger one, or two on a "
        "manifold, so that the first exchange comes on a consolidated plug."
    )
    return Exchange(cylinder=number, at=at, verdict="early-exchange", advice=advice)


def _exchange(request: FromCylinders, number: int, at: float, survival: float | None) -> Exchange:
    """Judge the exchange of cylinder ``number`` at a time [s] since the first feed.

    ``survival`` [s] of the likely plug at that moment, None beyond a day.
    """
    duration = request.exchange_duration
    margin = None if survival is None else survival - duration
    if survival is None or survival > 2.0 * duration:
        verdict, advice = "survived", "The plug outlives the exchange."
    elif survival > duration:
        verdict = "early-exchange"
        advice = "The plug outlives the exchange by little: be quick, or use a manifold."
    else:
        verdict = "exchange-not-survived"
        advice = (
            f"The plug lasts {survival:.0f} s unfed, the exchange {duration:.0f} s: use two "
            "cylinders on a manifold."
        )
    return Exchange(
        cylinder=number, at=at, survival=survival, margin=margin, verdict=verdict, advice=advice
    )
