"""The application, in which a plug-time with an id computes without end while somebody waits.

``gunicorn --config deploy/gunicorn.conf.py deploy.stand_in:create_app()`` serves it, with the
folder of tests among Python's. Every other estimate is the real one. It waits, unless
``STILLPIPE_STAND_IN`` is ``busy``: then it computes as the solver does, compiled and without
Python's lock.
"""

import os
import time

from flask import Flask
from numba import njit

from stillpipe.api.answers import ANSWERS
from stillpipe.estimates import plug_time
from stillpipe.estimates.plug_time import PlugTimeFigures
from stillpipe.model.figures import Answer
from stillpipe.model.requests import PlugTimeRequest
from stillpipe.physics.column import work
from stillpipe.server import app

BUSY = os.environ.get("STILLPIPE_STAND_IN") == "busy"


@njit(nogil=True)
def spent(steps: int) -> float:
    """Compute for about a hundredth of a second."""
    total = 0.0
    for step in range(steps):
        total += (step % 7) ** 0.5
    return total


def endless(request: PlugTimeRequest) -> Answer[PlugTimeFigures]:
    """Work until nobody waits for it; what warms the service has no id, and is answered."""
    if request.id is None:
        return plug_time.plug_time(request)
    done = work.Work()
    while True:
        done.check()
        if BUSY:
            spent(2_000_000)
        else:
            time.sleep(0.01)


def create_app() -> Flask:
    """Return the application with the endless plug-time."""
    if BUSY:
        spent(1)
    endpoint = ANSWERS.endpoints["plug-time"]._replace(estimate=endless)
    ANSWERS.endpoints = {**ANSWERS.endpoints, "plug-time": endpoint}
    return app.create_app()
