"""The application: wiring only."""

import gc
import os
import re
import threading
import uuid
from contextlib import suppress

from flask import Flask, Response, g, request

from stillpipe.api import description, limits
from stillpipe.server import cross_origin, docs, failures, keys, parameters, warm
from stillpipe.server.admission import gate, rates, shares
from stillpipe.server.observability import logs, metrics, spans
from stillpipe.server.routes import api

POLICY = "default-src 'none'; frame-ancestors 'none'"
"""Of every reply that is no page."""
_REQUEST_ID = re.compile(r"[A-Za-z0-9._:-]{1,128}")


def create_app(warm_up: bool = True) -> Flask:
    """Return the WSGI application; ``warm_up`` loads the solver before it returns."""
    logs.configure(os.environ.get("STILLPIPE_LOG_LEVEL", "warning"))
    app = Flask("stillpipe", static_folder=None)
    app.config["MAX_CONTENT_LENGTH"] = limits.BODY_BYTES + 1
    app.config["GATE"] = gate.gate()
    app.config["READY"] = threading.Event()
    app.config["SHARES"] = shares.from_environment()
    app.url_map.strict_slashes = True
    # a redirect would carry the host that the caller named
    app.url_map.merge_slashes = False
    app.register_blueprint(api)
    app.register_blueprint(docs.pages)
    app.before_request(metrics.begin)
    app.before_request(_identify)
    app.before_request(logs.begin)
    app.config["KEYS"] = known = keys.from_environment()
    if known is not None:
        app.before_request(lambda: keys.check(known))
    rates.limit(app, known is not None)
    app.before_request(lambda: parameters.check(request))
    app.after_request(logs.end)
    app.after_request(_name)
    app.after_request(metrics.end)
    failures.register(app)
    cross_origin.allow(app)
    spans.instrument(app)
    shares.trust_proxies(app)
    if warm_up:
        warm.warm()
        with suppress(description.DescriptionError):
            # so that the workers share it; where it cannot be read, /readyz says so
            description.json()
        # what is loaded stays: no collection walks it again, and workers share its pages
        gc.collect()
        gc.freeze()
        app.config["READY"].set()
    return app


def _identify() -> None:
    """Take the caller's request id if it is a plain token, else make one."""
    given = request.headers.get("X-Request-Id", "")
    g.request_id = given if _REQUEST_ID.fullmatch(given) else uuid.uuid4().hex


def _name(reply: Response) -> Response:
    reply.headers["X-Request-Id"] = g.get("request_id", "")
    reply.headers["X-Content-Type-Options"] = "nosniff"
    reply.headers["Referrer-Policy"] = "no-referrer"
    reply.headers["Cross-Origin-Resource-Policy"] = "same-origin"
    reply.headers.setdefault("Content-Security-Policy", POLICY)
    return reply
