"""Water between two plugs: its pressure against time from when both are closed.

Both plugs are alike and fed at once. From closure on each grows into the stretch from its side, a
half each, which makes one whole plug's growth. The water is squeezed until the pipe bursts, a plug
is pushed out or a vent lets it go; a plug that gives way is a failure, never a relief. Left out, on
the safe side: under pressure ice melts at a lower temperature (some 0.7 K at 10 MPa, 9 K at 100),
and what is ice already gives way a little too.
"""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from stillpipe.estimates import chances
from stillpipe.estimates.course import TINY, Curves, Of
from stillpipe.estimates.sampled import Array
from stillpipe.estimates.solution import Solution
from stillpipe.lazy import cached_property
from stillpipe.model.declare import Chance, Figure, Plain
from stillpipe.model.figures import HIGH, MIDDLE, Range, Verdict
from stillpipe.physics import trapped

POINTS = 41
"""Moments of the series that is answered; they lie closer where both plugs have just closed."""
WORKED_OUT = (0, 1, 2, 4, 7, 11, 16, 21, 27, 34, 40)
"""Which of these moments the draws are worked out at; rises at the others lie between in
logarithms."""
LEAST_WATER = 1e-6
"""Where plugs meet, so much water is left between them [m]."""
MEGA = 1e6

Series = tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class PressureCourse:
    """The pressure of water without a vent, series of equal length."""

    time: Annotated[Series, Figure("time", says="Since both plugs have closed.")] = ()
    pressure: Annotated[Series, Figure("pressure", says="Likely.")] = ()
    pressure_high: Annotated[Series, Figure("pressure", says="At the chance that decides.")] = ()


@dataclass(frozen=True, kw_only=True)
class TrappedWater:
    """The water between two neighbouring freeze points, were it not vented.

    Pressures are bounded by what pushes a plug out where the bond is strongest.
    """

    run: Annotated[str | None, Plain(says="On which run of pipe.")] = None
    between: Annotated[tuple[str, str], Plain(says="The names of the two freeze points.")]
    vented: Annotated[bool, Plain(says="Whether a vent lies between them.")]
    verdict: Annotated[Verdict, Plain(says="Whether the water may be held there.")]
    chance: Annotated[
        float,
        Chance(says="That without a vent pipe and plugs hold the pressure."),
    ]
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
        float | None, Figure("time", says="At the chance that decides, since both have closed.")
    ]
    course: Annotated[PressureCourse, Plain(says="The pressure against time.")]
    weakest_holds: Annotated[
        float | None, Figure("pressure", says="That the weakest plug holds, when ready or later.")
    ]
    advice: Annotated[str, Plain(says="What to do.")]

    @property
    def found(self) -> str:
        """What the water comes to and when, in words."""
        ends = " and ".join(self.between)
        if self.at_end is None:
            return f"The water between {ends} is not judged. {self.advice}"
        pushed = self.verdict is Verdict.NO_GO and self.pressure <= self.rating
        judged = Judged(
            pressure=self.pressure, from_=self.vent_open_from, slips=pushed,
            earliest=self.to_rating_at_earliest, holds=self.weakest_holds or 0.0,
        )  # fmt: skip
        since = _at_least(self.vent_open_from or 0.0)
        trapped_from = f"Water is trapped between {ends} from {since} after the first feed."
        return " ".join((trapped_from, *_pressures(self.rating, judged)))


