"""The cylinders of a job: which freeze point hangs on which, how many, and each exchange."""

from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from stillpipe.estimates import co2_mass, cylinder_count, manifold, stock_mix
from stillpipe.estimates.co2_mass import Co2Figures, Consumption
from stillpipe.estimates.cylinder_count import CylinderFigures
from stillpipe.estimates.job.plan import Kind, Plan
from stillpipe.estimates.manifold import Exchange, Hung, Manifold, Supplied
from stillpipe.estimates.sampled import Array
from stillpipe.estimates.stock_mix import Mix
from stillpipe.model.declare import Plain
from stillpipe.model.figures import Range, Reason

Parted = tuple[str, int, list[tuple[Kind, str]]]
"""A manifold: its name, its group, and the freeze points that hang on it."""


@dataclass(frozen=True, kw_only=True)
class ManifoldFigures:
    """A manifold: the freeze points that hang on it, and its cylinders."""

    name: Annotated[str, Plain(says="Of the manifold; numbered where the caller has none.")]
    group: Annotated[int, Plain(says="In which group it is fed.")]
    points: Annotated[tuple[str, ...], Plain(says="The freeze points that hang on it.")]
    planned_count: Annotated[
        int | None, Plain(says="How many cylinders to take: enough at the chance that decides.")
    ] = None
    exchanges: Annotated[int, Plain(says="How many times one is exchanged.")] = 0


@dataclass(frozen=True, kw_only=True)
class JobCylinders(CylinderFigures):
    """The cylinders of a job."""

    manifolds: Annotated[
        tuple[ManifoldFigures, ...], Plain(says="Which freeze point hangs on which cylinders.")
    ] = ()


@dataclass(frozen=True, kw_only=True, eq=False)
class Supply:
    """What the freeze points of a job draw, and the cylinders for it.

    ``drawn`` of each kind and in ``total`` [kg], none where one has no plug; ``mix`` of the stock.
    ``enough`` and ``survived`` tell of every draw whether all goes well with the cylinders taken.
    """

    co2: Co2Figures
    drawn: dict[Kind, Consumption]
    total: Array
    mix: Mix | None
    figures: JobCylinders
    reasons: tuple[Reason, ...]
    enough: NDArray[np.bool_]
    survived: NDArray[np.bool_]


def supply(plan: Plan) -> Supply:
    """Return the CO2 and the cylinders of a job."""
    needed = {k: co2_mass.needed(k.request, k.solution) for k in plan.kinds}
    drawn = {k: n.drawn for k, n in needed.items() if k.closes and n.drawn is not None}
    whole = len(drawn) == len(needed)
    co2 = _of_all(plan, [n.figures for n in needed.values()], drawn if whole else {})
    usable, reasons = cylinder_count.delivered(plan.request)
    none = np.zeros(len(plan.lead.sample), dtype=bool)
    parted = _manifolds(plan)
    hung = _hung(parted, drawn)
    shown = tuple(
        ManifoldFigures(name=name, group=group, points=tuple(n for _, n in points))
        for name, group, points in parted
    )
    total = _total(plan, drawn) if whole else np.zeros(0)
    mix, too_small = stock_mix.taken(plan.request, hung) if whole else (None, ())
    if usable is None or reasons or not whole:
        figures = JobCylinders(usable=usable, manifolds=shown)
        return Supply(
            co2=co2, drawn=drawn if whole else {}, total=total, mix=mix, figures=figures,
            reasons=(*reasons, *too_small), enough=none, survived=none,
        )  # fmt: skip
    made = _supplied(plan, hung, usable)
    figures, found = _figures(plan, shown, made, usable)
    well = figures.planned_count is not None
    return Supply(
        co2=co2, drawn=drawn, total=total, mix=mix, figures=figures, reasons=(*found, *too_small),
        enough=np.logical_and.reduce([m.enough for m in made]) if well else none,
        survived=np.logical_and.reduce([m.survived for m in made]) if well else none,
    )  # fmt: skip


def _of_all(
    plan: Plan, each: list[Co2Figures], drawn: dict[Kind, Consumption]
) -> Co2Figures:  # fmt: skip
    """Return the CO2 of one freeze point where all are alike, and of all of them."""
    first = each[0]
    if not drawn:
        heat = first.jacket_heat if plan.is_one else None
        return Co2Figures(jacket_heat=heat, cooling=first.cooling)
    total = plan.lead.range(_total(plan, drawn))
    if plan.is_one:
        return replace(first, job_total=total)
    return Co2Figures(cooling=first.cooling, job_total=total)


