"""Compile the solver before the first request needs it."""

from stillpipe.estimates import hold_time, plug_time
from stillpipe.estimates.job import Freeze
from stillpipe.tables import fluids, materials


def warm() -> None:
    """Solve a small job once, so that compiling is over when it returns."""
    job = Freeze(
        outside_diameter=0.015875,
        wall=0.001016,
        material=materials.find("copper_c12200"),
        fluid=fluids.find("water"),
        concentration=0.0,
        fluid_temperature=293.15,
        ambient_temperature=293.15,
        line_pressure=3e5,
        jacket_length=0.040875,
    )
    plug_time.plug_time(job)
    hold_time.hold_time(job, 600.0)
