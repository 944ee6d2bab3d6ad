"""Plug time: closure, ready and frost-by times of one freeze point, and what they rest on."""

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from stillpipe.estimates import assess, cautions, chances, drivers, growth, learned
from stillpipe.estimates.course import Of
from stillpipe.estimates.drivers import Driver
from stillpipe.estimates.growth import NO_PROFILE, Profile
from stillpipe.estimates.solution import Solution
from stillpipe.model.declare import Chance, Figure, Plain
from stillpipe.model.figures import HIGH, LOW, Answer, Range
from stillpipe.model.requests import PlugTimeRequest
from stillpipe.physics import freeze
from stillpipe.physics.stream import drips

POINTS = 60
"""Most points of a history."""
BAND_POINTS = 16
"""Most moments of a band: half of them evenly, half while the bore closes in most draws."""

Series = tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class HistoryFigures:
    """The likely course of the freeze, series of equal length.

    Once something was seen, the one solved is stretched to the closure that is likely then.
    """

    time: Annotated[Series, Figure("time", says="Since the first feed.")] = ()
    plug_length: Annotated[Series, Figure("length", says="Frozen through.")] = ()
    bonded_length: Annotated[Series, Figure("length", says="Wall below freezing.")] = ()
    holding_pressure: Annotated[
        Series, Figure("pressure", says="That the plug carries, safety factor taken off.")
    ] = ()
    heat: Annotated[Series, Figure("energy", says="Drawn from the pipe so far.")] = ()
    liquid_radius: Annotated[
        Series, Figure("length", says="Of the liquid left under the jacket's centre.")
    ] = ()


@dataclass(frozen=True, kw_only=True)
class BandFigures:
    """The 5th and the 95th percentile of the course, series of equal length.

    The ice front is the likely one, stretched to the percentiles of closure.
    """

    time: Annotated[Series, Figure("time", says="Since the first feed.")] = ()
    liquid_radius_low: Annotated[
        Series, Figure("length", says="Of the liquid under the jacket's centre.")
    ] = ()
    liquid_radius_high: Annotated[
        Series, Figure("length", says="Of the liquid under the jacket's centre.")
    ] = ()
    plug_length_low: Annotated[
        Series, Figure("length", says="Frozen through, the wall below freezing.")
    ] = ()
    plug_length_high: Annotated[
        Series, Figure("length", says="Frozen through, the wall below freezing.")
    ] = ()


@dataclass(frozen=True, kw_only=True)
class PlugTimeFigures:
    """Figures of the plug-time estimate; None where one is never reached."""

    closure: Annotated[
        Range | None, Figure("time", says="Until no liquid path is left, from the first feed.")
    ] = None
    ready: Annotated[
        Range | None,
        Figure("time", says="Until the plug carries the line pressure with the safety factor."),
    ] = None
    chance_of_closing: Annotated[
        float, Chance(says="That the bore freezes shut within four hours.")
    ]
    chance_of_ready: Annotated[float, Chance(says="That the plug gets ready within four hours.")]
    chance_of_ready_by: Annotated[
        float | None, Chance(says="That the plug is ready by the time `ready_by` of the request.")
    ] = None
    planned_ready: Annotated[
        float | None,
        Figure("time", says="By which it is ready at the chance that decides: cut no earlier."),
    ] = None
    frost_by: Annotated[
        Range | None,
        Figure(
            "time",
            says="Until the pipe's outside 10 mm beside the jacket is below 0 degC; null beyond "
            "two hours.",
        ),
    ] = None
    plug_length: Annotated[Range | None, Figure("length", says="Of sound plug at ready.")] = None
    holding_pressure: Annotated[
        Range | None, Figure("pressure", says="At ready, safety factor taken off.")
    ] = None
    residual_flow_limit: Annotated[
        Range | None, Figure("mass_flow", says="Greatest flow that still freezes shut.")
    ] = None
    residual_drips_per_minute: Annotated[
        Range | None, Figure("factor", says="The same in drips a minute.")
    ] = None
    heat_removed: Annotated[
        Range | None, Figure("energy", says="Drawn from the pipe until ready.")
    ] = None
    coldest_wall: Annotated[
        Range | None, Figure("temperature", says="Of the pipe under the jacket's centre at ready.")
    ] = None
    drivers: Annotated[
        tuple[Driver, ...], Plain(says="How much each uncertain input moves the closure time.")
    ] = ()
    history: Annotated[HistoryFigures, Plain(says="The likely course of the freeze.")] = (
        HistoryFigures()
    )
    bands: Annotated[BandFigures, Plain(says="Percentiles of the course.")] = BandFigures()
    profile: Annotated[Profile, Plain(says="The likely shape of the ice along the pipe.")] = (
        NO_PROFILE
    )


