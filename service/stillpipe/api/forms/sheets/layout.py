"""A sheet laid out: as a page of HTML, and as PDF by typst. Both have the same words and figures.

What a caller wrote is data in both: escaped by Jinja in the page, and for typst the contents of a
string, never markup. The PDF has no date, fonts of its own (those that matplotlib brings: Latin,
Greek, Cyrillic, Arabic, Hebrew), and is the same for the same sheet.
"""

from dataclasses import asdict
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import orjson
from jinja2 import Environment, FileSystemLoader, StrictUndefined, Template

from stillpipe.api.forms.sheets.content import Sheet

if TYPE_CHECKING:
    import typst

FOLDER = Path(__file__).parent


@cache
def _page() -> Template:
    """Return the template of the page."""
    loader = FileSystemLoader(FOLDER)
    pages = Environment(
        loader=loader, autoescape=True, trim_blocks=True, lstrip_blocks=True,
        undefined=StrictUndefined,
    )  # fmt: skip
    return pages.get_template("sheet.html")


@cache
def _fonts() -> "typst.Fonts":
    """Return the fonts of the PDF: none of the machine, so that it is the same on all."""
    import matplotlib  # noqa: PLC0415 - as below
    import typst  # noqa: PLC0415 - as below

    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    return typst.Fonts(
        include_system_fonts=False, include_embedded_fonts=False, font_paths=[folder]
    )


def html(sheet: Sheet) -> bytes:
    """Return the sheet as a page to read on a phone or to print, at most two sides of A4."""
    return _page().render(sheet=sheet).encode()


def pdf(sheet: Sheet) -> bytes:
    """Return the sheet as PDF of A4."""
    import typst  # noqa: PLC0415 - 80 MB, which a service that makes no PDF need not load

    made = typst.compile(
        (FOLDER / "sheet.typ").read_bytes(),
        font_paths=_fonts(),
        sys_inputs={"sheet": orjson.dumps(asdict(sheet)).decode()},
        timestamp=0,
    )
    return bytes(made)
