"""A whole job as a page to print or to read on a phone, made from its JSON."""

import math
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader

from stillpipe.api.forms import pictures

JSON = dict[str, Any]

_pages = Environment(
    loader=FileSystemLoader(Path(__file__).parent), autoescape=True,
    trim_blocks=True, lstrip_blocks=True,
)  # fmt: skip


def job(reply: JSON) -> bytes:
    """Return the page of a job-estimate's reply, its timeline drawn."""
    drawn = pictures.job(reply).decode()
    page = _pages.get_template("job_sheet.html").render(
        job=reply, drawn=drawn[drawn.index("<svg") :], clock=_clock, percent=_percent
    )
    return page.encode()


def _clock(quantity: JSON | None) -> str:
    """Return a time as hours and minutes."""
    if quantity is None:
        return "never"
    minutes = round(quantity["value"] / 60.0)
    return f"{minutes // 60}:{minutes % 60:02d}"


def _percent(chance: float) -> str:
    """Return a chance in words, rounded down."""
    return f"{math.floor(100.0 * chance + 1e-9)} %"
