"""The pipe and what is in and around it."""

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Annotated

from stillpipe.errors import Fault, OutOfValidityError
from stillpipe.model.declare import COMPUTED, Choice, Derived, Quantity, Text
from stillpipe.tables import materials, pipes

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
