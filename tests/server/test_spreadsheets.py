"""CSV as spreadsheets write it: what can mean one thing is taken, what can mean two is refused."""

import codecs
import csv
import io
import json
from collections.abc import Iterator
from contextlib import closing, contextmanager
from typing import Any

import pytest
from flask.testing import FlaskClient

from stillpipe.api.problems import RequestError
from stillpipe.server.batch.spool import Store
from stillpipe.server.tables import table
from stillpipe.server.tables.table import Asked, Table

HEAD = (
    "estimate;id;pipe.standard;pipe.size;pipe.schedule;fluid.temperature [degC];"
    "ambient.temperature [degC];line_pressure [bar];Gebäude"
)
ROW = "plug-time; p1 ;ASTM B88;3/4;L;18,5;21;2,5; Süd 20°"
SPREADSHEET = f"{HEAD}\r\n{ROW}\r\n;;;;;;;;\r\n;;;;;;;;\r\n".replace("\r\n;", ";;\r\n;;;", 1)


@contextmanager
def stored(body: bytes) -> Iterator[Table]:
    """The table in ``body``."""
    with closing(Store()) as store:
        store.append(body)
        with closing(table.read_csv(store.file, Asked())) as made:
            yield made


def items(body: str | bytes) -> list[Any]:
    """The items of a table, a fault as the list that stands for it."""
    raw = body.encode() if isinstance(body, str) else body
    with stored(raw) as made:
        return [json.loads(i.removeprefix(table.FAULT)) for i in made.items()]


def request(body: str | bytes) -> dict[str, Any]:
    """The request that the only row of a table makes."""
    (item,) = items(body)
    assert isinstance(item, dict), item
    found: dict[str, Any] = item["request"]
    return found


def faults(body: str | bytes) -> list[dict[str, Any]]:
    """What is wrong with the cells of the only row of a table."""
    (item,) = items(body)
    assert isinstance(item, list), item
    errors: list[dict[str, Any]] = item[4]
    return errors


def refused(body: str | bytes) -> RequestError:
    """The error that a table is refused with as a whole."""
    with pytest.raises(RequestError) as caught, stored(body if isinstance(body, bytes) else
                                                      body.encode()):  # fmt: skip
        pass
    assert caught.value.slug == "malformed-csv"
    return caught.value


WANTED = {
    "id": "p1",
    "pipe": {"standard": "ASTM B88", "size": "3/4", "schedule": "L"},
    "fluid": {"temperature": {"value": 18.5, "unit": "degC"}},
    "ambient": {"temperature": {"value": 21, "unit": "degC"}},
    "line_pressure": {"value": 2.5, "unit": "bar"},
}


@pytest.mark.parametrize("told", ["", "sep=;\r\n", '"sep=;"\r\n', "SEP=;\n"])
@pytest.mark.parametrize(
    ("coding", "named"),
    [("utf-8", "utf-8"), ("utf-8-sig", "utf-8"), ("cp1252", "windows-1252"), ("utf-16", "utf-16"),
     ("utf-16-be", "utf-16")],
)  # fmt: skip
def test_a_table_is_read_in_any_of_its_encodings(told: str, coding: str, named: str) -> None:
    mark = codecs.BOM_UTF16_BE if coding == "utf-16-be" else b""
    body = mark + (told + SPREADSHEET).encode(coding)
    with stored(body) as made:
        (item,) = made.items()
        (own,) = [cells for _, cells in made.waiting]
        assert json.loads(item) == {"estimate": "plug-time", "request": WANTED}
        assert (made.own, own) == (["Gebäude"], [" Süd 20°"]), "handed back untouched"
        assert made.taken == {
            "encoding": named, "separator": "semicolon", "decimals": "comma", "own": "1",
        }  # fmt: skip


@pytest.mark.parametrize("end", ["\r\n", "\n", "\r"])
@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_the_separator_is_found_on_the_head(separator: str, end: str) -> None:
    """Also where other separators stand in the caller's own heads."""
    cells = ["plug-time", "p1", "ASTM B88", "3/4", "L", "18.5", "21", "2.5", "x"]
    head = HEAD.replace("Gebäude", "Place; floor, side").split(";", 8)
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=separator, lineterminator=end)
    writer.writerows([head, cells])
    assert request(out.getvalue()) == WANTED


