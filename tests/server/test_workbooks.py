"""Workbooks: what a spreadsheet saves is read, what was made to hurt is refused before it does."""

import io
import json
import zipfile
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from datetime import datetime
from typing import Any

import openpyxl
import pytest
from flask.testing import FlaskClient

from stillpipe.api import limits
from stillpipe.api.problems import RequestError
from stillpipe.server.batch.exchange import XLSX
from stillpipe.server.batch.spool import Store
from stillpipe.server.tables import table
from stillpipe.server.tables.answer import Answer
from stillpipe.server.tables.package import Bounds
from stillpipe.server.tables.table import Asked, Table

HEAD = ["estimate", "id", "pipe.standard", "pipe.size", "pipe.schedule", "fluid.temperature [degC]",
        "ambient.temperature [degC]", "line_pressure [bar]"]  # fmt: skip
ROW = ["plug-time", "p1", "ASTM B88", "3/4", "L", 18.5, 21, 2.5]
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACKAGE = "http://schemas.openxmlformats.org/package/2006"
KIND = "application/vnd.openxmlformats-officedocument.spreadsheetml"
GOOD = '<c r="A1" t="inlineStr"><is><t>estimate</t></is></c>'


def saved(*rows: list[Any], sheets: int = 1) -> bytes:
    """A workbook with these rows on its first sheet, as a library saves it."""
    book = openpyxl.Workbook()
    assert book.active is not None
    for row in rows:
        book.active.append(row)
    for _ in range(sheets - 1):
        book.create_sheet().append(["other"])
    made = io.BytesIO()
    book.save(made)
    return made.getvalue()


def packed(sheet: str, texts: str = "", **more: str) -> bytes:
    """A workbook by hand: the XML of its sheet, of its shared texts, and ``more`` parts."""
    xml = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>'
    parts = {
        "[Content_Types].xml": f'<Types xmlns="{PACKAGE}/content-types"><Default Extension="rels" '
        'ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Override '
        f'PartName="/xl/workbook.xml" ContentType="{KIND}.sheet.main+xml"/><Override PartName='
        f'"/xl/worksheets/sheet1.xml" ContentType="{KIND}.worksheet+xml"/><Override PartName='
        f'"/xl/sharedStrings.xml" ContentType="{KIND}.sharedStrings+xml"/></Types>',
        "xl/workbook.xml": f'<workbook xmlns="{MAIN}" xmlns:r="{OFFICE}"><sheets><sheet name="a" '
        'sheetId="1" r:id="rId1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{PACKAGE}/relationships">'
        f'<Relationship Id="rId1" Type="{OFFICE}/worksheet" Target="worksheets/sheet1.xml"/>'
        "</Relationships>",
        "xl/sharedStrings.xml": f'<sst xmlns="{MAIN}">{texts}</sst>',
        "xl/worksheets/sheet1.xml": f'<worksheet xmlns="{MAIN}"><sheetData>{sheet}</sheetData>'
        "</worksheet>",
    } | more  # fmt: skip
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in parts.items():
            archive.writestr(name, text if text.startswith("<?") else xml + text)
    return made.getvalue()


@contextmanager
def stored(body: bytes, bounds: Bounds | None = None) -> Iterator[Table]:
    """The table in the workbook ``body``."""
    with closing(Store()) as store:
        store.append(body)
        asked = Asked(slug="malformed-workbook")
        with closing(table.read_workbook(store.file, asked, bounds)) as made:
            yield made


def items(body: bytes) -> list[Any]:
    """The items of a workbook, a fault as the list that stands for it."""
    with stored(body) as made:
        return [json.loads(i.removeprefix(table.FAULT)) for i in made.items()]


def refused(body: bytes, bounds: Bounds | None = None) -> str:
    """Why a workbook is refused as a whole."""
    with pytest.raises(RequestError) as caught, stored(body, bounds):
        pass
    assert caught.value.slug == "malformed-workbook"
    return caught.value.detail


