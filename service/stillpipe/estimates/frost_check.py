"""No frost yet? Whether it should be there by now, and what is likely wrong."""

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Annotated

from stillpipe.estimates import assess, cautions
from stillpipe.estimates.solution import Solution
from stillpipe.model.declare import Figure, Plain
from stillpipe.model.figures import Answer, Range, Reason
from stillpipe.model.requests import FrostCheckRequest
from stillpipe.physics import constants, film
from stillpipe.physics.stream import drips
from stillpipe.uncertainty.scenarios import SLOW

DRIEST = 233.15
"""Frost point of air too dry for frost to be seen [K]: an assumption."""
WARMEST = 313.15
"""Warmest water that is tried as a cause [K]."""


class FrostState(StrEnum):
    """What is seen, held against what is expected."""

    AS_EXPECTED = "as-expected"
    TOO_EARLY = "too-early"
    OVERDUE = "overdue"
    NO_FROST_POSSIBLE = "no-frost-possible"
    EARLY = "early"


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


_WARNINGS = {
    FrostState.TOO_EARLY: "Frost may still be to come: keep feeding and look again.",
    FrostState.NO_FROST_POSSIBLE: "The plug does not form, or the air is too dry for frost; frost "
    "says nothing here: prove the plug by venting the section.",
}


def frost_check(request: FrostCheckRequest) -> Answer[FrostCheckFigures]:
    """Judge whether frost should be seen by now."""
    solution = Solution(request)
    by = None if solution.stays_slush else solution.frost_by
    point = film.frost_point(request.ambient.temperature, request.relative_humidity)
    state = _state(request, by, point)
    causes: tuple[Cause, ...] = ()
    if state in (FrostState.OVERDUE, FrostState.NO_FROST_POSSIBLE):
        causes = _causes(request, solution, by)
    figures = FrostCheckFigures(state=state, frost_by=by, frost_point=point, causes=causes)
    return Answer(
        reasons=(*assess.reasons(solution), *_reasons(state)),
        cautions=cautions.of_freeze(request),
        figures=figures,
        effort=solution.effort,
    )


def _reasons(state: FrostState) -> tuple[Reason, ...]:
    if state is FrostState.OVERDUE:
        text = "Frost should be there by now: do not cut; look for the cause."
        return (assess.stop("frost-overdue", text),)
    if state in _WARNINGS:
        return (assess.warn(f"frost-{state}", _WARNINGS[state]),)
    return ()


def _state(request: FrostCheckRequest, by: Range | None, point: float) -> FrostState:
    """Return what is seen against the expected time and the air's frost ``point`` [K]."""
    if request.frost_seen:
        in_time = by is not None and request.elapsed >= 0.5 * by.low
        return FrostState.AS_EXPECTED if in_time else FrostState.EARLY
    if by is None or point < DRIEST:
        return FrostState.NO_FROST_POSSIBLE
    return FrostState.OVERDUE if request.elapsed > by.longest else FrostState.TOO_EARLY


def _causes(request: FrostCheckRequest, solution: Solution, by: Range | None) -> tuple[Cause, ...]:
    """Return likely causes, ranked: what physics can weigh first, the rest by common practice.

    Slush is its own cause: no warmth explains it.
    """
    slush = solution.stays_slush
    found = [
        _flow(solution),
        _jacket(by, request.elapsed),
        *([] if slush else [_warm_water(request, solution)]),
        Cause(
            code="cylinder-empty", weight=0.5,
            text="The cylinder is empty, or feeds gas: no dip tube, not upright, or too warm or "
            "too cold.",
            first="Weigh the cylinder, stand it upright, exchange it.",
        ),
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


def _flow(solution: Solution) -> Cause:
    """Weigh a flow: a small one explains a late frost the better."""
    if solution.stays_slush:
        first = "Close and check the valves."
        return Cause(code="flow", weight=0.9, text="Water may be moving.", first=first)
    limit = solution.flow_limit.likely
    text = (
        f"Water is moving: {limit * 3600:.2g} kg/h "
        f"({limit * drips.PER_MINUTE:.0f} drips a minute) are enough."
    )
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
    by = tried.frost_time(tried.run(SLOW))
    return by is None or by > request.elapsed


def _jacket(by: Range | None, elapsed: float) -> Cause:
    """Weigh a leaky or badly filled jacket: it explains the more, the longer the delay."""
    late = 1.0 if by is None else min(elapsed / by.likely / 4.0, 1.0)
    return Cause(
        code="jacket", weight=0.6 + 0.2 * late,
        text="The jacket leaks, is not filled, or sits on paint or scale.",
        first="Feed until gas leaves steadily; press the snow home; clean the pipe and seal the "
        "ends.",
    )  # fmt: skip
