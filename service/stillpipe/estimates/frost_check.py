"""No frost yet? Whether it should be there by now, and what is likely wrong."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from functools import partial
from typing import Annotated

from stillpipe.estimates import assess, causes, cautions, chances, learned, words
from stillpipe.estimates.advice import ADVICE, STATED, Adviser
from stillpipe.estimates.causes import Probable
from stillpipe.estimates.solution import Solution
from stillpipe.model.declare import Chance, Figure, Plain
from stillpipe.model.figures import Amount, Answer, Range, Reason, Severity
from stillpipe.model.requests import FrostCheckRequest
from stillpipe.physics import constants, film, freeze

DRIEST = 233.15
"""Frost point of air too dry for frost to be seen [K]: an assumption."""
EARLY_SHARE = 0.5
"""Frost before this share of the time before which it hardly comes stops the job [-]: an
assumption."""
HARDLY = 0.05
"""Frost is overdue where a sound freeze has none yet at a chance below this [-]."""
LEAST = 0.005
"""Causes that are less probable than this are not worth a word [-]."""
ICE_CONDUCTIVITY = 2.68
"""Mean conductivity of ice from dry ice to 0 C [W/(m K)]; published fits give 2.58 to 2.81."""


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
    """A cause of what is seen, how probable it is, and what to look at."""

    code: Annotated[str, Plain(says="Stable code of the cause.")]
    probability: Annotated[float, Chance(says="That this is the cause, given what is seen.")]
    text: Annotated[str, Plain(says="What is wrong.")]
    first: Annotated[str, Plain(says="What to look at first.")]
    tells: Annotated[
        str, Plain(says="The observation that tells it from the next most probable cause.")
    ]


@dataclass(frozen=True, kw_only=True)
class FrostCheckFigures:
    """Figures of the frost check."""

    state: Annotated[FrostState, Plain(says="What is seen, held against what is expected.")]
    frost_by: Annotated[Range | None, Figure("time", says="When frost is expected.")]
    frost_point: Annotated[
        float, Figure("temperature", says="Below it frost settles from the room's air.")
    ]
    chance_of_no_frost: Annotated[
        float, Chance(says="That a freeze with nothing wrong has no frost yet.")
    ]
    causes: Annotated[tuple[Cause, ...], Plain(says="What may be wrong, likeliest first.")]


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
    by, unseen = _expected(solution, request.elapsed)
    point = film.frost_point(request.ambient.temperature, request.relative_humidity)
    why = _why_none(solution, by, point)
    state = _state(request, by, why, unseen)
    figures = FrostCheckFigures(
        state=state, frost_by=solution.frost_by, frost_point=point, chance_of_no_frost=unseen,
        causes=_causes(request, solution, by),
    )  # fmt: skip
    return Answer(
        reasons=(*assess.reasons(solution), *_reasons(request, solution, figures, by, why)),
        cautions=cautions.of_freeze(request),
        figures=figures,
        effort=solution.effort,
        learned=learned.told(solution),
    )


def _expected(solution: Solution, elapsed: float) -> tuple[Range | None, float]:
    """Return when frost is expected of a sound freeze before anything was seen [s].

    And the chance that it has none when ``elapsed`` [s] have passed [-].
    """
    before = solution.before
    if before.stays_slush or before.prevented:
        return None, 1.0
    return chances.range_of(before.frosts), chances.chance(before.frosts > elapsed)


def _why_none(solution: Solution, by: Range | None, point: float) -> NoFrost | None:
    """Return why no frost is expected, None where it is; ``point`` [K] is the air's frost point."""
    if by is not None:
        return NoFrost.DRY_AIR if point < DRIEST else None
    if solution.stays_slush or solution.closure is None:
        return NoFrost.NO_PLUG
    if coldest_beside(solution, freeze.FROST_DISTANCE) > constants.ZERO_C:
        return NoFrost.WARM_WALL
    return NoFrost.AFTER_TWO_HOURS


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
    request: FrostCheckRequest, solution: Solution, figures: FrostCheckFigures, by: Range | None,
    why: NoFrost | None,
) -> tuple[Reason, ...]:  # fmt: skip
    """Return what the state means for the job; ``by`` [s] when frost is expected, ``why`` not."""
    elapsed, state = request.elapsed, figures.state
    told = partial(
        Reason, figure="inputs.elapsed", value=Amount(elapsed, "time"), at=elapsed,
        chance=figures.chance_of_no_frost,
    )  # fmt: skip
    if by is not None and state is FrostState.OVERDUE:
        text = (
            f"Frost should be there by now, {by.longest:.0f} s after the first feed: it is overdue."
        )
        action = "Do not cut; look for the cause."
        limit = Amount(by.longest, "time")
        return (told("frost-overdue", text, Severity.STOP, limit=limit, action=action),)
    if by is not None and state is FrostState.EARLY:
        return (_too_soon(told, elapsed, by.low),)
    if by is not None and state is FrostState.TOO_EARLY:
        text = (
            f"There is no frost yet {elapsed:.0f} s after the first feed; it may take until "
            f"{by.longest:.0f} s."
        )
        action = f"Keep feeding, and look again {by.longest:.0f} s after the first feed."
        return (told("frost-too-early", text, limit=Amount(by.longest, "time"), action=action),)
    if why is None or state is FrostState.AS_EXPECTED:
        return ()
    return (_not_expected(solution, figures, why),)