def test_cells_have_the_kind_of_their_column() -> None:
    """Numbers as text, text as numbers, padding, true and false, blank rows and columns."""
    head = [*HEAD, "frost_seen", "cylinder.dip_tube", "rates.labour_per_hour", "Floor", None, None]
    row = ["plug-time", 17, " ASTM B88 ", 1, 40, "18,5", "21", 2.5, True, "FALSE", 62.5, 3, " "]
    (item,) = items(saved(head, [None] * 8, row, [None, "  "]))
    assert item == {
        "estimate": "plug-time",
        "request": {
            "id": "17", "pipe": {"standard": "ASTM B88", "size": "1", "schedule": "40"},
            "fluid": {"temperature": {"value": 18.5, "unit": "degC"}},
            "ambient": {"temperature": {"value": 21, "unit": "degC"}},
            "line_pressure": {"value": 2.5, "unit": "bar"}, "frost_seen": True,
            "cylinder": {"dip_tube": False}, "rates": {"labour_per_hour": "62.5"},
        },
    }  # fmt: skip


def test_dates_errors_and_formulas_without_a_value_are_told_by_their_cells() -> None:
    row = [*ROW[:3], datetime(2026, 2, 1), "L", "#DIV/0!", "1.000", "=1+1"]
    ((name, named, slug, detail, errors),) = items(saved(HEAD, ROW[:0], row))
    assert (name, named, slug) == ("plug-time", "p1", "malformed-workbook")
    assert detail == "row 3: 4 cell(s) cannot be used"
    assert [e["cell"] for e in errors] == ["D3", "F3", "G3", "H3"]
    for error, text in zip(
        errors, ("format the column as text", "error #DIV/0!", "ambiguous", "never computed"),
        strict=True,
    ):  # fmt: skip
        assert text in error["detail"]


def test_a_workbook_is_answered_in_every_form(client: FlaskClient) -> None:
    """What is text stays text, a day a day; nothing becomes a formula or a link."""
    own = ["=1+1", "http://harbour-lane.example/", datetime(2026, 11, 26), 7, "<r><t>x</t></r>"]
    heads = [f"Own {i}" for i in range(len(own))]
    bad = [*ROW[:3], "no-such", *ROW[4:]]
    made = saved([*HEAD, *heads], [*ROW, "'", *own[1:]], bad, sheets=3)
    reply = client.post("/v1/batch", data=made, content_type=XLSX)
    assert (reply.status_code, reply.mimetype) == (200, XLSX)
    assert reply.headers["Batch-Read"] == "sheets-not-read=2; own=5"
    assert (reply.headers["Batch-Succeeded"], reply.headers["Batch-Failed"]) == ("1", "1")
    sheet = openpyxl.load_workbook(io.BytesIO(reply.data)).active
    assert sheet is not None
    head, good, wrong = sheet.iter_rows(values_only=True)
    assert head[:11] == (
        "index", "id", "estimate", "status", "problem", "problem.errors", *heads
    )  # fmt: skip
    assert good[:4] == (0, "p1", "plug-time", 200)
    assert good[6:11] == ("'", own[1], own[2], 7, "<r><t>x</t></r> ")
    assert "row 3, column pipe.size, cell D3" in str(wrong[5])
    with zipfile.ZipFile(io.BytesIO(reply.data)) as archive:
        text = archive.read("xl/worksheets/sheet1.xml")
    assert b"<f>" not in text
    assert b"hyperlink" not in text
    reply = client.post(
        "/v1/batch", data=made, content_type=XLSX, headers={"Accept": "application/json"}
    )
    assert reply.json is not None
    first, second = reply.json["items"]
    assert first["own"]["Own 2"] == "2026-11-26"
    assert first["result"]["closure"]["likely"] == good[head.index("closure.likely [s]")]
    assert second["problem"]["errors"][0]["cell"] == "D3"
    again = client.post("/v1/batch", data=made, content_type=XLSX, headers={"Accept": "text/csv"})
    assert again.get_data(as_text=True).startswith("index,id,estimate,status,problem,")


