"""Bodies as they come over HTTP: media type, coding, length."""

from flask import Request
from werkzeug.exceptions import RequestEntityTooLarge

from stillpipe.api import limits
from stillpipe.api.problems import RequestError


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
