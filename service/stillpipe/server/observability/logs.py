"""Logs as one JSON object a line, with the request's id and its trace context."""

import json
import logging
import re
import sys
import time
from datetime import UTC, datetime

from flask import Response, g, has_request_context, request

TRACE = re.compile(r"[0-9a-f]{2}-[0-9a-f]{32}-[0-9a-f]{16}-[0-9a-f]{2}")
"""W3C Trace Context, the header traceparent."""

_access = logging.getLogger("stillpipe.access")


class JsonFormatter(logging.Formatter):
    """One JSON object for each record."""

    def format(self, record: logging.LogRecord) -> str:
        """Return ``record`` as a line."""
        line: dict[str, object] = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
        }
        line |= getattr(record, "fields", {})
        if has_request_context():
            line["request_id"] = g.get("request_id")
            if trace := g.get("traceparent"):
                line["traceparent"] = trace
        if record.exc_info:
            line["exception"] = self.formatException(record.exc_info)
        return json.dumps(line, ensure_ascii=False)


def configure(level: str) -> None:
    """Send the service's logs to standard error at ``level``."""
    logger = logging.getLogger("stillpipe")
    logger.setLevel(level.upper())
    if not logger.handlers:
        handler = logging.StreamHandler(sys.stderr)
        handler.setFormatter(JsonFormatter())
        logger.addHandler(handler)
        logger.propagate = False


def begin() -> None:
    """Take the caller's trace context where it has the standard's form."""
    given = request.headers.get("traceparent", "")
    if TRACE.fullmatch(given):
        g.traceparent = given


def end(reply: Response) -> Response:
    """Log the request, and pass its trace context on."""
    if trace := g.get("traceparent"):
        reply.headers["traceparent"] = trace
    if _access.isEnabledFor(logging.INFO):
        fields = {
            "method": request.method, "path": request.path, "status": reply.status_code,
            "caller": g.get("caller"),
            "ms": round(1e3 * (time.perf_counter() - g.begun), 2) if "begun" in g else None,
        }  # fmt: skip
        if effort := g.get("effort"):
            fields |= {"freezes": effort.freezes, "solver_units": effort.units}
        _access.info("request", extra={"fields": fields})
    return reply
