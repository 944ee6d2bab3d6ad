"""A run of pipe: whether freeze points, cuts, torches, fittings and supports are apart enough."""

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np

from stillpipe.estimates import assess, cautions, chances, hold_time, learned, trapped_water, words
from stillpipe.estimates.course import Of
from stillpipe.estimates.sampled import Array
from stillpipe.estimates.solution import Solution
from stillpipe.estimates.trapped_water import TrappedWater
from stillpipe.model.declare import Chance, Figure, Plain
from stillpipe.model.figures import Amount, Answer, Range, Reason, Severity, Verdict
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
    run: Annotated[str | None, Plain(says="On which run of pipe.")] = None
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


@dataclass(frozen=True, kw_only=True, eq=False)
class Sited:
    """Something on a run of pipe, and the ``solution`` of what is frozen there."""

    place: Place
    solution: Solution | None = None


def spacing(request: SpacingRequest) -> Answer[SpacingFigures]:
    """Judge the places along a run for plugs kept as long as the hold."""
    solution = Solution(request, request.hold)
    sited = sited_alike(solution, request.places)
    found = along(sited)
    return Answer(
        reasons=tuple(dict.fromkeys([*hold_time.reasons(solution), *reasons(sited, found)])),
        cautions=cautions.of_freeze(request),
        figures=SpacingFigures(
            plug_length=None if solution.hopeless else solution.plug_length,
            rules=found.rules,
            trapped_water=found.trapped_water,
        ),
        effort=solution.effort,
        learned=learned.told(solution),
    )


def sited_alike(solution: Solution, places: tuple[Place, ...]) -> tuple[Sited, ...]:
    """Return ``places`` of which all freeze points are alike."""
    return tuple(
        Sited(place=p, solution=solution if p.kind is PlaceKind.FREEZE_POINT else None)
        for p in places
    )


def along(sited: tuple[Sited, ...]) -> RunFigures:
    """Return the rules and the trapped water of everything on each run of pipe."""
    runs = list(_runs(sited))
    return RunFigures(
        rules=tuple(rule for run in runs for rule in _rules(run)),
        trapped_water=tuple(water for run in runs for water in _trapped(run)),
    )


def _runs(sited: tuple[Sited, ...]) -> Iterator[list[Sited]]:
    """Yield what lies on each run of pipe, in order along it."""
    for name in dict.fromkeys(s.place.run for s in sited):
        yield sorted((s for s in sited if s.place.run == name), key=lambda s: s.place.at)


def reasons(sited: tuple[Sited, ...], found: RunFigures) -> tuple[Reason, ...]:
    """Return the reasons found along the runs."""
    known = [reason for run in _runs(sited) for reason in _of_run([s.place for s in run])]
    known += _of_rules(found.rules)
    known += (
        _of_water(index, water)
        for index, water in enumerate(found.trapped_water)
        if water.verdict is not Verdict.GO
    )
    return tuple(dict.fromkeys(known))


def _of_run(places: list[Place]) -> Iterator[Reason]:
    """Yield what is wrong with where the freeze points of a run are, and its cuts."""
    on = "The run" if places[0].run is None else f'The run "{places[0].run}"'
    points = [p.at for p in places if p.kind is PlaceKind.FREEZE_POINT]
    if not points:
        yield assess.stop(
            "no-freeze-point", f"{on} has no freeze point: nothing along it is judged.",
            figure="inputs.places", action="State where the jackets are to sit.",
        )  # fmt: skip
        return
    for cut in (p for p in places if p.kind is PlaceKind.CUT):
        if len(points) == 1:
            text = (
                f'{on} has one freeze point: it holds one side of the cut "{cut.name}", the other '
                "must be empty or shut off."
            )
            action = "Prove before cutting that the other side is."
            yield Reason("one-plug", text, Severity.INFO, figure="inputs.places", action=action)
        elif not points[0] < cut.at < points[-1]:
            text = (
                f'The cut "{cut.name}", at {cut.at:.2f} m, is not between freeze points, which are '
                f"from {points[0]:.2f} to {points[-1]:.2f} m."
            )
            nearest = points[0] if cut.at <= points[0] else points[-1]
            yield assess.stop(
                "cut-outside", text, figure="inputs.places", value=Amount(cut.at, "length"),
                limit=Amount(nearest, "length"),
                action="Place a freeze point on each side of the cut.",
            )  # fmt: skip


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


