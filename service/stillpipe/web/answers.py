"""Body in, body out, for each estimate; repeated bodies are answered from memory."""

import threading
from collections.abc import Callable, Mapping
from functools import lru_cache
from types import MappingProxyType
from typing import Any, NamedTuple

import orjson
from marshmallow import Schema

from stillpipe.estimates import hold_time as hold_time_estimate
from stillpipe.estimates import plug_time as plug_time_estimate
from stillpipe.web import bodies, gas, job, replies, schemas, site

REMEMBERED = 2048
"""Answers kept by each worker; the service is stateless, so an equal body has an equal answer."""


JSON = "application/json"
_present = threading.local()
SVG = "image/svg+xml"
HTML = "text/html"


class Endpoint(NamedTuple):
    """One estimate: the schema of its body, and the reply to a body that the schema has loaded.

    ``others`` are other forms of the answer by media type, made from the loaded body.
    """

    schema: Schema
    reply: Callable[[dict[str, Any]], dict[str, Any]]
    others: Mapping[str, Callable[[dict[str, Any]], bytes]] = MappingProxyType({})


def _plug_time(data: dict[str, Any]) -> dict[str, Any]:
    asked = schemas.asked(data)
    return replies.plug_time(asked, plug_time_estimate.plug_time(asked.job))


def _plug_time_picture(data: dict[str, Any]) -> bytes:
    from stillpipe.web import pictures  # noqa: PLC0415 - loads matplotlib, for a picture only

    asked = schemas.asked(data)
    return pictures.plug_time(asked, plug_time_estimate.plug_time(asked.job))


def _hold_time(data: dict[str, Any]) -> dict[str, Any]:
    asked = schemas.asked(data)
    return replies.hold_time(asked, hold_time_estimate.hold_time(asked.job, asked.hold))


ESTIMATES: dict[str, Endpoint] = {
    "plug-time": Endpoint(schemas.PlugTimeSchema(), _plug_time, {SVG: _plug_time_picture}),
    "hold-time": Endpoint(schemas.HoldTimeSchema(), _hold_time),
    "co2-mass": Endpoint(gas.Co2MassSchema(), gas.co2_mass),
    "cylinder-count": Endpoint(gas.CylinderCountSchema(), gas.cylinder_count),
    "spacing-validation": Endpoint(site.SpacingSchema(), site.spacing),
    "frost-check": Endpoint(site.FrostCheckSchema(), site.frost_check),
    "ventilation": Endpoint(site.VentilationSchema(), site.ventilation),
    "job-estimate": Endpoint(
        job.JobEstimateSchema(), job.job_estimate, {SVG: job.picture, HTML: job.sheet}
    ),
}
"""Every estimate by the last part of its address."""


def reply(name: str, tree: Any) -> dict[str, Any]:
    """Return the reply of estimate ``name`` to a parsed body.

    Raises
    ------
    ValidationError, StillpipeError
        naming every member that cannot be used
    """
    endpoint = ESTIMATES[name]
    return endpoint.reply(endpoint.schema.load(tree))


@lru_cache(maxsize=REMEMBERED)
def answer(name: str, body: bytes, form: str = JSON) -> bytes:
    """Return the answer of estimate ``name`` to a request's ``body``, as media type ``form``.

    Raises
    ------
    RequestError, ValidationError, StillpipeError
        for a body that cannot be answered; errors are not remembered
    """
    _present.fresh = True
    tree = bodies.read(body)
    if form == JSON:
        return orjson.dumps(reply(name, tree))
    endpoint = ESTIMATES[name]
    return endpoint.others[form](endpoint.schema.load(tree))


def answered(name: str, body: bytes, form: str = JSON) -> tuple[bytes, bool]:
    """Return :func:`answer`, and whether it was estimated now rather than remembered."""
    _present.fresh = False
    found = answer(name, body, form)
    return found, bool(_present.fresh)
