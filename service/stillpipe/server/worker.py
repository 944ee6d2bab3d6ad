"""gunicorn's threaded worker, whose own refusals are application/problem+json like all others."""

import socket
import uuid
from typing import Any

import orjson
from gunicorn.http import errors
from gunicorn.workers.gthread import ThreadWorker

from stillpipe.api import problems

_KNOWN: dict[type[Exception], tuple[str, int]] = {
    errors.LimitRequestLine: ("uri-too-long", 414),
    errors.LimitRequestHeaders: ("headers-too-large", 431),
}
"""Faults of a request's head with a problem type of their own; any other is no request of HTTP."""

_PHRASES = {400: "Bad Request", 414: "URI Too Long", 431: "Request Header Fields Too Large",
            500: "Internal Server Error"}  # fmt: skip

_OURS = (errors.InvalidResponseHeader, errors.InvalidResponseHeaderName)
"""Faults of a reply's head, which are the application's."""


class Worker(ThreadWorker):  # type: ignore[misc]
    """The worker of ``gunicorn.conf.py``."""

    def handle_error(self, req: Any, client: socket.socket, addr: Any, exc: BaseException) -> None:
        """Answer what never reached the application, or broke it, and close the connection.

        Parameters
        ----------
        req
            the request as far as it was read, or None
        client
            the connection
        addr
            the caller's address
        exc
            what went wrong
        """
        if isinstance(exc, errors.ParseException) and not isinstance(exc, _OURS):
            slug, status = _KNOWN.get(type(exc), ("http", 400))
            self.log.warning("Invalid request from %s: %s", (addr or ("",))[0], exc)
            reply = refusal(slug, status, str(exc) or "This is not a request of HTTP.")
        else:
            self.log.error("Error handling request", exc_info=exc)
            reply = refusal("internal", 500, "The request could not be answered.")
        try:
            client.sendall(reply)
        except OSError:
            self.log.debug("The caller is gone.")


def refusal(slug: str, status: int, detail: str) -> bytes:
    """Return a reply with the problem ``slug``, whole, after which the connection is closed."""
    request_id = uuid.uuid4().hex
    problem = problems.body(slug, detail)
    body = orjson.dumps(problem | problems.occurrence(problem["type"], request_id))
    lines = [
        f"HTTP/1.1 {status} {_PHRASES[status]}", "Connection: close",
        "Content-Type: application/problem+json", f"Content-Length: {len(body)}",
        f"X-Request-Id: {request_id}", "X-Content-Type-Options: nosniff",
        "Referrer-Policy: no-referrer", "Cache-Control: no-store", "", "",
    ]  # fmt: skip
    return "\r\n".join(lines).encode("latin-1") + body
