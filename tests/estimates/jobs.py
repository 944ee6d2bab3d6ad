"""Jobs for the tests of estimates: one plain, and any that the model covers."""

from hypothesis import strategies as st

from stillpipe.estimates.job import Freeze
from stillpipe.tables import fluids, materials, pipes

ZERO_C = 273.15


def of(pipe: pipes.Pipe, celsius: float = 20.0, room: float = 20.0, bar: float = 3.0) -> Freeze:
    """A still line of water in ``pipe``; temperatures [C], gauge pressure [bar]."""
    return Freeze(
        outside_diameter=pipe.outside_diameter, wall=pipe.wall,
        material=materials.find(pipe.material), fluid=fluids.find("water"), concentration=0.0,
        fluid_temperature=ZERO_C + celsius, ambient_temperature=ZERO_C + room,
        line_pressure=bar * 1e5, jacket_length=0.025 + pipe.outside_diameter,
    )  # fmt: skip


HALF_INCH = of(pipes.find("ASTM B88", "1/2", "L"))
TWO_INCH = of(pipes.find("ASME B36.10M", "2", "40"))


def any_job() -> st.SearchStrategy[Freeze]:
    """Water in any pipe of the catalogue, at any temperature and pressure of a building."""
    return st.builds(
        of, st.sampled_from(pipes.catalogue()), st.floats(1.0, 38.0), st.floats(2.0, 40.0),
        st.floats(0.0, 12.0),
    )  # fmt: skip