@dataclass(frozen=True, kw_only=True)
class Growth:
    """How ice fills the bore after closure, of the draws that are closed by the hold's end.

    ``ready`` and ``end`` [s] from closure as solved, ``model`` times as they are over those [-];
    ``first`` length of bore that is ice at closure [m], and ``most`` [Pa] for each metre that holds
    at the strongest bond; ``holds_ready`` and ``holds_end`` what pushes a plug out then [Pa].
    """

    solution: Solution
    ready: Array
    end: Array
    model: Array
    first: Array
    strongest: float
    holds_ready: Array
    holds_end: Array

    @cached_property
    def _iced(self) -> Curves:
        return self.solution.curves(Of.ICED).among(self.solution.holds)

    @cached_property
    def _reach(self) -> Curves:
        return self.solution.curves(Of.REACH).among(self.solution.holds)

    def iced(self, time: Array) -> Array:
        """Length of bore that has turned to ice since closure [m] at a ``time`` for each [s]."""
        return np.where(time > 0.0, self._iced.at(time) / _section(self.solution), 0.0)

    def most(self, time: Array) -> Array:
        """Pressure that pushes a plug out at the most [Pa] at a ``time`` for each [s]."""
        return np.asarray(self.strongest * self._reach.at(time))

    def reaches(self, iced: Array) -> Array:
        """Return when so much has turned to ice since closure [m], for each [s]."""
        found = self._iced.where(np.log(np.maximum(iced * _section(self.solution), TINY)))
        return np.where(iced > 0.0, found, 0.0)


def growth(solution: Solution) -> Growth | None:
    """Return how the plugs grow; None where there is none to hold."""
    if solution.hopeless or not solution.is_planned:
        return None
    point, holds, model = solution.point, solution.holds, solution.model[solution.holds]
    closed = solution.closed[holds]
    ready = (solution.readies[holds] / model) - closed
    end = solution.plan_end / model - closed
    strength = solution.strength
    strongest = chances.percentile(strength, HIGH) or 0.0
    grip = solution.grown(Of.GRIP, np.minimum(solution.readies, solution.plan_end))
    factor = point.safety_factor
    return Growth(
        solution=solution,
        ready=np.minimum(ready, end),
        end=end,
        model=model,
        first=np.exp(solution.at_closure[holds, 2]) / _section(solution),
        strongest=4.0 * strongest / point.bore,
        holds_ready=factor * solution.carries(grip, strength)[holds],
        holds_end=factor * solution.held_pressures[holds],
    )


def _section(solution: Solution) -> float:
    """Return the bore's area [m2]."""
    return 0.25 * math.pi * solution.point.bore**2


@dataclass(frozen=True, kw_only=True)
class Squeezed:
    """Water between two plugs of all draws, whose middles are ``apart`` [m], without a vent."""

    growth: Growth
    apart: float

    @property
    def water(self) -> Array:
        """Length of bore that is water as both plugs close [m]."""
        return np.maximum(self.apart - self.growth.first, LEAST_WATER)

    @property
    def _rise(self) -> float:
        """Rise of the pressure were all of it to freeze [Pa]."""
        return trapped.rise(1.0, _compliance(self.growth.solution))

    def frozen(self, time: Array) -> Array:
        """Share of the water that has frozen at a ``time`` since closure for each draw [-]."""
        return np.minimum(trapped.ICE_TO_WATER * self.growth.iced(time) / self.water, 1.0)

    def at(self, time: Array) -> Array:
        """Pressure at a ``time`` since closure for each draw [Pa], as solved [s].

        Bounded by what pushes out the plug of the strongest bond.
        """
        line = self.growth.solution.point.line_pressure
        free = line + self.frozen(time) * self._rise
        return np.asarray(np.minimum(free, line + self.growth.most(time)))

    def reaches(self, pressure: float) -> Array:
        """When the water comes under ``pressure`` [Pa] since closure, of the draws [s]."""
        line = self.growth.solution.point.line_pressure
        share = max(pressure - line, 0.0) / self._rise
        time = self.growth.reaches(share * self.water / trapped.ICE_TO_WATER)
        held = line + self.growth.most(np.minimum(time, self.growth.end)) >= pressure
        comes = (share <= 1.0) & (time <= self.growth.end) & held
        return np.where(comes, time * self.growth.model, np.inf)


