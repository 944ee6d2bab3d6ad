"""A freeze point: a pipe, what is in and around it, and the jacket that makes the plug."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Annotated, Any, Self

from stillpipe.errors import Fault, OutOfValidityError, StillpipeError, UnknownEntryError
from stillpipe.model.calibration import Calibration
from stillpipe.model.cylinder import CylinderTemperature
from stillpipe.model.declare import (
    COMPUTED,
    Choice,
    Group,
    Many,
    Number,
    Numbers,
    Quantity,
)
from stillpipe.model.fluid import Fluid
from stillpipe.model.observations import MOST, AnyObservation
from stillpipe.model.pipe import Pipe
from stillpipe.physics import trapped
from stillpipe.physics.constants import ZERO_C
from stillpipe.tables import materials


class Orientation(StrEnum):
    """How the pipe runs."""

    HORIZONTAL = "horizontal"
    VERTICAL = "vertical"


@dataclass(frozen=True, kw_only=True)
class Lining:
    """Scale or lining in the bore."""

    material: Annotated[
        str,
        Choice(
            tuple(m.key for m in materials.layers() if m.kind == "lining"),
            says="What the scale or lining is.",
            limit="lining",
        ),
    ]
    thickness: Annotated[
        float,
        Quantity("length", 0.0001, 0.020, says="How thick it is.", limit="lining_thickness"),
    ]

    @property
    def conductivity(self) -> float:
        """Thermal conductivity [W/(m K)]."""
        return materials.find_layer(self.material, "lining", ("lining", "material")).conductivity


@dataclass(frozen=True, kw_only=True)
class Insulation:
    """Insulation on the pipe beside the jacket."""

    material: Annotated[
        str,
        Choice(
            tuple(m.key for m in materials.layers() if m.kind == "insulation"),
            says="What the insulation is.",
            limit="insulation",
        ),
    ]
    thickness: Annotated[
        float,
        Quantity("length", 0.001, 0.100, says="How thick it is.", limit="insulation_thickness"),
    ]

    @property
    def conductivity(self) -> float:
        """Thermal conductivity [W/(m K)]."""
        path = ("insulation", "material")
        return materials.find_layer(self.material, "insulation", path).conductivity


@dataclass(frozen=True, kw_only=True)
class Ambient:
    """The air around the pipe."""

    temperature: Annotated[
        float,
        Quantity(
            "temperature", ZERO_C - 20.0, ZERO_C + 50.0,
            says="Of the air around the pipe.", limit="ambient_temperature",
        ),
    ]  # fmt: skip


def gathered(errors: list[StillpipeError]) -> StillpipeError:
    """Return one error for several, each fault kept; an unknown entry outranks the others."""
    unknown = any(isinstance(e, UnknownEntryError) for e in errors)
    kind = UnknownEntryError if unknown else OutOfValidityError
    return kind(*(fault for e in errors for fault in e.faults))


SPECIFIC_HEAT = 1000.0
"""Specific heat of the jacket [J/(kg K)]: an assumption."""


@dataclass(frozen=True, kw_only=True)
class Jacket:
    """The clamp-on chamber that holds dry ice against the pipe."""

    length: Annotated[
        float,
        Quantity(
            "length", 0.020, 0.500, says="Along the pipe; 25 mm + outside diameter by default.",
            limit="jacket_length",
        ),
    ] = COMPUTED  # fmt: skip
    conductance: Annotated[
        float,
        Quantity(
            "conductance", 50.0, 500.0,
            says="From dry ice to the pipe's surface: an assumption, no published value was found.",
            limit="jacket_conductance",
        ),
    ] = 165.0  # fmt: skip
    emissivity: Annotated[
        float,
        Number(
            0.05, 1.0, says="Of the jacket's outside, on which the heat that leaks in from the "
            "room depends; 0.5 is an assumption.",
        ),
    ] = 0.5  # fmt: skip

    fill_time: Annotated[
        float,
        Quantity(
            "time", 1.0, 300.0,
            says="Time in which the filling jacket comes to 63 % of its conductance: an "
            "assumption, common practice 10 to 90 s, no source.",
        ),
    ] = 30.0  # fmt: skip

    def completed(self, outside_diameter: float) -> "Jacket":
        """Return the jacket with its length [m], from the pipe's ``outside_diameter`` [m]."""
        return self if self.length else replace(self, length=0.025 + outside_diameter)


