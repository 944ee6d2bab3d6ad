"""Compile the solver before the first request needs it."""

from stillpipe.estimates import hold_time, plug_time, ventilation
from stillpipe.estimates.job import Freeze
from stillpipe.physics import co2
from stillpipe.tables import fluids, materials


def warm() -> None:
    """Solve a small job once, room and cylinder too, so that compiling is over when it returns."""
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
    co2.left_adiabatic(293.15, 680.0)
    release = (ventilation.Segment(1e-3, 600.0),)
    ventilation.ventilation(ventilation.Room(50.0), release)
