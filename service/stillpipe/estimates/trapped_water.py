"""Water between two plugs: its pressure against time from when both are closed.

Both plugs are alike and fed at once. From closure on each grows into the stretch from its side, a
half each, which makes one whole plug's growth. The water is squeezed until the pipe bursts, a plug
is pushed out or a vent lets it go; a plug that gives way is a failure, never a relief. Left out, on
the safe side: under pressure ice melts at a lower temperature (some 0.7 K at 10 MPa, 9 K at 100),
and what is ice already gives way a little too.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from stillpipe.estimates.solution import Solution
from stillpipe.model.declare import Figure, Plain
from stillpipe.model.figures import Range, Verdict, range_of
from stillpipe.physics import freeze, trapped
from stillpipe.uncertainty.scenarios import FAST, LIKELY, SCENARIOS, Scenario

POINTS = 41
"""Moments of the series that is answered; they lie closer where both plugs have just closed."""
LEAST_WATER = 1e-6
"""Where plugs meet, so much water is left between them [m]."""
MEGA = 1e6

Array = freeze.Array
Series = tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class PressureCourse:
    """The pressure of water without a vent, series of equal length."""

    time: Annotated[Series, Figure("time", says="Since both plugs have closed.")] = ()
    pressure: Annotated[Series, Figure("pressure", says="Likely.")] = ()
    pressure_high: Annotated[Series, Figure("pressure", says="At the unfavourable end.")] = ()


@dataclass(frozen=True, kw_only=True)
class TrappedWater:
    """The water between two neighbouring freeze points, were it not vented.

    Pressures are bounded by what pushes a plug out where the bond is strongest.
    """

    between: Annotated[tuple[str, str], Plain(says="The names of the two freeze points.")]
    vented: Annotated[bool, Plain(says="Whether a vent lies between them.")]
    verdict: Annotated[Verdict, Plain(says="Whether the water may be held there.")]
    vent_open_from: Annotated[
        float | None,
        Figure("time", says="Since the first feed: both plugs may be closed from then on."),
    ]
    frozen: Annotated[
        float, Figure("fraction", says="Share of it that has frozen at the hold's end, at most.")
    ]
    pressure: Annotated[
        float, Figure("pressure", says="That it may reach by the hold's end, at most.")
    ]
    at_ready: Annotated[Range | None, Figure("pressure", says="That it reaches at ready.")]
    at_end: Annotated[Range | None, Figure("pressure", says="That it reaches at the hold's end.")]
    plugs_hold: Annotated[
        Range | None,
        Figure("pressure", says="That pushes a plug out at the hold's end, no safety factor."),
    ]
    per_percent: Annotated[float, Figure("pressure", says="Rise for each 1 % that freezes.")]
    rating: Annotated[
        float, Figure("pressure", says="Of the pipe; from its allowable stress where it has none.")
    ]
    to_rating: Annotated[float | None, Figure("time", says="Likely, since both plugs have closed.")]
    to_rating_at_earliest: Annotated[
        float | None, Figure("time", says="At the unfavourable end, since both have closed.")
    ]
    course: Annotated[PressureCourse, Plain(says="The pressure against time.")]
    advice: Annotated[str, Plain(says="What to do.")]


@dataclass(frozen=True, kw_only=True)
class Growth:
    """How ice fills the bore after closure, of one scenario.

    ``closed`` [s] from the first feed and ``ready`` [s] from closure; against ``time`` [s] from
    closure the ``iced`` length of bore [m] and the pressure that pushes a plug out at the ``most``
    [Pa].
    """

    closed: float
    ready: float | None
    time: Array
    iced: Array
    most: Array


@dataclass(frozen=True, kw_only=True)
class Squeezed:
    """Water in a stretch under one scenario: ``frozen`` share [-] and ``pressure`` [Pa] in time."""

    growth: Growth
    frozen: Array
    pressure: Array

    def at(self, time: float) -> float:
        """Pressure [Pa] at ``time`` [s] after closure."""
        return float(np.interp(time, self.growth.time, self.pressure))

    @property
    def at_ready(self) -> float | None:
        """Pressure [Pa] as the plugs get ready."""
        return None if self.growth.ready is None else self.at(self.growth.ready)

    @property
    def at_end(self) -> float:
        """Pressure [Pa] at the hold's end."""
        return float(self.pressure[-1])

    def reaches(self, pressure: float) -> float | None:
        """Time [s] from closure until the water is under ``pressure`` [Pa], if it comes to that."""
        beyond = np.flatnonzero(self.pressure >= pressure)
        if len(beyond) == 0:
            return None
        i = int(beyond[0])
        if i == 0:
            return 0.0
        return float(
            np.interp(pressure, self.pressure[i - 1 : i + 1], self.growth.time[i - 1 : i + 1])
        )


