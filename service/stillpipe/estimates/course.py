"""From a freeze point to a solved course: the case, its uncertain inputs, its stages."""

import math
from dataclasses import dataclass, replace

from stillpipe.errors import Fault, OutOfValidityError
from stillpipe.estimates.job import Freeze
from stillpipe.physics import column, film, freeze, media, solutions

PRODUCTION = freeze.Grid(axial=6, radial=10, eta=0.025, stretch=1.35)
COARSE = freeze.Grid(axial=4, radial=4, eta=0.06, stretch=1.5)
LONGEST_FREEZE = 4.0 * 3600.0
"""A freeze that takes longer is answered no-go [s]."""
LONGEST_THAW = 24.0 * 3600.0
"""A thaw is followed for this long [s]; what takes longer has no figure."""
EMPTY_JACKET = 10.0
"""Conductance from the room through an empty jacket to the pipe [W/(m2 K)]: an assumption."""
PLUG_SOLID = 0.75
"""Ice mass fraction that counts as a plug in a solution [-]: an assumption, range 0.6-0.95."""

CONDUCTANCE_BAND = (110.0 / 165.0, 250.0 / 165.0)
ADHESION_BAND = (0.2 / 0.28, 1.6 / 0.28)
CONVECTION_BAND = (0.5, 1.5)
FILM_BAND = (0.7, 1.4)


@dataclass(frozen=True)
class Choice:
    """Factors on the uncertain inputs [-]: jacket, convection, room film and adhesion."""

    jacket: float = 1.0
    convection: float = 1.0
    film: float = 1.0
    adhesion: float = 1.0


LIKELY = Choice()
FAST = Choice(CONDUCTANCE_BAND[1], CONVECTION_BAND[0], FILM_BAND[0], ADHESION_BAND[1])
SLOW = Choice(CONDUCTANCE_BAND[0], CONVECTION_BAND[1], FILM_BAND[1], ADHESION_BAND[0])
CHOICES = (FAST, LIKELY, SLOW)


def check(job: Freeze) -> None:
    """Raise :class:`OutOfValidityError` naming every input the model does not cover."""
    faults = []
    if not 0.0 < job.wall < 0.45 * job.outside_diameter:
        faults.append(Fault(("pipe", "wall"), "must be below 45 % of the outside diameter"))
    elif job.bore < 0.002:
        faults.append(Fault(("pipe",), "the free bore must be at least 2 mm"))
    freezing = solutions.freezing_point(job.fluid.key, job.concentration)
    if job.fluid_temperature <= freezing:
        faults.append(
            Fault(
                ("fluid", "temperature"),
                f"must be above the fluid's freezing point, {freezing - 273.15:.2f} degC",
            )
        )
    if faults:
        raise OutOfValidityError(*faults)


def case(job: Freeze, choice: Choice = LIKELY) -> freeze.Case:
    """Lay out ``job`` for the solver with the uncertain inputs scaled by ``choice``."""
    material = job.material
    medium, solid = _medium(job, choice.convection)
    surface = min(media.ZERO_C, job.ambient_temperature - 5.0)
    beside = film.h_ambient(
        job.outside_diameter,
        surface,
        job.ambient_temperature,
        material.emissivity,
        job.insulation_thickness,
        job.insulation_conductivity,
    )
    return freeze.Case(
        job.bore,
        job.outside_diameter,
        job.wall,
        job.jacket_length,
        material.conductivity,
        material.density * material.specific_heat,
        lining(job),
        job.jacket_conductance * choice.jacket,
        beside * choice.film,
        EMPTY_JACKET * choice.film,
        job.fluid_temperature,
        job.ambient_temperature,
        medium,
        solid,
    )


def _medium(job: Freeze, strength: float) -> tuple[media.Medium, float]:
    """Return what fills the bore, and the ice fraction [-] that counts as a plug in it."""
    vertical = job.orientation == "vertical"
    if job.fluid.key == "water" or job.concentration <= 0.0:
        return media.water(job.bore, job.jacket_length, vertical, strength), 1.0
    medium = solutions.medium(
        job.fluid.key, job.concentration, job.bore, job.jacket_length, vertical, strength,
        PLUG_SOLID,
    )  # fmt: skip
    return medium, PLUG_SOLID


def lining(job: Freeze) -> float:
    """Resistance of the lining over 2 pi [m K/W per metre], ln(outer/inner)/k."""
    if job.lining_thickness <= 0.0:
        return 0.0
    return math.log(1.0 + 2.0 * job.lining_thickness / job.bore) / job.lining_conductivity


def needed_length(job: Freeze, choice: Choice = LIKELY) -> float:
    """Bonded length [m] that carries line pressure x safety factor, at least one bore diameter.

    Shear balance 4 tau L / D = p SF.
    """
    carry = (
        job.line_pressure * job.safety_factor * job.bore / (4.0 * job.adhesion * choice.adhesion)
    )
    return max(carry, job.bore)


@dataclass
class Course:
    """A solved freeze up to ready; times [s] are None where the event never came."""

    column: freeze.Column
    state: freeze.State
    at_closure: freeze.State | None
    closure: float | None
    ready: float | None


def solve(
    job: Freeze, choice: Choice = LIKELY, grid: freeze.Grid = PRODUCTION, horizon: float = 3600.0
) -> Course:
    """Freeze ``job`` to closure and on to ready; ``horizon`` [s] is how far it may be followed."""
    laid = freeze.Column(case(job, choice), grid, horizon)
    state = laid.advance(laid.start(), LONGEST_FREEZE, column.CLOSED)
    if state.why != column.CLOSED:
        return Course(laid, state, None, None, None)
    closure = float(state.clock[5])
    at_closure = state.copy()
    need = 0.5 * needed_length(job, choice)
    state = laid.advance(state, LONGEST_FREEZE, column.READY, need)
    ready = max(float(state.clock[5]), closure) if state.why == column.READY else None
    return Course(laid, state, at_closure, closure, ready)


def all_three(job: Freeze, horizon: float = 3600.0) -> tuple[Course, Course, Course]:
    """Solve the fast, the likely and the slow course; ``horizon`` [s] as for :func:`solve`."""
    fast, likely, slow = (solve(job, c, horizon=horizon) for c in CHOICES)
    return fast, likely, slow


def varied(name: str, factor: float) -> Choice:
    """Return the likely choice with one ``factor`` [-] changed."""
    return replace(LIKELY, **{name: factor})


def closure_only(job: Freeze, choice: Choice) -> float | None:
    """Closure time [s] on the coarse grid, None where the bore stays open."""
    laid = freeze.Column(case(job, choice), COARSE, 1800.0)
    state = laid.advance(laid.start(), LONGEST_FREEZE, column.CLOSED)
    return float(state.clock[5]) if state.why == column.CLOSED else None
