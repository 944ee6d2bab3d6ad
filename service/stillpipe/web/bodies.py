"""Request bodies: one JSON value, strictly read."""

import json
from typing import Any

from flask import Request
from werkzeug.exceptions import RequestEntityTooLarge

from stillpipe.web import limits
from stillpipe.web.problems import RequestError


def check(request: Request, *accepted: str) -> None:
    """Refuse a body of another media type than ``accepted``, or in a content coding.

    Raises
    ------
    RequestError
        for either; for the coding with what is accepted (RFC 9110, 15.5.16)
    """
    if request.mimetype not in accepted:
        raise RequestError("unsupported-media-type", f"Send {' or '.join(accepted)}.")
    coding = request.headers.get("Content-Encoding", "identity").strip().lower()
    if coding != "identity":
        raise RequestError(
            "unsupported-media-type",
            "No content coding is taken: send the body as it is, without Content-Encoding.",
            headers={"Accept-Encoding": "identity"},
        )


def whole(request: Request, longest: int = limits.BODY_BYTES) -> bytes:
    """Return a request's body, however it was sent.

    A body of known length is refused by Flask before it is read; a chunked one is read up to one
    byte more than ``longest`` and refused here.

    Raises
    ------
    RequestEntityTooLarge
        where it is longer
    """
    body = request.get_data()
    if len(body) > longest:
        raise RequestEntityTooLarge
    return body


def _refuse_constant(name: str) -> float:
    raise ValueError(f"{name} is not JSON")


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a member is given twice")
    return found


def read(body: bytes) -> Any:
    """Return the JSON value in ``body``.

    Raises
    ------
    RequestError
        where it is not JSON in UTF-8, is nested too deeply, names a member twice or says NaN
    """
    try:
        return json.loads(
            body.decode("utf-8"), object_pairs_hook=_unique, parse_constant=_refuse_constant
        )
    except RecursionError:
        detail = "nested too deeply"
    except UnicodeDecodeError:
        detail = "not UTF-8"
    except ValueError as error:
        detail = str(error)
    raise RequestError("malformed-json", detail)
