"""Which pages of other origins may ask this service from a browser: none, unless told.

``STILLPIPE_CORS_ORIGINS`` is a list of origins, parted by commas, each exactly as a browser sends
it: scheme, host, and a port that is not the scheme's own. There is no wildcard, and no credentials
are allowed: a caller's key is sent as a header field.
"""

import os
import re

from flask import Flask, Response
from flask_cors import CORS

ORIGIN = re.compile(r"https?://[a-z0-9-]+(\.[a-z0-9-]+)*(:\d{1,5})?")
"""An origin (RFC 6454) of a host by name or IPv4 address, in lower case as a browser sends it."""
ASKED = ["Accept", "Authorization", "Content-Type", "If-None-Match", "X-Request-Id", "traceparent"]
SHOWN = [
    "Batch-Failed", "Batch-Read", "Batch-Succeeded", "ETag", "RateLimit", "RateLimit-Policy",
    "Retry-After", "X-Request-Id", "traceparent",
]  # fmt: skip


class OriginError(ValueError):
    """An entry of the list is not an origin; the service does not start."""


def origins(text: str) -> list[str]:
    """Return the origins that ``text`` lists.

    Raises
    ------
    OriginError
        naming every entry that is none
    """
    listed = [entry.strip() for entry in text.split(",") if entry.strip()]
    wrong = [entry for entry in listed if not ORIGIN.fullmatch(entry)]
    if wrong:
        raise OriginError(
            "STILLPIPE_CORS_ORIGINS lists what is no origin such as https://app.example: "
            + ", ".join(wrong)
        )
    return listed


def allow(app: Flask) -> None:
    """Let the pages of the listed origins ask ``app``.

    Raises
    ------
    OriginError
        where the list cannot be read
    """
    listed = origins(os.environ.get("STILLPIPE_CORS_ORIGINS", ""))
    if listed:
        CORS(
            app, origins=listed, methods=["GET", "POST"], allow_headers=ASKED,
            expose_headers=SHOWN, max_age=600, send_wildcard=False, vary_header=False,
        )  # fmt: skip
        app.after_request(_vary)


def _vary(reply: Response) -> Response:
    """Say that the reply depends on the origin, also where none was let in."""
    reply.vary.add("Origin")
    return reply
