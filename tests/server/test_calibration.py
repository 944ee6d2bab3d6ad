"""A calibration goes out in one answer and comes back in later requests; nothing is kept here."""

import csv
import io
import json
from typing import Any

import pytest
from flask.testing import FlaskClient

from api.examples import FOLDER, example
from stillpipe import MODEL_VERSION

JSON = dict[str, Any]


def records(*frosts: float) -> JSON:
    """Records of half-inch copper whose frost was seen at these times [s]."""
    point = {k: v for k, v in example("plug-time-request").items() if k not in ("id", "units")}
    seen = [{"kind": "frost", "elapsed": {"value": t, "unit": "s"}} for t in frosts]
    return {"records": [{**point, "id": f"{t:g}", "observations": [o]}
                        for t, o in zip(frosts, seen, strict=True)]}  # fmt: skip


def answer(client: FlaskClient, name: str, body: JSON) -> JSON:
    reply = client.post(f"/v1/{name}", json=body)
    assert reply.status_code == 200, reply.get_data(as_text=True)
    found: JSON = json.loads(reply.get_data())
    return found


def refused(client: FlaskClient, name: str, body: JSON) -> set[str]:
    """Where a request that gets 422 is at fault."""
    reply = client.post(f"/v1/{name}", json=body)
    assert reply.status_code == 422
    return {e["pointer"] for e in json.loads(reply.get_data())["errors"]}


@pytest.mark.parametrize("units", ["si", "us"])
def test_what_is_answered_can_be_passed_back_as_it_is(client: FlaskClient, units: str) -> None:
    known = answer(client, "calibration", records(230.0, 260.0, 245.0) | {"units": units})
    kept = known["calibration"]
    assert kept["model_version"] == MODEL_VERSION
    assert kept["records"] == 3
    plain = example("plug-time-request")
    before = answer(client, "plug-time", plain)
    after = answer(client, "plug-time", plain | {"calibration": kept})
    assert after["closure"]["likely"] > before["closure"]["likely"]
    assert before["inputs"]["calibration"] is None
    echoed = after["inputs"]["calibration"]
    assert echoed["capture"]["p50"] == {"value": kept["capture"]["p50"], "default": False}


def test_one_of_another_major_version_is_refused_by_every_freeze_request(
    client: FlaskClient,
) -> None:
    kept = answer(client, "calibration", records(200.0))["calibration"]
    kept["model_version"] = f"{int(MODEL_VERSION.split('.', maxsplit=1)[0]) + 1}.0.0"
    for name in ("plug-time", "hold-time", "co2-mass", "cylinder-count", "spacing-validation",
                 "frost-check", "job-estimate"):  # fmt: skip
        body = example(f"{name}-request") | {"calibration": kept}
        assert refused(client, name, body) == {"#/calibration/model_version"}


def test_every_record_at_fault_is_named(client: FlaskClient) -> None:
    body = records(200.0, 210.0, 220.0)
    body["records"][0]["jacket"] = {"conductance": {"value": 200, "unit": "W/(m2.K)"}}
    body["records"][2]["pipe"] = {"standard": "ASTM B88", "size": "9", "schedule": "L"}
    assert refused(client, "calibration", body) == {
        "#/records/0/jacket/conductance", "#/records/2/pipe/size",
    }  # fmt: skip
    body["records"][1]["observations"] = []
    assert "#/records/1/observations" in refused(client, "calibration", body)
    assert refused(client, "calibration", {"records": []}) == {"#/records"}
    assert "#/records/0/calibration" in refused(
        client, "calibration", {"records": [{**records(200.0)["records"][0], "calibration": {}}]}
    )


def test_a_batch_takes_it_too_as_json_and_as_a_table(client: FlaskClient) -> None:
    body = records(200.0, 220.0)
    alone = answer(client, "calibration", body)["calibration"]
    reply = client.post("/v1/batch", json=[{"estimate": "calibration", "request": body}])
    assert json.loads(reply.get_data())["items"][0]["result"]["calibration"] == alone
    text = io.StringIO()
    out = csv.writer(text)
    out.writerow(["estimate", "id", "records [json]"])
    out.writerow(["calibration", "a", json.dumps(body["records"])])
    reply = client.post("/v1/batch", data=text.getvalue(), content_type="text/csv")
    (row,) = csv.DictReader(io.StringIO(reply.get_data(as_text=True)))
    assert row["status"] == "200", row
    assert any(str(alone["jacket_conductance"]["p50"]) in cell for cell in row.values())


def posted(client: FlaskClient, body: str | bytes) -> tuple[int, JSON]:
    """Status and body of the answer to records as a table."""
    reply = client.post("/v1/calibration", data=body, content_type="text/csv")
    return reply.status_code, json.loads(reply.get_data())


TABLE = (FOLDER / "calibration-table.csv").read_text()


def test_records_as_rows_of_a_table_are_the_same_records(client: FlaskClient) -> None:
    status, found = posted(client, TABLE)
    assert status == 200
    entries = []
    for row in csv.DictReader(io.StringIO(TABLE)):
        entries.append({
            "id": row["id"],
            "pipe": {k: row[f"pipe.{k}"] for k in ("standard", "size", "schedule")},
            "fluid": {"temperature": {"value": 18, "unit": "degC"}},
            "ambient": {"temperature": {"value": 21, "unit": "degC"}},
            "line_pressure": {"value": 3, "unit": "bar"},
            "observations": json.loads(row["observations [json]"]),
        })  # fmt: skip
    assert found == answer(client, "calibration", {"records": entries})
    assert posted(client, "\ufeff" + TABLE) == (200, found), "with a mark of UTF-8"


@pytest.mark.parametrize(
    "table",
    ["", "\n", "Note\nx\n", "pipe.colour\nred\n", "id,id\na,b\n", 'id\n"a\n',
     "id\na,b\n", b"id\n\x81\n"],
)  # fmt: skip
def test_a_table_that_cannot_be_read_is_refused(client: FlaskClient, table: str | bytes) -> None:
    status, found = posted(client, table)
    assert status == 400
    assert found["type"] == "/v1/problems/malformed-csv"


def test_what_is_wrong_in_a_row_is_pointed_at_as_in_records(client: FlaskClient) -> None:
    status, found = posted(client, TABLE.replace("ASTM B88,1,L", "ASTM B88,9,L"))
    assert status == 422
    assert [e["pointer"] for e in found["errors"]] == ["#/records/1/pipe/size"]
    status, found = posted(client, "id\n")
    assert status == 422
    assert [e["pointer"] for e in found["errors"]] == ["#/records"]


def test_no_other_estimate_takes_a_table(client: FlaskClient) -> None:
    reply = client.post("/v1/plug-time", data=TABLE, content_type="text/csv")
    assert reply.status_code == 415
