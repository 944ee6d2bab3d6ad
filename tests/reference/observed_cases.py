"""Freeze points whose learning from observations is held against direct solutions."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from estimates.jobs import request_of, water
from stillpipe.estimates import feeding, seen
from stillpipe.estimates.sampled import Sampled
from stillpipe.estimates.solution import Solution
from stillpipe.model import observations
from stillpipe.model.observations import AnyObservation, Seen
from stillpipe.model.requests import Co2MassRequest
from stillpipe.physics import freeze
from stillpipe.physics.column.work import Work
from stillpipe.tables import pipes
from stillpipe.uncertainty import draws
from stillpipe.uncertainty.draws import Sample

Array = NDArray[np.float64]

FIGURES = ("closure", "ready", "frost", "near", "beside", "mass", "carries")
"""What is known of a truth: times [s], temperatures 10 and 50 mm beside the jacket [K], the mass
drawn [kg] and the pressure that the plug carries [Pa] at the moments of :class:`Moments`."""
NEAR, BESIDE = 0.010, 0.050
"""Distances from the jacket at which a temperature is read [m]."""
KINDS = tuple(Seen)


@dataclass(frozen=True)
class ObservedCase:
    """Water of 20 C in a room of 20 C: pipe and line pressure [bar]."""

    pipe: tuple[str, str, str]
    bar: float

    @property
    def name(self) -> str:
        """How the tables call it."""
        return pipes.find(*self.pipe).id

    def request(self, *seen_: AnyObservation) -> Co2MassRequest:
        """The freeze point, with what was seen."""
        pipe = pipes.find(*self.pipe)
        found: Co2MassRequest = request_of(
            Co2MassRequest, pipe, 20.0, 20.0, self.bar, fluid=water(), hold=2700.0
        )
        return replace(found, observations=seen_)


CASES = (
    ObservedCase(("ASTM B88", "1/2", "L"), 3.0),
    ObservedCase(("ASTM B88", "2", "L"), 3.0),
    ObservedCase(("ASTM B43", "1", "regular"), 3.0),
    ObservedCase(("ASME B36.10M", "1/2", "40"), 3.0),
    ObservedCase(("ASME B36.10M", "2", "40"), 10.0),
    ObservedCase(("ASME B36.19M", "1", "10S"), 10.0),
    ObservedCase(("AWWA C151", "3", "PC 350"), 3.0),
    ObservedCase(("ASTM D1785", "1", "40"), 3.0),
    ObservedCase(("ASTM F876", "3/4", "SDR 9"), 1.0),
)


@dataclass(frozen=True)
class Moments:
    """When something is looked at [s]: temperatures, the cylinder, a test of the pressure.

    ``pressure`` [Pa] of that test.
    """

    temperature: float
    cylinder: float
    test: float
    pressure: float


def moments(sampled: Sampled, ready: float) -> Moments:
    """Round moments of a freeze point whose likely plug is ``ready`` then [s]."""
    closure = sampled.fine.closure or 0.0
    return Moments(
        temperature=float(np.round(0.6 * closure)),
        cylinder=float(np.round(ready)),
        test=float(np.round(1.05 * ready)),
        pressure=2.0 * sampled.point.line_pressure,
    )


def truth(sampled: Sampled, when: Moments, sample: Sample, i: int) -> list[float]:
    """What is seen of the freeze of draw ``i``, solved directly: ``FIGURES``."""
    one = sampled.among(Sample(sample.z[[i]]))
    z = sampled.ensemble.deviates(one.sample)[0]
    cases, model = sampled.cases, float(one.model[0])
    lost = float(sampled.lost(one.strength)[0])
    run = freeze.FreezeRun(
        cases.case(cases.scenario(dict(zip(cases.names, z.tolist(), strict=True)))),
        needed_length=sampled.point.bore, needed_grip=lost * sampled.point.safety_factor,
        work=Work(10**12),
    )  # fmt: skip
    closure, ready, frost = (
        np.inf if t is None else t * model for t in (run.closure, run.ready, run.frost)
    )
    at = when.temperature / model
    time, near = run.skin(NEAR, at)
    beside = run.skin(BESIDE, at)[1]
    history = run.history(when.cylinder / model, beyond=True)
    heat = np.interp(when.cylinder / model, history.time, history.heat_jacket)
    request = feeding.feeding(sampled.point)
    heat += request.jacket_heat + request.leak_power * when.cylinder
    mass = float(heat * feeding.per_heat(request, one)[0])
    grip = run.fed_to(when.test / model).grip if closure < when.test else 0.0
    carries = float(sampled.carries(np.array([grip]), one.strength)[0])
    return [
        closure, ready, frost, float(np.interp(at, time, near)), float(np.interp(at, time, beside)),
        mass, carries * sampled.point.safety_factor,
    ]  # fmt: skip


def observed(kind: Seen, when: Moments, value: float, typical: float) -> AnyObservation:
    """An observation of ``kind`` that reads ``value``, where ``typical`` was foretold [its own].

    Times and the mass are known to a tenth, the rest as by default.
    """
    tenth = float(f"{0.1 * typical:.3g}")
    match kind:
        case Seen.FROST:
            return observations.Frost(kind=kind, elapsed=value, standard_uncertainty=tenth)
        case Seen.NO_FROST:
            return observations.NoFrost(kind=kind, elapsed=value, standard_uncertainty=tenth)
        case Seen.SURFACE_TEMPERATURE:
            return observations.SurfaceTemperature(
                kind=kind, elapsed=when.temperature, distance=NEAR, value=value
            )
        case Seen.WEIGHT_DRAWN:
            return observations.WeightDrawn(
                kind=kind, elapsed=when.cylinder, value=value, standard_uncertainty=tenth
            )
        case Seen.FLOW_STOPPED:
            return observations.FlowStopped(kind=kind, elapsed=value, standard_uncertainty=tenth)
        case Seen.PRESSURE_HELD:
            return observations.PressureHeld(kind=kind, elapsed=when.test, value=when.pressure)


OF = {
    Seen.FROST: "frost",
    Seen.NO_FROST: "frost",
    Seen.SURFACE_TEMPERATURE: "near",
    Seen.WEIGHT_DRAWN: "mass",
    Seen.FLOW_STOPPED: "closure",
    Seen.PRESSURE_HELD: "carries",
}
"""The figure that each kind of observation is about."""


def off(o: AnyObservation, found: Array) -> Array:
    """By how many standard uncertainties ``found`` lies above what was read, or explains it [-]."""
    read = o.elapsed if isinstance(o, observations.Frost) else getattr(o, "value", o.elapsed)
    away = (found - read) / o.standard_uncertainty
    return -away if isinstance(o, observations.FlowStopped) else np.asarray(away)


def weights(o: AnyObservation, found: Array) -> Array:
    """How likely ``o`` is for each of ``found``, adding up to 1 [-]."""
    away = off(o, found)
    likely = np.exp(-0.5 * away**2) if seen.is_read(o) else ndtr(away)
    return np.asarray(likely / np.sum(likely))


def quantile(values: Array, weight: Array, p: float) -> float:
    """The weighed percentile ``p`` of ``values`` [as they]."""
    order = np.argsort(values)
    at = np.searchsorted(np.cumsum(weight[order]), p * np.sum(weight))
    return float(values[order][min(at, len(order) - 1)])


def asked(case: ObservedCase) -> tuple[Solution, Moments]:
    """The solution before anything was seen, and the moments."""
    solution = Solution(case.request())
    return solution, moments(solution.before, solution.likely_ready or 0.0)


def before(case: ObservedCase) -> Sampled:
    """The freezes before anything was seen, as they are solved where something will be."""
    something = observations.FlowStopped(kind=Seen.FLOW_STOPPED, elapsed=1.0)
    found = Solution(case.request(something)).before
    found.work = Work(10**12)  # of many answers
    return found


def conditioned(case: ObservedCase, before: Sampled, *seen_: AnyObservation) -> Solution:
    """The solution once ``seen_`` was seen; freezes before that are shared."""
    found = Solution(case.request(*seen_))
    found.__dict__["before"] = before
    return found


def random_sample(count: int, seed: int) -> Sample:
    """Draws that are not those of the service."""
    return Sample(np.random.default_rng(seed).standard_normal((count, len(draws.NAMES))))
