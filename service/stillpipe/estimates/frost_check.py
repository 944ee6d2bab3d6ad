"""No frost yet? Whether it should be there by now, and what is likely wrong."""

import math
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Annotated

from stillpipe.estimates import assess, cautions
from stillpipe.estimates.solution import Solution
from stillpipe.model.declare import Figure, Plain
from stillpipe.model.figures import Answer, Range, Reason
from stillpipe.model.requests import FrostCheckRequest
from stillpipe.physics import constants, film, freeze
from stillpipe.physics.stream import drips

DRIEST = 233.15
"""Frost point of air too dry for frost to be seen [K]: an assumption."""
WARMEST = 313.15
"""Warmest water that is tried as a cause [K]."""
EARLY_SHARE = 0.5
"""Frost before this share of the time before when it hardly comes is too early [-]: an
assumption."""
HOUR = 3600.0
ICE_CONDUCTIVITY = 2.68
"""Mean conductivity of ice from dry ice to 0 C [W/(m K)]; published fits give 2.58 to 2.81."""
MOST_DRIPS = 600.0
"""More drips a minute than this are nobody's count [1/min]."""


class FrostState(StrEnum):
    """What is seen, held against what is expected."""

    AS_EXPECTED = "as-expected"
    TOO_EARLY = "too-early"
    OVERDUE = "overdue"
    NO_FROST_POSSIBLE = "no-frost-possible"
    EARLY = "early"
    UNEXPECTED = "unexpected"


class NoFrost(StrEnum):
    """Why no frost is expected."""

    NO_PLUG = "no-plug"
    WARM_WALL = "warm-wall"
    AFTER_TWO_HOURS = "after-two-hours"
    DRY_AIR = "dry-air"


@dataclass(frozen=True, kw_only=True)
class Cause:
    """A likely cause, its weight among the others, why it ranks there and what to do first."""

    code: Annotated[str, Plain(says="Stable code of the cause.")]
    weight: Annotated[float, Plain(says="How likely among the others, 0 to 1.")]
    text: Annotated[str, Plain(says="What is wrong.")]
    first: Annotated[str, Plain(says="What to look at first.")]


@dataclass(frozen=True, kw_only=True)
class FrostCheckFigures:
    """Figures of the frost check."""

    state: Annotated[FrostState, Plain(says="What is seen, held against what is expected.")]
    frost_by: Annotated[Range | None, Figure("time", says="When frost is expected.")]
    frost_point: Annotated[
        float, Figure("temperature", says="Below it frost settles from the room's air.")
    ]
    causes: Annotated[tuple[Cause, ...], Plain(says="What is likely wrong, likeliest first.")]


_WHY = {
    NoFrost.NO_PLUG: "no plug forms",
    NoFrost.WARM_WALL: "in this room the pipe beside the jacket stays above 0 degC",
    NoFrost.AFTER_TWO_HOURS: "the pipe beside the jacket takes longer than two hours to fall below "
    "0 degC",
    NoFrost.DRY_AIR: "the air is too dry for frost to be seen",
}


def frost_check(request: FrostCheckRequest) -> Answer[FrostCheckFigures]:
    """Judge whether frost should be seen by now."""
    solution = Solution(request)
    by = solution.frost_by
    point = film.frost_point(request.ambient.temperature, request.relative_humidity)
    why = _why_none(solution, by, point)
    earliest = _earliest(solution)
    state = _state(request, by, why, earliest)
    figures = FrostCheckFigures(
        state=state, frost_by=by, frost_point=point,
        causes=_causes_of(state, request, solution, by),
    )  # fmt: skip
    return Answer(
        reasons=(*assess.reasons(solution), *_reasons(state, by, why, earliest)),
        cautions=cautions.of_freeze(request),
        figures=figures,
        effort=solution.effort,
    )


def _why_none(solution: Solution, by: Range | None, point: float) -> NoFrost | None:
    """Return why no frost is expected, None where it is; ``point`` [K] is the air's frost point."""
    if by is not None:
        return NoFrost.DRY_AIR if point < DRIEST else None
    if solution.stays_slush or solution.closure is None:
        return NoFrost.NO_PLUG
    if coldest_beside(solution, freeze.FROST_DISTANCE) > constants.ZERO_C:
        return NoFrost.WARM_WALL
    return NoFrost.AFTER_TWO_HOURS


def _earliest(solution: Solution) -> float | None:
    """Return before when frost hardly comes [s]: the 5th percentile."""
    return None if solution.frost_by is None else solution.frost_by.low


