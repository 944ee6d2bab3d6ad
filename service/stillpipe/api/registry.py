"""Every estimate by the last part of its address: what it is asked, and the forms of its answer."""

from collections.abc import Callable, Mapping
from importlib import import_module
from types import MappingProxyType
from typing import Any, NamedTuple

from stillpipe.estimates import (
    calibration,
    co2_mass,
    cylinder_count,
    frost_check,
    hold_time,
    plug_time,
    spacing,
    ventilation,
)
from stillpipe.estimates.job import job_estimate
from stillpipe.model import requests
from stillpipe.model.figures import Answer

SVG = "image/svg+xml"
HTML = "text/html"

JSON = dict[str, Any]
Estimate = Callable[[Any], Answer[Any]]
Form = Callable[[JSON], bytes]


class Endpoint(NamedTuple):
    """One estimate: the dataclass of its request, and the estimate itself.

    ``forms`` are other forms of the answer by media type, made from the reply. ``rows`` is the list
    that the rows of a table are the entries of, where the request may come as one. ``on_request``
    are members of the answer that only those get who ask for them.
    """

    request: type[requests.Request]
    estimate: Estimate
    forms: Mapping[str, Form] = MappingProxyType({})
    rows: str = ""
    on_request: tuple[str, ...] = ()


def _form(module: str, name: str) -> Form:
    """Return a form whose module, and with it matplotlib, is imported when first asked for."""

    def made(reply: JSON) -> bytes:
        form: Form = getattr(import_module(f"stillpipe.api.forms.{module}"), name)
        return form(reply)

    return made


ENDPOINTS: Mapping[str, Endpoint] = MappingProxyType({
    "plug-time": Endpoint(
        requests.PlugTimeRequest, plug_time.plug_time, {SVG: _form("pictures", "plug_time")},
        on_request=("history", "bands"),
    ),
    "hold-time": Endpoint(
        requests.HoldTimeRequest, hold_time.hold_time, {SVG: _form("pictures", "hold_time")}
    ),
    "co2-mass": Endpoint(requests.Co2MassRequest, co2_mass.co2_mass),
    "cylinder-count": Endpoint(requests.CylinderCountRequest, cylinder_count.cylinder_count),
    "spacing-validation": Endpoint(requests.SpacingRequest, spacing.spacing),
    "frost-check": Endpoint(requests.FrostCheckRequest, frost_check.frost_check),
    "ventilation": Endpoint(requests.VentilationRequest, ventilation.ventilation),
    "calibration": Endpoint(
        requests.CalibrationRequest, calibration.calibration, rows="records"
    ),
    "job-estimate": Endpoint(
        requests.JobEstimateRequest,
        job_estimate.job_estimate,
        {SVG: _form("pictures", "job"), HTML: _form("sheet", "job")},
    ),
})  # fmt: skip
"""Every estimate by the last part of its address."""

REQUESTS = tuple(endpoint.request for endpoint in ENDPOINTS.values())
"""What the estimates are asked."""