def _too_soon(told: Callable[..., Reason], elapsed: float, low: float) -> Reason:
    """Say that frost was there when ``elapsed`` [s] had passed, before ``low``, its 5th percentile.

    ``told`` makes a reason of that time.
    """
    least = EARLY_SHARE * low
    if elapsed < least:
        text = (
            f"Frost before {words.apart(elapsed, least)[1]}, half of the least that a full pipe of "
            "this size takes: the pipe may be empty, or smaller than stated."
        )
        action = "Do not cut; prove that the line is full, and measure the pipe."
        limit = Amount(least, "time")
        return told("frost-early", text, Severity.STOP, limit=limit, action=action)
    seen, usual = words.apart(elapsed, low)
    text = (
        f"Frost {seen} after the first feed is sooner than 95 of 100 still, full lines of this "
        f"pipe have it, from {usual} on: the pipe may be empty, or smaller than stated."
    )
    action = "Prove that the line is full, and measure the pipe, before you go on."
    return told("frost-early", text, limit=Amount(low, "time"), action=action)


def _not_expected(solution: Solution, figures: FrostCheckFigures, why: NoFrost) -> Reason:
    """Say what frost or none means where none is to be expected, because of ``why``."""
    name, value, limit = _held_against(solution, figures, why)
    told = partial(assess.warn, figure=name, value=value, limit=limit)
    if figures.state is FrostState.UNEXPECTED:
        text = (
            f"Frost is seen where none is expected, because {_WHY[why]}: the pipe may be empty or "
            "smaller, or line and room colder, than stated."
        )
        action = "Prove the plug by venting the section, and measure pipe and temperatures."
        return told("frost-unexpected", text, action=action)
    text = f"No frost is to be expected, because {_WHY[why]}; that there is none says nothing here."
    return told(f"no-frost-{why}", text, action="Prove the plug by venting the section.")


def _held_against(
    solution: Solution, figures: FrostCheckFigures, why: NoFrost
) -> tuple[str | None, Amount | None, Amount | None]:
    """Return what keeps frost away: its figure, what that is and what it would have to pass."""
    if why is NoFrost.DRY_AIR:
        return "frost_point", _kelvin(figures.frost_point), _kelvin(DRIEST)
    if why is NoFrost.WARM_WALL:
        coldest = coldest_beside(solution, freeze.FROST_DISTANCE)
        return None, _kelvin(coldest), _kelvin(constants.ZERO_C)
    if why is NoFrost.AFTER_TWO_HOURS:
        return "frost_by", None, Amount(freeze.LATEST_FROST, "time")
    return None, None, None


def _kelvin(temperature: float) -> Amount:
    return Amount(temperature, "temperature")


def _state(
    request: FrostCheckRequest, by: Range | None, why: NoFrost | None, unseen: float
) -> FrostState:
    """Return what is seen against what is expected; ``unseen`` as :func:`_expected` has it [-]."""
    if request.frost_seen:
        if by is None:
            return FrostState.UNEXPECTED
        return FrostState.AS_EXPECTED if request.elapsed >= by.low else FrostState.EARLY
    if by is None or why is not None:
        return FrostState.NO_FROST_POSSIBLE
    return FrostState.OVERDUE if unseen < HARDLY else FrostState.TOO_EARLY


def _causes(request: FrostCheckRequest, solution: Solution, by: Range | None) -> tuple[Cause, ...]:
    """Return the causes that are worth a word, likeliest first."""
    longest = None if by is None else by.high
    found = _certain(request, solution)
    warmth = None
    if not found:
        weighed = causes.Weighed(request, solution.before)
        found = weighed.ranked
        if longest is not None and not request.frost_seen and request.elapsed > longest:
            warmth = weighed.warmth(request.elapsed / longest)
    adviser = Adviser(request, solution, longest, warmth)
    codes = [c.code for c in found[:2] if c.probability >= LEAST]
    return tuple(
        Cause(
            code=c.code, probability=c.probability, first=ADVICE[c.code].first,
            text=STATED[c.code] if len(found) == 1 else adviser.text(c.code),
            tells=adviser.tells(c.code, next((o for o in codes if o != c.code), None)),
        )
        for c in found if c.probability >= LEAST
    )  # fmt: skip


def _certain(request: FrostCheckRequest, solution: Solution) -> tuple[Probable, ...]:
    """Return what what is stated decides, by itself or by the table; nothing where it does not."""
    lost = solution.before.stays_slush or solution.before.prevented
    if request.frost_seen:
        return causes.by_table(request, causes.SOONER) if lost else ()
    if not request.cylinder.has_liquid:
        return (Probable(code="cylinder-empty", probability=1.0),)
    if solution.before.stays_slush:
        return (Probable(code="wrong-fluid", probability=1.0),)
    return (Probable(code="flow", probability=1.0),) if lost else ()