def _compliance(solution: Solution) -> float:
    """Return how much the pipe widens [1/Pa]."""
    pipe, material = solution.point.pipe, solution.point.material
    return trapped.widening(
        pipe.outside_diameter, pipe.wall, material.youngs_modulus, material.poisson_ratio
    )


def judge(
    solution: Solution, growing: Growth | None, between: tuple[str, str], apart: float,
    vented: bool, since: float | None,
) -> TrappedWater:  # fmt: skip
    """Judge the water between two freeze points ``apart`` [m], middle to middle.

    Both may be closed ``since`` a time since the first feed [s].
    """
    point, rating = solution.point, solution.point.pressure_rating
    if growing is None:
        return _none(solution, between, vented, since)
    found = Squeezed(growth=growing, apart=apart)
    at_ready, at_end = found.at(growing.ready), found.at(growing.end)
    reached = found.reaches(rating)
    judged = Judged(
        pressure=solution.at_most(at_end) or point.line_pressure,
        from_=since,
        earliest=solution.at_least(reached),
        slips=not solution.is_sure(chances.chance(_firm(growing, at_ready, at_end))),
        holds=min(solution.at_least(h) or 0.0 for h in (growing.holds_ready, growing.holds_end)),
    )
    return TrappedWater(
        between=between,
        vented=vented,
        verdict=_verdict(solution, judged, vented),
        chance=chances.chance(_firm(growing, at_ready, at_end) & (at_end <= rating)),
        vent_open_from=judged.from_,
        frozen=solution.at_most(found.frozen(growing.end)) or 0.0,
        pressure=judged.pressure,
        at_ready=solution.range(at_ready),
        at_end=solution.range(at_end),
        plugs_hold=solution.range(growing.holds_end),
        per_percent=trapped.rise(0.01, _compliance(solution)),
        rating=rating,
        to_rating=chances.percentile(reached, MIDDLE),
        to_rating_at_earliest=judged.earliest,
        course=_course(found),
        advice=" ".join(_advice(solution, judged, vented)),
        weakest_holds=judged.holds,
    )


def danger(water: TrappedWater) -> tuple[int, float]:
    """Return what ranks trapped water: its verdict, then its pressure over the rating [-]."""
    return list(Verdict).index(water.verdict), water.pressure / max(water.rating, 1.0)


@dataclass(frozen=True, kw_only=True)
class Judged:
    """What trapped water is judged by, each at the chance that decides.

    ``pressure`` at the hold's end at the most and what the weakest plug ``holds`` [Pa]; both may be
    closed ``from_`` [s] since the first feed, and the pipe at its rating ``earliest`` since then;
    ``slips`` whether a plug may be pushed out.
    """

    pressure: float
    from_: float | None
    earliest: float | None
    slips: bool
    holds: float


def _none(
    solution: Solution, between: tuple[str, str], vented: bool, since: float | None
) -> TrappedWater:  # fmt: skip
    """Return what is known where no plug is expected to be ready: one may close all the same."""
    point, open_ = solution.point, ~np.isfinite(solution.closures)
    shut = not solution.hopeless
    return TrappedWater(
        between=between, vented=vented,
        verdict=Verdict.CONDITIONAL if shut and not vented else Verdict.GO,
        chance=chances.chance(open_), vent_open_from=since,
        frozen=0.0, pressure=point.line_pressure, at_ready=None, at_end=None, plugs_hold=None,
        per_percent=trapped.rise(0.01, _compliance(solution)), rating=point.pressure_rating,
        to_rating=None, to_rating_at_earliest=None, course=PressureCourse(),
        advice=NOT_READY if shut else "No plug closes, so no water is trapped.",
        weakest_holds=None,
    )  # fmt: skip


NOT_READY = (
    "No plug is expected to be ready. One that closes all the same traps water, and what it comes "
    "to is not known: have a vent between them open from the first feed until both have thawed."
)


