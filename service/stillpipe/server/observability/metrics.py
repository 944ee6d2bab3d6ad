"""Prometheus metrics, right across workers where PROMETHEUS_MULTIPROC_DIR is set."""

import os
import time

from flask import Response, g, request
from prometheus_client import (
    CONTENT_TYPE_LATEST,
    REGISTRY,
    CollectorRegistry,
    Counter,
    Histogram,
    generate_latest,
    multiprocess,
)

from stillpipe.model.figures import Effort

REQUESTS = Counter("stillpipe_requests", "Requests answered.", ["method", "route", "status"])
LATENCY = Histogram(
    "stillpipe_request_seconds", "Time from a request to its reply's beginning [s].",
    ["route"], buckets=(0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 5.0),
)  # fmt: skip
ESTIMATE = Histogram(
    "stillpipe_estimate_seconds", "Time of an estimate that was not remembered [s].",
    ["estimate"], buckets=(0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0),
)  # fmt: skip
WAITED = Histogram(
    "stillpipe_estimate_waited_seconds", "Time that an estimate waited for a place [s].",
    buckets=(0.001, 0.01, 0.1, 0.5, 1.0, 2.0, 5.0, 10.0, 30.0, 60.0),
)  # fmt: skip
CACHED = Counter("stillpipe_answers_remembered", "Requests answered from memory.", ["estimate"])
FREEZES = Counter("stillpipe_freezes", "Freezes fed by the solver.", ["estimate"])
UNITS = Counter(
    "stillpipe_solver_units", "Newton passes over an axial slice by the solver.", ["estimate"]
)
CANCELLED = Counter(
    "stillpipe_requests_cancelled", "Requests whose caller left before the answer.", ["route"]
)
ITEMS = Counter("stillpipe_batch_items", "Items of batches.", ["outcome"])

METHODS = {"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE", "CONNECT"}
"""Those of RFC 9110 and RFC 5789; callers may invent others without end, counted as ``other``."""


def begin() -> None:
    """Note when the present request began."""
    g.begun = time.perf_counter()


def solved(estimate: str, effort: Effort) -> None:
    """Count what an answer took."""
    FREEZES.labels(estimate).inc(effort.freezes)
    UNITS.labels(estimate).inc(effort.units)


def end(reply: Response) -> Response:
    """Count the present request and its time."""
    route = request.url_rule.rule if request.url_rule else "none"
    method = request.method if request.method in METHODS else "other"
    REQUESTS.labels(method, route, str(reply.status_code)).inc()
    if "begun" in g:
        LATENCY.labels(route).observe(time.perf_counter() - g.begun)
    return reply


def page() -> Response:
    """Return the metrics of all workers."""
    registry = REGISTRY
    if os.environ.get("PROMETHEUS_MULTIPROC_DIR"):
        registry = CollectorRegistry()
        multiprocess.MultiProcessCollector(registry)  # type: ignore[no-untyped-call]
    return Response(generate_latest(registry), content_type=CONTENT_TYPE_LATEST)
