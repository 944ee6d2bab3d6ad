"""The best mix of a stock of cylinders: those that are taken of what is at hand."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np

from stillpipe.estimates import assess, words
from stillpipe.estimates.manifold import Manifold
from stillpipe.estimates.sampled import Array
from stillpipe.model.cylinder import Stock
from stillpipe.model.declare import Figure, Plain
from stillpipe.model.figures import Amount, Reason
from stillpipe.model.requests import Stocked

NEAR = 1e-9
"""Share of a mass by which two that are equal may differ in floats [-]."""


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


def taken(request: Stocked, manifolds: Sequence[Manifold]) -> tuple[Mix | None, tuple[Reason, ...]]:
    """Return the cylinders that are taken of the stock, and the reasons found with them.

    What hangs on one manifold is drawn from cylinders of its own, as in the count of cylinders,
    with which it agrees: of the cylinder in use the mix takes as many. No mix without a stock or
    a plug.
    """
    if not request.stock or not manifolds or not request.cylinder.dip_tube:
        return None, ()
    temperature = request.cylinder.temperature
    needs = [drawn_slowly(m, request.stock, temperature) for m in manifolds]
    known = [need / (1.0 - request.reserve) for need in needs if need is not None]
    if len(known) < len(needs):
        return None, ()
    found = mix(known, request.stock, temperature)
    if found.enough:
        return found, ()
    return found, (_short(found, sum(known), len(manifolds)),)


def _short(found: Mix, needed: float, manifolds: int) -> Reason:
    """Say that a stock does not deliver the mass that is ``needed`` [kg] on so many manifolds."""
    text = (
        f"The stock delivers {words.kilograms(found.usable)} of liquid CO2, "
        f"{words.kilograms(needed)} are needed, the reserve included: "
        f"{words.kilograms(found.shortfall)} are lacking."
    )
    if manifolds > 1:
        text += f" Each of {manifolds} manifolds, or jackets alone, needs cylinders of its own."
    return assess.stop(
        "stock-too-small", text, figure="mix.usable", value=Amount(found.usable, "mass"),
        limit=Amount(needed, "mass"),
        action=f"Take cylinders with dip tubes for {words.kilograms(found.shortfall)} more.",
    )  # fmt: skip


def drawn_slowly(
    manifold: Manifold, stock: Sequence[Stock], temperature: float
) -> float | None:  # fmt: skip
    """Return the mass of cylinders, drawn slowly, that is enough at the chance that decides [kg].

    For what hangs on a ``manifold``, in every draw that closes, in which the cylinders deliver
    more or less; cylinders of a ``stock`` at ``temperature`` [K]. None where it is never enough.
    """
    part = manifold.lead.sample.shares("usable")[manifold.holds]
    found = 0.0
    for kind in stock:
        usable = kind.cylinder(temperature).usable
        more = (usable.longest - usable.low) / usable.low if usable.low > 0.0 else 0.0
        most = manifold.lead.at_most(manifold.total / (1.0 + part * more))
        if most is None:
            return None
        found = max(found, most)
    return found


def mix(needs: Sequence[float], stock: tuple[Stock, ...], temperature: float) -> Mix:
    """Return the cylinders of a ``stock`` that give each manifold what it ``needs`` [kg].

    ``temperature`` [K] of the cylinders. No two manifolds share a cylinder. They are served one
    after the other, the greatest need first, each by the best mix of what is left; so of several
    the sum need not be the fewest.
    """
    left, mixes = stock, []
    for need in sorted(needs, reverse=True):
        found = best_mix(need * (1.0 - NEAR), left, temperature)
        mixes.append(found)
        gone = dict.fromkeys((s.id for s in stock), 0)
        for entry in found.cylinders:
            gone[entry.id] += entry.count
        left = tuple(_without(left, gone))
    counts = {s.id: 0 for s in stock}
    for entry in (e for m in mixes for e in m.cylinders):
        counts[entry.id] += entry.count
    return Mix(
        cylinders=tuple(MixEntry(id=i, count=n) for i, n in counts.items() if n),
        usable=sum(m.usable for m in mixes),
        net_mass=sum(m.net_mass for m in mixes),
        enough=all(m.enough for m in mixes),
        shortfall=sum(m.shortfall for m in mixes),
    )


def _without(stock: Sequence[Stock], gone: dict[str, int]) -> Iterator[Stock]:
    """Yield what is left of a ``stock`` when so many of each kind are ``gone``."""
    for kind in stock:
        count = min(kind.count, gone.get(kind.id, 0))
        gone[kind.id] = gone.get(kind.id, 0) - count
        yield replace(kind, count=kind.count - count)


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
