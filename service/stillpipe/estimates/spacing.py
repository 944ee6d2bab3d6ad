"""A run of pipe: whether freeze points, cuts, torches, fittings and supports are apart enough."""

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from stillpipe.estimates import assess, cautions, chances, hold_time, learned, trapped_water, words
from stillpipe.estimates.course import Of
from stillpipe.estimates.sampled import Array
from stillpipe.estimates.solution import Solution
from stillpipe.estimates.trapped_water import TrappedWater
from stillpipe.model.declare import Chance, Figure, Plain
from stillpipe.model.figures import Amount, Answer, Range, Reason, Verdict
from stillpipe.model.requests import SpacingRequest
from stillpipe.model.site import Place, PlaceKind

APART = 0.3048
"""Least distance between two jackets, edge to edge [m]: 12 in; common practice, no source."""
TORCH = 0.6096
"""Least distance from the plug's end to a torch [m]: 24 in; common practice, no source."""
CLEAR = 0.0508
"""Clear straight pipe beyond the jacket [m]: 2 in; common practice, no source."""
PRACTICE = "common practice, no source"
COMPUTED = "computed: growth of the plug in the planned hold"
MARGIN = 1.25
"""Factor on the computed growth [-]: an assumption."""


@dataclass(frozen=True, kw_only=True)
class Rule:
    """One rule between two places."""

    rule: Annotated[str, Plain(says="Which rule.")]
    between: Annotated[tuple[str, str], Plain(says="The names of the two places.")]
    verdict: Annotated[Verdict, Plain(says="Whether they are far enough apart.")]
    required: Annotated[float, Figure("length", says="Least distance.")]
    actual: Annotated[float, Figure("length", says="Distance as stated.")]
    chance: Annotated[
        float | None,
        Chance(says="That the plug leaves so much, where the rule hangs on its length."),
    ]
    reason: Annotated[str, Plain(says="Why.")]
    source: Annotated[str, Plain(says="Where the rule comes from.")]


@dataclass(frozen=True, kw_only=True)
class RunFigures:
    """What is found along a run of pipe."""

    rules: Annotated[tuple[Rule, ...], Plain(says="Every rule for every pair that has one.")]
    trapped_water: Annotated[
        tuple[TrappedWater, ...], Plain(says="The water between neighbouring freeze points.")
    ]


@dataclass(frozen=True, kw_only=True)
class SpacingFigures(RunFigures):
    """Figures of the spacing estimate."""

    plug_length: Annotated[Range | None, Figure("length", says="After the hold.")]


def spacing(request: SpacingRequest) -> Answer[SpacingFigures]:
    """Judge the places along a run for plugs kept as long as the hold."""
    solution = Solution(request, request.hold)
    found = along(solution, request.places)
    return Answer(
        reasons=reasons(solution, request.places, found),
        cautions=cautions.of_freeze(request),
        figures=SpacingFigures(
            plug_length=None if solution.hopeless else solution.plug_length,
            rules=found.rules,
            trapped_water=found.trapped_water,
        ),
        effort=solution.effort,
        learned=learned.told(solution),
    )


def along(solution: Solution, places: tuple[Place, ...]) -> RunFigures:
    """Return the rules and the trapped water of a run with these ``places``."""
    ordered = sorted(places, key=lambda p: p.at)
    lengths = np.zeros(1)
    if not solution.hopeless and solution.is_planned:
        lengths = solution.grown(Of.SOUND, solution.plan_end)[solution.holds]
    return RunFigures(
        rules=tuple(_rules(solution, lengths, ordered)),
        trapped_water=tuple(_trapped(solution, ordered)),
    )


def reasons(solution: Solution, places: tuple[Place, ...], found: RunFigures) -> tuple[Reason, ...]:
    """Return the reasons of the freeze, its hold and the run, each once."""
    known = list(hold_time.reasons(solution))
    if not any(p.kind is PlaceKind.FREEZE_POINT for p in places):
        known.append(
            assess.stop(
                "no-freeze-point", "The run has no freeze point: nothing along it is judged.",
                figure="inputs.places", action="State where the jackets are to sit.",
            )
        )  # fmt: skip
    known += _of_rules(found.rules)
    known += (
        _of_water(index, water)
        for index, water in enumerate(found.trapped_water)
        if water.verdict is not Verdict.GO
    )
    return tuple(dict.fromkeys(known))


