"""CO2 for the freeze and the hold: from the solver's heat history, the jacket and its leak."""

from dataclasses import dataclass
from typing import Annotated

from stillpipe.estimates import assess, cautions
from stillpipe.estimates.solution import Plug, Solution
from stillpipe.model.declare import Figure
from stillpipe.model.figures import Answer, Range, Reason, range_of
from stillpipe.model.requests import Co2MassRequest, Feeding
from stillpipe.uncertainty.scenarios import CAPTURE_BAND, LIKELY


@dataclass(frozen=True, kw_only=True)
class Consumption:
    """What one scenario draws at one freeze point: ``ready`` [s], masses [kg], rate [kg/s]."""

    ready: float
    freeze: float
    hold: float
    rate: float

    @property
    def total(self) -> float:
        """CO2 for freeze and hold [kg]."""
        return self.freeze + self.hold

    @property
    def hold_duration(self) -> float:
        """How long the plug is held [s]."""
        return self.hold / self.rate if self.rate > 0.0 else 0.0


@dataclass(frozen=True, kw_only=True)
class Co2Figures:
    """Figures of the CO2 estimate: of one freeze point, but for ``job_total``."""

    freeze: Annotated[Range | None, Figure("mass", says="CO2 until ready.")] = None
    hold: Annotated[Range | None, Figure("mass", says="CO2 for the hold.")] = None
    hold_rate: Annotated[Range | None, Figure("mass_flow", says="CO2 while holding.")] = None
    total: Annotated[Range | None, Figure("mass", says="CO2 for freeze and hold.")] = None
    job_total: Annotated[Range | None, Figure("mass", says="For all freeze points.")] = None
    pipe_heat: Annotated[
        Range | None, Figure("energy", says="Drawn from pipe and water until ready.")
    ] = None
    jacket_heat: Annotated[float, Figure("energy", says="To cool the jacket to dry ice.")]
    cooling: Annotated[
        float | None, Figure("specific_energy", says="That one kilogram of liquid gives.")
    ]


@dataclass(frozen=True, kw_only=True)
class Needed:
    """What is needed: all figures.

    On the ``likely`` scenario, None where no plug gets ready; on ``every`` scenario and end of the
    capture efficiency.
    """

    likely: Consumption | None
    every: tuple[Consumption, ...] = ()
    figures: Co2Figures


def co2_mass(request: Co2MassRequest) -> Answer[Co2Figures]:
    """Estimate the CO2 of all freeze points."""
    solution = Solution(request, request.hold)
    return Answer(
        reasons=reasons(solution),
        cautions=cautions.of_feeding(request),
        figures=needed(request, solution).figures,
        effort=solution.effort,
    )


def reasons(solution: Solution) -> tuple[Reason, ...]:
    """Return what stops the job before solving where something does, else all reasons."""
    known = assess.blockers(solution)
    if assess.is_stopped(known):
        return (*known, *assess.of_line(solution))
    return assess.reasons(solution)


def needed(request: Feeding, solution: Solution) -> Needed:
    """Return the CO2 over all scenarios and the ends of the capture efficiency."""
    cooling, heat = request.cylinder.cooling, request.jacket_heat
    plugs = {} if cooling is None else solution.plugs
    if cooling is None or LIKELY not in plugs:
        return Needed(likely=None, figures=Co2Figures(jacket_heat=heat, cooling=cooling))
    powers = solution.hold_powers
    likely = _consumption(request, plugs[LIKELY], powers[LIKELY], cooling)
    found = [likely] + [
        _consumption(request, plug, powers[scenario], cooling, factor)
        for scenario, plug in plugs.items()
        for factor in CAPTURE_BAND
    ]
    total = Range(min(c.total for c in found), likely.total, max(c.total for c in found))
    figures = Co2Figures(
        freeze=range_of([c.freeze for c in found], likely.freeze),
        hold=range_of([c.hold for c in found], likely.hold),
        hold_rate=range_of([c.rate for c in found], likely.rate),
        total=total,
        job_total=total.scaled(request.points),
        pipe_heat=solution.heat_removed,
        jacket_heat=heat,
        cooling=cooling,
    )
    return Needed(likely=likely, every=tuple(found), figures=figures)


def _consumption(
    request: Feeding, plug: Plug, power: float, cooling: float, capture: float = 1.0
) -> Consumption:
    """Return what one plug draws, whose hold takes ``power`` [W]; liquid takes ``cooling`` [J/kg].

    ``capture`` is a factor on the capture efficiency [-], which never exceeds 1.
    """
    per_heat = 1.0 / (cooling * min(capture * request.capture_efficiency, 1.0))
    leak = request.leak_power
    rate = (power + leak) * per_heat
    first = (plug.heat + request.jacket_heat + leak * plug.ready) * per_heat
    return Consumption(ready=plug.ready, freeze=first, hold=rate * request.hold_duration, rate=rate)
