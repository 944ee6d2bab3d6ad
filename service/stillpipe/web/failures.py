"""What goes wrong in serving rather than in a request, as problems."""

import logging

from flask import Flask, Response, request
from gunicorn.http.errors import NoMoreData, ParseException

from stillpipe.errors import CancelledError
from stillpipe.web import description, keys, metrics, problems

_log = logging.getLogger(__name__)


def register(app: Flask) -> None:
    """Map what serving may raise in ``app`` to a problem."""
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
    return problems.known(problems.RequestError(slug, detail))