def coldest_beside(solution: Solution, distance: float) -> float:
    """Temperature [K] to which the pipe's surface falls in the end at a ``distance`` [m].

    Measured from the jacket's edge. Wall and ice as one fin, fed by the jacket over its length and
    warmed by the room beyond it, both through the wall; steady, symmetric about the jacket's
    middle. It tells why there is no frost, not when it comes.
    """
    point, material = solution.point, solution.point.material
    outer, ambient = point.pipe.outside_diameter, point.ambient.temperature
    inner = outer - 2.0 * point.pipe.wall
    film_ = film.at(solution.room_film, constants.ZERO_C)
    wall = math.log(outer / inner) / material.conductivity + point.lining_resistance
    through = 0.5 * outer * wall
    carried = material.conductivity * (outer**2 - inner**2) + ICE_CONDUCTIVITY * point.bore**2
    fed, warmed = (
        math.sqrt(4.0 * outer / carried / (1.0 / h + through))
        for h in (point.jacket.conductance, film_)
    )
    half = 0.5 * fed * point.jacket.length
    at_edge = (ambient - constants.DRY_ICE) / (1.0 + warmed / (fed * math.tanh(half)))
    below = at_edge * math.exp(-warmed * distance) / (1.0 + film_ * through)
    return ambient - below


def _reasons(
    state: FrostState, by: Range | None, why: NoFrost | None, earliest: float | None
) -> tuple[Reason, ...]:
    """Return what the state means for the job; ``earliest`` [s] before when it hardly comes."""
    if state is FrostState.OVERDUE and by is not None:
        text = (
            f"Frost should be there by now, {by.longest:.0f} s after the first feed: do not cut; "
            "look for the cause."
        )
        return (assess.stop("frost-overdue", text),)
    if state is FrostState.EARLY and earliest is not None:
        text = (
            f"Frost before {EARLY_SHARE * earliest:.0f} s, half of the least that a full pipe of "
            "this size takes: the pipe may be empty, or smaller than stated. Do not cut; prove "
            "that the line is full, and measure the pipe."
        )
        return (assess.stop("frost-early", text),)
    if state is FrostState.TOO_EARLY:
        text = "Frost may still be to come: keep feeding and look again."
        return (assess.warn("frost-too-early", text),)
    if why is None or state is FrostState.AS_EXPECTED:
        return ()
    if state is FrostState.UNEXPECTED:
        text = (
            f"Frost is seen where none is expected, because {_WHY[why]}: the pipe may be empty or "
            "smaller, or line and room colder, than stated. Prove the plug by venting the section."
        )
        return (assess.warn("frost-unexpected", text),)
    text = (
        f"No frost is to be expected, because {_WHY[why]}; that there is none says nothing here: "
        "prove the plug by venting the section."
    )
    return (assess.warn(f"no-frost-{why}", text),)


def _state(
    request: FrostCheckRequest, by: Range | None, why: NoFrost | None, earliest: float | None
) -> FrostState:
    """Return what is seen against the expected time, ``earliest`` before when it hardly comes."""
    if request.frost_seen:
        if earliest is None:
            return FrostState.UNEXPECTED
        in_time = request.elapsed >= EARLY_SHARE * earliest
        return FrostState.AS_EXPECTED if in_time else FrostState.EARLY
    if by is None or why is not None:
        return FrostState.NO_FROST_POSSIBLE
    return FrostState.OVERDUE if request.elapsed > by.longest else FrostState.TOO_EARLY


_TOO_SOON = (
    Cause(
        code="pipe-empty", weight=0.5,
        text="The pipe is empty or holds air under the jacket: only its wall is cooled.",
        first="Open a bleed above the jacket and see that water comes; tap the pipe and listen.",
    ),
    Cause(
        code="smaller-pipe", weight=0.3,
        text="The pipe is smaller, or its wall thinner, than stated.",
        first="Measure the outside diameter, and the wall where an end is open.",
    ),
    Cause(
        code="colder", weight=0.2,
        text="The line or the room is colder than stated.",
        first="Take the temperature of both.",
    ),
)  # fmt: skip
"""What is likely wrong where frost comes too soon, or where none is expected: common practice."""


def _causes_of(
    state: FrostState, request: FrostCheckRequest, solution: Solution, by: Range | None
) -> tuple[Cause, ...]:
    if state in (FrostState.EARLY, FrostState.UNEXPECTED):
        return _TOO_SOON
    if state in (FrostState.OVERDUE, FrostState.NO_FROST_POSSIBLE):
        return _causes(request, solution, by)
    return ()


