"""Query parameters: none, but for which picture is wanted of an answer that has several."""

from flask import request

from stillpipe.api.problems import RequestError
from stillpipe.api.registry import ENDPOINTS

PICTURE = "picture"


def check() -> None:
    """Refuse query parameters that the address does not take, and values that they do not have.

    Raises
    ------
    RequestError
        naming every parameter that cannot be used
    """
    if not request.args:
        return
    pictures = _pictures()
    errors = []
    for name, values in request.args.lists():
        if name != PICTURE or not pictures:
            errors.append({"detail": "unknown query parameter", "parameter": name})
        elif len(values) > 1 or values[0] not in pictures:
            errors.append({"detail": f"one of: {', '.join(pictures)}, once", "parameter": name})
    if errors:
        detail = "No query parameters here." if not pictures else f"Only {PICTURE} is taken here."
        raise RequestError("unknown-parameter", detail, errors)


def picture() -> str:
    """Return which picture the caller names; nothing where that is left to the service."""
    return request.args.get(PICTURE, "")


def _pictures() -> tuple[str, ...]:
    """Return the names of the pictures that there are at this address."""
    endpoint = ENDPOINTS.get((request.view_args or {}).get("name", ""))
    return () if endpoint is None else tuple(endpoint.pictures)