def test_unicode_text_as_a_spreadsheet_saves_it() -> None:
    """UTF-16, little end first, a mark and tabs."""
    text = f"{HEAD}\r\n{ROW}\r\n".replace(";", "\t")
    assert request(codecs.BOM_UTF16_LE + text.encode("utf-16-le")) == WANTED


@pytest.mark.parametrize("text", ["TRUE", "true", "True", " FALSE "])
def test_flags_are_taken_in_any_case(text: str) -> None:
    seen = request(f"estimate,frost_seen\nfrost-check,{text}\n")["frost_seen"]
    assert seen is (text.strip().lower() == "true")


@pytest.mark.parametrize("text", ["1", "0", "yes", "WAHR"])
def test_no_other_word_is_a_flag(text: str) -> None:
    """A count that slipped into the column must not be taken for one."""
    assert request(f"estimate,frost_seen\nfrost-check,{text}\n")["frost_seen"] == text


@pytest.mark.parametrize(
    ("cell", "others", "value"),
    [("2,5", "", 2.5), ("2.5", "", 2.5), ("0,125", "", 0.125), ("1,250", "3,5", 1.25),
     ("1.250", "3.5", 1.25), ("1,5E+02", "", 150), ("-1", "", -1), ("1250", "", 1250)],
)  # fmt: skip
def test_a_number_has_the_decimal_mark_of_its_table(cell: str, others: str, value: float) -> None:
    body = f"estimate;line_pressure [kPa];hold [min]\nplug-time;{cell};{others}\n"
    assert request(body)["line_pressure"] == {"value": value, "unit": "kPa"}


@pytest.mark.parametrize(
    ("cell", "others", "cure"),
    [("1.000", "20", "write 1000, or 1.0000"), ("1,000", "", "write 1000, or 1,0000"),
     ("1.000", "3,5", "write 1000"), ("-12,345", "3.5", "write -12345"),
     ("1.000.000", "", "without them"), ("1.000,5", "", "without them"),
     ("1'000", "", "without them"), ("1 000", "", "without them")],
)  # fmt: skip
def test_what_may_be_thousands_is_refused(cell: str, others: str, cure: str) -> None:
    body = f"estimate;line_pressure [kPa];hold [min]\n;;\nplug-time;{cell};{others}\n"
    (error,) = faults(body)
    assert cure in error["detail"]
    assert {k: v for k, v in error.items() if k != "detail"} == {
        "pointer": "#/request/line_pressure", "row": 3, "column": "line_pressure [kPa]",
        "cell": "B3",
    }  # fmt: skip


def test_commas_that_separate_are_no_decimal_marks() -> None:
    (error,) = faults('estimate,line_pressure [bar]\nplug-time,"20,5"\n')
    assert "decimal comma in a table that is separated by commas" in error["detail"]
    (error,) = faults("estimate,line_pressure [kPa]\nplug-time,1.000\n")
    assert "write 1000, or 1.0000" in error["detail"]
    settled = "estimate,line_pressure [bar],hold [min]\nplug-time,1.125,30.5\n"
    assert request(settled)["line_pressure"]["value"] == 1.125


def test_money_may_have_a_decimal_comma() -> None:
    rates = request("estimate;rates.labour_per_hour\njob-estimate;62,50\n")["rates"]
    assert rates == {"labour_per_hour": "62.50"}


@pytest.mark.parametrize(
    "cell",
    ["1-Feb", "01-Feb", "2-Jan", "Jan-02", "01. Feb", "1. Mrz", "02-janv", "1/2/2026",
     "01/02/2026", "01.02.2026", "2026-02-01", "2026-02-01T00:00:00", "46054"],
)  # fmt: skip
def test_a_size_that_became_a_date_is_told_with_the_cure(cell: str) -> None:
    (error,) = faults(f"estimate;id;pipe.size\nplug-time;{cell};{cell}\n")
    assert "format the column as text" in error["detail"]
    assert (error["row"], error["column"], error["cell"]) == (2, "pipe.size", "C2")


