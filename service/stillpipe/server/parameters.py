"""Query parameters: which an address takes; any other is refused, and so is one given twice."""

from collections.abc import Sequence

from flask import Request

from stillpipe.api import catalogues, problems, selection
from stillpipe.api.registry import ENDPOINTS
from stillpipe.api.selection import Selection
from stillpipe.server.batch.batch import Asked

CODES = "codes"
"""What ``cautions`` of a batch may be; in a table they are never more."""


def taken(request: Request) -> Sequence[str]:
    """Return the query parameters of the address that ``request`` asks."""
    rule = request.url_rule.endpoint if request.url_rule else ""
    name = (request.view_args or {}).get("name", "")
    if rule == "api.catalogue":
        return catalogues.FILTERS.get(name, ())
    if rule == "api.many":
        return ("fields", "include", "cautions")
    if name in ENDPOINTS:
        return ("fields", "include") if ENDPOINTS[name].on_request else ("fields",)
    return ()


def check(request: Request) -> None:
    """Refuse query parameters that the address does not take.

    Raises
    ------
    RequestError
        ``unknown-parameter``, or ``invalid-parameter`` for one given twice; all are named
    """
    if not request.args:
        return
    known = taken(request)
    unknown = [{"detail": _unknown(known), "parameter": k} for k in request.args if k not in known]
    if unknown:
        raise problems.RequestError(
            "unknown-parameter", f"{len(unknown)} query parameter(s) are not known here.", unknown
        )
    twice = [k for k, values in request.args.lists() if len(values) > 1]
    if twice:
        errors = [{"detail": "given twice", "parameter": k} for k in twice]
        raise problems.RequestError("invalid-parameter", "A parameter is given twice.", errors)


def _unknown(known: Sequence[str]) -> str:
    return "unknown query parameter" + (f"; there are {', '.join(known)}" if known else "")


def asked(request: Request, name: str) -> Selection:
    """Return which members a request for the estimate ``name`` asks for.

    Raises
    ------
    RequestError
        naming every member that there is not
    """
    return selection.read(request.args, (name,)) if request.args else selection.USUAL


def of_items(request: Request, table: bool) -> Asked:
    """Return what a batch asks of each item; ``table`` where it is answered as one.

    Raises
    ------
    RequestError
        naming every member that no estimate has
    """
    query = {k: v for k, v in request.args.items() if k != "cautions"}
    members = selection.read(query) if query else selection.USUAL
    given = request.args.get("cautions", CODES)
    if given != CODES:
        errors = [{"detail": f"must be {CODES!r}", "parameter": "cautions"}]
        raise problems.RequestError("invalid-parameter", "1 value(s) cannot be used", errors)
    return Asked(members, codes="cautions" in request.args and not table, table=table)


def whole(request: Request, form: str) -> None:
    """Refuse a choice of members for a reply that is no JSON.

    Raises
    ------
    RequestError
        ``invalid-parameter``
    """
    if request.args:
        detail = f"a reply of {form} is always whole: ask for it without this parameter"
        errors = [{"detail": detail, "parameter": k} for k in request.args]
        raise problems.RequestError("invalid-parameter", "Only JSON has members.", errors)
