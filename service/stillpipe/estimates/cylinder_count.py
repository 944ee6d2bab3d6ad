"""Cylinders: what each delivers, how many are needed and when each is exchanged."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from stillpipe.estimates import assess, cautions, chances, co2_mass, learned, stock_mix
from stillpipe.estimates.co2_mass import Co2Figures, Consumption, Needed
from stillpipe.estimates.solution import Solution
from stillpipe.estimates.stock_mix import Mix
from stillpipe.model.declare import Chance, Figure, Plain
from stillpipe.model.figures import Answer, Range, Reason
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
class CylinderCountFigures(CylinderFigures):
    """Figures of the cylinder estimate."""

    co2: Annotated[Co2Figures, Plain(says="The CO2 that is needed.")]
    mix: Annotated[Mix | None, Plain(says="The best mix of the stock, where one was given.")] = None


def cylinder_count(request: CylinderCountRequest) -> Answer[CylinderCountFigures]:
    """Estimate the cylinders and check every exchange."""
    solution = Solution(request, request.hold)
    needed = co2_mass.needed(request, solution)
    planned, reasons = plan(request, solution, needed)
    mix, found = stock_mix.taken(request, solution, needed)
    figures = CylinderCountFigures(
        co2=needed.figures, mix=mix, **vars(planned.figures)
    )  # fmt: skip
    return Answer(
        reasons=(*reasons, *found),
        cautions=cautions.of_feeding(request),
        figures=figures,
        effort=solution.effort,
        learned=learned.told(solution),
    )


def plan(
    request: FromCylinders, solution: Solution, needed: Needed
) -> tuple[Planned, tuple[Reason, ...]]:
    """Return the cylinders for what is ``needed``, and the reasons found with them."""
    reasons, drawn = co2_mass.reasons(solution), needed.drawn
    if not request.cylinder.dip_tube:
        text = "Without a dip tube the cylinder gives gas, not liquid: no dry ice forms."
        return _nothing(CylinderFigures()), (*reasons, assess.stop("no-dip-tube", text))
    if drawn is None:
        return _nothing(CylinderFigures()), reasons
    each = request.cylinder.usable
    if each.low <= 0.0:
        text = "As warm and as little filled as it is the cylinder holds no liquid CO2; cool it."
        figures = CylinderFigures(usable=each)
        return _nothing(figures), (*reasons, assess.stop("no-liquid-co2", text))
    return _planned(request, solution, drawn, each, reasons)


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
        text = f"More than {MOST} cylinders."
        return _nothing(figures), (*reasons, assess.stop("too-many-cylinders", text))
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
    return planned, (*reasons, *_of_exchanges(tuple(found)))


def _of_exchanges(swaps: tuple[Exchange, ...]) -> Iterator[Reason]:
    """Yield the reasons found with the exchanges, each by the advice of the first that has it."""
    for code, reason in (
        ("early-exchange", assess.warn), ("exchange-not-survived", assess.stop),
    ):  # fmt: skip
        advice = next((s.advice for s in swaps if s.verdict == code), None)
        if advice is not None:
            yield reason(code, advice)


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
