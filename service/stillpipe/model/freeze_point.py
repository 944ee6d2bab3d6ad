"""A freeze point: a pipe, what is in and around it, and the jacket that makes the plug."""

import math
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Annotated, Self

from stillpipe.errors import Fault, OutOfValidityError, StillpipeError, UnknownEntryError
from stillpipe.model.cylinder import CylinderTemperature
from stillpipe.model.declare import COMPUTED, Choice, Derived, Group, Number, Quantity, Text
from stillpipe.physics import solutions
from stillpipe.physics.constants import ZERO_C
from stillpipe.tables import fluids, materials, pipes

BY_SIZE = ("standard", "size", "schedule")
BY_MEASURE = ("outside_diameter", "wall")


class Orientation(StrEnum):
    """How the pipe runs."""

    HORIZONTAL = "horizontal"
    VERTICAL = "vertical"


@dataclass(frozen=True, kw_only=True)
class Pipe:
    """A pipe by standard, size and schedule, or by its measures and material."""

    standard: Annotated[str, Choice(pipes.standards(), says="The pipe's standard.")] = COMPUTED
    size: Annotated[str, Text(says="Its size as the standard writes it.")] = COMPUTED
    schedule: Annotated[str, Text(says="Its schedule, type or class.")] = COMPUTED
    outside_diameter: Annotated[
        float, Quantity("length", 0.003, 0.120, says="Outside diameter.")
    ] = COMPUTED
    wall: Annotated[float, Quantity("length", 0.0002, 0.030, says="Wall thickness.")] = COMPUTED
    material: Annotated[
        str, Choice(tuple(m.key for m in materials.catalogue()), says="What the wall is made of.")
    ] = COMPUTED
    id: Annotated[str, Derived(says="The catalogue's name of the pipe.")] = COMPUTED
    rating: float | None = None
    """Pressure rating [Pa], None where there is none."""

    @staticmethod
    def conflicts(given: frozenset[str]) -> dict[str, str]:
        """Return what is wrong with the set of members that are given, by member."""
        sized, measured = given & set(BY_SIZE), given & set(BY_MEASURE)
        if sized and measured:
            text = "give either standard, size and schedule or measures"
            return dict.fromkeys(measured, text)
        wanted = (*BY_MEASURE, "material") if measured else BY_SIZE
        return {m: "required" for m in wanted if m not in given}

    def completed(self) -> "Pipe":
        """Return the pipe with its measures, from the catalogue where it is named by size.

        Raises
        ------
        UnknownEntryError
            where the catalogue has no such pipe
        OutOfValidityError
            where the wall leaves too small a bore
        """
        if self.standard is None:
            return self._checked()
        found = pipes.find(self.standard, self.size, self.schedule)
        return replace(
            self,
            outside_diameter=found.outside_diameter,
            wall=found.wall,
            material=self.material or found.material,
            id=found.id,
            rating=found.rating,
        )

    def _checked(self) -> "Pipe":
        if not 0.0 < self.wall < 0.45 * self.outside_diameter:
            detail = "must be below 45 % of the outside diameter"
            raise OutOfValidityError(Fault(("pipe", "wall"), detail))
        return self


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
class Fluid:
    """What fills the pipe."""

    type: Annotated[
        str, Choice(tuple(f.key for f in fluids.catalogue()), says="Which fluid.", limit="fluid")
    ] = "water"
    concentration: Annotated[
        float,
        Quantity(
            "fraction", 0.0, 0.60,
            says="Mass of glycol or salt per mass of solution; water has none.",
        ),
    ] = COMPUTED  # fmt: skip
    temperature: Annotated[
        float,
        Quantity(
            "temperature", ZERO_C - 20.0, ZERO_C + 40.0,
            says="Of the still fluid when feeding begins.", limit="fluid_temperature",
        ),
    ]  # fmt: skip
    flow: Annotated[
        float, Quantity("mass_flow", 0.0, 1.0, says="Flow through the pipe while freezing.")
    ] = 0.0
    head: Annotated[
        float,
        Quantity(
            "pressure", 0.0, 4.0e6, limit="fluid_head",
            says="Pressure that drives the flow through the narrowing bore: the stated flow lasts "
            "until the drop reaches it, and 1 kPa is taken at least. By default the line pressure, "
            "the unfavourable end.",
        ),
    ] = COMPUTED  # fmt: skip

    @property
    def freezing_point(self) -> float:
        """Temperature at which ice first forms [K]."""
        return solutions.freezing_point(self.type, self.concentration)

    def completed(self) -> "Fluid":
        """Return the fluid with its concentration.

        Raises
        ------
        OutOfValidityError
            where the concentration is missing, outside the fluid's data or water's, or where the
            fluid would be frozen already
        """
        row = fluids.find(self.type)
        path = ("fluid", "concentration")
        value = self.concentration
        if row.basis == "none":
            if value:
                raise OutOfValidityError(Fault(path, "water has no concentration; leave it out"))
            value = 0.0
        elif value is None:
            value = row.concentration_typical
        if value is None:
            raise OutOfValidityError(Fault(path, f"required for {row.key}"))
        fluids.check_concentration(row, value, path)
        complete = replace(self, concentration=float(value))
        freezing = complete.freezing_point
        if self.temperature <= freezing:
            detail = f"must be above the fluid's freezing point, {freezing - ZERO_C:.2f} degC"
            raise OutOfValidityError(Fault(("fluid", "temperature"), detail))
        return complete


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
            says="Shear strength of the bond between ice and pipe; 0.28 MPa was measured for "
            "bulk-water ice on aluminium (AIP Advances 9, 055304).",
        ),
    ] = 0.28e6  # fmt: skip
    safety_factor: Annotated[float, Number(1.0, 10.0, says="On the line pressure.")] = 2.0
    cylinder: Annotated[CylinderTemperature, Group(says="The CO2 cylinder.")] = (
        CylinderTemperature()
    )

    def completed(self) -> Self:
        """Return the freeze point with every member worked out.

        Raises
        ------
        UnknownEntryError, OutOfValidityError
            naming every member that the catalogues do not know or the model does not cover
        """
        errors: list[StillpipeError] = []
        pipe, fluid = self.pipe, self.fluid
        try:
            pipe = self._lined(self.pipe.completed())
        except StillpipeError as error:
            errors.append(error)
        try:
            fluid = self.fluid.completed()
        except StillpipeError as error:
            errors.append(error)
        if errors:
            raise gathered(errors)
        if fluid.head is None:
            fluid = replace(fluid, head=self.line_pressure)
        jacket = self.jacket.completed(pipe.outside_diameter)
        return replace(self, pipe=pipe, fluid=fluid, jacket=jacket)

    def _lined(self, pipe: Pipe) -> Pipe:
        """Return the completed ``pipe``, whose bore the lining leaves free."""
        if replace(self, pipe=pipe).bore < SMALLEST_BORE:
            detail = f"the free bore must be at least {1e3 * SMALLEST_BORE:g} mm"
            raise OutOfValidityError(Fault(("pipe",), detail))
        return pipe

    @property
    def material(self) -> materials.Material:
        """The pipe's material."""
        return materials.find(self.pipe.material)

    @property
    def bore(self) -> float:
        """Diameter of the free bore [m]."""
        lining = self.lining.thickness if self.lining else 0.0
        return self.pipe.outside_diameter - 2.0 * (self.pipe.wall + lining)

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