def growths(solution: Solution) -> dict[Scenario, Growth]:
    """Return how the plugs grow under every scenario that closes."""
    if solution.stays_slush:
        return {}
    found = {s: _growth(solution, solution.run(s)) for s in SCENARIOS}
    return {s: growth for s, growth in found.items() if growth is not None}


def _growth(solution: Solution, run: freeze.FreezeRun) -> Growth | None:
    if run.closure is None:
        return None
    end = run.last.time if run.ready is None else run.ready + solution.hold
    history = run.history(end)
    times = np.concatenate(([run.closure], history.time[history.time > run.closure], [end]))
    closed = _at(times, history.time, history.plug_length)
    bonded = _at(times, history.time, history.bonded_length)
    point = solution.point
    strongest = 4.0 * point.adhesion * FAST.adhesion / point.bore
    section = 0.25 * math.pi * point.bore**2
    return Growth(
        closed=run.closure,
        ready=None if run.ready is None else run.ready - run.closure,
        time=times - run.closure,
        iced=_at(times, history.time, history.ice_volume / section),
        most=strongest * np.maximum(closed, bonded),
    )


def _at(times: Array, known: Array, values: Array) -> Array:
    """Return ``values`` known at times ``known`` [s] at ``times`` [s], extrapolated at the end."""
    found = np.interp(times, known, values)
    beyond = times > known[-1]
    if len(known) > 1 and np.any(beyond):
        slope = max(values[-1] - values[-2], 0.0) / (known[-1] - known[-2])
        found[beyond] = values[-1] + slope * (times[beyond] - known[-1])
    return np.asarray(found)


def squeezed(solution: Solution, growth: Growth, apart: float) -> Squeezed:
    """Return the water between two plugs whose middles are ``apart`` [m], without a vent."""
    water = max(apart - growth.iced[0], LEAST_WATER)
    frozen = np.minimum(trapped.ICE_TO_WATER * (growth.iced - growth.iced[0]) / water, 1.0)
    line = solution.point.line_pressure
    free = line + frozen * trapped.rise(1.0, _compliance(solution))
    pressure = np.maximum.accumulate(np.minimum(free, line + growth.most))
    return Squeezed(growth=growth, frozen=frozen, pressure=pressure)


def _compliance(solution: Solution) -> float:
    """Return how much the pipe widens [1/Pa]."""
    pipe, material = solution.point.pipe, solution.point.material
    return trapped.widening(
        pipe.outside_diameter, pipe.wall, material.youngs_modulus, material.poisson_ratio
    )


def judge(
    solution: Solution,
    growing: dict[Scenario, Growth],
    between: tuple[str, str],
    apart: float,
    vented: bool,
) -> TrappedWater:
    """Judge the water between two freeze points ``apart`` [m], middle to middle."""
    point, rating = solution.point, solution.point.pressure_rating
    found = {s: squeezed(solution, growth, apart) for s, growth in growing.items()}
    reached = {s: water.reaches(rating) for s, water in found.items()}
    pressure = max((w.at_end for w in found.values()), default=point.line_pressure)
    verdict = _verdict(solution, found, pressure, vented)
    earliest = min((t for t in reached.values() if t is not None), default=None)
    opened = min((g.closed for g in growing.values()), default=None)
    return TrappedWater(
        between=between,
        vented=vented,
        verdict=verdict,
        vent_open_from=opened,
        frozen=max((float(w.frozen[-1]) for w in found.values()), default=0.0),
        pressure=pressure,
        at_ready=_range({s: w.at_ready for s, w in found.items()}),
        at_end=_range({s: w.at_end for s, w in found.items()}),
        plugs_hold=_plugs_hold(solution, growing),
        per_percent=trapped.rise(0.01, _compliance(solution)),
        rating=rating,
        to_rating=reached.get(LIKELY),
        to_rating_at_earliest=earliest,
        course=_course(found),
        advice=" ".join(_advice(solution, found, vented, earliest)),
    )


