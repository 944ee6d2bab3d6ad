"""When a plug lets go: how long it holds unfed at each stage of a job, and what comes out then."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated

from stillpipe.estimates import chances, manifold, words
from stillpipe.estimates.manifold import Exchange
from stillpipe.estimates.sampled import Array
from stillpipe.estimates.solution import Solution
from stillpipe.model.declare import Chance, Figure, Plain
from stillpipe.model.figures import Range
from stillpipe.physics import trapped
from stillpipe.physics.stream import outflow

MINUTE = 60.0
LITRES = 1000.0
"""Litres in a cubic metre."""
BUCKET = 10.0
"""A bucket [L]; common practice, no source."""
BUCKETS = 4.0
"""Buckets a minute that one person fills and empties; common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class Stage:
    """A moment of the job at which feeding may stop, and how long the plug then holds."""

    code: Annotated[str, Plain(says="Stable code of the stage.")]
    cylinder: Annotated[int | None, Plain(says="Which cylinder is empty, at an exchange.")] = None
    at: Annotated[float, Figure("time", says="Since the first feed, as planned.")]
    survival: Annotated[
        Range | None,
        Figure(
            "time", says="Unfed from then until line pressure pushes it out; null beyond a day."
        ),
    ]
    at_least: Annotated[
        float | None,
        Figure("time", says="So long at the chance that decides; null beyond a day."),
    ]
    chance: Annotated[float, Chance(says="That it holds the line pressure at that moment.")]
    text: Annotated[str, Plain(says="What to do within that time.")]


@dataclass(frozen=True, kw_only=True)
class AtHand:
    """Something to have ready."""

    code: Annotated[str, Plain(says="Stable code of it.")]
    text: Annotated[str, Plain(says="What, how much and what for.")]


@dataclass(frozen=True, kw_only=True)
class LettingGo:
    """How long a plug holds unfed, stage by stage, and what comes out of one open end then.

    What comes out is an upper bound: of a smooth, full bore whose pressure is kept up.
    """

    stages: Annotated[tuple[Stage, ...], Plain(says="In the order of their times.")]
    flow: Annotated[float, Figure("volume_flow", says="Out of one open end, at most.")]
    speed: Annotated[float, Figure("speed", says="Of the water and of the ice before it, at most.")]
    first_minute: Annotated[
        float, Figure("liquid_volume", says="Out of one open end in the first minute, at most.")
    ]
    surge: Annotated[
        float, Figure("pressure", says="Rise where that flow is stopped in an instant.")
    ]
    at_hand: Annotated[tuple[AtHand, ...], Plain(says="Common practice, no source.")]


def letting_go(
    solution: Solution, exchanges: tuple[Exchange, ...], supply_length: float
) -> LettingGo | None:
    """Return how long a plug of ``solution`` holds unfed and what comes then; None without one.

    ``supply_length`` [m] of pipe from where the pressure is kept up.
    """
    if solution.hopeless or not solution.is_planned:
        return None
    point = solution.point
    density, viscosity = outflow.fluid(
        point.fluid.type, point.fluid.concentration, point.fluid.temperature
    )
    speed = outflow.speed(point.line_pressure, point.bore, supply_length, density, viscosity)
    flow = 0.25 * math.pi * point.bore**2 * speed
    pipe, material = point.pipe, point.material
    widening = trapped.widening(
        pipe.outside_diameter, pipe.wall, material.youngs_modulus, material.poisson_ratio
    )
    surge = outflow.surge(speed, point.fluid.type, density, widening)
    return LettingGo(
        stages=tuple(sorted(_stages(solution, exchanges), key=lambda s: s.at)),
        flow=flow,
        speed=speed,
        first_minute=flow * MINUTE,
        surge=surge,
        at_hand=tuple(_at_hand(flow, speed, surge)),
    )


def shortest(found: LettingGo) -> float:
    """Return how long a plug lasts unfed after the repair at the chance that decides [s]."""
    end = next(s for s in found.stages if s.code == "repair-end")
    return math.inf if end.at_least is None else end.at_least