def plug_time(request: PlugTimeRequest) -> Answer[PlugTimeFigures]:
    """Estimate closure, ready and frost-by times."""
    solution = Solution(request)
    by = None if request.ready_by is None else 0.0
    figures = PlugTimeFigures(chance_of_closing=0.0, chance_of_ready=0.0, chance_of_ready_by=by)
    if not solution.stays_slush:
        limit, shown = solution.flow_limit, solution.closure is not None
        figures = PlugTimeFigures(
            closure=solution.closure,
            ready=solution.ready,
            chance_of_closing=solution.closing_chance,
            chance_of_ready=solution.ready_chance,
            chance_of_ready_by=solution.chance_of_ready_by(request.ready_by),
            planned_ready=solution.planned_ready,
            frost_by=solution.frost_by,
            plug_length=solution.ready_length,
            holding_pressure=solution.ready_pressure,
            residual_flow_limit=limit,
            residual_drips_per_minute=None if limit is None else limit.scaled(drips.PER_MINUTE),
            heat_removed=solution.heat_removed,
            coldest_wall=solution.coldest_wall,
            drivers=drivers.of_closure(solution) if shown else (),
            history=_history(solution) if shown else HistoryFigures(),
            bands=_bands(solution) if shown and solution.is_planned else BandFigures(),
            profile=_profile(solution) if shown else NO_PROFILE,
        )
    return Answer(
        reasons=assess.reasons(solution),
        cautions=cautions.of_freeze(request),
        figures=figures,
        effort=solution.effort,
        learned=learned.told(solution),
    )


def _profile(solution: Solution) -> Profile:
    """Return the shape of the ice up to the planned ready, at the pace of what was seen."""
    pace = _pace(solution)
    return growth.profile(solution, _until(solution, pace), pace)


def _pace(solution: Solution) -> float:
    """Return how much longer the likely freeze takes than the one solved, by what was seen [-]."""
    known, closure, solved = solution.evidence, solution.closure, solution.fine.closure
    if known is None or not known.used or closure is None or solved is None:
        return 1.0
    return closure.likely / solved


def _until(solution: Solution, pace: float = 1.0) -> float:
    """Return until when the course is told [s], at a ``pace`` [-].

    The planned ready, or where feeding ended.
    """
    planned = solution.planned_ready
    return solution.fine.last.time if planned is None else planned / pace


def _bands(solution: Solution) -> BandFigures:
    """Return the ends of the course up to the planned ready."""
    closure, history = solution.closure, solution.fine.history(_until(solution))
    if closure is None or solution.fine.closure is None:
        return BandFigures()
    end, half = solution.planned_ready or 0.0, BAND_POINTS // 2
    closing = np.linspace(closure.low, min(closure.high or end, end), half)
    times = np.unique(np.append(np.linspace(0.0, end, half), closing))
    radius = 0.5 * solution.point.bore * np.sqrt(np.clip(history.liquid_fraction, 0.0, 1.0))
    known, whole = history.time / solution.fine.closure, 0.5 * solution.point.bore
    front = [
        np.interp(times / last, known, radius, left=whole, right=0.0)
        for last in (closure.low, closure.longest)
    ]
    lengths = [solution.grown(Of.SOUND, float(t)) for t in times]
    ends = np.maximum.accumulate(chances.along(lengths, (LOW, HIGH)), axis=1).tolist()
    return BandFigures(
        time=tuple(times.tolist()),
        liquid_radius_low=tuple(front[0].tolist()),
        liquid_radius_high=tuple(front[1].tolist()),
        plug_length_low=tuple(ends[0]),
        plug_length_high=tuple(ends[1]),
    )


def _thinned(times: freeze.Array) -> freeze.Array:
    """Return half of a history's points at the most among ``times`` [s], evenly by their number."""
    count = len(times)
    picked = np.linspace(0, count - 1, min(POINTS // 2, count)).round().astype(int)
    return np.asarray(times[picked])


def _history(solution: Solution) -> HistoryFigures:
    """Return the series of the likely run up to the planned ready, thinned, both ends included.

    Once something was seen it is stretched to the closure that is likely then.
    """
    pace = _pace(solution)
    end = _until(solution, pace)
    history = solution.fine.history(end, beyond=True)
    known = np.append(history.time[history.time < end], end)
    closed = np.searchsorted(known, solution.fine.closure or end)
    times = np.concatenate([_thinned(known[:closed]), _thinned(known[closed:])])
    radius = 0.5 * solution.point.bore * np.sqrt(np.clip(history.liquid_fraction, 0.0, 1.0))

    def thinned(series: freeze.Array) -> Series:
        return tuple(np.interp(times, history.time, series).tolist())

    return HistoryFigures(
        time=tuple((times * pace).tolist()),
        plug_length=thinned(history.plug_length),
        bonded_length=thinned(history.bonded_length),
        holding_pressure=thinned(solution.carries(history.grip, solution.likely_strength)),
        heat=thinned(history.heat_jacket),
        liquid_radius=thinned(radius),
    )