@dataclass(frozen=True, kw_only=True)
class JacketLoss:
    """What the jacket itself takes up."""

    mass: Annotated[
        float,
        Quantity(
            "mass", 0.01, 50.0, limit="jacket_mass",
            says="Of the jacket, cooled with the pipe; 0.1 kg + 5 kg for each metre of outside "
            "diameter by default: an assumption.",
        ),
    ] = COMPUTED  # fmt: skip
    leak: Annotated[
        float,
        Quantity(
            "leak", 0.0, 50.0, limit="jacket_leak",
            says="Heat from the room through the jacket's outside for each kelvin; by default "
            "that of a cylinder 100 mm wider than the pipe at 5 W/(m2.K): an assumption.",
        ),
    ] = COMPUTED  # fmt: skip


SMALLEST_BORE = 0.002
"""Smallest free bore that is covered [m]."""


def _pipe_fits(groups: Mapping[str, Any]) -> None:
    """Complete the pipe of ``groups`` where there is one, and see what its lining leaves free."""
    if "pipe" not in groups:
        return
    pipe, lining = groups["pipe"].completed(), groups.get("lining")
    if _bore(pipe, lining) < SMALLEST_BORE:
        detail = f"the free bore must be at least {1e3 * SMALLEST_BORE:g} mm"
        raise OutOfValidityError(Fault(("pipe",), detail))


def _fluid_fits(groups: Mapping[str, Any]) -> None:
    """Complete the fluid of ``groups`` where there is one."""
    if "fluid" in groups:
        groups["fluid"].completed()


def _calibration_fits(groups: Mapping[str, Any]) -> None:
    """See that the calibration of ``groups`` can be used, and that it alone says what it does."""
    known = groups.get("calibration")
    if known is None:
        return
    found = [*known.faults, *map(stated_twice, jacket_stated(groups))]
    if found:
        raise gathered(found)


def jacket_stated(groups: Mapping[str, Any]) -> list[tuple[str, ...]]:
    """Return where ``groups`` state otherwise than by default what belongs to a set of jackets."""
    jacket, usual = groups.get("jacket") or Jacket(), Jacket()
    own = ("conductance", "fill_time")
    return [("jacket", m) for m in own if getattr(jacket, m) != getattr(usual, m)]


def stated_twice(path: tuple[str, ...]) -> OutOfValidityError:
    """Return that the member at ``path`` is stated though a calibration tells it."""
    return OutOfValidityError(Fault(path, "leave it out: the calibration says what it is"))


def _bore(pipe: Pipe, lining: Lining | None) -> float:
    """Return the diameter of the free bore [m]."""
    layer = lining.thickness if lining else 0.0
    return pipe.outside_diameter - 2.0 * (pipe.wall + layer)


