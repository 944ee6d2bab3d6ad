"""CO2 for the freeze and the hold: from the solver's heat history, the jacket and its leak."""

import math
from dataclasses import dataclass

from stillpipe.estimates import cautions, course, plug_time
from stillpipe.estimates.job import Freeze, Note, Range
from stillpipe.physics import co2, freeze

CAPTURE_BAND = (0.4 / 0.6, 0.8 / 0.6)
"""Band of the capture efficiency about its likely value [-]: an assumption."""
JACKET_HEAT = 1000.0
"""Specific heat of the jacket [J/(kg K)]: an assumption."""
JACKET_FILM = 5.0
"""Conductance from the room through the jacket's outside [W/(m2 K)]: an assumption."""
COLD_CYLINDER = 273.15
"""Below this the pressure in the cylinder is low [K]; common practice, no source."""


@dataclass(frozen=True)
class Feeding:
    """How a job is fed.

    ``hold`` [s] of feeding beyond ready; ``points`` freeze points alike; ``capture`` share of the
    cooling that reaches the pipe and jacket [-]; ``jacket_mass`` [kg] and ``jacket_leak`` [W/K],
    None for the assumed ones.
    """

    hold: float = 3600.0
    points: int = 1
    capture: float = 0.6
    jacket_mass: float | None = None
    jacket_leak: float | None = None


@dataclass(frozen=True)
class Draw:
    """What one course draws at one freeze point: ``ready`` [s], masses [kg], rate [kg/s]."""

    ready: float
    freeze: float
    hold: float
    rate: float


@dataclass(frozen=True)
class Co2Mass:
    """Answer of the CO2 estimate: masses [kg], rate [kg/s], cooling [J/kg], heats [J].

    ``freeze``, ``hold`` and ``total`` are of one freeze point, ``job`` of all of them.
    """

    verdict: str
    reasons: tuple[Note, ...]
    freeze: Range | None
    hold: Range | None
    rate: Range | None
    total: Range | None
    job: Range | None
    cooling: float | None
    pipe_heat: Range | None
    jacket_heat: float
    jacket_leak: float
    cautions: tuple[Note, ...]
    draws: tuple[Draw, ...] = ()


def jacket(job: Freeze, feeding: Feeding) -> tuple[float, float]:
    """Heat [J] to cool the jacket to dry ice, and the power [W] that leaks in through it.

    Where not given, the jacket weighs 0.1 kg + 5 kg for each metre of outside diameter, and leaks
    through a cylinder 100 mm wider than the pipe: assumptions.
    """
    mass = feeding.jacket_mass
    if mass is None:
        mass = 0.1 + 5.0 * job.outside_diameter
    leak = feeding.jacket_leak
    if leak is None:
        wide = job.outside_diameter + 0.1
        leak = JACKET_FILM * math.pi * wide * (job.jacket_length + 0.5 * wide)
    deep = max(job.ambient_temperature - freeze.DRY_ICE, 0.0)
    return mass * JACKET_HEAT * deep, leak * deep


def draw(job: Freeze, run: freeze.FreezeRun, feeding: Feeding, capture: float) -> Draw | None:
    """Return what a solved course draws with a ``capture`` [-]; None where it is never ready."""
    if run.ready is None:
        return None
    until_ready = run.fed_to(run.ready).heat_jacket
    hold = max(feeding.hold, 1.0)
    held = (run.fed_to(run.ready + hold).heat_jacket - until_ready) / hold
    cool, leak = jacket(job, feeding)
    per_heat = 1.0 / (co2.cooling(job.cylinder_temperature) * capture)
    rate = (held + leak) * per_heat
    first = (until_ready + cool + leak * run.ready) * per_heat
    return Draw(run.ready, first, rate * feeding.hold, rate)


def co2_mass(job: Freeze, feeding: Feeding) -> Co2Mass:
    """Estimate the CO2 of ``job``.

    Raises
    ------
    OutOfValidityError
        naming every input outside what the model covers
    """
    course.check(job)
    stops = plug_time.obstacles(job)
    if any(n.severity == "stop" for n in stops):
        return from_courses(job, feeding, (), tuple(stops))
    runs = course.all_three(job, 3600.0 + feeding.hold)
    reasons = (*stops, *plug_time.judge(job, plug_time.flow_limit(job), list(runs)))
    return from_courses(job, feeding, runs, reasons)


def from_courses(
    job: Freeze, feeding: Feeding, runs: tuple[freeze.FreezeRun, ...], reasons: tuple[Note, ...]
) -> Co2Mass:
    """Return the answer from solved courses and the reasons found with them."""
    heat, power = jacket(job, feeding)
    deep = max(job.ambient_temperature - freeze.DRY_ICE, 1e-9)
    liquid = job.cylinder_temperature < co2.CRITICAL
    notes = (*cautions.of_freeze(job), *cautions.of_cylinder(job))
    verdict = plug_time.verdict(reasons)
    likely = draw(job, runs[1], feeding, feeding.capture) if runs and liquid else None
    cooling = co2.cooling(job.cylinder_temperature) if liquid else None
    if likely is None:
        return Co2Mass(
            verdict, reasons, None, None, None, None, None, cooling, None, heat, power / deep, notes
        )
    all_draws = [
        d
        for run in runs
        for factor in CAPTURE_BAND
        if (d := draw(job, run, feeding, min(factor * feeding.capture, 1.0)))
    ]

    def band(values: list[float], middle: float) -> Range:
        return Range(min(*values, middle), middle, max(*values, middle))

    total = [d.freeze + d.hold for d in all_draws]
    one = band(total, likely.freeze + likely.hold)
    assert one.high is not None
    heats = [r.at_ready.heat_jacket for r in runs if r.at_ready is not None]
    return Co2Mass(
        verdict, reasons,
        freeze=band([d.freeze for d in all_draws], likely.freeze),
        hold=band([d.hold for d in all_draws], likely.hold),
        rate=band([d.rate for d in all_draws], likely.rate),
        total=one,
        job=Range(*(feeding.points * v for v in (one.low, one.likely, one.high))),
        cooling=cooling, pipe_heat=plug_time.ordered(heats, runs[1].last.heat_jacket),
        jacket_heat=heat, jacket_leak=power / deep, cautions=notes, draws=(likely, *all_draws),
    )  # fmt: skip
