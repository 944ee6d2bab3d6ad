"""The documentation page: the served description, shown offline by swagger-ui.

Its scripts and style come from an installed package, nothing from another host, nothing inline.
"""

import hashlib
from functools import lru_cache
from pathlib import Path

import swagger_ui_bundle
from flask import Blueprint, Response, request
from werkzeug.exceptions import NotFound

from stillpipe.api import description

pages = Blueprint("docs", __name__)

OURS = Path(__file__).parent / "pages"
THEIRS = Path(swagger_ui_bundle.swagger_ui_path)
GUIDE = description.FOLDER / "guide"
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
FILES = {
    "docs.css": (OURS, "text/css; charset=utf-8"),
    "docs.js": (OURS, "text/javascript; charset=utf-8"),
    "swagger-ui.css": (THEIRS, "text/css; charset=utf-8"),
    "swagger-ui-bundle.js": (THEIRS, "text/javascript; charset=utf-8"),
    "CHANGES.md": (description.FOLDER, "text/markdown; charset=utf-8"),
    "GUIDE.md": (GUIDE, "text/markdown; charset=utf-8"),
    "JOBS.md": (GUIDE, "text/markdown; charset=utf-8"),
    **{
        f"{caller}.{language}": (GUIDE, "text/plain; charset=utf-8")
        for caller in ("quote", "frost", "visit", "batch")
        for language in ("sh", "py", "mjs")
    },
}
"""Every part by its name: the folder where it lies, and its media type."""


@lru_cache(maxsize=32)
def _file(folder: Path, name: str) -> tuple[bytes, str]:
    body = (folder / name).read_bytes()
    return body, hashlib.sha256(body).hexdigest()[:20]


@pages.get("/docs")
def docs() -> Response:
    """Return the page."""
    reply = Response(_file(OURS, "docs.html")[0], content_type="text/html; charset=utf-8")
    reply.headers["Content-Security-Policy"] = POLICY
    return reply


@pages.get("/docs/<file>")
def part(file: str) -> Response:
    """Return a script or style of the page, what has changed, or a part of the guide."""
    if file not in FILES:
        raise NotFound("The page has no such part.")
    folder, kind = FILES[file]
    body, tag = _file(folder, file)
    reply = Response(body, content_type=kind)
    reply.set_etag(tag)
    reply.headers["Cache-Control"] = "public, max-age=3600"
    reply.make_conditional(request)
    return reply
