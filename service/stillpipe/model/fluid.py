"""What fills a pipe."""

from dataclasses import dataclass, replace
from typing import Annotated

from stillpipe.errors import Fault, OutOfValidityError
from stillpipe.model.declare import COMPUTED, Choice, Quantity
from stillpipe.physics import solutions
from stillpipe.physics.constants import ZERO_C
from stillpipe.tables import fluids


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
