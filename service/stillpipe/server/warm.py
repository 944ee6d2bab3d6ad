"""Compile the solver before the first request needs it."""

from typing import Any

from stillpipe.api import answers
from stillpipe.api.inputs import schemas
from stillpipe.api.registry import ENDPOINTS

JOB: dict[str, Any] = {
    "pipe": {"standard": "ASTM B88", "size": "1/2", "schedule": "L"},
    "fluid": {"temperature": {"value": 20, "unit": "degC"}},
    "ambient": {"temperature": {"value": 20, "unit": "degC"}},
    "line_pressure": {"value": 3, "unit": "bar"},
    "room": {"volume": {"value": 60, "unit": "m3"}},
}
"""A small job that takes every part of the solver."""


def warm() -> None:
    """Answer a small job once, so that all is compiled and loaded when it returns."""
    for declared in ENDPOINTS.values():
        schemas.schema_of(declared.request)
    answers.ANSWERS.reply("job-estimate", JOB)
    point = {k: v for k, v in JOB.items() if k != "room"}
    answers.ANSWERS.reply("plug-time", point)
    moving = {**point["fluid"], "flow": {"value": 0.1, "unit": "kg/h"}}
    answers.ANSWERS.reply("plug-time", point | {"fluid": moving})
