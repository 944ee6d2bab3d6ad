"""CO2 for the freeze and the hold: from the solver's heat history, the jacket and its leak."""

from dataclasses import dataclass
from typing import Annotated

from stillpipe.estimates import assess, cautions
from stillpipe.estimates.solution import Solution
from stillpipe.model.declare import Figure
from stillpipe.model.figures import Answer, Caution, Range, Reason, range_of
from stillpipe.model.requests import Co2MassRequest, Feeding
from stillpipe.physics import co2
from stillpipe.uncertainty.scenarios import CAPTURE_BAND, LIKELY, SCENARIOS, Scenario


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


def co2_mass(request: Co2MassRequest) -> Answer[Co2Figures]:
    """Estimate the CO2 of all freeze points."""
    solution = Solution(request, request.hold)
    return Answer(
        reasons=reasons(solution),
        cautions=all_cautions(request),
        figures=figures(request, solution),
        effort=solution.effort,
    )


def all_cautions(request: Feeding) -> tuple[Caution, ...]:
    """Return the cautions of a freeze fed from cylinders."""
    return (*cautions.of_freeze(request), *cautions.of_cylinder(request))


def reasons(solution: Solution) -> tuple[Reason, ...]:
    """Return what stops the job before solving where something does, else all reasons."""
    known = assess.blockers(solution)
    return known if assess.is_stopped(known) else assess.reasons(solution)


def consumption(
    request: Feeding, solution: Solution, scenario: Scenario = LIKELY, capture: float = 1.0
) -> Consumption | None:
    """Return what a scenario draws; None where it is never ready or there is no liquid.

    ``capture`` is a factor on the capture efficiency [-], which never exceeds 1.
    """
    if solution.stays_slush or not has_liquid(request):
        return None
    run = solution.run(scenario)
    if run.at_ready is None or run.ready is None:
        return None
    duration = max(request.hold_duration, 1.0)
    heat = run.at_ready.heat_jacket
    end = solution.fed_on(scenario, run.ready + duration)
    held = (end.heat_jacket - heat) / duration
    share = min(capture * request.capture_efficiency, 1.0)
    per_heat = 1.0 / (co2.cooling(request.cylinder.temperature) * share)
    leak = request.leak_power
    rate = (held + leak) * per_heat
    first = (heat + request.jacket_heat + leak * run.ready) * per_heat
    return Consumption(ready=run.ready, freeze=first, hold=rate * request.hold_duration, rate=rate)


def has_liquid(request: Feeding) -> bool:
    """Tell whether the cylinder holds liquid at its temperature."""
    return request.cylinder.temperature < co2.CRITICAL


def figures(request: Feeding, solution: Solution) -> Co2Figures:
    """Return the masses of CO2 over all scenarios and the ends of the capture efficiency."""
    liquid = has_liquid(request)
    cooling = co2.cooling(request.cylinder.temperature) if liquid else None
    likely = consumption(request, solution)
    if likely is None:
        return Co2Figures(jacket_heat=request.jacket_heat, cooling=cooling)
    found = [likely] + [
        c
        for scenario in SCENARIOS
        for factor in CAPTURE_BAND
        if (c := consumption(request, solution, scenario, factor)) is not None
    ]
    total = Range(min(c.total for c in found), likely.total, max(c.total for c in found))
    return Co2Figures(
        freeze=range_of([c.freeze for c in found], likely.freeze),
        hold=range_of([c.hold for c in found], likely.hold),
        hold_rate=range_of([c.rate for c in found], likely.rate),
        total=total,
        job_total=total.scaled(request.points),
        pipe_heat=solution.range_at_ready(lambda _run, moment, _s: moment.heat_jacket),
        jacket_heat=request.jacket_heat,
        cooling=cooling,
    )
