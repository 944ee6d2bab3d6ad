"""Cylinders: what each delivers, how many, when each is exchanged, and the best of a stock."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from stillpipe.estimates import assess, cautions, co2_mass, learned, manifold, words
from stillpipe.estimates.co2_mass import Co2Figures, Needed
from stillpipe.estimates.manifold import Exchange, Hung, Manifold
from stillpipe.estimates.solution import Solution
from stillpipe.model.cylinder import Stock
from stillpipe.model.declare import Figure, Plain
from stillpipe.model.figures import Amount, Answer, Range, Reason
from stillpipe.model.requests import CylinderCountRequest, FromCylinders

Array = NDArray[np.float64]


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
    planned, found = plan(request, solution, needed)
    reasons = (*co2_mass.reasons(solution), *found)
    mix, total = None, needed.figures.planned_total
    if request.stock and total is not None and request.cylinder.dip_tube:
        mass = total * request.points / (1.0 - request.reserve)
        mix = best_mix(mass, request.stock, request.cylinder.temperature)
        if not mix.enough:
            reasons = (*reasons, _short(mix, mass))
    figures = CylinderCountFigures(
        co2=needed.figures, mix=mix, **vars(planned)
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
    request: CylinderCountRequest, solution: Solution, needed: Needed
) -> tuple[CylinderFigures, tuple[Reason, ...]]:
    """Return the cylinders for what is ``needed``, and the reasons found with them.

    Of freeze points that are all alike as many hang on a cylinder as ``jackets_per_cylinder``
    says; the exchanges are those of one such manifold.
    """
    usable, reasons = delivered(request)
    if usable is None or needed.drawn is None or assess.is_stopped(reasons):
        return CylinderFigures(usable=usable), reasons
    share = min(request.jackets_per_cylinder, request.points)
    groups = math.ceil(request.points / share - 1e-9)
    names = tuple(str(n + 1) for n in range(share))
    hung = Hung(names=names, solution=solution, drawn=needed.drawn)
    found = manifold.supplied(request, Manifold(name="1", hung=(hung,)), usable)
    count = groups * found.count[solution.holds]
    figures = CylinderFigures(usable=usable, count=solution.range(count))
    if found.take is None or groups * found.take > manifold.MOST:
        return figures, (*reasons, too_many(found.take and groups * found.take))
    figures = replace(figures, planned_count=groups * found.take, exchanges=found.exchanges)
    swaps = of_exchanges(found.exchanges, needed.drawn.ready, request.exchange_duration)
    return figures, (*reasons, *swaps)


def delivered(request: FromCylinders) -> tuple[Range | None, tuple[Reason, ...]]:
    """Return what one cylinder delivers [kg], None without a dip tube, and what stops the job."""
    if not request.cylinder.dip_tube:
        text = "Without a dip tube the cylinder gives gas, not liquid: no dry ice forms."
        action = "Take a cylinder with a dip tube, and stand it upright."
        gas = assess.stop("no-dip-tube", text, figure="inputs.cylinder.dip_tube", action=action)
        return None, (gas,)
    if not request.cylinder.has_liquid:
        return None, ()
    usable = request.cylinder.usable
    if usable.low <= 0.0:
        return usable, (_empty(request),)
    return usable, ()


def _empty(request: FromCylinders) -> Reason:
    """Say that the cylinder delivers no liquid."""
    text = (
        f"At {words.celsius(request.cylinder.temperature)} and as little filled as it is the "
        "cylinder holds no liquid CO2."
    )
    return assess.stop(
        "no-liquid-co2", text, figure="usable", value=Amount(0.0, "mass"),
        limit=Amount(request.cylinder.net_mass or 0.0, "mass"),
        action="Cool the cylinder, or take one that is fuller.",
    )  # fmt: skip


def too_many(take: int | None) -> Reason:
    """Say that more cylinders would be needed than are planned for; None where nobody knows."""
    told = f"more than {manifold.MOST}" if take is None else f"{take}"
    return assess.stop(
        "too-many-cylinders", f"The job takes {told} cylinders; up to {manifold.MOST} are planned.",
        figure="planned_count", value=None if take is None else Amount(float(take), "factor"),
        limit=Amount(float(manifold.MOST), "factor"),
        action="Use larger cylinders, shorten the hold, or freeze fewer points at once.",
    )  # fmt: skip


def of_exchanges(swaps: tuple[Exchange, ...], ready: float, duration: float) -> Iterator[Reason]:
    """Yield the reasons found with the exchanges, each by the first that has it.

    ``ready`` [s] of the last plug as planned, ``duration`` [s] of an exchange.
    """
    for code, reason in (
        (manifold.EARLY, assess.warn), (manifold.NOT_SURVIVED, assess.stop),
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