def _total(plan: Plan, drawn: dict[Kind, Consumption]) -> Array:
    """Return what all freeze points draw, of the draws that close [kg]."""
    parts = [len(k.names) * c.total[plan.holds[k.solution.holds]] for k, c in drawn.items()]
    return np.asarray(np.sum(parts, axis=0))


def _manifolds(plan: Plan) -> list[Parted]:
    """Return every manifold.

    Points of one name hang together; the others as many on one as ``jackets_per_cylinder`` says,
    in order.
    """
    named = {p.name: p.point.manifold for p in plan.request.each}
    order = {p.name: i for i, p in enumerate(plan.request.each)}
    taken = {m for m in named.values() if m is not None}
    found: list[Parted] = []
    for group in plan.groups:
        points = sorted(
            ((k, name) for k in group.kinds for name in k.names), key=lambda x: order[x[1]]
        )
        own: dict[str, list[tuple[Kind, str]]] = {}
        free = []
        for kind, name in points:
            label = named[name]
            if label is None:
                free.append((kind, name))
            else:
                own.setdefault(label, []).append((kind, name))
        found += [(label, group.number, hung) for label, hung in own.items()]
        share = plan.request.jackets_per_cylinder
        for first in range(0, len(free), share):
            number = len(found) + 1
            while str(number) in taken:
                number += 1
            taken.add(str(number))
            found.append((str(number), group.number, free[first : first + share]))
    return found


def _hung(parted: list[Parted], drawn: dict[Kind, Consumption]) -> list[Manifold]:
    """Return the manifolds with what hangs on each, as far as that has a plug."""
    found = []
    for name, _, points in parted:
        kinds: dict[Kind, list[str]] = {}
        for kind, point in points:
            kinds.setdefault(kind, []).append(point)
        hung = tuple(
            Hung(names=tuple(names), solution=kind.solution, drawn=drawn[kind])
            for kind, names in kinds.items()
            if kind in drawn
        )
        found.append(Manifold(name=name, hung=hung))
    return found


def _supplied(plan: Plan, manifolds: list[Manifold], usable: Range) -> list[Supplied]:
    """Return what each manifold takes; those that are alike are worked out once."""
    known: dict[tuple[tuple[int, int], ...], tuple[Manifold, Supplied]] = {}
    found = []
    for each in manifolds:
        key = tuple((id(h.solution), len(h.names)) for h in each.hung)
        if key not in known:
            known[key] = each, manifold.supplied(plan.request, each, usable)
        first, made = known[key]
        names = dict(zip(first.names, each.names, strict=True))
        found.append(replace(made, exchanges=tuple(
            _renamed(swap, each.name, names) for swap in made.exchanges
        )))  # fmt: skip
    return found


def _renamed(swap: Exchange, name: str, names: dict[str, str]) -> Exchange:
    """Return the same exchange on another manifold, with the ``names`` of its freeze points."""
    points = tuple(replace(p, name=names[p.name]) for p in swap.points)
    return replace(swap, manifold=name, points=points)


def _figures(
    plan: Plan, shown: tuple[ManifoldFigures, ...], made: list[Supplied], usable: Range
) -> tuple[JobCylinders, tuple[Reason, ...]]:
    """Return the cylinders of the job and the reasons found with them."""
    count = np.sum([m.count for m in made], axis=0)[plan.holds]
    figures = JobCylinders(usable=usable, count=plan.lead.range(count), manifolds=shown)
    takes = [m.take for m in made]
    total = sum(t for t in takes if t is not None)
    if None in takes or total > manifold.MOST:
        return figures, (cylinder_count.too_many(None if None in takes else total),)
    swaps = tuple(swap for m in made for swap in m.exchanges)
    told = tuple(
        replace(s, planned_count=m.take, exchanges=len(m.exchanges))
        for s, m in zip(shown, made, strict=True)
    )
    readies = {name: k.solution.planned_ready or 0.0 for k in plan.kinds for name in k.names}
    reasons = cylinder_count.of_exchanges(swaps, readies, plan.request.exchange_duration)
    whole = replace(figures, planned_count=total, exchanges=swaps, manifolds=told)
    return whole, tuple(reasons)