def _stages(solution: Solution, exchanges: tuple[Exchange, ...]) -> Iterator[Stage]:
    """Yield the stages of a job, not in order.

    Stops are solved when the plug is ready and when the hold ends; those beside them follow.
    """
    ready, end = solution.planned_ready or 0.0, solution.plan_end
    closed = solution.at_most(solution.closures[solution.holds]) or ready
    solved = (ready, end)
    for code, at, text in (
        ("closed", min(closed, ready), "Nothing is cut yet: close the vent, feed again, wait."),
        ("ready", ready, "Once the pipe is cut, cap the open end within this time."),
        (
            "half-repair",
            0.5 * (ready + end),
            "Cap the open end, or make the joint, within this time.",
        ),
        ("repair-end", end, "The line is whole: open no valve, nobody in front of the pipe."),
    ):
        lasts = solution.lasting(at) if at in solved else solution.lasting_beside(at, solved)
        yield _stage(solution, code, at, lasts, text)
    known = [swap for swap in exchanges if swap.at >= ready]
    if known:
        text = "The next cylinder must feed within this time, else cap the open end."
        lasting = manifold.lasting_at(solution, [s.at for s in known])
        for swap, lasts in zip(known, lasting, strict=True):
            yield _stage(solution, "exchange", swap.at, lasts, text, swap.cylinder)


def _stage(
    solution: Solution, code: str, at: float, lasts: Array, text: str, cylinder: int | None = None
) -> Stage:
    """Return a stage ``at`` a time [s] with how long plugs ``lasts`` unfed, of all draws [s]."""
    held = lasts[solution.holds]
    return Stage(
        code=code, cylinder=cylinder, at=at, survival=solution.range(held),
        at_least=solution.at_least(held), chance=chances.chance(held > 0.0), text=text,
    )  # fmt: skip


def _at_hand(flow: float, speed: float, surge: float) -> Iterator[AtHand]:
    """Yield what to have ready for a ``flow`` [m3/s] of a ``speed`` [m/s]; ``surge`` [Pa]."""
    minute = LITRES * MINUTE * flow
    yield AtHand(
        code="caps",
        text="A cap or a coupling with a shut valve for each open end, in the pipe's size, with "
        "the tools open beside it: a valve that is fitted open can be shut against the water.",
    )
    slowly = (
        f" Shut it slowly: water at {speed:.1f} m/s that is stopped at once strikes with up to "
        f"{words.bar(surge)} more."
    )
    yield AtHand(
        code="isolation-valve",
        text="The nearest shut-off on the pressure side, proven to turn, with somebody standing at "
        f"it.{slowly if flow > 0.0 else ''}",
    )
    yield AtHand(code="water", text=_against_water(minute))
    if flow > 0.0:
        yield AtHand(
            code="clear-of-the-end",
            text="Nobody in line with an open end, and no face over it: the ice is shot out before "
            f"the water, at up to {speed:.1f} m/s. Have electrical gear below covered or switched "
            "off.",
        )


def _against_water(minute: float) -> str:
    """Return what takes up so many litres a ``minute`` [L]."""
    told = f"Up to {minute:.0f} L come in the first minute"
    if minute < 1.0:
        return "Without line pressure only what stands in the pipe runs out: a bucket and cloths."
    seconds = MINUTE * BUCKET / minute
    full = f"{seconds:.0f} s" if seconds >= 1.0 else "less than 1 s"
    fills = f"a bucket of {BUCKET:.0f} L is full in {full}"
    if minute <= BUCKETS * BUCKET:
        count = math.ceil(minute / BUCKET)
        return f"{told}; {fills}: {count + 1} buckets, and a wet vacuum for what is spilled."
    return (
        f"{told}; {fills}: buckets do not keep up. Lead the open end to a drain by a hose before "
        "cutting, and keep a wet vacuum for what is spilled."
    )