@pytest.mark.parametrize("cell", ["1/2", "1 1/2", "15 mm", "DN15", "Sch 40", "22", "12 inch", "4"])
def test_a_size_is_no_date(cell: str) -> None:
    assert request(f"estimate;pipe.size\nplug-time;{cell}\n")["pipe"] == {"size": cell}


def test_a_number_that_became_a_date_and_an_error_of_a_formula_are_told() -> None:
    found = faults("estimate;line_pressure [bar];hold [min]\nplug-time;01. Mai;#N/A\n")
    assert "holds the date" in found[0]["detail"]
    assert "error #N/A" in found[1]["detail"]


@pytest.mark.parametrize(
    ("head", "meant"),
    [("pipe.sise", "pipe.size"), ("Size", "pipe.size"), ("Line pressure [psi]", "line_pressure"),
     ("fluid_temperature [degF]", "fluid.temperature [degF]"), ("ID", "id"),
     ("Estimat", "estimate"), ("pipe.colour", "pipe"), ("Pressure", "line_pressure [Pa]")],
)  # fmt: skip
def test_a_head_near_an_input_is_a_slip(head: str, meant: str) -> None:
    (error,) = refused(f"estimate,{head}\nplug-time,1\n").errors
    assert error["parameter"] == head
    assert f"near {meant}" in error["detail"]
    assert "begin the head with #" in error["detail"]
    assert request(f"estimate,#{head}\nplug-time,1\n") == {}


@pytest.mark.parametrize("head", ["Building", "Floor", "Note", "Customer", "Date", "verdict"])
def test_any_other_head_is_the_callers_own(head: str) -> None:
    assert request(f"estimate,{head}\nplug-time,1\n") == {}


def test_own_columns_come_back_before_the_figures(client: FlaskClient) -> None:
    """Their text as it was; one that the answer has too is marked."""
    body = (
        "estimate;id;Floor;status;points;Minus\n"
        'plug-time;a; "1st" ;open;;-5,5\nplug-time;b;=1+1;;;- x\n'
    )
    reply = client.post("/v1/batch", data=body, content_type="text/csv")
    assert reply.headers["Batch-Read"] == "encoding=utf-8; separator=semicolon; own=3"
    rows = list(csv.reader(io.StringIO(reply.get_data(as_text=True)), delimiter=";"))
    assert rows[0][4:9] == ["problem", "problem.errors", "Floor", "#status", "Minus"]
    assert [r[6:] for r in rows[1:]] == [[' "1st" ', "open", "-5,5"], ["'=1+1", "", "'- x"]]
    reply = client.post(
        "/v1/batch", data=body, content_type="text/csv", headers={"Accept": "application/json"}
    )
    assert reply.json is not None
    assert reply.json["summary"] == {"total": 2, "succeeded": 0, "failed": 2, "complete": True}
    assert reply.json["items"][1]["own"] == {"Floor": "=1+1", "status": "", "Minus": "- x"}


def test_what_a_schema_refuses_is_told_by_its_cell(client: FlaskClient) -> None:
    body = "\r\n".join([HEAD, ROW, "", ROW.replace("2,5", "much"), ROW.replace("3/4", "9")])
    reply = client.post(
        "/v1/batch", data=body, content_type="text/csv", headers={"Accept": "application/x-ndjson"}
    )
    good, text, size, last = map(json.loads, reply.get_data().splitlines())
    assert (good["status"], last["summary"]["failed"]) == (200, 2)
    places = [{k: e[k] for k in ("row", "column", "cell")}
              for i in (text, size) for e in i["problem"]["errors"]]  # fmt: skip
    assert places == [
        {"row": 4, "column": "line_pressure [bar]", "cell": "H4"},
        {"row": 5, "column": "pipe.size", "cell": "D5"},
    ]


