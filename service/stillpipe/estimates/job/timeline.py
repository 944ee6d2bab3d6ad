"""The moments of a job in order, of all freeze points on one clock."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Annotated

from stillpipe.estimates import assess
from stillpipe.estimates.job import waits
from stillpipe.estimates.job.plan import Group, Kind, Plan
from stillpipe.estimates.manifold import Exchange
from stillpipe.model.declare import Figure, Plain
from stillpipe.model.figures import Range


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
    clock: Annotated[
        str | None, Plain(says="The moment itself (RFC 3339), where the job's start was given.")
    ] = None
    group: Annotated[int | None, Plain(says="Of which group; null for the whole job.")] = None
    points: Annotated[
        tuple[str, ...], Plain(says="Of which freeze points; empty for all of the group.")
    ] = ()
    text: Annotated[str, Plain(says="What to do.")]


def timeline(plan: Plan, exchanges: tuple[Exchange, ...]) -> tuple[Event, ...]:
    """Return the moments of the job in order."""
    found = [
        _fixed(
            "arrive", 0.0,
            "Ventilate, close the valves, prove that the line is still, bare and clean the pipe, "
            "fit the jackets, secure the cylinders.",
        ),
    ]  # fmt: skip
    for group in plan.groups:
        found += _of_group(plan, group)
        names = {name for kind in group.kinds for name in kind.names}
        found += [
            _exchange(swap, group)
            for swap in exchanges
            if {p.name for p in swap.points} <= names and not _unfed(group)
        ]
    start = plan.request.start
    return tuple(_at_clock(e, start) for e in sorted(found, key=lambda e: e.at))


def of_point(events: tuple[Event, ...], group: int, name: str) -> tuple[Event, ...]:
    """Return those of the ``events`` that are about one freeze point."""
    return tuple(
        e for e in events
        if e.group in (None, group) and (not e.points or name in e.points)
    )  # fmt: skip


def _at_clock(event: Event, start: datetime | None) -> Event:
    """Return a moment with the time of day at which it comes, to the second."""
    if start is None:
        return event
    moment = start + timedelta(seconds=round(event.at))
    return replace(event, clock=moment.isoformat())


def _fixed(code: str, at: float, text: str) -> Event:
    """Return a moment ``at`` [s] that has no range."""
    return Event(code=code, at=at, earliest=at, latest=at, text=text)


def _ranged(code: str, span: Range, text: str) -> Event:
    at = span.low if code == "bond-lost" else span.likely
    return Event(code=code, at=at, earliest=span.low, latest=span.high, text=text)


def _unfed(group: Group) -> bool:
    """Tell whether a flow keeps a plug of a group from closing, or a line never cools."""
    flows = (not k.solution.stays_slush and k.solution.prevented for k in group.kinds)
    return any(flows) or not all(k.cools for k in group.kinds)


def _of_group(plan: Plan, group: Group) -> Iterator[Event]:
    """Yield the moments of the freeze points of a group: of plugs, where there is each."""
    for kind in group.kinds:
        for event in _cooled(kind):
            yield _told(plan, event, group, kind)
    if _unfed(group):
        return
    what = "all freeze points" if len(plan.groups) == 1 else _list(group)
    if group.number > 1:
        text = (
            f"Move jackets and cylinders to {_list(group)}; fit them, prove that the line is still."
        )
        moved = plan.groups[group.number - 2].stop
        yield replace(_fixed("move", moved, text), group=group.number)
    feed = _fixed("feed", group.feed, f"Open the cylinders; feed {what}.")
    yield replace(feed, group=group.number)
    if not group.closes:
        return
    for kind in group.kinds:
        for event in _of_plug(kind, group):
            yield _told(plan, event, group, kind)
    stop = _fixed("stop", group.stop, "Repair done and tested: close the cylinders.")
    yield replace(stop, group=group.number)


def _list(group: Group) -> str:
    """Return the names of the freeze points of a group in words."""
    return ", ".join(name for kind in group.kinds for name in kind.names)


def _told(plan: Plan, event: Event, group: Group, kind: Kind) -> Event:
    """Return a moment with its group, and its freeze points where not all are alike."""
    apart = group.apart or len(plan.groups) > 1
    return replace(event, group=group.number, points=kind.names if apart else ())


def _of_plug(kind: Kind, group: Group) -> Iterator[Event]:
    """Yield the moments of plugs that are alike.

    Work begins when the last of the group is ready as planned, so that all after it hangs on that
    one time.
    """
    solution, begun, stop = kind.solution, group.feed, group.stop
    if solution.frost_by is not None:
        text = "Frost beside every jacket; if not, stop and look for the cause."
        yield _ranged("frost-by", solution.frost_by.moved(begun), text)
    if solution.closure is not None:
        yield _ranged("closed", solution.closure.moved(begun), "The bore is frozen shut.")
    planned = solution.planned_ready or 0.0
    if solution.ready is not None:
        low, high = min(solution.ready.low, planned), solution.ready.high
        latest = None if high is None else max(high, planned)
        chance = solution.chance_of_ready_by(planned) or 0.0
        last = begun + planned >= group.ready
        then = "then cut. Cut no earlier." if last else "then keep feeding: others are not ready."
        text = (
            f"Ready with a probability of {assess.percent(chance)}: prove the plug by venting the "
            f"section, {then}"
        )
        yield _ranged("ready", Range(low, planned, latest).moved(begun), text)
    if solution.survival is not None:
        text = "From now on the plug may let go: the line must be whole, nobody in front of it."
        yield _ranged("bond-lost", solution.survival.moved(stop), text)
    if waits.is_assisted(solution):
        text = (
            "Not thawed by now: help it with warm water or warm air, never with a flame, from the "
            "plug's ends to its middle."
        )
        yield _fixed("help-thaw", stop + waits.PATIENCE, text)
    thaw = waits.thaw(solution)
    if thaw is not None:
        yield _ranged("thawed", thaw.moved(stop), "The bore is open; look for leaks.")


def _exchange(swap: Exchange, group: Group) -> Event:
    """Return the moment of an exchange."""
    of = "" if swap.manifold == "1" else f" of manifold {swap.manifold}"
    text = f"Exchange cylinder {swap.cylinder}{of}. {swap.advice}"
    event = _fixed("exchange", group.feed + swap.at, text)
    return replace(event, group=group.number, points=tuple(p.name for p in swap.points))


def _cooled(kind: Kind) -> Iterator[Event]:
    """Yield the moment when a warm line is cool enough."""
    time = waits.cooling(kind.request, kind.solution)
    if not waits.is_warm(kind.request) or time is None:
        return
    enough = waits.in_words(kind.request.cooling.to)
    text = f"The line has cooled to {enough}; measure it before feeding."
    if waits.is_flushed(kind.request, kind.solution):
        text = (
            f"The line is flushed with cold water until it is at {enough}: close the valves and "
            "measure it before feeding."
        )
    yield _ranged("cooled", time, text)
