"""From a freeze point to a solved course: the case, its uncertain inputs, its stages."""

import math
from dataclasses import dataclass, replace

from stillpipe.errors import Fault, OutOfValidityError
from stillpipe.estimates.job import Freeze
from stillpipe.physics import film, freeze, media, solutions
from stillpipe.physics.work import Work

LONGEST_FREEZE = freeze.LONGEST_FREEZE
LONGEST_THAW = freeze.LONGEST_THAW
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
    beside = film.beside(
        job.outside_diameter,
        surface,
        job.ambient_temperature,
        material.emissivity,
        job.insulation_thickness,
        job.insulation_conductivity,
    )
    return freeze.Case(
        bore=job.bore,
        outer_diameter=job.outside_diameter,
        wall_thickness=job.wall,
        jacket_length=job.jacket_length,
        wall_conductivity=material.conductivity,
        wall_heat_capacity=material.density * material.specific_heat,
        lining_resistance=lining(job),
        h_jacket=job.jacket_conductance * choice.jacket,
        h_ambient=beside * choice.film,
        h_empty=EMPTY_JACKET * choice.film,
        start_temperature=job.fluid_temperature,
        ambient_temperature=job.ambient_temperature,
        medium=medium,
        plug_ice_fraction=solid,
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


def solve(
    job: Freeze, choice: Choice = LIKELY, horizon: float = 3600.0, work: Work | None = None
) -> freeze.FreezeRun:
    """Freeze ``job`` to closure and on to ready; ``horizon`` [s] is how far it may be followed."""
    return freeze.FreezeRun(
        case(job, choice), needed_length=needed_length(job, choice), horizon=horizon, work=work
    )


def all_three(
    job: Freeze, horizon: float = 3600.0
) -> tuple[freeze.FreezeRun, freeze.FreezeRun, freeze.FreezeRun]:
    """Solve the fast, the likely and the slow course; ``horizon`` [s] as for :func:`solve`."""
    fast, likely, slow = (solve(job, c, horizon) for c in CHOICES)
    return fast, likely, slow


def varied(name: str, factor: float) -> Choice:
    """Return the likely choice with one ``factor`` [-] changed."""
    return replace(LIKELY, **{name: factor})


def closure_only(job: Freeze, choice: Choice) -> float | None:
    """Closure time [s] on the coarse grid, None where the bore stays open."""
    return freeze.closure_only(case(job, choice))
