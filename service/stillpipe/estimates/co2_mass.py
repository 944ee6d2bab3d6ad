"""CO2 for the freeze and the hold: from the solver's heat history, the jacket and its leak."""

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from stillpipe.estimates import assess, cautions, feeding, learned
from stillpipe.estimates.sampled import Array
from stillpipe.estimates.solution import Solution
from stillpipe.model.declare import Figure
from stillpipe.model.figures import Answer, Range, Reason
from stillpipe.model.requests import Co2MassRequest, Feeding

SHORTEST_HOLD = 60.0
"""Over which the rate of a hold is taken at least [s]."""


@dataclass(frozen=True, kw_only=True)
class Consumption:
    """What the draws that close draw at one freeze point.

    Masses [kg], ``freeze`` until the planned ``ready`` [s] and ``hold`` for ``hold_duration`` [s]
    from then on, at a ``rate`` [kg/s].
    """

    ready: float
    hold_duration: float
    freeze: Array
    hold: Array
    rate: Array

    @property
    def total(self) -> Array:
        """CO2 for freeze and hold [kg]."""
        return np.asarray(self.freeze + self.hold)


@dataclass(frozen=True, kw_only=True)
class Co2Figures:
    """Figures of the CO2 estimate: of one freeze point, but for ``job_total``.

    None where the freeze points differ.
    """

    freeze: Annotated[Range | None, Figure("mass", says="CO2 until the planned ready.")] = None
    hold: Annotated[Range | None, Figure("mass", says="CO2 for the hold.")] = None
    hold_rate: Annotated[Range | None, Figure("mass_flow", says="CO2 while holding.")] = None
    total: Annotated[Range | None, Figure("mass", says="CO2 for freeze and hold.")] = None
    planned_total: Annotated[
        float | None, Figure("mass", says="Enough at the chance that decides.")
    ] = None
    job_total: Annotated[Range | None, Figure("mass", says="For all freeze points.")] = None
    pipe_heat: Annotated[
        Range | None, Figure("energy", says="Drawn from pipe and water until ready.")
    ] = None
    jacket_heat: Annotated[
        float | None, Figure("energy", says="To cool the jacket to dry ice.")
    ] = None
    cooling: Annotated[
        float | None, Figure("specific_energy", says="That one kilogram of liquid gives.")
    ]


@dataclass(frozen=True, kw_only=True)
class Needed:
    """What is needed: all figures, and the draws of them; None where no plug gets ready."""

    drawn: Consumption | None
    figures: Co2Figures


def co2_mass(request: Co2MassRequest) -> Answer[Co2Figures]:
    """Estimate the CO2 of all freeze points."""
    solution = Solution(request, request.hold)
    return Answer(
        reasons=reasons(solution),
        cautions=cautions.of_feeding(request),
        figures=needed(request, solution).figures,
        effort=solution.effort,
        learned=learned.told(solution),
    )


def reasons(solution: Solution) -> tuple[Reason, ...]:
    """Return what stops the job before solving where something does, else all reasons."""
    known = assess.blockers(solution)
    if assess.is_stopped(known):
        return (*known, *assess.of_line(solution))
    return assess.reasons(solution)


def needed(request: Feeding, solution: Solution) -> Needed:
    """Return the CO2 until the planned ready and for the hold from then on."""
    cooling, heat = request.cylinder.cooling, request.jacket_heat
    if cooling is None or solution.hopeless or not solution.is_planned:
        return Needed(drawn=None, figures=Co2Figures(jacket_heat=heat, cooling=cooling))
    drawn = _consumption(request, solution)
    total = solution.range(drawn.total)
    figures = Co2Figures(
        freeze=solution.range(drawn.freeze),
        hold=solution.range(drawn.hold),
        hold_rate=solution.range(drawn.rate),
        total=total,
        planned_total=solution.at_most(drawn.total),
        job_total=None if total is None else total.scaled(request.points),
        pipe_heat=solution.heat_removed,
        jacket_heat=heat,
        cooling=cooling,
    )
    return Needed(drawn=drawn, figures=figures)


def _consumption(request: Feeding, solution: Solution) -> Consumption:
    """Return what is drawn: by the pipe's heat, the jacket's and the leak."""
    ready, hold = solution.planned_ready or 0.0, solution.hold
    each = feeding.per_heat(request, solution)
    until, leak, holds = solution.drawn(ready), request.leak_power, solution.holds
    first = (until + request.jacket_heat + leak * ready) * each
    span = max(hold, SHORTEST_HOLD)
    rate = ((solution.drawn(ready + span) - until) / span + leak) * each
    return Consumption(
        ready=ready, hold_duration=hold, freeze=first[holds], hold=(rate * hold)[holds],
        rate=rate[holds],
    )  # fmt: skip