def _causes(request: FrostCheckRequest, solution: Solution, by: Range | None) -> tuple[Cause, ...]:
    """Return likely causes, ranked: what physics can weigh first, the rest by common practice.

    Slush is its own cause: no warmth explains it.
    """
    slush = solution.stays_slush
    found = [
        _cylinder(request),
        _flow(solution),
        _jacket(by, request.elapsed),
        *([] if slush else [_warm_water(request, solution)]),
        _wrong_fluid(request, slush),
        Cause(
            code="lined-pipe", weight=0.1 if request.lining else 0.2,
            text="Scale or a lining in the bore, or a larger pipe than stated.",
            first="Measure the outside diameter; look at an opened end.",
        ),
        Cause(
            code="dry-air", weight=max(0.0, 0.5 - 2.0 * request.relative_humidity),
            text="The air is dry: little frost forms.",
            first="Breathe on the pipe beside the jacket; feel it with a gloved hand.",
        ),
        Cause(
            code="insulated", weight=0.7 if request.insulation else 0.0,
            text="Insulation beside the jacket hides the frost.",
            first="Bare the pipe beside the jacket and look again.",
        ),
    ]  # fmt: skip
    ranked = sorted((c for c in found if c.weight > 0.0), key=lambda c: -c.weight)
    return tuple(replace(c, weight=round(c.weight, 2)) for c in ranked)


def _wrong_fluid(request: FrostCheckRequest, slush: bool) -> Cause:
    text = (
        "What the line holds, as stated, stays slush."
        if slush
        else "The line holds glycol, or more of it than stated."
    )
    weight = 1.0 if slush else 0.2 if request.fluid.type == "water" else 0.5
    first = "Draw a sample and measure it with a refractometer."
    return Cause(code="wrong-fluid", weight=weight, text=text, first=first)


def _cylinder(request: FrostCheckRequest) -> Cause:
    """Weigh the cylinder: one that holds no liquid as stated explains everything."""
    first = "Weigh the cylinder, stand it upright, exchange it."
    if not request.cylinder.has_liquid:
        text = "The cylinder is so warm, as stated, that it holds no liquid CO2."
        return Cause(code="cylinder-empty", weight=1.0, text=text, first="Cool the cylinder.")
    text = "The cylinder is empty, or feeds gas: no dip tube, not upright, or too warm or too cold."
    return Cause(code="cylinder-empty", weight=0.5, text=text, first=first)


def _flow(solution: Solution) -> Cause:
    """Weigh a flow: a small one explains a late frost the better."""
    if solution.stays_slush:
        first = "Close and check the valves."
        return Cause(code="flow", weight=0.9, text="Water may be moving.", first=first)
    limit = 0.0 if solution.flow_limit is None else solution.flow_limit.likely
    falling = limit * drips.PER_MINUTE
    counted = f" ({falling:.0f} drips a minute)" if falling <= MOST_DRIPS else ""
    text = f"Water is moving: {float(f'{limit * HOUR:.2g}'):g} kg/h{counted} are enough."
    return Cause(
        code="flow", weight=0.95 if solution.point.fluid.flow == 0.0 else 1.0, text=text,
        first="Close the valves on both sides; listen; feel for warmth.",
    )  # fmt: skip


def _warm_water(request: FrostCheckRequest, solution: Solution) -> Cause:
    """Solve again with warmer water, to see whether it explains the time that has passed."""
    first = "Take the line's temperature; let it come near room temperature."
    low, high = request.fluid.temperature, WARMEST
    if low >= WARMEST - 1.0:
        return Cause(
            code="warm-water", weight=0.9, text="The water is warm, as stated.", first=first
        )
    if not _explains(request, solution, high):
        text = "Water at 40 degC alone would not explain the delay; warmer water would."
        return Cause(code="warm-water", weight=0.4, text=text, first=first)
    for _ in range(6):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if _explains(request, solution, middle) else (middle, high)
    text = f"Water at {high - constants.ZERO_C:.0f} degC would explain the delay."
    stated = request.fluid.temperature
    share = (high - stated) / (WARMEST - stated)
    return Cause(code="warm-water", weight=0.9 - 0.4 * share, text=text, first=first)


def _explains(request: FrostCheckRequest, solution: Solution, temperature: float) -> bool:
    """Tell whether frost with water of this ``temperature`` [K] may come later than now."""
    warmer = replace(request, fluid=replace(request.fluid, temperature=temperature))
    tried = Solution(warmer, shares=solution)
    by, known = tried.fine.frost, solution.frost_by
    late = 1.0 if known is None else known.longest / known.likely
    return by is None or late * by > request.elapsed


def _jacket(by: Range | None, elapsed: float) -> Cause:
    """Weigh a leaky or badly filled jacket: it explains the more, the longer the delay."""
    late = 1.0 if by is None else min(elapsed / by.likely / 4.0, 1.0)
    return Cause(
        code="jacket", weight=0.6 + 0.2 * late,
        text="The jacket leaks, is not filled, or sits on paint or scale.",
        first="Feed until gas leaves steadily; press the snow home; clean the pipe and seal the "
        "ends.",
    )  # fmt: skip
