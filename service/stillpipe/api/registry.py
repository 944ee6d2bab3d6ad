"""Every estimate by the last part of its address: what it is asked, and the forms of its answer."""

from collections.abc import Callable, Mapping
from importlib import import_module
from types import MappingProxyType
from typing import Any, NamedTuple

from stillpipe.model import requests
from stillpipe.model.figures import AnyAnswer

SVG = "image/svg+xml"
HTML = "text/html"

JSON = dict[str, Any]
Estimate = Callable[[Any], AnyAnswer]
Form = Callable[[JSON], bytes]


class Endpoint(NamedTuple):
    """One estimate: the dataclass of its request, and the estimate itself.

    ``forms`` are other forms of the answer by media type, made from the reply.
    """

    request: type[requests.Request]
    estimate: Estimate
    forms: Mapping[str, Form] = MappingProxyType({})


def _form(module: str, name: str) -> Form:
    """Return a form whose module, and with it matplotlib, is imported when first asked for."""

    def made(reply: JSON) -> bytes:
        form: Form = getattr(import_module(f"stillpipe.api.forms.{module}"), name)
        return form(reply)

    return made


REQUESTS: Mapping[str, type[requests.Request]] = MappingProxyType({
    "plug-time": requests.PlugTimeRequest,
    "hold-time": requests.HoldTimeRequest,
    "co2-mass": requests.Co2MassRequest,
    "cylinder-count": requests.CylinderCountRequest,
    "spacing-validation": requests.SpacingRequest,
    "frost-check": requests.FrostCheckRequest,
    "ventilation": requests.VentilationRequest,
    "job-estimate": requests.JobEstimateRequest,
})  # fmt: skip

FORMS: Mapping[str, Mapping[str, Form]] = MappingProxyType({
    "plug-time": {SVG: _form("pictures", "plug_time")},
    "job-estimate": {SVG: _form("pictures", "job"), HTML: _form("sheet", "job")},
})  # fmt: skip


def endpoints(estimates: Mapping[str, Estimate]) -> dict[str, Endpoint]:
    """Return the endpoint of each of ``estimates``, which stand by the names of their addresses."""
    return {
        name: Endpoint(REQUESTS[name], estimate, FORMS.get(name, {}))
        for name, estimate in estimates.items()
    }
