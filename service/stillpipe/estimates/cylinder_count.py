"""Cylinders: what each delivers, how many, when each is exchanged, and the best of a stock."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from stillpipe.estimates import assess, cautions, co2_mass, learned, manifold, stock_mix, words
from stillpipe.estimates.co2_mass import Co2Figures, Needed
from stillpipe.estimates.manifold import Exchange, Hung, Manifold
from stillpipe.estimates.solution import Solution
from stillpipe.estimates.stock_mix import Mix
from stillpipe.model.declare import Figure, Plain
from stillpipe.model.figures import Amount, Answer, Range, Reason
from stillpipe.model.requests import CylinderCountRequest, FromCylinders

Array = NDArray[np.float64]

ACTION = "Use a larger cylinder, or two on a manifold, so that the plug is never unfed."


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
class CylinderCountFigures(CylinderFigures):
    """Figures of the cylinder estimate."""

    co2: Annotated[Co2Figures, Plain(says="The CO2 that is needed.")]
    mix: Annotated[Mix | None, Plain(says="The best mix of the stock, where one was given.")] = None


def cylinder_count(request: CylinderCountRequest) -> Answer[CylinderCountFigures]:
    """Estimate the cylinders and check every exchange."""
    solution = Solution(request, request.hold)
    needed = co2_mass.needed(request, solution)
    planned, found = plan(request, solution, needed)
    mix, too_small = stock_mix.taken(request, alike(request, solution, needed))
    figures = CylinderCountFigures(
        co2=needed.figures, mix=mix, **vars(planned)
    )  # fmt: skip
    return Answer(
        reasons=(*co2_mass.reasons(solution), *found, *too_small),
        cautions=cautions.of_feeding(request),
        figures=figures,
        effort=solution.effort,
        learned=learned.told(solution),
    )


def plan(
    request: CylinderCountRequest, solution: Solution, needed: Needed
) -> tuple[CylinderFigures, tuple[Reason, ...]]:
    """Return the cylinders for what is ``needed``, and the reasons found with them.

    Of freeze points that are all alike as many hang on a cylinder as ``jackets_per_cylinder``
    says, on the last those that are left; the exchanges are those of the first manifold.
    """
    usable, reasons = delivered(request)
    if usable is None or needed.drawn is None or assess.is_stopped(reasons):
        return CylinderFigures(usable=usable), reasons
    hung = alike(request, solution, needed)
    sizes = {len(m.names): m for m in reversed(hung)}
    known = {size: manifold.supplied(request, m, usable) for size, m in sizes.items()}
    made = [known[len(m.names)] for m in hung]
    count = np.sum([m.count for m in made], axis=0)[solution.holds]
    figures = CylinderFigures(usable=usable, count=solution.range(count))
    takes = [m.take for m in made if m.take is not None]
    total = sum(takes) if len(takes) == len(made) else None
    if total is None or total > manifold.MOST:
        return figures, (*reasons, too_many(total))
    first = made[0].exchanges
    figures = replace(figures, planned_count=total, exchanges=first)
    readies = dict.fromkeys(hung[0].names, needed.drawn.ready)
    swaps = of_exchanges(first, readies, request.exchange_duration)
    return figures, (*reasons, *swaps)


def alike(request: FromCylinders, solution: Solution, needed: Needed) -> list[Manifold]:
    """Return manifolds of points that are alike, the last for what is left; none without a plug."""
    if needed.drawn is None:
        return []
    names = tuple(str(n + 1) for n in range(request.points))
    share = request.jackets_per_cylinder
    found: list[Manifold] = []
    for first in range(0, request.points, share):
        hung = Hung(names=names[first : first + share], solution=solution, drawn=needed.drawn)
        found.append(Manifold(name=str(len(found) + 1), hung=(hung,)))
    return found


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


def of_exchanges(
    swaps: tuple[Exchange, ...], readies: Mapping[str, float], duration: float
) -> Iterator[Reason]:  # fmt: skip
    """Yield the reasons found with the exchanges, each by the first that has it.

    One before a plug is ready comes before one that a plug outlives by little. ``readies`` [s] are
    the planned ones of freeze points by name, ``duration`` [s] that of an exchange.
    """
    early = [i for i, s in enumerate(swaps) if s.verdict == manifold.EARLY]
    early.sort(key=lambda i: swaps[i].survival is not None)
    late = [i for i, s in enumerate(swaps) if s.verdict == manifold.NOT_SURVIVED]
    for reason, found in ((assess.warn, early), (assess.stop, late)):
        for index in found[:1]:
            swap = swaps[index]
            if swap.survival is None:
                yield _too_soon(swap, index, readies)
            else:
                yield _by_little(swap, swap.survival, index, reason, duration)


def _too_soon(swap: Exchange, index: int, readies: Mapping[str, float]) -> Reason:
    """Say that a cylinder is empty before the last plug that hangs on it is ready."""
    ready = max(readies[p.name] for p in swap.points if p.chance is None)
    empty, end = words.apart(swap.at, ready)
    text = (
        f"Cylinder {swap.cylinder} is empty {empty} after the first feed, before the plug is "
        f"ready, {end} after it."
    )
    return assess.warn(
        manifold.EARLY, text, figure=f"exchanges.{index}.at", value=Amount(swap.at, "time"),
        limit=Amount(ready, "time"), at=swap.at, action=ACTION,
    )  # fmt: skip


def _by_little(
    swap: Exchange, lasting: float, index: int, reason: Callable[..., Reason], duration: float
) -> Reason:  # fmt: skip
    """Say that a plug ``lasting`` so long [s] does not outlive an exchange, or does by little."""
    lasts, takes = words.apart(lasting, duration)
    text = (
        f"Cylinder {swap.cylinder} is empty {words.time(swap.at)} after the first feed: the plug "
        f"may then last no more than {lasts} unfed, the exchange takes {takes}."
    )
    limit = duration if reason is assess.stop else 2.0 * duration
    return reason(
        swap.verdict, text, figure=f"exchanges.{index}.survival", value=Amount(lasting, "time"),
        limit=Amount(limit, "time"), chance=swap.chance, at=swap.at, action=ACTION,
    )  # fmt: skip
