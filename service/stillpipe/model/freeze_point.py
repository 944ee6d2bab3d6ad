"""A freeze point: where a plug is made, and all that its freezing depends on."""

import math
from dataclasses import dataclass, replace
from typing import Annotated, Self

from stillpipe.errors import Fault, OutOfValidityError, StillpipeError
from stillpipe.model.cylinder import CylinderTemperature
from stillpipe.model.declare import Choice, Group, Number, Quantity
from stillpipe.model.fluid import Ambient, Fluid, gathered
from stillpipe.model.jacket import Jacket
from stillpipe.model.pipe import Insulation, Lining, Orientation, Pipe
from stillpipe.tables import materials

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
