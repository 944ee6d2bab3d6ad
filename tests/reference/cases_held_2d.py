"""The pipes on which freeze, hold and thaw are held to the explicit solution."""

from dataclasses import dataclass

from reference import problem_2d
from reference.problem_2d import Physics
from stillpipe.physics import constants, film
from stillpipe.tables import materials, pipes

CONDUCTANCE, FILL_TIME, EMPTY = 165.0, 30.0, 10.0
"""Of the jacket fed and empty [W/(m2 K)], and the time in which it fills [s]."""
TEMPERATURE, HUMIDITY = constants.ZERO_C + 20.0, 0.5
"""Of water and room [K], of the room [-]."""
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
    def physics(self) -> Physics:
        """The freeze."""
        pipe, material = self.pipe, materials.find(self.pipe.material)
        return Physics(
            bore=pipe.inside_diameter,
            outer_diameter=pipe.outside_diameter,
            wall_thickness=pipe.wall,
            jacket_length=0.025 + pipe.outside_diameter,
            wall_conductivity=material.conductivity,
            wall_heat_capacity=material.density * material.specific_heat,
            lining_resistance=0.0,
            h_jacket=CONDUCTANCE,
            fill_time=FILL_TIME,
            room_film=film.room_film(
                outer_diameter=pipe.outside_diameter, ambient=TEMPERATURE,
                relative_humidity=HUMIDITY, emissivity=material.emissivity,
            ),
            film_t0=film.TABLE_T0,
            film_inv=film.TABLE_INV,
            h_empty=EMPTY,
            start_temperature=TEMPERATURE,
            ambient_temperature=TEMPERATURE,
            filling=problem_2d.water(),
        )  # fmt: skip


CHOSEN = (
    ("ASTM B88", "1/2", "L"), ("ASME B36.10M", "1/2", "40"), ("ASTM D1785", "2", "40"),
    ("ASME B36.10M", "2", "40"), ("ASTM B88", "1", "L"), ("ASTM B88", "2", "L"),
    ("ASME B36.10M", "1", "40"), ("ASME B36.10M", "4", "40"), ("ASME B36.19M", "1/2", "10S"),
    ("ASME B36.19M", "2", "10S"), ("ASTM F876", "3/4", "SDR 9"), ("ASTM D2846", "1", "SDR 11"),
    ("ASTM B43", "1", "regular"), ("AWWA C106", "4", "Class 150"), ("ASTM B88", "1/4", "L"),
)  # fmt: skip

CASES = [Held(f"{s} {size} {w}", pipes.find(s, size, w)) for s, size, w in CHOSEN]
"""Copper, steel, stainless steel, brass, grey iron and three plastics."""