def test_a_cell_without_a_head_is_that_rows_fault() -> None:
    (error,) = faults("estimate,id,,\nplug-time,a,,,over\n")
    assert (error["row"], error["cell"]) == (2, "E2")
    assert "no head above it" in error["detail"]


def test_the_answer_is_written_as_the_question_was(client: FlaskClient) -> None:
    """Separator, decimal mark, and a mark of UTF-8 where the body was not plain UTF-8."""
    reply = client.post("/v1/batch", data=SPREADSHEET.encode("cp1252"), content_type="text/csv")
    text = reply.get_data().decode("utf-8")
    assert text.startswith("\ufeffindex;id;estimate;")
    (row,) = csv.DictReader(io.StringIO(text.removeprefix("\ufeff")), delimiter=";")
    assert row["Gebäude"] == " Süd 20°"
    assert float(row["closure.likely [s]"].replace(",", ".")) > 60
    assert "," in row["plug_length.likely [mm]"]


@pytest.mark.parametrize(
    ("body", "detail"),
    [(b"estimate\n\x81\n", "neither UTF-8 nor windows-1252"),
     ("estimate\nx\n".encode("utf-16-le"), "byte order mark"),
     (codecs.BOM_UTF8 + b"estimate\n\xff\n", "not UTF-8, although"),
     (codecs.BOM_UTF16_LE + b"e\x00\x00\xd8e\x00", "not UTF-16, although"),
     (b"sep=x\nestimate\n1\n", "tells the separator 'x'")],
)  # fmt: skip
def test_what_no_encoding_and_no_separator_fits_is_refused(body: bytes, detail: str) -> None:
    assert detail in refused(body).detail


@pytest.mark.parametrize("kind", ["application/json", "application/x-ndjson", "text/csv"])
def test_a_byte_order_mark_costs_no_item(client: FlaskClient, kind: str) -> None:
    item = json.dumps({"estimate": "plug-time", "request": WANTED})
    body = {"application/json": f"[{item},{item}]", "application/x-ndjson": f"{item}\n{item}\n",
            "text/csv": f"{HEAD}\n{ROW}\n{ROW}\n"}[kind]  # fmt: skip
    reply = client.post(
        "/v1/batch", data="\ufeff" + body, content_type=kind, headers={"Accept": "application/json"}
    )
    assert reply.json is not None
    assert reply.json["summary"] == {"total": 2, "succeeded": 2, "failed": 0, "complete": True}
    alone = client.post(
        "/v1/plug-time", data="\ufeff" + json.dumps(WANTED), content_type="application/json"
    )
    assert alone.status_code == 200


@pytest.mark.parametrize(
    ("accept", "form"),
    [("", "text/csv"), ("*/*", "text/csv"), ("application/json, text/plain, */*", "text/csv"),
     ("application/json", "application/json"), ("application/x-ndjson", "application/x-ndjson"),
     ("text/csv;q=0.5, application/json", "application/json"), ("image/png", "text/csv")],
)  # fmt: skip
def test_accept_decides_the_form_and_else_the_question(
    client: FlaskClient, accept: str, form: str
) -> None:
    reply = client.post(
        "/v1/batch", data="estimate,id\nplug-time,a\n", content_type="text/csv",
        headers={"Accept": accept} if accept else {},
    )  # fmt: skip
    assert (reply.status_code, reply.mimetype) == (200, form)
    assert reply.headers["Vary"] == "Accept"


def test_lines_and_arrays_of_json_may_be_answered_as_a_table(client: FlaskClient) -> None:
    item = json.dumps({"estimate": "plug-time", "request": WANTED})
    found = []
    for kind, body in (("application/json", f"[{item},1]"), ("application/x-ndjson", f"{item}\n1")):
        reply = client.post(
            "/v1/batch", data=body, content_type=kind, headers={"Accept": "text/csv"}
        )
        assert (reply.headers["Batch-Succeeded"], reply.headers["Batch-Failed"]) == ("1", "1")
        found.append(list(csv.DictReader(io.StringIO(reply.get_data(as_text=True)))))
    assert found[0] == found[1]
    assert [row["status"] for row in found[0]] == ["200", "422"]
