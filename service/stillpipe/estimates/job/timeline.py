"""The moments of a job in order."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated

from stillpipe.estimates import assess
from stillpipe.estimates.cylinder_count import CylinderFigures
from stillpipe.estimates.job import waits
from stillpipe.estimates.solution import COOL_ENOUGH, Solution
from stillpipe.model.declare import Figure, Plain
from stillpipe.model.figures import Range
from stillpipe.model.requests import JobEstimateRequest


@dataclass(frozen=True, kw_only=True)
class Event:
    """A moment of the job."""

    code: Annotated[str, Plain(says="Stable code of the moment.")]
    at: Annotated[
        float,
        Figure("time", says="Since arrival: likely, or planned; `bond-lost` at its earliest."),
    ]
    earliest: Annotated[float, Figure("time", says="Since arrival, at the earliest.")]
    latest: Annotated[float | None, Figure("time", says="Since arrival, at the latest.")]
    text: Annotated[str, Plain(says="What to do.")]


def begin_feeding(request: JobEstimateRequest, solution: Solution) -> float:
    """When feeding begins [s] after arrival: set up, and a warm line cool enough."""
    return max(request.setup, waits.cooling(solution).likely)


def timeline(
    request: JobEstimateRequest, solution: Solution, cylinders: CylinderFigures
) -> tuple[Event, ...]:
    """Return the moments of the job in order."""
    begun = begin_feeding(request, solution)
    found = [
        _fixed(
            "arrive", 0.0,
            "Ventilate, close the valves, prove that the line is still, bare and clean the pipe, "
            "fit the jackets, secure the cylinders.",
        ),
        *_cooled(solution),
    ]  # fmt: skip
    if not solution.stays_slush and solution.prevented:
        return tuple(found)
    found.append(_fixed("feed", begun, "Open the cylinders; feed all freeze points."))
    if solution.hopeless or not solution.is_planned:
        return tuple(found)
    found += [
        Event(
            code=code,
            at=span.low if code == "bond-lost" else span.likely,
            earliest=span.low,
            latest=span.high,
            text=text,
        )
        for code, span, text in _of_plug(solution, begun)
    ]
    found += [
        _fixed("exchange", begun + swap.at, f"Exchange cylinder {swap.cylinder}. {swap.advice}")
        for swap in cylinders.exchanges
    ]
    return tuple(sorted(found, key=lambda e: e.at))


def _fixed(code: str, at: float, text: str) -> Event:
    """Return a moment ``at`` [s] that has no range."""
    return Event(code=code, at=at, earliest=at, latest=at, text=text)


def _of_plug(solution: Solution, begun: float) -> Iterator[tuple[str, Range, str]]:
    """Yield the moments of a plug fed from ``begun`` [s] on: code, range, text.

    Work begins at the planned ready, so that everything after it hangs on that one time.
    """
    if solution.frost_by is not None:
        text = "Frost beside every jacket; if not, stop and look for the cause."
        yield "frost-by", solution.frost_by.moved(begun), text
    if solution.closure is not None:
        yield "closed", solution.closure.moved(begun), "The bore is frozen shut."
    planned = solution.planned_ready or 0.0
    if solution.ready is not None:
        low, high = min(solution.ready.low, planned), solution.ready.high
        latest = None if high is None else max(high, planned)
        chance = solution.chance_of_ready_by(planned) or 0.0
        text = (
            f"Ready with a probability of {assess.percent(chance)}: prove the plug by venting the "
            "section, then cut. Cut no earlier."
        )
        yield "ready", Range(low, planned, latest).moved(begun), text
    stop = begun + solution.plan_end
    yield "stop", Range(stop, stop, stop), "Repair done and tested: close the cylinders."
    if solution.survival is not None:
        text = "From now on the plug may let go: the line must be whole, nobody in front of it."
        yield "bond-lost", solution.survival.moved(stop), text
    if waits.is_assisted(solution):
        text = (
            "Not thawed by now: help it with warm water or warm air, never with a flame, from the "
            "plug's ends to its middle."
        )
        helped = stop + waits.PATIENCE
        yield "help-thaw", Range(helped, helped, helped), text
    thaw = waits.thaw(solution)
    if thaw is not None:
        yield "thawed", thaw.moved(stop), "The bore is open; look for leaks."


def _cooled(solution: Solution) -> list[Event]:
    """Return the moment when a warm line is cool enough."""
    if solution.point.fluid.temperature <= COOL_ENOUGH:
        return []
    time, enough = waits.cooling(solution), waits.until_cool()
    text = f"The line has cooled to {enough}; measure it before feeding."
    if waits.is_flushed(solution):
        text = (
            f"The room cools the line too slowly or not at all: flush it with cold water until it "
            f"is at {enough}, close the valves and measure it before feeding."
        )
    return [Event(code="cooled", at=time.likely, earliest=time.low, latest=time.high, text=text)]