def _halves(sited: Sited) -> Array:
    """Return half of what a plug may need of the pipe [m], of all draws; NaN where none closes."""
    solution = sited.solution
    if solution is None:
        return np.zeros(1)
    jacket = solution.point.jacket.length
    if solution.hopeless or not solution.is_planned:
        return np.full(len(solution.sample), 0.5 * MARGIN * jacket)
    lengths = solution.grown(Of.SOUND, solution.plan_end)
    known = 0.5 * MARGIN * np.maximum(lengths, jacket)
    return np.where(solution.holds, known, np.nan)


def _rules(run: list[Sited]) -> Iterator[Rule]:
    """Yield every rule for every pair on a run that has one."""
    halves = [_halves(s) for s in run]
    for i, j in itertools.combinations(range(len(run)), 2):
        a, b = run[i], run[j]
        frozen = a if a.solution is not None else b
        solution = frozen.solution
        if solution is None:
            continue
        other = b if frozen is a else a
        jacket = solution.point.jacket.length
        half = halves[i] + halves[j]
        half = half[~np.isnan(half)]
        if len(half) == 0:
            half = np.full(1, 0.5 * MARGIN * jacket)
        if other.solution is not None:
            jacket = 0.5 * (jacket + other.solution.point.jacket.length)
        for rule, wanted, reason, source in _rules_for(other.place.kind, half, jacket):
            actual = b.place.at - a.place.at
            required = solution.at_most(np.broadcast_to(wanted, half.shape)) or 0.0
            yield Rule(
                rule=rule, run=a.place.run, between=(a.place.name, b.place.name),
                verdict=_verdict(actual, required), required=required, actual=actual,
                reason=reason, source=source,
                chance=chances.chance(np.asarray(wanted <= actual)) if np.ndim(wanted) else None,
            )  # fmt: skip


def _rules_for(
    other: PlaceKind, half: Array, jacket: float
) -> Iterator[tuple[str, Array | float, str, str]]:
    """Yield the rules between a freeze point and another place: name, distance [m], why, source.

    ``half`` of the plug, of the draws, and length of the ``jacket`` [m]; of two plugs ``half`` of
    each together, and the mean of both jackets.
    """
    if other is PlaceKind.FREEZE_POINT:
        text = "Jackets at least 12 in apart, edge to edge."
        yield "jackets", jacket + APART, text, PRACTICE
        text = "Two plugs must not grow into each other in the hold."
        yield "plugs", half, text, COMPUTED
    elif other is PlaceKind.CUT:
        text = "The plug must not grow into the cut, and the cut leaves room for a cap."
        yield "cut", half + CLEAR, text, COMPUTED
    elif other is PlaceKind.HEAT_SOURCE:
        text = "A torch stays 24 in from the plug's end; wrap the pipe in wet cloth between."
        yield "torch", half + TORCH, text, PRACTICE
    elif other in (PlaceKind.FITTING, PlaceKind.VALVE, PlaceKind.VENT):
        text = f"The jacket needs bare straight pipe, and ice must not grow into a {other}."
        yield other.value, np.maximum(0.5 * jacket + CLEAR, half), text, COMPUTED
    elif other is PlaceKind.SUPPORT:
        text = "The jacket must clear the support, which draws heat and holds the pipe."
        yield "support", 0.5 * jacket + CLEAR, text, PRACTICE


def _verdict(actual: float, required: float) -> Verdict:
    if actual >= required:
        return Verdict.GO
    return Verdict.CONDITIONAL if actual >= 0.9 * required else Verdict.NO_GO


def _trapped(run: list[Sited]) -> Iterator[TrappedWater]:
    """Judge the water between neighbouring freeze points of a run.

    Where they differ it is judged as if both were like the one and as if both were like the other,
    and the worse is told.
    """
    points = [s for s in run if s.solution is not None]
    growths: dict[int, trapped_water.Growth | None] = {}
    for a, b in itertools.pairwise(points):
        vented = any(
            s.place.kind is PlaceKind.VENT and a.place.at < s.place.at < b.place.at for s in run
        )
        between, apart = (a.place.name, b.place.name), b.place.at - a.place.at
        both = list(dict.fromkeys(s.solution for s in (a, b) if s.solution is not None))
        closing = [solution.at_least(solution.closures) for solution in both]
        since = min((time for time in closing if time is not None), default=None)
        found = []
        for solution in both:
            if id(solution) not in growths:
                growths[id(solution)] = trapped_water.growth(solution)
            growing = growths[id(solution)]
            found.append(trapped_water.judge(solution, growing, between, apart, vented, since))
        yield replace(max(found, key=trapped_water.danger), run=a.place.run)
