"""Freeze points that hang on the same cylinders: how many those are, and each exchange of one."""

import math
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from stillpipe.estimates import chances
from stillpipe.estimates.co2_mass import Consumption
from stillpipe.estimates.sampled import Array
from stillpipe.estimates.solution import Solution
from stillpipe.lazy import cached_property
from stillpipe.model.declare import Chance, Figure, Plain
from stillpipe.model.figures import Range
from stillpipe.model.requests import FromCylinders
from stillpipe.physics.column import work

MOST = 200
"""Most cylinders, and most exchanges on one manifold, that are planned."""
SURVIVED, EARLY, NOT_SURVIVED = "survived", "early-exchange", "exchange-not-survived"
"""What becomes of a plug in an exchange, from good to bad."""
MANY_EXCHANGES = (("cylinder",), "use a larger cylinder: so many exchanges")
"""What is too costly where each exchange is worked out: the member, and what to change."""


@dataclass(frozen=True, kw_only=True)
class Borne:
    """How a plug bears an exchange; nothing but a verdict of one that is not ready yet."""

    survival: Annotated[
        float | None,
        Figure("time", says="The plug lasts so long unfed then at the chance that decides."),
    ] = None
    margin: Annotated[
        float | None, Figure("time", says="What is left of it after the exchange.")
    ] = None
    chance: Annotated[float | None, Chance(says="That the plug outlives the exchange.")] = None
    verdict: Annotated[str, Plain(says="Whether the plug outlives the exchange.")]


@dataclass(frozen=True, kw_only=True)
class ExchangedPoint(Borne):
    """What an exchange means for one of the freeze points that hang on the cylinder."""

    name: Annotated[str, Plain(says="Of the freeze point.")]


@dataclass(frozen=True, kw_only=True)
class Exchange(Borne):
    """One exchange, planned early enough at the chance that decides.

    Survival, margin, chance and verdict are those of the freeze point that bears it worst.
    """

    manifold: Annotated[str, Plain(says="Whose cylinder it is.")]
    cylinder: Annotated[int, Plain(says="Which cylinder of the manifold is empty, counted from 1.")]
    at: Annotated[
        float, Figure("time", says="Since the first feed: no earlier at the chance that decides.")
    ]
    advice: Annotated[str, Plain(says="What to do.")]
    points: Annotated[
        tuple[ExchangedPoint, ...], Plain(says="What it means for each freeze point.")
    ] = ()


@dataclass(frozen=True, kw_only=True, eq=False)
class Hung:
    """Freeze points that are alike, by their ``names``, and what each of them draws."""

    names: tuple[str, ...]
    solution: Solution
    drawn: Consumption

    @property
    def early(self) -> Array:
        """What they draw together until their planned ready, of the draws that close [kg/s]."""
        return np.asarray(len(self.names) * self.drawn.freeze / max(self.drawn.ready, 1e-9))

    @property
    def late(self) -> Array:
        """What they draw together from then on, of the draws that close [kg/s]."""
        return np.asarray(len(self.names) * self.drawn.rate)


