"""Hold time: how long a plug stays bonded once the coolant stops, and how long it takes to thaw."""

from dataclasses import dataclass
from typing import Annotated

from stillpipe.estimates import assess, cautions
from stillpipe.estimates.solution import Solution
from stillpipe.model.declare import Figure
from stillpipe.model.figures import Answer, Range, Reason
from stillpipe.model.requests import HoldTimeRequest
from stillpipe.uncertainty.scenarios import LIKELY

HELP = "plan to help it with warm water or warm air, never with a flame."
DOES_NOT_THAW = assess.warn(
    "does-not-thaw", f"The plug does not thaw by itself within a day: {HELP}"
)
MAY_NOT_THAW = assess.warn(
    "may-not-thaw",
    "With the least favourable inputs the plug does not thaw by itself within a day: " + HELP,
)


@dataclass(frozen=True, kw_only=True)
class HoldTimeFigures:
    """Figures of the hold-time estimate; None where one is never reached."""

    ready: Annotated[
        Range | None, Figure("time", says="From the first feed until cutting may start.")
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


def hold_time(request: HoldTimeRequest) -> Answer[HoldTimeFigures]:
    """Estimate survival and thaw after the hold."""
    solution = Solution(request, request.hold)
    return Answer(
        reasons=reasons(solution),
        cautions=cautions.of_freeze(request),
        figures=figures(solution),
        effort=solution.effort,
    )


def reasons(solution: Solution) -> tuple[Reason, ...]:
    """Return the reasons of a freeze and of its hold."""
    found = assess.reasons(solution)
    if solution.stays_slush:
        return found
    likely = solution.held.get(LIKELY)
    if likely is None:
        return found
    if likely.thaw is None:
        return (*found, DOES_NOT_THAW)
    never = any(held.thaw is None for held in solution.held.values())
    return (*found, MAY_NOT_THAW) if never else found


def figures(solution: Solution) -> HoldTimeFigures:
    """Return survival, thaw and what the plug is after its hold."""
    if solution.stays_slush or solution.ready is None:
        return HoldTimeFigures()
    return HoldTimeFigures(
        ready=solution.ready,
        survival_at_closure=solution.survival_at_closure,
        survival=solution.survival,
        thaw=solution.thaw,
        plug_length=solution.plug_length,
        holding_pressure=solution.held_pressure,
    )