def test_text_that_looks_like_a_formula_is_text_in_a_workbook() -> None:
    with closing(Answer(["a", "b"])) as answer:
        reply = b'{"index":0,"id":"=1+1","estimate":null,"status":400,"problem":{}}'
        answer.add(reply, ["=2+2", "x" * 32_768])
        made = b"".join(answer.xlsx())
        assert made == b"".join(answer.xlsx()), "equal answers are equal files"
    sheet = openpyxl.load_workbook(io.BytesIO(made)).active
    assert sheet is not None
    assert [(c.value, c.data_type) for c in (sheet["B2"], sheet["G2"])] == [
        ("=1+1", "s"), ("=2+2", "s")
    ]  # fmt: skip
    assert sheet["H2"].value == "too long for a cell (32,768 characters): ask for CSV or JSON"


def test_records_of_a_calibration_may_come_as_a_workbook(client: FlaskClient) -> None:
    seen = json.dumps([{"kind": "frost", "elapsed": {"value": 205, "unit": "s"}}])
    head, row = [*HEAD[1:], "observations [json]", "Fitter"], [*ROW[1:], seen, "A. N. Other"]
    reply = client.post("/v1/calibration", data=saved(head, row), content_type=XLSX)
    assert reply.status_code == 200, reply.get_data(as_text=True)
    wrong = [*row[:2], datetime(2026, 2, 1), *row[3:]]
    reply = client.post("/v1/calibration", data=saved(head, row, wrong), content_type=XLSX)
    assert reply.json is not None
    (error,) = reply.json["errors"]
    assert (reply.status_code, error["pointer"]) == (400, "#/records/1/pipe/size")
    assert (error["row"], error["cell"]) == (3, "C3")
    wrong = [*row[:2], "no-such", *row[3:]]
    reply = client.post("/v1/calibration", data=saved(head, row, wrong), content_type=XLSX)
    assert reply.json is not None
    (error,) = reply.json["errors"]
    assert (reply.status_code, error["row"], error["cell"]) == (422, 3, "C3")


def test_a_workbook_without_extras_is_read() -> None:
    """No styles, no cell names, gaps between rows."""
    sheet = (
        '<row><c t="s"><v>0</v></c><c t="s"><v>1</v></c></row>'
        '<row r="9"><c t="s"><v>2</v></c></row>'
    )
    texts = (
        "<si><t>estimate</t></si><si><t>id</t></si><si><r><t>plug</t></r><r><t>-time</t></r></si>"
    )
    assert items(packed(sheet, texts)) == [{"estimate": "plug-time", "request": {}}]


HOSTILE = {
    "corners": (
        packed(f'<row r="1">{GOOD}</row><row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'),
        "row 1,048,576, column 16,384",
    ),
    "wide": (packed('<row r="1"><c r="IW1"><v>1</v></c></row>'), "256 columns"),
    "bomb": (packed("<row/>", more="<a>" + " " * limits.WORKBOOK_BYTES + "</a>"), "unpacks to"),
    "cells": (packed("<row>" + "<c/>" * 5_001 + "</row>"), "5,000 cells"),
    "rows": (packed("<row/>" * 9_001), "9,000 rows"),
    "elements": (packed("<a/>" * 15_001), "15,000 elements"),
    "texts": (packed(f'<row r="1">{GOOD}</row>', "<si/>" * 5_001), "5,000 texts"),
    "long text": (packed(GOOD, f"<si><t>{'x' * 131_073}</t></si>"), "131072 characters"),
    "repeated text": (
        packed("<row>" + '<c t="s"><v>0</v></c>' * 99 + "</row>", f"<si><t>{'x' * 9999}</t></si>"),
        "row 1 has more than 131072 characters",
    ),
    "deep": (packed("<a>" * 100 + "</a>" * 100), "nested too deeply"),
    "backwards": (packed(f'<row r="5"/><row r="1">{GOOD}</row>'), "does not come after"),
    "entities": (
        packed("<row/>", **{"xl/sharedStrings.xml": '<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b '
                            '"x">]><sst>&b;</sst>'}),
        "DTDForbidden",
    ),
    "no index": (packed('<row><c t="s"><v>7</v></c></row>'), "IndexError"),
    "no sheet": (packed("", **{"xl/workbook.xml": f'<workbook xmlns="{MAIN}"/>'}), "no visible"),
    "no XML": (packed("", **{"xl/workbook.xml": "<?nothing"}), "cannot be read"),
    "a text": (b"estimate,id\n", "no workbook in XLSX"),
    "nothing": (b"", "no workbook in XLSX"),
    "cut": (saved(HEAD, ROW)[:-9], "no workbook in XLSX, or cut off"),
    "old": (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600, "without a password"),
}  # fmt: skip