@dataclass(frozen=True, kw_only=True, eq=False)
class Manifold:
    """Freeze points that hang on the same cylinders; all are fed from the same moment on."""

    name: str
    hung: tuple[Hung, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """The names of its freeze points."""
        return tuple(name for h in self.hung for name in h.names)

    @property
    def lead(self) -> Solution:
        """One of the solutions, for what is common to all: the draws, the chance that decides."""
        return self.hung[0].solution

    @cached_property
    def holds(self) -> NDArray[np.bool_]:
        """Which draws are closed at every one of its points."""
        return np.asarray(np.logical_and.reduce([h.solution.holds for h in self.hung]))

    def _common(self, h: Hung, values: Array) -> Array:
        """Return a figure of ``h`` over its own draws for those that all have in common."""
        return values[self.holds[h.solution.holds]]

    @cached_property
    def total(self) -> Array:
        """What all of them need, of the draws that close [kg]."""
        parts = [len(h.names) * self._common(h, h.drawn.total) for h in self.hung]
        return np.asarray(np.sum(parts, axis=0))

    def emptied(self, mass: Array) -> Array:
        """Return when so much ``mass`` [kg] has been drawn, of the draws that close [s].

        Infinite where it never is: each draws evenly until its planned ready and evenly from
        then on.
        """
        found = np.full(len(mass), np.inf)
        drawn, begun = np.zeros(len(mass)), 0.0
        for end in [*sorted({h.drawn.ready for h in self.hung}), math.inf]:
            parts = [
                self._common(h, h.early if begun < h.drawn.ready else h.late) for h in self.hung
            ]
            rate = np.maximum(np.sum(parts, axis=0), 1e-12)
            time = begun + (mass - drawn) / rate
            found = np.where(np.isinf(found) & (time <= end), time, found)
            if math.isfinite(end):
                drawn, begun = drawn + rate * (end - begun), end
        return np.where(mass < self.total, found, np.inf)


@dataclass(frozen=True, kw_only=True, eq=False)
class Supplied:
    """What a manifold takes: ``count`` of cylinders of the draws that close, 0 of others.

    ``take`` of them is planned, None where that cannot be; ``enough`` and ``survived`` tell of
    every draw whether they are and whether every plug outlives every exchange.
    """

    count: Array
    take: int | None
    exchanges: tuple[Exchange, ...]
    enough: NDArray[np.bool_]
    survived: NDArray[np.bool_]


def supplied(request: FromCylinders, manifold: Manifold, each: Range) -> Supplied:
    """Return what a ``manifold`` takes of cylinders that give ``each`` [kg], and its exchanges."""
    lead, holds = manifold.lead, manifold.holds
    span = (each.high or each.low) - each.low
    part = lead.sample.shares("usable")[holds]
    kept = (each.low + part * span) * (1.0 - request.reserve)
    count = np.ceil(manifold.total / kept - 1e-9)
    most = lead.at_most(count)
    take = None if most is None or most > MOST else int(most)
    moments = [
        min(lead.at_least(manifold.emptied(number * kept)) or math.inf, lead.plan_end)
        for number in range(1, take or 1)
    ]
    borne = [_borne(request, h, moments) for h in manifold.hung]
    swaps = tuple(
        _exchange(request, manifold.name, number, at, [x for told, _ in borne for x in told[n]])
        for n, (number, at) in enumerate(enumerate(moments, start=1))
    )
    survived = np.logical_and.reduce([holds, *(well for _, well in borne)])
    enough, counted = np.zeros(len(holds), dtype=bool), np.zeros(len(holds))
    enough[holds] = count <= (take or 0)
    counted[holds] = count
    return Supplied(
        count=counted, take=take, exchanges=swaps, enough=enough, survived=np.asarray(survived)
    )


def lasting_at(solution: Solution, moments: list[float]) -> list[Array]:
    """Return how long plugs last unfed from the ``moments`` of exchanges [s], of the draws [s].

    Raises
    ------
    TooCostlyError
        naming the cylinder
    """
    with work.blamed(*MANY_EXCHANGES):
        return solution.lasting_at(moments)


def _borne(
    request: FromCylinders, hung: Hung, moments: list[float]
) -> tuple[list[list[ExchangedPoint]], NDArray[np.bool_]]:
    """Return what exchanges at ``moments`` [s] mean for points alike, and the draws that bear all.

    Before its ready a plug is not judged.
    """
    solution, duration = hung.solution, request.exchange_duration
    lasts = lasting_at(solution, [at for at in moments if at >= hung.drawn.ready])
    early = len(moments) - len(lasts)
    told = [[ExchangedPoint(name=name, verdict=EARLY) for name in hung.names]] * early
    well = np.ones(len(solution.sample), dtype=bool)
    for last in lasts:
        survival = last[solution.holds]
        well &= last > duration
        chance, least = chances.chance(survival > duration), solution.at_least(survival)
        if solution.is_sure(chances.chance(survival > 2.0 * duration)):
            verdict = SURVIVED
        else:
            verdict = EARLY if solution.is_sure(chance) else NOT_SURVIVED
        margin = None if least is None else least - duration
        told.append([
            ExchangedPoint(
                name=name, survival=least, margin=margin, chance=chance, verdict=verdict
            )
            for name in hung.names
        ])  # fmt: skip
    return told, well


def _exchange(
    request: FromCylinders, manifold: str, number: int, at: float, points: list[ExchangedPoint]
) -> Exchange:
    """Judge the exchange of cylinder ``number`` at a time [s] since the first feed."""
    judged = [p for p in points if p.chance is not None]
    bad = [SURVIVED, EARLY, NOT_SURVIVED]
    verdict = max((p.verdict for p in points), key=bad.index)
    worst = None
    if verdict == NOT_SURVIVED or len(judged) == len(points):
        worst = min(judged, key=lambda p: math.inf if p.survival is None else p.survival)
    if verdict == SURVIVED:
        advice = "The plug outlives the exchange."
    elif verdict == EARLY and len(judged) < len(points):
        advice = (
            f"Cylinder {number} ends before the plug is ready: use a larger one, or two on a "
            "manifold, so that the first exchange comes on a consolidated plug."
        )
    elif verdict == EARLY:
        advice = "The plug outlives the exchange by little: be quick, or use a manifold."
    else:
        least = 0.0 if worst is None else worst.survival or 0.0
        advice = (
            f"The plug may last no more than {least:.0f} s unfed, the exchange takes "
            f"{request.exchange_duration:.0f} s: use two cylinders on a manifold."
        )
    return Exchange(
        manifold=manifold, cylinder=number, at=at, verdict=verdict, advice=advice,
        points=tuple(points),
        **({} if worst is None else
           {"survival": worst.survival, "margin": worst.margin, "chance": worst.chance}),
    )  # fmt: skip
