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
from stillpipe.model import options, requests
from stillpipe.model.figures import Answer

SVG = "image/svg+xml"
HTML = "text/html"
PDF = "application/pdf"

SHEET = ";sheet="
"""Between the media type and the name of a sheet."""

PICTURE = ";picture="
"""Between the media type and the name of a picture."""

JSON = dict[str, Any]
Estimate = Callable[[Any], Answer[Any]]
Form = Callable[[JSON], bytes]


class Endpoint(NamedTuple):
    """One estimate: the dataclass of its request, and the estimate itself.

    ``rows`` is the list that the rows of a table are the entries of, where the request may come as
    one. Other forms of the answer are made from the reply: ``pictures`` by name, and ``sheets`` by
    name and media type, each the first where none is named. ``on_request`` are members of the
    answer that only those get who ask for them.
    """

    request: type[requests.Request]
    estimate: Estimate
    rows: str = ""
    pictures: Mapping[str, Form] = MappingProxyType({})
    sheets: Mapping[str, Mapping[str, Form]] = MappingProxyType({})
    on_request: tuple[str, ...] = ()

    @property
    def forms(self) -> Mapping[str, Form]:
        """Return the form of each media type that needs no name."""
        first = next(iter(self.pictures.values()), None)
        return {} if first is None else {SVG: first}

    def form(self, name: str) -> Form:
        """Return the form of that ``name``: a media type, with ``;sheet=`` or ``;picture=``."""
        media_type, _, sheet = name.partition(SHEET)
        if sheet:
            return self.sheets[sheet][media_type]
        media_type, _, picture = name.partition(PICTURE)
        return self.pictures[picture] if picture else self.forms[media_type]


def _form(module: str, name: str) -> Form:
    """Return a form whose module, and with it matplotlib, is imported when first asked for."""

    def made(reply: JSON) -> bytes:
        form: Form = getattr(import_module(f"stillpipe.api.forms.{module}"), name)
        return form(reply)

    return made


PICTURES = {
    "plug-time": {
        "course": _form("pictures", "plug_time"), "section": _form("section", "plug_time"),
        "ends": _form("ends", "plug_time"),
    },
    "hold-time": {
        "survival": _form("pictures", "hold_time"), "section": _form("run.picture", "hold_time"),
        "ends": _form("ends", "hold_time"),
    },
    "spacing-validation": {"section": _form("run.picture", "spacing")},
    "ventilation": {"air": _form("air", "ventilation")},
    "job-estimate": {
        "timeline": _form("pictures", "job"), "section": _form("run.picture", "job"),
        "ends": _form("ends", "job"), "air": _form("air", "job"),
    },
}  # fmt: skip
"""Every picture by the estimate that it is of and its own name."""

ENDPOINTS: Mapping[str, Endpoint] = MappingProxyType({
    "plug-time": Endpoint(
        requests.PlugTimeRequest, plug_time.plug_time,
        pictures=PICTURES["plug-time"],
        on_request=("history", "bands", "profile"),
    ),
    "hold-time": Endpoint(
        requests.HoldTimeRequest, hold_time.hold_time,
        pictures=PICTURES["hold-time"],
    ),
    "co2-mass": Endpoint(requests.Co2MassRequest, co2_mass.co2_mass),
    "cylinder-count": Endpoint(requests.CylinderCountRequest, cylinder_count.cylinder_count),
    "spacing-validation": Endpoint(
        requests.SpacingRequest, spacing.spacing,
        pictures=PICTURES["spacing-validation"],
    ),
    "frost-check": Endpoint(requests.FrostCheckRequest, frost_check.frost_check),
    "ventilation": Endpoint(
        requests.VentilationRequest, ventilation.ventilation,
        pictures=PICTURES["ventilation"],
    ),
    "calibration": Endpoint(
        requests.CalibrationRequest, calibration.calibration, rows="records"
    ),
    "job-estimate": Endpoint(
        options.JobEstimateRequest,
        job_estimate.job_estimate,
        pictures=PICTURES["job-estimate"],
        sheets={
            name: {HTML: _form(f"sheets.{name}", "html"), PDF: _form(f"sheets.{name}", "pdf")}
            for name in ("fitter", "customer")
        },
    ),
})  # fmt: skip
"""Every estimate by the last part of its address."""

REQUESTS = tuple(endpoint.request for endpoint in ENDPOINTS.values())
"""What the estimates are asked."""