@dataclass(frozen=True, kw_only=True)
class FreezePoint:
    """A pipe, what is in and around it, and the jacket on it.

    As read from a request some members still are to be worked out; :meth:`completed` does so.
    """

    pipe: Annotated[Pipe, Group(says="The pipe to be frozen.")]
    lining: Annotated[Lining | None, Group(says="Scale or lining in the bore.")] = None
    insulation: Annotated[
        Insulation | None, Group(says="Insulation on the pipe beside the jacket.")
    ] = None
    fluid: Annotated[Fluid, Group(says="What fills the pipe.")]
    ambient: Annotated[Ambient, Group(says="The air around the pipe.")]
    relative_humidity: Annotated[
        float,
        Number(
            0.0, 1.0, says="Of the room's air, from which dew and frost settle on the pipe; 0.5 is "
            "an assumption.",
        ),
    ] = 0.5  # fmt: skip
    line_pressure: Annotated[
        float, Quantity("pressure", 0.0, 4.0e6, says="Gauge pressure that the plug must carry.")
    ]
    orientation: Annotated[Orientation, Choice(Orientation, says="How the pipe runs.")] = (
        Orientation.HORIZONTAL
    )
    jacket: Annotated[Jacket, Group(says="The jacket on the pipe.")] = Jacket()
    adhesion: Annotated[
        float,
        Quantity(
            "pressure", 0.05e6, 2.0e6,
            says="Shear strength of the bond between ice and pipe at -10 degC, the likely one; "
            "publications span 0.2 to 1.6 MPa.",
        ),
    ] = 0.5e6  # fmt: skip
    safety_factor: Annotated[float, Number(1.0, 10.0, says="On the line pressure.")] = 2.0
    cylinder: Annotated[CylinderTemperature, Group(says="The CO2 cylinder.")] = (
        CylinderTemperature()
    )
    decision_probability: Annotated[
        float, Number(0.5, 0.99, says="Chance at which what is planned is to hold.")
    ] = 0.95
    percentiles: Annotated[
        tuple[float, ...],
        Numbers(
            0.01, 0.99, 20, says="Probabilities of further percentiles that every range tells."
        ),
    ] = ()

    observations: Annotated[
        tuple[AnyObservation, ...],
        Many(MOST, says="What was seen or measured while it is fed; every figure rests on it."),
    ] = ()
    calibration: Calibration | None = None
    """What is known of its set of jackets, None for what the table says."""

    def completed(self) -> Self:
        """Return the freeze point with every member worked out.

        Raises
        ------
        UnknownEntryError, OutOfValidityError
            naming every member that the catalogues do not know or the model does not cover
        """
        errors = self.faults(vars(self))
        if errors:
            raise gathered(errors)
        pipe, fluid = self.pipe.completed(), self.fluid.completed()
        if fluid.head is None:
            fluid = replace(fluid, head=self.line_pressure)
        jacket = self.jacket.completed(pipe.outside_diameter)
        return replace(self, pipe=pipe, fluid=fluid, jacket=jacket)

    @classmethod
    def faults(cls, groups: Mapping[str, Any]) -> list[StillpipeError]:
        """Return what the catalogues do not know or the model does not cover.

        ``groups`` are the members known so far, by name: those that cannot be read are not among
        them.
        """
        found: list[StillpipeError] = []
        for check in (_pipe_fits, _fluid_fits, _calibration_fits):
            try:
                check(groups)
            except StillpipeError as error:
                found.append(error)
        return found

    @property
    def material(self) -> materials.Material:
        """The pipe's material."""
        return materials.find(self.pipe.material)

    @property
    def pressure_rating(self) -> float:
        """What the pipe is rated for [Pa]: as its standard says, else from its allowable stress."""
        pipe = self.pipe
        if pipe.rating is not None:
            return pipe.rating
        return trapped.burst(pipe.outside_diameter, pipe.wall, self.material.allowable_stress)

    @property
    def bore(self) -> float:
        """Diameter of the free bore [m]."""
        return _bore(self.pipe, self.lining)

    @property
    def lining_resistance(self) -> float:
        """Resistance of the lining over 2 pi [m K/W for each metre], ln(outer/inner)/k."""
        if self.lining is None:
            return 0.0
        return math.log(1.0 + 2.0 * self.lining.thickness / self.bore) / self.lining.conductivity

    @property
    def insulation_thickness(self) -> float:
        """Thickness of the insulation beside the jacket [m], 0 for a bare pipe."""
        return self.insulation.thickness if self.insulation else 0.0

    @property
    def insulation_conductivity(self) -> float:
        """Its conductivity [W/(m K)]; of no account for a bare pipe."""
        return self.insulation.conductivity if self.insulation else 1.0
