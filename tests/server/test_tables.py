"""Tables: read at flat memory within bounds, written so that no cell is a formula."""

import csv
import io
import json
import tracemalloc
from contextlib import closing
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from stillpipe.api import limits
from stillpipe.api.problems import RequestError
from stillpipe.server.batch.spool import Store
from stillpipe.server.tables import heads, table
from stillpipe.server.tables.answer import Answer
from stillpipe.server.tables.table import Asked

EXAMPLES = Path(__file__).parents[2] / "openapi" / "examples"
HEAD = (
    "estimate,id,pipe.standard,pipe.size,pipe.schedule,fluid.temperature [degC],"
    "ambient.temperature [degC],line_pressure [bar]"
)
ROW = "plug-time,{},ASTM B88,3/4,L,18,21,2.5"


def answer(client: FlaskClient, *lines: str) -> list[dict[str, str]]:
    body = "\n".join(lines).encode()
    reply = client.post("/v1/batch", data=body, content_type="text/csv")
    assert reply.status_code == 200, reply.get_data(as_text=True)
    return list(csv.DictReader(io.StringIO(reply.get_data(as_text=True), newline="")))


def refusal(client: FlaskClient, body: bytes) -> str:
    reply = client.post("/v1/batch", data=body, content_type="text/csv")
    assert reply.status_code == 400
    assert reply.json is not None
    assert reply.json["type"] == "/v1/problems/malformed-csv"
    return str(reply.json["detail"])


def stored(body: bytes) -> Store:
    store = Store()
    store.append(body)
    return store


@pytest.mark.parametrize("name", ["=1+2", "@SUM(1)", "+1", "-1"])
def test_no_id_becomes_a_formula(client: FlaskClient, name: str) -> None:
    (row,) = answer(client, HEAD, ROW.format(f'" {name}"'))
    assert row["id"] == "'" + name
    assert row["status"] == "200"


def test_negative_figures_stay_numbers() -> None:
    table = Answer()
    table.add(
        b'{"index":0,"id":"a","estimate":"frost-check","status":200,'
        b'"result":{"frost_point":{"value":-3.5,"unit":"degC"}}}'
    )
    (row,) = csv.DictReader(io.StringIO(b"".join(table.csv()).decode()))
    table.close()
    assert row["frost_point [degC]"] == "-3.5"


def test_a_table_may_have_columns_of_money(client: FlaskClient) -> None:
    request = json.loads((EXAMPLES / "job-estimate-request.json").read_text())
    head = HEAD + (
        ",rates.currency,rates.labour_per_hour,rates.co2_per_kg,drain_down.volume [m3],"
        "drain_down.inhibitor_per_litre"
    )
    row = ROW.format("a").replace("plug-time", "job-estimate")
    good, bad = answer(client, head, row + ",EUR,62.50,4,2,0.35", row + ",EUR,sixty,4,2,0.35")
    body = request | {"id": "a"}
    assert set(body["rates"]) >= {"currency", "labour_per_hour", "co2_per_kg"}
    assert good["status"] == "200"
    assert good["quote.currency"] == "EUR"
    assert float(good["quote.total"]) > 0
    assert bad["status"] == "422"
    assert "#/request/rates/labour_per_hour" in bad["problem.errors"]


def test_too_many_columns_are_refused_by_their_number(client: FlaskClient) -> None:
    assert "256 columns" in refusal(client, b"aa," * 21845 + b"aa\n1\n")


def test_the_most_columns_are_named_one_by_one(client: FlaskClient) -> None:
    head = ",".join(f"pipe.a{i}" for i in range(limits.BATCH_COLUMNS))
    reply = client.post("/v1/batch", data=f"{head}\n1\n".encode(), content_type="text/csv")
    assert reply.json is not None
    assert len(reply.json["errors"]) == limits.BATCH_COLUMNS + 1


def test_columns_that_hold_one_member_are_found_however_deep() -> None:
    with pytest.raises(RequestError) as caught:
        heads.read(["estimate", "pipe [json]", "pipe.size", "hold [h]", "hold [min]"])
    named = [e["parameter"] for e in caught.value.errors]
    assert named == ["hold", "pipe"]


@pytest.mark.parametrize(
    ("rest", "detail"),
    [
        (b"a\n" * 16_000_000, "1 to 10000 rows"),
        (b"\n" * 33_000_000, "blank rows"),
        (b"," * 33_000_000, "131072 characters"),
        (b'"\n",' * 6_000_000, "131072 characters"),
        (b'"' + b"\n" * 33_000_000, "131072 characters"),
    ],
    ids=["rows", "blank", "cells", "quoted", "open-quote"],
)
def test_a_table_out_of_bounds_is_refused_at_flat_memory(rest: bytes, detail: str) -> None:
    with closing(stored(b"estimate\n" + rest)) as store:
        tracemalloc.start()
        with pytest.raises(RequestError, match=detail):
            table.read_csv(store.file, Asked())
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
    assert peak < 16 * 2**20


def test_rows_that_nobody_computes_any_more_are_read_by_their_names_alone() -> None:
    """Reading all of a long table takes longer than a service that ends has."""
    rows = "\n".join([HEAD, *(ROW.format(f"row-{n}") for n in range(3)), "plug-time,short"])
    looks = iter([False, True, True, True])
    with closing(stored(rows.encode())) as store:
        rows = table.read_csv(store.file, Asked())
        whole, *brief = rows.items(lambda: next(looks))
        rows.close()
    assert json.loads(whole)["request"]["pipe"]["size"] == "3/4"
    assert [json.loads(item) for item in brief] == [
        {"estimate": "plug-time", "request": {"id": name}} for name in ("row-1", "row-2", "short")
    ]


def test_the_row_at_fault_is_named(client: FlaskClient) -> None:
    assert "row 3" in refusal(client, b'estimate\na\n"b"c\n')


def test_inch_marks_and_quoted_line_ends_are_read_as_they_are(client: FlaskClient) -> None:
    rows = answer(client, HEAD, ROW.format('3/4" riser'), ROW.format('"two\nlines, ""one"""'))
    assert [r["id"] for r in rows] == ['3/4" riser', 'two\nlines, "one"']


@pytest.mark.parametrize(
    ("column", "cell"),
    [("line_pressure [bar]", "1" * 5000), ("pipe [json]", '"{""a"":1,""a"":2}"'),
     ("pipe [json]", "[" * 20000), ("pipe [json]", '"""\\ud800"""'), ("pipe [json]", "NaN")],
    ids=["digits", "twice", "deep", "half", "nan"],
)  # fmt: skip
def test_a_cell_that_cannot_be_read_fails_its_row_alone(
    client: FlaskClient, column: str, cell: str
) -> None:
    rows = answer(client, f"estimate,{column}", f"plug-time,{cell}", "plug-time,1")
    assert [r["status"] for r in rows] == ["422", "422"]


def test_columns_stand_in_the_order_in_which_they_first_appear(client: FlaskClient) -> None:
    """Also where a later row has figures that the first has not."""
    rows = answer(
        client, HEAD, "no-such,x,,,,,,", ROW.format("a"),
        ROW.format("b").replace("plug-time", "hold-time"),
    )  # fmt: skip
    names = list(rows[0])
    assert names[:6] == ["index", "id", "estimate", "status", "problem", "problem.errors"]
    assert names.index("closure.likely [s]") < names.index("survival.likely [s]")
    assert rows[0]["closure.likely [s]"] == ""
    assert float(rows[2]["survival.likely [s]"]) > 0
