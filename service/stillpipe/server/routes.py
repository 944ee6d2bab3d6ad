"""Every address: load, calculate, dump."""

import hashlib
import time

import orjson
from flask import Blueprint, Response, current_app, g, request
from werkzeug.exceptions import NotFound

from stillpipe.api import catalogues, description, problems
from stillpipe.api.answers import ANSWERS
from stillpipe.api.limits import BATCH_BYTES
from stillpipe.api.registry import ENDPOINTS, HTML, PICTURE, SHEET, SVG, Endpoint
from stillpipe.api.selection import Selection
from stillpipe.server import bodies, parameters
from stillpipe.server.admission import departures, gate, shares
from stillpipe.server.batch import batch, exchange, one_table
from stillpipe.server.batch.exchange import ADDRESSES, JSON, TABLE_ADDRESSES, TABLES
from stillpipe.server.observability import metrics, spans

api = Blueprint("api", __name__)

KEPT = 300
"""How long a caller may keep a page before asking whether it has changed [s]."""
SHEET_POLICY = "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'"
"""A sheet stands alone, so that it can be kept: its style is inline, nothing else is allowed."""


def estimate(name: str) -> Response:
    """Answer a request for the estimate ``name``, in the form that the caller likes best."""
    endpoint = ENDPOINTS[name]
    bodies.check(request, *_taken(name))
    form, named = _wanted(endpoint)
    asked = parameters.asked(request, name)
    if form != JSON:
        parameters.whole(request, form)
    body = bodies.whole(request)
    given = None
    if request.mimetype in TABLES:
        given = one_table.read(body, request.mimetype, endpoint.request, endpoint.rows)
    with one_table.placed(given):
        answer = _answered(name, given.json() if given else body, form + named, asked)
    reply = Response(answer, content_type=form)
    if form == HTML:
        reply.content_type = f"{HTML}; charset=utf-8"
        reply.headers["Content-Security-Policy"] = SHEET_POLICY
    if endpoint.forms:
        reply.vary.add("Accept")
    return reply


def _taken(name: str) -> tuple[str, ...]:
    """Return the media types that the address of this request takes for the estimate ``name``."""
    own = TABLE_ADDRESSES.get(request.path.removeprefix(f"/v1/{name}/"))
    if own is not None:
        return (own,)
    return (JSON, *TABLES) if ENDPOINTS[name].rows else (JSON,)


def _wanted(endpoint: Endpoint) -> tuple[str, str]:
    """Return the media type that the caller likes best, and what names the sheet or picture in it.

    A sheet or picture that is named asks for no media type: generated clients name the default
    with all they send.
    """
    sheets = endpoint.sheets
    pages = list(next(iter(sheets.values()))) if sheets else []
    forms = [JSON, *endpoint.forms, *pages]
    form = request.accept_mimetypes.best_match(forms, default=JSON)
    if form in pages:
        return form, SHEET + request.args.get(parameters.SHEET, next(iter(sheets)))
    named = request.args.get(parameters.PICTURE) if form == SVG else None
    return form, PICTURE + named if named else ""


def _answered(name: str, body: bytes, form: str, asked: Selection) -> bytes:
    """Answer, and tell the metrics whether from memory or by a new estimate."""
    with spans.span(current_app, f"estimate {name}") as span:
        made = ANSWERS.answer(name, body, form, gate.admitted, asked)
        if span is not None:
            span.set_attribute("stillpipe.remembered", made.effort is None)
    if made.effort is None:
        metrics.CACHED.labels(name).inc()
    else:
        metrics.ESTIMATE.labels(name).observe(time.perf_counter() - g.admitted)
        metrics.solved(name, made.effort)
        g.effort = made.effort
    return made.body


for _name, _endpoint in ENDPOINTS.items():
    for _address in (_name, *(f"{_name}/{each}" for each in TABLE_ADDRESSES if _endpoint.rows)):
        api.add_url_rule(
            f"/v1/{_address}",
            endpoint=_address.replace("-", "_").replace("/", "_"),
            view_func=estimate,
            methods=["POST"],
            defaults={"name": _name},
        )


def many() -> Response:
    """Many estimates: JSON array, lines of JSON, CSV or XLSX, answered in any of these."""
    request.max_content_length = BATCH_BYTES + 1
    bodies.check(request, *ADDRESSES[request.path])
    form = exchange.wanted(request.mimetype, request.accept_mimetypes)
    asked = parameters.of_items(request, form in TABLES)
    stream = request.stream
    caller = g.get("caller") or shares.network(request.remote_addr or "")
    place = current_app.config["SHARES"].enter(caller)
    call = batch.Call(stream, request.content_length, asked)
    call.kept.callback(place.leave)
    try:
        watched = departures.watched(request.environ.get("gunicorn.socket"))
        call.client = call.kept.enter_context(watched)
        reply = Response(exchange.answered(call, request.mimetype, form))
    except BaseException:
        call.close()
        raise
    # also where the reply never begins
    reply.call_on_close(call.close)
    reply.content_type = TABLES.get(form, form)
    reply.headers.update(exchange.summary(call, form))
    reply.vary.add("Accept")
    return reply


for _address in ADDRESSES:
    api.add_url_rule(_address, view_func=many, methods=["POST"])


@api.get("/")
@api.get("/v1")
def index() -> Response:
    """Tell what there is, and where it is described."""
    return _kept(*catalogues.page("index"))


@api.get("/v1/<any(pipes, materials, fluids, cylinders, limits, meta):name>")
def catalogue(name: str) -> Response:
    """Return a catalogue or what its query leaves of it, with its entity tag."""
    return _kept(*catalogues.page(name, tuple(request.args.items())))


def _kept(body: bytes, tag: str = "", content_type: str = JSON) -> Response:
    """Return a page that changes with the service only, which the caller may keep for a while."""
    reply = Response(body, content_type=content_type)
    reply.set_etag(tag or hashlib.sha256(body).hexdigest()[:20])
    reply.cache_control.max_age = KEPT
    reply.cache_control.private = True
    reply.make_conditional(request)
    return reply


@api.get("/v1/problems/<slug>")
def problem(slug: str) -> Response:
    """Explain a problem type."""
    if slug not in problems.TYPES:
        raise NotFound("There is no such problem type.")
    status, title, text = problems.TYPES[slug]
    page = {"type": f"/v1/problems/{slug}", "title": title, "status": status, "explanation": text}
    return _kept(orjson.dumps(page))


@api.get("/livez")
def livez() -> Response:
    """Tell that the process answers."""
    return Response(b'{"status":"alive"}', content_type=JSON)


@api.get("/readyz")
def readyz() -> Response:
    """Tell whether the solver is loaded, and what the operator provides can be read."""
    if not current_app.config["READY"].is_set():
        raise problems.RequestError("not-ready", "The solver is being loaded.")
    description.json()
    known = current_app.config["KEYS"]
    if known is not None:
        known.current()
    return Response(b'{"status":"ready"}', content_type=JSON)


@api.get("/metrics")
def measured() -> Response:
    """Return Prometheus metrics."""
    return metrics.page()


@api.get("/openapi.json")
def openapi_json() -> Response:
    """Return the description of this service as JSON."""
    return _kept(description.json())


@api.get("/openapi.yaml")
def openapi_yaml() -> Response:
    """Return the description of this service as YAML."""
    return _kept(description.text(), content_type="application/yaml")
