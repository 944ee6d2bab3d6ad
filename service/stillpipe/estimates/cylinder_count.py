"""Cylinders: what each delivers, how many, when each is exchanged, and the best of a stock."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from stillpipe.estimates import assess, cautions, chances, co2_mass, learned, words
from stillpipe.estimates.co2_mass import Co2Figures, Consumption, Needed
from stillpipe.estimates.solution import Solution
from stillpipe.model.cylinder import Stock
from stillpipe.model.declare import Chance, Figure, Plain
from stillpipe.model.figures import Amount, Answer, Range, Reason
from stillpipe.model.requests import CylinderCountRequest, FromCylinders

Array = NDArray[np.float64]

MOST = 200
"""Most cylinders, and most exchanges of one freeze point, that are planned."""


@dataclass(frozen=True, kw_only=True)
class Exchange:
    """One exchange, planned early enough at the chance that decides."""

    cylinder: Annotated[int, Plain(says="Which cylinder is empty, counted from 1.")]
    at: Annotated[
        float, Figure("time", says="Since the first feed: no earlier at the chance that decides.")
    ]
    survival: Annotated[
        float | None,
        Figure("time", says="The plug lasts so long unfed then at the chance that decides."),
    ] = None
    margin: Annotated[
        float | None, Figure("time", says="What is left of it after the exchange.")
    ] = None
    chance: Annotated[float | None, Chance(says="That the plug outlives the exchange.")] = None
    verdict: Annotated[str, Plain(says="Whether the plug outlives the exchange.")]
    advice: Annotated[str, Plain(says="What to do.")]


@dataclass(frozen=True, kw_only=True)
class CylinderFigures:
    """What the cylinders deliver, how many are needed and when each is exchanged."""

    usable: Annotated[Range | None, Figure("mass", says="Liquid that one delivers.")] = None
    count: Annotated[Range | None, Figure("factor", says="How many are needed.")] = None
    planned_count: Annotated[
        int | None, Plain(says="How many to take: enough at the chance that decides.")
    ] = None
    exchanges: Annotated[tuple[Exchange, ...], Plain(says="When each is exchanged.")] = ()


@dataclass(frozen=True, kw_only=True)
class Planned:
    """The figures of the cylinders, and for every draw that closes whether they do."""

    figures: CylinderFigures
    enough: NDArray[np.bool_]
    survived: NDArray[np.bool_]


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
    mix, total = None, needed.figures.planned_total
    if request.stock and total is not None and request.cylinder.dip_tube:
        mass = total * request.points / (1.0 - request.reserve)
        mix = best_mix(mass, request.stock, request.cylinder.temperature)
        if not mix.enough:
            reasons = (*reasons, _short(mix, mass))
    figures = CylinderCountFigures(
        co2=needed.figures, mix=mix, **vars(planned.figures)
    )  # fmt: skip
    return Answer(
        reasons=reasons,
        cautions=cautions.of_feeding(request),
        figures=figures,
        effort=solution.effort,
        learned=learned.told(solution),
    )


def _short(mix: Mix, needed: float) -> Reason:
    """Say that a stock does not deliver the mass that is ``needed`` [kg]."""
    text = (
        f"The stock delivers {words.kilograms(mix.usable)} of liquid CO2, "
        f"{words.kilograms(needed)} are needed, the reserve included."
    )
    return assess.stop(
        "stock-too-small", text, figure="mix.usable", value=Amount(mix.usable, "mass"),
        limit=Amount(needed, "mass"),
        action=f"Take cylinders with dip tubes for {words.kilograms(mix.shortfall)} more.",
    )  # fmt: skip


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
) -> tuple[Planned, tuple[Reason, ...]]:
    """Return the cylinders for what is ``needed``, and the reasons found with them."""
    reasons, drawn = co2_mass.reasons(solution), needed.drawn
    if not request.cylinder.dip_tube:
        text = "Without a dip tube the cylinder gives gas, not liquid: no dry ice forms."
        action = "Take a cylinder with a dip tube, and stand it upright."
        gas = assess.stop("no-dip-tube", text, figure="inputs.cylinder.dip_tube", action=action)
        return _nothing(CylinderFigures()), (*reasons, gas)
    if drawn is None:
        return _nothing(CylinderFigures()), reasons
    each = request.cylinder.usable
    if each.low <= 0.0:
        return _nothing(CylinderFigures(usable=each)), (*reasons, _empty(request, solution, drawn))
    return _planned(request, solution, drawn, each, reasons)


def _empty(request: FromCylinders, solution: Solution, drawn: Consumption) -> Reason:
    """Say that the cylinder delivers no liquid, where so much is ``drawn``."""
    needed = solution.at_most(drawn.total) or 0.0
    text = (
        f"At {words.celsius(request.cylinder.temperature)} and as little filled as it is the "
        f"cylinder holds no liquid CO2; a freeze point draws {words.kilograms(needed)}."
    )
    return assess.stop(
        "no-liquid-co2", text, figure="usable", value=Amount(0.0, "mass"),
        limit=Amount(needed, "mass"), action="Cool the cylinder, or take one that is fuller.",
    )  # fmt: skip


def _nothing(figures: CylinderFigures) -> Planned:
    """Return that there is no plan."""
    none = np.zeros(0, dtype=bool)
    return Planned(figures=figures, enough=none, survived=none)


def _planned(
    request: FromCylinders, solution: Solution, drawn: Consumption, each: Range,
    reasons: tuple[Reason, ...],
) -> tuple[Planned, tuple[Reason, ...]]:  # fmt: skip
    """Return how many cylinders each of ``each`` usable mass [kg] are taken, and the exchanges."""
    groups = math.ceil(request.points / request.jackets_per_cylinder - 1e-9)
    share = min(request.jackets_per_cylinder, request.points)
    span = (each.high or each.low) - each.low
    part = solution.sample.shares("usable")[solution.holds]
    kept = (each.low + part * span) * (1.0 - request.reserve)
    count = groups * np.ceil(share * drawn.total / kept - 1e-9)
    take = solution.at_most(count)
    figures = CylinderFigures(
        usable=each, count=solution.range(count), planned_count=None if take is None else int(take)
    )
    swaps = 0 if take is None else int(take) // groups - 1
    if take is None or take > MOST or swaps > MOST:
        return _nothing(figures), (*reasons, _too_many(figures))
    moments = [
        min(solution.at_least(emptied(drawn, kept / share, n)) or math.inf, solution.plan_end)
        for n in range(1, swaps + 1)
    ]
    lasts = solution.lasting_at([at for at in moments if at >= drawn.ready])
    early = len(moments) - len(lasts)
    found = [_early_exchange(number, at) for number, at in enumerate(moments[:early], start=1)]
    survived = np.ones(len(count), dtype=bool)
    for number, (at, last) in enumerate(zip(moments[early:], lasts, strict=True), start=early + 1):
        survival = last[solution.holds]
        survived &= survival > request.exchange_duration
        found.append(_exchange(request, solution, number, at, survival))
    figures = replace(figures, exchanges=tuple(found))
    planned = Planned(figures=figures, enough=count <= take, survived=survived)
    of_swaps = _of_exchanges(tuple(found), drawn.ready, request.exchange_duration)
    return planned, (*reasons, *of_swaps)


def _too_many(figures: CylinderFigures) -> Reason:
    """Say that more cylinders would be needed than are planned for."""
    take = figures.planned_count
    value = None if take is None else Amount(float(take), "factor")
    told = f"more than {MOST}" if take is None else f"{take}"
    return assess.stop(
        "too-many-cylinders", f"The job takes {told} cylinders; up to {MOST} are planned.",
        figure="planned_count", value=value, limit=Amount(float(MOST), "factor"),
        action="Use larger cylinders, shorten the hold, or freeze fewer points at once.",
    )  # fmt: skip


def _of_exchanges(swaps: tuple[Exchange, ...], ready: float, duration: float) -> Iterator[Reason]:
    """Yield the reasons found with the exchanges, each by the first that has it.

    ``ready`` [s] as planned, ``duration`` [s] of an exchange.
    """
    for code, reason in (
        ("early-exchange", assess.warn), ("exchange-not-survived", assess.stop),
    ):  # fmt: skip
        index = next((i for i, s in enumerate(swaps) if s.verdict == code), None)
        if index is None:
            continue
        swap = swaps[index]
        text = f"Cylinder {swap.cylinder} is empty {words.time(swap.at)} after the first feed"
        figure, value, limit = f"exchanges.{index}.at", swap.at, ready
        if swap.survival is None:
            text = f"{text}, before the plug is ready, {words.time(ready)} after it."
        else:
            figure, value = f"exchanges.{index}.survival", swap.survival
            limit = duration if reason is assess.stop else 2.0 * duration
            text = (
                f"{text}: the plug may then last no more than {words.time(value)} unfed, the "
                f"exchange takes {words.time(duration)}."
            )
        yield reason(
            code, text, figure=figure, value=Amount(value, "time"), limit=Amount(limit, "time"),
            chance=swap.chance, at=swap.at,
            action="Use a larger cylinder, or two on a manifold, so that the plug is never unfed.",
        )  # fmt: skip


def emptied(drawn: Consumption, per_jacket: Array, number: int) -> Array:
    """Return when the cylinder of that ``number`` is empty, of the draws [s]; infinite if never.

    ``per_jacket`` [kg] is what a cylinder gives to one jacket.
    """
    mass = number * per_jacket
    freezing = drawn.ready * mass / drawn.freeze
    holding = drawn.ready + (mass - drawn.freeze) / np.maximum(drawn.rate, 1e-12)
    found = np.where(mass <= drawn.freeze, freezing, holding)
    return np.where(mass < drawn.total, found, np.inf)


def _early_exchange(number: int, at: float) -> Exchange:
    """Return the exchange of cylinder ``number`` at a time [s] when the plug is not ready yet."""
    advice = (
        f"Cylinder {number} ends before the plug is ready: use a larger one, or two on a "
        "manifold, so that the first exchange comes on a consolidated plug."
    )
    return Exchange(cylinder=number, at=at, verdict="early-exchange", advice=advice)


def _exchange(
    request: FromCylinders, solution: Solution, number: int, at: float, survival: Array
) -> Exchange:
    """Judge the exchange of cylinder ``number`` at a time [s] since the first feed.

    ``survival`` [s] of the plug at that moment, of the draws.
    """
    duration = request.exchange_duration
    chance = chances.chance(survival > duration)
    least = solution.at_least(survival)
    if solution.is_sure(chances.chance(survival > 2.0 * duration)):
        verdict, advice = "survived", "The plug outlives the exchange."
    elif solution.is_sure(chance):
        verdict = "early-exchange"
        advice = "The plug outlives the exchange by little: be quick, or use a manifold."
    else:
        verdict = "exchange-not-survived"
        advice = (
            f"The plug may last no more than {least or 0.0:.0f} s unfed, the exchange takes "
            f"{duration:.0f} s: use two cylinders on a manifold."
        )
    return Exchange(
        cylinder=number, at=at, survival=least, margin=None if least is None else least - duration,
        chance=chance, verdict=verdict, advice=advice,
    )  # fmt: skip
