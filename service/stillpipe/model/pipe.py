"""A pipe as a caller names it."""

from dataclasses import dataclass, replace
from typing import Annotated

from stillpipe.errors import Fault, OutOfValidityError
from stillpipe.model.declare import COMPUTED, Choice, Name, Quantity, Text
from stillpipe.tables import materials, pipes, spellings

BY_SIZE = ("standard", "size", "schedule")
BY_MEASURE = ("outside_diameter", "wall")
SPELLED = tuple(spellings.standards(pipes.standards()).items())
"""How standards may be written besides, and what that means."""


@dataclass(frozen=True, kw_only=True)
class Pipe:
    """A pipe by the catalogue's id, by standard, size and schedule, or by measures and material."""

    standard: Annotated[str, Choice(pipes.standards(), SPELLED, says="The pipe's standard.")] = (
        COMPUTED
    )
    size: Annotated[str, Text(says="Its size as the standard writes it.")] = COMPUTED
    schedule: Annotated[str, Text(says="Its schedule, type or class.")] = COMPUTED
    outside_diameter: Annotated[
        float, Quantity("length", 0.003, 0.120, says="Outside diameter.")
    ] = COMPUTED
    wall: Annotated[float, Quantity("length", 0.0002, 0.030, says="Wall thickness.")] = COMPUTED
    material: Annotated[
        str, Choice(tuple(m.key for m in materials.catalogue()), says="What the wall is made of.")
    ] = COMPUTED
    id: Annotated[str, Name(says="The catalogue's name of the pipe.", limit="pipe")] = COMPUTED
    rating: float | None = None
    """Pressure rating [Pa], None where there is none."""

    @staticmethod
    def conflicts(given: frozenset[str]) -> dict[str, str]:
        """Return what is wrong with the set of members that are given, by member."""
        sized, measured = given & set(BY_SIZE), given & set(BY_MEASURE)
        if "id" in given:
            return dict.fromkeys(sized | measured, "give either id or what it stands for")
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
        if self.standard is not None:
            found = pipes.find(self.standard, self.size, self.schedule)
        elif self.id is not None:
            found = pipes.by_id(self.id, ("pipe", "id"))
        else:
            return self._checked()
        return replace(
            self,
            standard=found.standard,
            size=found.size,
            schedule=found.schedule,
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