def _of_rules(rules: tuple[Rule, ...]) -> Iterator[Reason]:
    """Yield a reason for each rule that is not kept, by the pair that lacks most of it."""
    broken = [(i, r) for i, r in enumerate(rules) if r.verdict is not Verdict.GO]
    for name, verdict in dict.fromkeys((r.rule, r.verdict) for _, r in broken):
        alike = [(i, r) for i, r in broken if (r.rule, r.verdict) == (name, verdict)]
        index, worst = min(alike, key=lambda each: each[1].actual - each[1].required)
        a, b = worst.between
        text = (
            f"{worst.reason} From {a} to {b} there are {words.metres(worst.actual)}, "
            f"{words.metres(worst.required)} are needed"
        )
        others = f"; so it is with {len(alike) - 1} more" if len(alike) > 1 else ""
        stops = verdict is Verdict.NO_GO
        yield (assess.stop if stops else assess.warn)(
            f"too-near-{name}" if stops else "near", f"{text}{others}.",
            figure=f"rules.{index}.actual", value=Amount(worst.actual, "length"),
            limit=Amount(worst.required, "length"), chance=worst.chance,
            action=f"Move {a} and {b} apart by {words.metres(worst.required - worst.actual)} more."
            if stops else f"Move {a} and {b} apart if you can, and watch the plug's end.",
        )  # fmt: skip


def _of_water(index: int, water: TrappedWater) -> Reason:
    """Say what the trapped water of that ``index`` in the answer comes to."""
    stops = water.verdict is Verdict.NO_GO
    holds = min(water.rating, water.weakest_holds or water.rating)
    return (assess.stop if stops else assess.warn)(
        "trapped-water" if stops else "unvented-water", water.found,
        figure=f"trapped_water.{index}.pressure", value=Amount(water.pressure, "pressure"),
        limit=Amount(holds, "pressure"), chance=water.chance, at=water.vent_open_from,
        action=trapped_water.VENT,
    )  # fmt: skip


def _rules(solution: Solution, lengths: Array, places: list[Place]) -> Iterator[Rule]:
    """Yield every rule for every pair that has one; ``lengths`` [m] of the plugs, of the draws."""
    jacket = solution.point.jacket.length
    halves = 0.5 * MARGIN * np.maximum(lengths, jacket)
    for a, b in itertools.combinations(places, 2):
        if PlaceKind.FREEZE_POINT not in (a.kind, b.kind):
            continue
        other = b.kind if a.kind is PlaceKind.FREEZE_POINT else a.kind
        for rule, wanted, reason, source in _rules_for(other, halves, jacket):
            actual = b.at - a.at
            required = solution.at_most(np.broadcast_to(wanted, lengths.shape)) or 0.0
            yield Rule(
                rule=rule, between=(a.name, b.name), verdict=_verdict(actual, required),
                required=required, actual=actual, reason=reason, source=source,
                chance=chances.chance(np.asarray(wanted <= actual)) if np.ndim(wanted) else None,
            )  # fmt: skip


def _rules_for(
    other: PlaceKind, half: Array, jacket: float
) -> Iterator[tuple[str, Array | float, str, str]]:
    """Yield the rules between a freeze point and another place: name, distance [m], why, source.

    ``half`` of the plugs, of the draws, and length of the ``jacket`` [m].
    """
    if other is PlaceKind.FREEZE_POINT:
        text = "Jackets at least 12 in apart, edge to edge."
        yield "jackets", jacket + APART, text, PRACTICE
        text = "Two plugs must not grow into each other in the hold."
        yield "plugs", 2.0 * half, text, COMPUTED
    elif other is PlaceKind.CUT:
        text = "The plug must not grow into the cut, and the cut leaves room for a cap."
        yield "cut", half + CLEAR, text, COMPUTED
    elif other is PlaceKind.HEAT_SOURCE:
        text = "A torch stays 24 in from the plug's end; wrap the pipe in wet cloth between."
        yield "torch", half + TORCH, text, PRACTICE
    elif other in (PlaceKind.FITTING, PlaceKind.VALVE):
        text = f"The jacket needs bare straight pipe, and ice must not grow into a {other}."
        yield other.value, np.maximum(0.5 * jacket + CLEAR, half), text, COMPUTED
    elif other is PlaceKind.SUPPORT:
        text = "The jacket must clear the support, which draws heat and holds the pipe."
        yield "support", 0.5 * jacket + CLEAR, text, PRACTICE


def _verdict(actual: float, required: float) -> Verdict:
    if actual >= required:
        return Verdict.GO
    return Verdict.CONDITIONAL if actual >= 0.9 * required else Verdict.NO_GO


def _trapped(solution: Solution, places: list[Place]) -> Iterator[TrappedWater]:
    """Judge the water between neighbouring freeze points."""
    points = [p for p in places if p.kind is PlaceKind.FREEZE_POINT]
    growth = trapped_water.growth(solution) if len(points) > 1 else None
    for a, b in itertools.pairwise(points):
        vented = any(p.kind is PlaceKind.VENT and a.at < p.at < b.at for p in places)
        yield trapped_water.judge(solution, growth, (a.name, b.name), b.at - a.at, vented)
