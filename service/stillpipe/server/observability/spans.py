"""Optional OpenTelemetry: a span for each request, and one within it for the estimate.

Off unless ``STILLPIPE_OPENTELEMETRY`` is ``on``, which needs the extra ``opentelemetry``. Where the
spans go and how many are kept is said by the standard's own variables
(``OTEL_EXPORTER_OTLP_ENDPOINT``, ``OTEL_TRACES_SAMPLER``, ``OTEL_SERVICE_NAME`` and so on). A
caller's traceparent is the parent of the request's span.
"""

import os
from contextlib import AbstractContextManager, nullcontext
from typing import Any

from flask import Flask

from stillpipe import __version__

UNTRACED = "/livez$,/readyz$,/metrics$"


class TelemetryError(RuntimeError):
    """Telemetry is asked for and cannot be had; the service does not start."""


def wanted() -> bool:
    """Return whether the operator asked for telemetry.

    Raises
    ------
    TelemetryError
        where the variable is neither ``on`` nor ``off``
    """
    said = os.environ.get("STILLPIPE_OPENTELEMETRY", "off")
    if said not in ("on", "off"):
        raise TelemetryError(f"STILLPIPE_OPENTELEMETRY is on or off, not {said!r}")
    return said == "on"


def instrument(app: Flask) -> None:
    """Make spans of the requests to ``app``, where that is wanted.

    Raises
    ------
    TelemetryError
        where the extra is not installed
    """
    if not wanted():
        return
    try:
        from opentelemetry.exporter.otlp.proto.http.trace_exporter import (  # noqa: PLC0415
            OTLPSpanExporter,
        )
        from opentelemetry.instrumentation.flask import FlaskInstrumentor  # noqa: PLC0415
        from opentelemetry.sdk.resources import Resource  # noqa: PLC0415
        from opentelemetry.sdk.trace import TracerProvider  # noqa: PLC0415
        from opentelemetry.sdk.trace.export import BatchSpanProcessor  # noqa: PLC0415
    except ImportError as error:
        raise TelemetryError("install stillpipe[opentelemetry] for telemetry") from error
    name = os.environ.get("OTEL_SERVICE_NAME", "stillpipe")
    resource = Resource.create({"service.name": name, "service.version": __version__})
    provider = TracerProvider(resource=resource)
    # its thread is started again in every worker that is forked
    provider.add_span_processor(BatchSpanProcessor(OTLPSpanExporter()))
    instrumentor = FlaskInstrumentor()
    instrumentor.instrument_app(app, excluded_urls=UNTRACED, tracer_provider=provider)
    app.config["TRACER"] = provider.get_tracer("stillpipe", __version__)


def span(app: Flask, name: str) -> AbstractContextManager[Any]:
    """Return a span called ``name`` within the present one; it gives None where there is none.

    A request that is refused is no error of the estimate, so that exceptions leave no mark.
    """
    tracer = app.config.get("TRACER")
    if tracer is None:
        return nullcontext()
    made: AbstractContextManager[Any] = tracer.start_as_current_span(
        name, record_exception=False, set_status_on_exception=False
    )
    return made
