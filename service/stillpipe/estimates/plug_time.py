"""Plug time: closure, ready and frost-by times of one freeze point, and what they rest on."""

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from stillpipe.estimates import assess, cautions, moving
from stillpipe.estimates.solution import Solution
from stillpipe.model.declare import Figure, Plain
from stillpipe.model.figures import Amount, Answer, Range
from stillpipe.model.requests import PlugTimeRequest
from stillpipe.physics import constants, film, freeze
from stillpipe.physics.stream import drips
from stillpipe.uncertainty.scenarios import (
    CONDUCTANCE_BAND,
    CONVECTION_BAND,
    FILLING_BAND,
    FILM_BAND,
    LIKELY,
)

POINTS = 60
"""Most points of a history."""

Series = tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class Driver:
    """How much one uncertain input moves the closure time."""

    name: Annotated[str, Plain(says="Which input.")]
    low: Annotated[Amount, Plain(says="The least value tried.")]
    high: Annotated[Amount, Plain(says="The greatest value tried.")]
    closure_at_low: Annotated[float | None, Figure("time", says="Closure with the least value.")]
    closure_at_high: Annotated[
        float | None, Figure("time", says="Closure with the greatest value.")
    ]


@dataclass(frozen=True, kw_only=True)
class HistoryFigures:
    """The likely course of the freeze, series of equal length."""

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
class PlugTimeFigures:
    """Figures of the plug-time estimate; None where one is never reached."""

    closure: Annotated[
        Range | None, Figure("time", says="Until no liquid path is left, from the first feed.")
    ] = None
    ready: Annotated[
        Range | None,
        Figure("time", says="Until the plug carries the line pressure with the safety factor."),
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


def plug_time(request: PlugTimeRequest) -> Answer[PlugTimeFigures]:
    """Estimate closure, ready and frost-by times."""
    solution = Solution(request)
    figures = PlugTimeFigures()
    if not solution.stays_slush:
        figures = PlugTimeFigures(
            closure=solution.closure,
            ready=solution.ready,
            frost_by=solution.frost_by,
            plug_length=solution.ready_length,
            holding_pressure=solution.ready_pressure,
            residual_flow_limit=solution.flow_limit,
            residual_drips_per_minute=solution.flow_limit.scaled(drips.PER_MINUTE),
            heat_removed=solution.heat_removed,
            coldest_wall=solution.coldest_wall,
            drivers=() if solution.prevented else _drivers(solution),
            history=HistoryFigures() if solution.prevented else _history(solution),
        )
    return Answer(
        reasons=assess.reasons(solution),
        cautions=cautions.of_freeze(request),
        figures=figures,
        effort=solution.effort,
    )


def _drivers(solution: Solution) -> tuple[Driver, ...]:
    """Return closure times with one uncertain input changed at a time, on a coarse grid."""
    likely = solution.case(LIKELY)
    plan = (
        ("jacket_conductance", "jacket", "conductance", CONDUCTANCE_BAND, likely.h_jacket),
        ("jacket_filling", "filling", "time", FILLING_BAND, likely.fill_time),
        ("convection", "convection", "factor", CONVECTION_BAND, 1.0),
        (
            "room_film",
            "film",
            "conductance",
            FILM_BAND,
            film.at(likely.room_film, constants.ZERO_C),
        ),
    )
    found = []
    for name, member, kind, band, value in plan:
        low, high = (
            moving.closure(solution.point, solution.case(varied), varied, solution.work)
            for varied in (LIKELY.varied(member, factor) for factor in band)
        )
        found.append(
            Driver(
                name=name,
                low=Amount(band[0] * value, kind),
                high=Amount(band[1] * value, kind),
                closure_at_low=low,
                closure_at_high=high,
            )
        )
    return tuple(found)


def _history(solution: Solution) -> HistoryFigures:
    """Return the series of the likely run, thinned."""
    history = solution.run(LIKELY).history()
    count = len(history.time)
    picked = np.unique(np.linspace(0, count - 1, min(POINTS, count)).round().astype(int))
    radius = 0.5 * solution.point.bore * np.sqrt(np.clip(history.liquid_fraction, 0.0, 1.0))

    def thinned(series: freeze.Array) -> Series:
        return tuple(series[picked].tolist())

    return HistoryFigures(
        time=thinned(history.time),
        plug_length=thinned(history.plug_length),
        bonded_length=thinned(history.bonded_length),
        holding_pressure=thinned(solution.holding_pressure(1.0) * history.grip),
        heat=thinned(history.heat_jacket),
        liquid_radius=thinned(radius),
    )
