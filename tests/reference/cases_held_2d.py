"""The pipes on which freeze, hold and thaw are held to the explicit solution."""

from dataclasses import dataclass

from reference import problem_2d
from reference.cases_2d import of
from reference.problem_2d import Physics
from stillpipe.physics import freeze
from stillpipe.tables import pipes

PRESSURE, MOST_PRESSURE = 3e5, 16e5
"""Of the line [Pa]: the usual one, and the higher one where the pipe's rating allows it."""


@dataclass(frozen=True)
class Held:
    """A pipe under the name its figures are kept by, and what it is rated for, at most 16 bar."""

    name: str
    pipe: pipes.Pipe

    @property
    def rated(self) -> float:
        """Higher line pressure [Pa]."""
        return min(self.pipe.rating or MOST_PRESSURE, MOST_PRESSURE)

    @property
    def case(self) -> freeze.Case:
        """The freeze, as the package's solver takes it: water and room at 20 C, 50 % humidity."""
        return of(self.pipe)

    @property
    def physics(self) -> Physics:
        """The freeze, as the explicit solution takes it."""
        return problem_2d.of(self.case)


CHOSEN = (
    ("ASTM B88", "1/2", "L"), ("ASME B36.10M", "1/2", "40"), ("ASTM D1785", "2", "40"),
    ("ASME B36.10M", "2", "40"), ("ASTM B88", "1", "L"), ("ASTM B88", "2", "L"),
    ("ASME B36.10M", "1", "40"), ("ASME B36.10M", "4", "40"), ("ASME B36.19M", "1/2", "10S"),
    ("ASME B36.19M", "2", "10S"), ("ASTM F876", "3/4", "SDR 9"), ("ASTM D2846", "1", "SDR 11"),
    ("ASTM B43", "1", "regular"), ("AWWA C106", "4", "Class 150"), ("ASTM B88", "1/4", "L"),
)  # fmt: skip

CASES = [Held(f"{s} {size} {w}", pipes.find(s, size, w)) for s, size, w in CHOSEN]
"""Copper, steel, stainless steel, brass, grey iron and three plastics."""
