"""Hold time: how long a plug stays bonded once the coolant stops, and how long it takes to thaw."""

from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np

from stillpipe.estimates import assess, cautions, chances, growth, learned
from stillpipe.estimates.growth import NO_GROWTH, Growth
from stillpipe.estimates.solution import Solution
from stillpipe.model.declare import Figure, Plain
from stillpipe.model.figures import HIGH, LOW, MIDDLE, Amount, Answer, Range, Reason
from stillpipe.model.requests import HoldTimeRequest
from stillpipe.physics import fading

HELP = "Plan to help it thaw with warm water or warm air, never with a flame."


POINTS = 13
"""Moments of the hold at which survival is told."""

Series = tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class SurvivalCourse:
    """How long the plug lasts unfed against when feeding stops, series of equal length."""

    time: Annotated[Series, Figure("time", says="Of the stop, since the first feed.")] = ()
    low: Annotated[Series, Figure("time", says="It lasts, 5th percentile; a day at most.")] = ()
    likely: Annotated[Series, Figure("time", says="It lasts, median; a day at most.")] = ()
    high: Annotated[Series, Figure("time", says="It lasts, 95th percentile; a day at most.")] = ()


@dataclass(frozen=True, kw_only=True)
class HoldTimeFigures:
    """Figures of the hold-time estimate; None where one is never reached."""

    ready: Annotated[
        Range | None, Figure("time", says="From the first feed until cutting may start.")
    ] = None
    planned_ready: Annotated[
        float | None,
        Figure("time", says="By which it is ready at the chance that decides: the hold's start."),
    ] = None
    survival_at_closure: Annotated[
        Range | None, Figure("time", says="Bonded for so long where feeding stops at closure.")
    ] = None
    survival: Annotated[
        Range | None, Figure("time", says="Bonded for so long where feeding stops after the hold.")
    ] = None
    thaw: Annotated[
        Range | None, Figure("time", says="From the coolant's stop until no ice is left.")
    ] = None
    plug_length: Annotated[Range | None, Figure("length", says="After the hold.")] = None
    holding_pressure: Annotated[
        Range | None, Figure("pressure", says="After the hold, safety factor taken off.")
    ] = None
    course: Annotated[
        SurvivalCourse, Plain(says="Survival against when feeding stops in the hold.")
    ] = SurvivalCourse()
    growth: Annotated[Growth, Plain(says="The plug's length while it is fed.")] = NO_GROWTH


def course(solution: Solution) -> SurvivalCourse:
    """Return how long the plug lasts unfed against when feeding stops in the hold."""
    if solution.hopeless or not solution.is_planned or solution.hold <= 0.0:
        return SurvivalCourse()
    begin = solution.planned_ready or 0.0
    times = np.linspace(begin, solution.plan_end, POINTS)
    lasts = [x[solution.holds] for x in solution.lasting_at(times.tolist())]
    ends = chances.along(lasts, (LOW, MIDDLE, HIGH), never=fading.LONGEST_THAW)
    low, likely, high = (tuple(each) for each in ends.tolist())
    return SurvivalCourse(time=tuple(times.tolist()), low=low, likely=likely, high=high)


def hold_time(request: HoldTimeRequest) -> Answer[HoldTimeFigures]:
    """Estimate survival and thaw after the hold."""
    solution = Solution(request, request.hold)
    return Answer(
        reasons=reasons(solution),
        cautions=cautions.of_freeze(request),
        figures=replace(
            figures(solution),
            course=course(solution),
            growth=growth.growth(solution),
            survival_at_closure=solution.survival_at_closure,
        ),
        effort=solution.effort,
        learned=learned.told(solution),
    )


def reasons(solution: Solution) -> tuple[Reason, ...]:
    """Return the reasons of a freeze and of its hold."""
    found = assess.reasons(solution)
    if solution.hopeless or not solution.is_planned:
        return found
    chance = solution.thawing_chance
    if solution.is_sure(chance):
        return found
    likely = None if solution.thaw is None else Amount(solution.thaw.likely, "time")
    code = "does-not-thaw" if chance < 0.5 else "may-not-thaw"
    reason = assess.warn(
        code, f"The chance that the plug thaws by itself within a day is {assess.percent(chance)}.",
        figure="thaw", value=likely, limit=Amount(fading.LONGEST_THAW, "time"), chance=chance,
        action=HELP,
    )  # fmt: skip
    return (*found, reason)


def figures(solution: Solution) -> HoldTimeFigures:
    """Return survival, thaw and what the plug is after its hold, but not what is at closure."""
    if solution.hopeless or not solution.is_planned:
        return HoldTimeFigures()
    return HoldTimeFigures(
        ready=solution.ready,
        planned_ready=solution.planned_ready,
        survival=solution.survival,
        thaw=solution.thaw,
        plug_length=solution.plug_length,
        holding_pressure=solution.held_pressure,
    )
