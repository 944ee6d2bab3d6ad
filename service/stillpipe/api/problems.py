"""Every error leaves as application/problem+json (RFC 9457), all faults at once."""

import logging
from collections.abc import Mapping
from typing import Any

from marshmallow import ValidationError

from stillpipe.errors import StillpipeError

TYPES: dict[str, tuple[int, str, str]] = {
    "malformed-json": (400, "The body is not JSON",
                       "Send one JSON value (RFC 8259) in UTF-8: no NaN, no duplicate members, no "
                       "half of a surrogate pair, at most 1,000 members in an object."),
    "malformed-csv": (400, "The body is not a table that can be read",
                      "Send CSV with the documented columns, separated by commas, semicolons or "
                      "tabs, in UTF-8, UTF-16 with its mark or windows-1252; each error names a "
                      "column, or the row, the column and the cell."),
    "malformed-workbook": (400, "The body is not a workbook that can be read",
                           "Send XLSX (Office Open XML, transitional) without a password, with "
                           "the documented columns on its first sheet, within the bounds at "
                           "/v1/limits; each error names a column, or the row, the column and the "
                           "cell."),
    "invalid-request": (422, "The request does not follow the schema",
                        "Each error points at a member and says what is allowed there."),
    "out-of-validity": (422, "An input is outside what the model covers",
                        "The request is well formed, but the model or a table does not reach "
                        "that far. Each error says what is allowed."),
    "too-costly": (422, "Too much to compute",
                   "Every freeze point is given a fixed amount of computing, counted in steps of "
                   "the solver and not in seconds, so that the verdict is the same every time. "
                   "This request needs more; the detail says what to change. Asking again does "
                   "not help."),
    "unknown-entry": (422, "A catalogue has no such entry",
                      "The catalogues under /v1 list what there is; each error names the choices."),
    "unknown-parameter": (422, "Unknown query parameter",
                          "This address takes no query parameters of that name."),
    "invalid-parameter": (422, "A query parameter cannot be used",
                          "Each error names a query parameter, and says what is allowed there."),
    "unauthorized": (401, "A key is needed", "Send Authorization: Bearer with a known key."),
    "not-found": (404, "Nothing at this address", "The specification at /openapi.json lists all."),
    "method-not-allowed": (405, "Method not allowed", "The Allow header lists what is."),
    "too-large": (413, "The body or the answer is too large",
                  "The largest body, and the longest answer as a table, are published at "
                  "/v1/limits."),
    "uri-too-long": (414, "The address is too long",
                     "A request line has at most 4,096 bytes behind the proxy."),
    "unsupported-media-type": (415, "Unsupported media type",
                               "Send application/json, as it is: no content coding such as gzip is "
                               "taken."),
    "too-many-requests": (429, "Too many requests",
                          "The operator limits what one caller may ask; wait as Retry-After "
                          "says."),
    "headers-too-large": (431, "The header fields are too large",
                          "A field has at most 4,096 bytes, all of them 16,384 behind the proxy."),
    "busy": (503, "Too busy, or starting",
             "More is under way than this service takes on at once, or it is being restarted. "
             "Nothing was computed; ask again as Retry-After says."),
    "timed-out": (504, "No answer in time", "The estimate took too long, and was given up."),
    "not-ready": (503, "Not ready yet",
                  "The solver is being loaded, or a file that the operator provides cannot be "
                  "read; the detail says which."),
    "internal": (500, "Something went wrong here",
                 "The fault is on this side; quote the request id when reporting it."),
    "insufficient-storage": (507, "No room to hold the body or its answer",
                             "The fault is on this side: the disk that holds batches for a while "
                             "is full. Ask again later, or send smaller batches."),
    "http": (400, "The request cannot be served", "See the detail."),
}  # fmt: skip
"""Problem types: slug to (status, title, explanation)."""


_log = logging.getLogger(__name__)


class RequestError(Exception):
    """A request refused before it reaches an estimate; ``errors`` as in the problem's body.

    ``headers`` go with the reply.
    """

    def __init__(
        self,
        slug: str,
        detail: str,
        errors: list[dict[str, str]] | None = None,
        headers: dict[str, str] | None = None,
    ) -> None:
        super().__init__(detail)
        self.slug, self.detail, self.errors = slug, detail, errors or []
        self.headers = headers or {}


def pointer(path: tuple[str | int, ...]) -> str:
    """Return ``path`` as a JSON pointer in fragment form (RFC 6901)."""
    parts = (str(p).replace("~", "~0").replace("/", "~1") for p in path)
    return "#" + "".join("/" + p for p in parts)


def flatten(messages: Any, path: tuple[str | int, ...] = ()) -> list[dict[str, str]]:
    """Return marshmallow's nested messages as a list of detail and pointer."""
    if isinstance(messages, Mapping):
        found: list[dict[str, str]] = []
        for name, inner in messages.items():
            found += flatten(inner, path if name == "_schema" else (*path, name))
        return found
    return [{"detail": str(m), "pointer": pointer(path)} for m in messages]


def body(
    slug: str, detail: str, errors: list[dict[str, str]] | None = None, status: int | None = None
) -> dict[str, Any]:
    """Return a problem's members."""
    code, title, _ = TYPES[slug]
    problem: dict[str, Any] = {
        "type": f"/v1/problems/{slug}", "title": title, "status": status or code, "detail": detail,
    }  # fmt: skip
    if errors:
        problem["errors"] = errors
    return problem


def occurrence(type_: str, request_id: str) -> dict[str, str]:
    """Return what names one occurrence of a problem: its page, and the request it was told in."""
    return {"instance": f"{type_}#{request_id}", "request_id": request_id}


def of(error: Exception, base: tuple[str, ...] = ()) -> dict[str, Any]:
    """Return the problem that ``error`` stands for; unknown errors are internal, and logged.

    ``base`` is where the request lies in the body.
    """
    if isinstance(error, RequestError):
        return body(error.slug, error.detail, error.errors)
    if isinstance(error, ValidationError):
        errors = flatten(error.messages, base)
        return body("invalid-request", f"{len(errors)} member(s) cannot be used", errors)
    if isinstance(error, StillpipeError) and error.kind in TYPES:
        errors = [{"detail": f.detail, "pointer": pointer((*base, *f.path))} for f in error.faults]
        if any(f.path for f in error.faults):
            return body(error.kind, f"{len(errors)} member(s) cannot be used", errors)
        return body(error.kind, str(error), errors)
    _log.error("unexpected error", exc_info=error)
    return body("internal", "The request could not be answered.")