def _verdict(solution: Solution, judged: Judged, vented: bool) -> Verdict:
    """Judge water without a vent by the pipe and by the weakest plug, drained beyond."""
    if vented:
        return Verdict.GO
    if judged.pressure > solution.point.pressure_rating or judged.slips:
        return Verdict.NO_GO
    return Verdict.CONDITIONAL


def _firm(growing: Growth, at_ready: Array, at_end: Array) -> NDArray[np.bool_]:
    """Tell of each draw whether the plugs hold the water, at ready and at the hold's end.

    Each draw's own bond holds against the water that it squeezes.
    """
    return np.asarray((at_ready <= growing.holds_ready) & (at_end <= growing.holds_end))


def _course(found: Squeezed) -> PressureCourse:
    """Return the likely pressure and the greatest against time from the closure of both."""
    solution, end = found.growth.solution, found.growth.end
    last = chances.percentile(end * found.growth.model, MIDDLE) or 0.0
    line, times = solution.point.line_pressure, last * np.linspace(0.0, 1.0, POINTS) ** 2
    known = times[list(WORKED_OUT)]
    series = [found.at(np.minimum(t / found.growth.model, end)) for t in known[1:]]
    likely = [chances.percentile(p, MIDDLE) or 0.0 for p in series]
    high = [solution.at_most(p) or 0.0 for p in series]

    def between(values: list[float]) -> Series:
        rise = np.log(np.maximum(np.maximum.accumulate(values) - line, TINY))
        found = line + np.exp(np.interp(np.log(times[1:]), np.log(known[1:]), rise))
        return (line, *found.tolist())

    return PressureCourse(
        time=tuple(times.tolist()), pressure=between(likely), pressure_high=between(high)
    )


def _advice(solution: Solution, judged: Judged, vented: bool) -> Iterator[str]:
    """Yield what to do, part by part; figures at the chance that decides, to the safe side."""
    since = f"{_at_least(judged.from_ or 0.0)} after the first feed"
    if vented:
        yield f"Vented: have the vent open before both plugs close, {since} at the earliest,"
        yield "and keep it open until both have thawed."
    else:
        yield f"Water is trapped between two plugs from {since}: vent the section by then, or"
        yield "freeze one point after the other is open."
    yield from _pressures(solution.point.pressure_rating, judged)
    yield "A plug that gives way first is a failure, never a relief."


VENT = (
    "Fit a vent between them and have it open before both plugs close, until both have thawed; or "
    "freeze one point after the other is open."
)


def _pressures(rating: float, judged: Judged) -> Iterator[str]:
    """Yield the pressures of the water, part by part; ``rating`` of the pipe [Pa]."""
    yield f"Without a vent it may come to {_at_most(judged.pressure)} MPa by the hold's end;"
    yield f"the pipe is good for {_held(rating)} MPa"
    if judged.earliest is not None and judged.earliest < 1.0:
        yield "and may come to that as soon as both plugs close."
    elif judged.earliest is not None:
        yield f"and may come to that within {_at_least(judged.earliest)} of both plugs closing."
    else:
        out = ", so it may be pushed out" if judged.slips else ""
        yield f"and the weakest plug holds {_held(judged.holds)} MPa{out}."


def _at_least(time: float) -> str:
    """Return a time [s] in words, rounded down."""
    return f"{math.floor(time)} s" if time < 120.0 else f"{math.floor(time / 60.0)} min"


def _at_most(pressure: float) -> str:
    """Return a pressure [Pa] in megapascals, rounded up."""
    return _told(math.ceil, pressure / MEGA - 1e-10)


def _held(pressure: float) -> str:
    """Return what holds, a pressure [Pa], in megapascals, rounded down."""
    return _told(math.floor, pressure / MEGA)


def _told(whole: Callable[[float], int], mega: float) -> str:
    """Return a figure made ``whole`` at its tenth, or at its hundredth where it is below one."""
    parts = 10.0 if mega >= 1.0 - 1e-9 else 100.0
    return f"{whole(parts * mega) / parts:.{1 if parts < 100.0 else 2}f}"