def _range(values: dict[Scenario, float | None] | dict[Scenario, float]) -> Range | None:
    """Return the range of a figure [any unit] over the scenarios that have it."""
    known = {s: v for s, v in values.items() if v is not None}
    return range_of(list(known.values()), known.get(LIKELY))


def _plugs_hold(solution: Solution, growing: dict[Scenario, Growth]) -> Range | None:
    """Return what pushes a plug out at the hold's end [Pa].

    At the high end all ice on a wall below freezing holds, closed or not.
    """
    held = solution.held_pressure
    if held is None:
        return None
    bare = held.scaled(solution.point.safety_factor)
    most = max(float(g.most[-1]) for g in growing.values())
    return Range(bare.low, bare.likely, max(most, bare.longest))


def _least_hold(solution: Solution) -> tuple[float, float]:
    """Return the least that pushes a plug out at ready and at the hold's end [Pa]."""
    factor = solution.point.safety_factor
    ready, end = solution.ready_pressure, solution.held_pressure
    return (0.0 if ready is None else ready.low * factor, 0.0 if end is None else end.low * factor)


def _verdict(
    solution: Solution, found: dict[Scenario, Squeezed], pressure: float, vented: bool
) -> Verdict:
    """Judge water without a vent by the pipe and by the weakest plug, drained beyond."""
    if vented or not found:
        return Verdict.GO
    if pressure > solution.point.pressure_rating or _slips(solution, found):
        return Verdict.NO_GO
    return Verdict.CONDITIONAL


def _slips(solution: Solution, found: dict[Scenario, Squeezed]) -> bool:
    """Tell whether the water may push a plug out, at ready or at the hold's end."""
    ready = max((w.at_ready or 0.0 for w in found.values()), default=0.0)
    end = max((w.at_end for w in found.values()), default=0.0)
    least = _least_hold(solution)
    return ready > least[0] or end > least[1]


def _course(found: dict[Scenario, Squeezed]) -> PressureCourse:
    """Return the likely pressure and the greatest against time from the closure of both."""
    likely = found.get(LIKELY)
    if likely is None:
        return PressureCourse()
    times = likely.growth.time[-1] * np.linspace(0.0, 1.0, POINTS) ** 2
    high = np.max([np.interp(times, w.growth.time, w.pressure) for w in found.values()], axis=0)
    return PressureCourse(
        time=tuple(times.tolist()),
        pressure=tuple(np.interp(times, likely.growth.time, likely.pressure).tolist()),
        pressure_high=tuple(high.tolist()),
    )


def _advice(
    solution: Solution, found: dict[Scenario, Squeezed], vented: bool, earliest: float | None
) -> Iterator[str]:
    """Yield what to do, part by part; ``earliest`` [s] as for the pipe's rating.

    Every figure is that of the unfavourable end, and rounded to that side.
    """
    if not found:
        yield "No plug closes, so no water is trapped."
        return
    since = f"{_at_least(min(w.growth.closed for w in found.values()))} after the first feed"
    if vented:
        yield f"Vented: have the vent open before both plugs close, {since} at the earliest,"
        yield "and keep it open until both have thawed."
    else:
        yield f"Water is trapped between two plugs from {since}: vent the section by then, or"
        yield "freeze one point after the other is open."
    pressure = max(w.at_end for w in found.values())
    yield f"Without a vent it may come to {_at_most(pressure)} MPa by the hold's end;"
    yield f"the pipe is good for {_held(solution.point.pressure_rating)} MPa"
    if earliest is not None:
        yield f"and comes to that within {_at_least(earliest)} of both plugs closing."
    else:
        least = _held(min(_least_hold(solution)))
        out = ", so it may be pushed out" if _slips(solution, found) else ""
        yield f"and the weakest plug holds {least} MPa{out}."
    yield "A plug that gives way first is a failure, never a relief."


def _at_least(time: float) -> str:
    """Return a time [s] in words, rounded down."""
    return f"{math.floor(time)} s" if time < 120.0 else f"{math.floor(time / 60.0)} min"


def _at_most(pressure: float) -> str:
    """Return a pressure [Pa] in megapascals, rounded up."""
    return f"{math.ceil(10.0 * pressure / MEGA - 1e-9) / 10.0:.1f}"


def _held(pressure: float) -> str:
    """Return what holds, a pressure [Pa], in megapascals, rounded down."""
    return f"{math.floor(10.0 * pressure / MEGA) / 10.0:.1f}"
