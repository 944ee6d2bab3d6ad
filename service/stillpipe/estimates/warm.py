"""Compile the solver before the first request needs it."""

from stillpipe.estimates import plug_time
from stillpipe.estimates.job import job_estimate
from stillpipe.model.fluid import Ambient, Fluid
from stillpipe.model.pipe import Pipe
from stillpipe.model.requests import JobEstimateRequest
from stillpipe.model.site import Room


def warm() -> None:
    """Solve a small job once, room and cylinder too, so that compiling is over when it returns."""
    request = JobEstimateRequest(
        pipe=Pipe(outside_diameter=0.015875, wall=0.001016, material="copper_c12200"),
        fluid=Fluid(temperature=293.15),
        ambient=Ambient(temperature=293.15),
        line_pressure=3e5,
        repair=600.0,
        room=Room(volume=50.0),
    ).completed()
    plug_time.plug_time(request)
    job_estimate.job_estimate(request)
