"""Query parameters: which address takes which, and with what values."""

from collections.abc import Mapping

from flask import Request

from stillpipe.api import problems
from stillpipe.api.registry import ENDPOINTS

PICTURE = "picture"
"""Which picture of an answer is wanted."""
SHEET = "sheet"
"""Which sheet of a job is wanted."""
TAKEN: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    f"/v1/{name}": {
        parameter: tuple(values)
        for parameter, values in ((PICTURE, endpoint.pictures), (SHEET, endpoint.sheets))
        if values
    }
    for name, endpoint in ENDPOINTS.items()
    if endpoint.pictures or endpoint.sheets
}
"""What each address takes, by its rule: parameters, and the values of each. Others take none."""


def check(request: Request) -> None:
    """Refuse query parameters that an address does not take, and values that have no meaning.

    Raises
    ------
    RequestError
        naming every parameter that cannot be used
    """
    if not request.args:
        return
    taken = TAKEN.get(request.url_rule.rule, {}) if request.url_rule else {}
    errors = [
        {"detail": detail, "parameter": name}
        for name, values in request.args.lists()
        if (detail := _fault(taken.get(name), values))
    ]
    if errors:
        detail = "Query parameters that cannot be used." if taken else "No query parameters here."
        raise problems.RequestError("unknown-parameter", detail, errors)


def _fault(allowed: tuple[str, ...] | None, values: list[str]) -> str:
    """Return what is wrong with the ``values`` of a parameter; empty where nothing is."""
    if allowed is None:
        return "unknown query parameter"
    if len(values) > 1:
        return "given more than once"
    return "" if values[0] in allowed else f"must be one of {', '.join(allowed)}"