@pytest.mark.parametrize("name", list(HOSTILE))
def test_a_workbook_out_of_bounds_is_refused(name: str) -> None:
    body, detail = HOSTILE[name]
    assert detail in refused(body, Bounds(cells=5_000, rows=9_000))


def archive_of(*names: str) -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as archive:
        for name in names:
            archive.writestr(name, "")
    return made.getvalue()


@pytest.mark.parametrize(
    ("body", "detail"),
    [(archive_of("mimetype", "content.xml"), "OpenDocument"),
     (archive_of("[Content_Types].xml", "xl/workbook.bin"), "XLSB"),
     (archive_of("a.txt"), "is no workbook"),
     (archive_of(*(f"{i}" for i in range(1001))), "more than 1,000 parts")],
    ids=["ods", "xlsb", "zip", "parts"],
)  # fmt: skip
def test_another_kind_of_file_is_told_by_its_name(body: bytes, detail: str) -> None:
    assert detail in refused(body)


def test_an_encrypted_part_is_told() -> None:
    body = bytearray(saved(HEAD, ROW))
    at = body.index(b"PK\x01\x02")
    body[at + 8] |= 1
    assert "encrypted" in refused(bytes(body))


def test_a_part_that_is_longer_than_it_says_is_not_unpacked_further() -> None:
    """The zip says 100 bytes of a sheet; no more of it is read, and its sum does not fit."""
    body = bytearray(packed(f'<row r="1">{GOOD}</row>' + "<row/>" * 999))
    at = body.rindex(b"xl/worksheets/sheet1.xml") - 46
    assert body[at : at + 4] == b"PK\x01\x02"
    body[at + 24 : at + 28] = (100).to_bytes(4, "little")
    assert "cannot be read" in refused(bytes(body))


@pytest.mark.parametrize("at", range(0, 60))
def test_no_broken_byte_leaves_the_guard(at: int) -> None:
    """A workbook with a byte changed is read or refused; nothing else comes of it."""
    whole = saved(HEAD, ROW)
    body = bytearray(whole)
    body[at * len(whole) // 60] ^= 0x55
    found: list[Any] = []
    with suppress(RequestError):
        found = items(bytes(body))
    assert len(found) <= 1


def test_links_to_other_files_are_not_opened() -> None:
    """The part that a link names is not even in the file."""
    links = (
        f'<workbook xmlns="{MAIN}" xmlns:r="{OFFICE}"><sheets><sheet name="a" sheetId="1" '
        'r:id="rId1"/></sheets><externalReferences><externalReference r:id="rId9"/>'
        "</externalReferences></workbook>"
    )
    sheet = f'<row r="1">{GOOD}</row><row r="2">{GOOD.replace("A1", "A2")}</row>'
    assert len(items(packed(sheet, **{"xl/workbook.xml": links}))) == 1


def test_a_workbook_is_no_csv_and_the_other_way_about(client: FlaskClient) -> None:
    reply = client.post("/v1/batch", data=saved(HEAD, ROW), content_type="text/csv")
    assert reply.status_code == 400
    reply = client.post("/v1/batch", data=b"estimate\nplug-time\n", content_type=XLSX)
    assert reply.json is not None
    assert reply.json["type"] == "/v1/problems/malformed-workbook"
