"""Query parameters: which address takes which, and with what values."""

from collections.abc import Mapping

from flask import Request

from stillpipe.api import catalogues, problems, selection
from stillpipe.api.registry import ENDPOINTS, Endpoint
from stillpipe.api.selection import Selection
from stillpipe.server.batch.batch import Asked
from stillpipe.server.batch.exchange import ADDRESSES, TABLE_ADDRESSES

Values = tuple[str, ...]

PICTURE = "picture"
"""Which picture of an answer is wanted."""
SHEET = "sheet"
"""Which sheet of a job is wanted."""
CAUTIONS, CODES = "cautions", "codes"
"""What ``cautions`` of a batch may be; in a table they are never more."""
FIELDS, INCLUDE = LISTS = "fields", "include"
"""Which members of a reply are wanted: a list with commas, or one name each time it is given."""
OPEN: Values = ()
"""Values of a parameter that has no closed list, or one that is read elsewhere."""


def _of_estimate(endpoint: Endpoint) -> dict[str, Values]:
    """Return the parameters of an estimate, and the values of each."""
    closed = {PICTURE: tuple(endpoint.pictures), SHEET: tuple(endpoint.sheets)}
    members = (FIELDS, INCLUDE) if endpoint.on_request else (FIELDS,)
    return dict.fromkeys(members, OPEN) | {name: of for name, of in closed.items() if of}


TAKEN: Mapping[str, Mapping[str, Values]] = {
    **{path: {FIELDS: OPEN, INCLUDE: OPEN, CAUTIONS: (CODES,)} for path in ADDRESSES},
    **{f"/v1/{name}": _of_estimate(endpoint) for name, endpoint in ENDPOINTS.items()},
    **{
        f"/v1/{name}/{table}": _of_estimate(endpoint)
        for name, endpoint in ENDPOINTS.items()
        for table in TABLE_ADDRESSES
        if endpoint.rows
    },
    **{f"/v1/{name}": dict.fromkeys(of, OPEN) for name, of in catalogues.FILTERS.items()},
}
"""What each address takes: parameters, and the values of each. Others take none."""


def check(request: Request) -> None:
    """Refuse query parameters that an address does not take, and values outside a closed list.

    Raises
    ------
    RequestError
        ``unknown-parameter`` where the address does not take one, else ``invalid-parameter``; every
        parameter that cannot be used is named
    """
    if not request.args:
        return
    taken = TAKEN.get(request.path, {})
    errors = [
        {"detail": detail, "parameter": name}
        for name, values in request.args.lists()
        if (detail := _fault(name, values, taken))
    ]
    if errors:
        known = all(error["parameter"] in taken for error in errors)
        kind = "invalid-parameter" if known else "unknown-parameter"
        detail = f"{len(errors)} query parameter(s) cannot be used here."
        raise problems.RequestError(kind, detail, errors)


def _fault(name: str, values: list[str], taken: Mapping[str, Values]) -> str:
    """Return what is wrong with the ``values`` of a parameter; empty where nothing is."""
    if name not in taken:
        return "unknown query parameter" + (f"; there are {', '.join(taken)}" if taken else "")
    if len(values) > 1 and name not in LISTS:
        return "given more than once"
    allowed = taken[name]
    return f"must be one of {', '.join(allowed)}" if allowed and values[0] not in allowed else ""


def asked(request: Request, name: str) -> Selection:
    """Return which members a request for the estimate ``name`` asks for.

    Raises
    ------
    RequestError
        naming every member that there is not
    """
    return selection.read(_lists(request), (name,)) if request.args else selection.USUAL


def of_items(request: Request, table: bool) -> Asked:
    """Return what a batch asks of each item; ``table`` where it is answered as one.

    Raises
    ------
    RequestError
        naming every member that no estimate has
    """
    members = selection.read(_lists(request)) if request.args else selection.USUAL
    return Asked(members, codes=CAUTIONS in request.args and not table, table=table)


def _lists(request: Request) -> dict[str, str]:
    """Return the lists of a query with commas, as some generated clients do not send them."""
    return {name: ",".join(request.args.getlist(name)) for name in LISTS if name in request.args}


def whole(request: Request, form: str) -> None:
    """Refuse a choice of members for a reply that is no JSON.

    Raises
    ------
    RequestError
        ``invalid-parameter``
    """
    chosen = [name for name in (FIELDS, INCLUDE) if name in request.args]
    if chosen:
        detail = f"a reply of {form} is always whole: ask for it without this parameter"
        errors = [{"detail": detail, "parameter": name} for name in chosen]
        raise problems.RequestError("invalid-parameter", "Only JSON has members.", errors)
