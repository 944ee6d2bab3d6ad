"""Every error leaves as application/problem+json (RFC 9457), those of serving too."""

import logging
from typing import Any

import orjson
from flask import Flask, Response, g, request
from gunicorn.http.errors import NoMoreData, ParseException
from marshmallow import ValidationError
from werkzeug.exceptions import HTTPException

from stillpipe.api import description, problems
from stillpipe.api.problems import RequestError, body, of
from stillpipe.errors import CancelledError, StillpipeError
from stillpipe.server import keys
from stillpipe.server.observability import metrics

_log = logging.getLogger(__name__)

_STATUS = {404: "not-found", 405: "method-not-allowed", 413: "too-large",
           415: "unsupported-media-type"}  # fmt: skip
_HEADERS = {401: {"WWW-Authenticate": 'Bearer realm="stillpipe"'}, 503: {"Retry-After": "1"}}


def register(app: Flask) -> None:
    """Map every exception of ``app`` to a problem."""
    app.register_error_handler(HTTPException, _http)
    for expected in (RequestError, ValidationError, StillpipeError):
        app.register_error_handler(expected, known)
    app.register_error_handler(Exception, _unexpected)
    app.register_error_handler(CancelledError, _cancelled)
    app.register_error_handler(keys.KeysFileError, _without_keys)
    app.register_error_handler(description.DescriptionError, _without_description)
    for kind in (ParseException, NoMoreData):
        app.register_error_handler(kind, _unreadable)


def _cancelled(_error: Exception) -> Response:
    """Count a request that nobody waits for; the reply meets a closed connection."""
    metrics.CANCELLED.labels(request.url_rule.rule if request.url_rule else "none").inc()
    return _refused("busy", "The caller left before the answer.")


def _without_keys(error: Exception) -> Response:
    """Let nobody in while the keys cannot be read."""
    _log.error("the keys file cannot be read, nobody is let in: %s", error)
    return _refused("not-ready", "The keys cannot be read; nobody is let in until they can.")


def _without_description(error: Exception) -> Response:
    _log.error("the description cannot be read: %s", error)
    return _refused("not-ready", "The service's description cannot be read.")


def _unreadable(error: Exception) -> Response:
    """Refuse a body that is not framed as its head says."""
    return _refused("http", f"The body cannot be read: {error}")


def _refused(slug: str, detail: str) -> Response:
    return known(problems.RequestError(slug, detail))


def response(problem: dict[str, Any], headers: dict[str, str] | None = None) -> Response:
    """Return a problem as a response that names its occurrence."""
    problem = problem | problems.occurrence(problem["type"], g.get("request_id", ""))
    reply = Response(
        orjson.dumps(problem), status=problem["status"], content_type="application/problem+json"
    )
    reply.headers.update(headers or {})
    return reply


def _http(error: HTTPException) -> Response:
    code = error.code or 500
    kept = {k: v for k, v in error.get_headers() if k.lower() != "content-type"}
    slug = _STATUS.get(code, "http")
    return response(body(slug, error.description or error.name, status=code), kept)


def known(error: Exception) -> Response:
    """Return the reply to an error raised on purpose."""
    problem = of(error)
    given = error.headers if isinstance(error, RequestError) else {}
    return response(problem, _HEADERS.get(problem["status"], {}) | given)


def _unexpected(error: Exception) -> Response:
    return response(of(error))
