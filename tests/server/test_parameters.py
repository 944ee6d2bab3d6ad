"""Query parameters of estimates and batches, over HTTP."""

import json
from typing import Any

import pytest
from flask.testing import FlaskClient

from stillpipe.api import description
from stillpipe.api.registry import SVG

EXAMPLES = description.FOLDER / "examples"
ITEMS = json.loads((EXAMPLES / "batch-array.json").read_text())
REQUEST = json.loads((EXAMPLES / "plug-time-request.json").read_text())
KINDS = [i["estimate"] for i in ITEMS]


def errors(client: FlaskClient, path: str, body: Any, **heads: str) -> list[str]:
    reply = client.post(path, json=body, headers=heads)
    assert reply.status_code == 422
    assert reply.json is not None
    assert reply.json["type"] == "/v1/problems/invalid-parameter"
    return [e["parameter"] for e in reply.json["errors"]]


def results(client: FlaskClient, query: str) -> tuple[list[Any], Any]:
    reply = client.post(f"/v1/batch{query}", json=ITEMS)
    assert reply.status_code == 200
    assert reply.json is not None
    return [i["result"] for i in reply.json["items"]], reply.json["summary"]


def test_less_and_more_of_an_estimate(client: FlaskClient) -> None:
    part = client.post("/v1/plug-time?fields=ready.likely", json=REQUEST).json
    assert part is not None
    assert set(part["ready"]) == {"likely", "unit"}
    assert "closure" not in part
    more = client.post("/v1/plug-time?include=history", json=REQUEST).json
    assert more is not None
    assert {"history", "closure"} <= set(more)


@pytest.mark.parametrize("path", ["/v1/plug-time", "/v1/batch"])
def test_a_list_is_given_with_commas_or_name_by_name(path: str, client: FlaskClient) -> None:
    """Some generated clients do the one, some the other."""
    body = REQUEST if path == "/v1/plug-time" else ITEMS
    with_commas, by_name = (
        client.post(
            f"{path}?fields={between.join(('ready', 'closure'))}&include=history", json=body
        )
        for between in (",", "&fields=")
    )
    assert with_commas.status_code == by_name.status_code == 200
    assert with_commas.get_data() == by_name.get_data()
    assert b'"closure"' in by_name.get_data()


def test_what_is_asked_wrongly_is_named(client: FlaskClient) -> None:
    assert errors(client, "/v1/plug-time?fields=ready&fields=colour", REQUEST) == ["fields"]
    assert errors(client, "/v1/plug-time?fields=colour", REQUEST) == ["fields"]
    assert errors(client, "/v1/plug-time?fields=ready", REQUEST, Accept=SVG) == ["fields"]
    assert errors(client, "/v1/batch?fields=colour", ITEMS) == ["fields"]
    assert errors(client, "/v1/batch?cautions=none", ITEMS) == ["cautions"]
    unknown = client.post("/v1/hold-time?include=history", json=REQUEST)
    assert unknown.json is not None
    assert unknown.json["type"] == "/v1/problems/unknown-parameter"


def test_a_batch_of_different_kinds_has_of_each_what_it_has(client: FlaskClient) -> None:
    """A name need only be known to one estimate; the others have no such member."""
    assert len(set(KINDS)) > 1
    whole, _ = results(client, "")
    part, _ = results(client, "?fields=ready.likely,survival")
    for kind, all_, some in zip(KINDS, whole, part, strict=True):
        assert ("ready" in some) == ("ready" in all_), kind
        assert ("survival" in some) == ("survival" in all_), kind
        assert some["cautions"] == all_["cautions"]
        assert "inputs" not in some
    assert any("survival" in some for some in part)


def test_cautions_as_codes_are_told_once_with_their_texts(client: FlaskClient) -> None:
    whole, plain = results(client, "")
    lean, summary = results(client, "?cautions=codes")
    known = {c["code"]: c for c in summary["cautions"]}
    assert "cautions" not in plain
    for all_, some in zip(whole, lean, strict=True):
        assert [known[code] for code in some["cautions"]] == all_["cautions"]
        assert {**some, "cautions": 0} == {**all_, "cautions": 0}
    assert {c["code"] for r in whole for c in r["cautions"]} == set(known)


def test_lines_have_their_cautions_in_the_last_one(client: FlaskClient) -> None:
    text = (EXAMPLES / "batch-lines.ndjson").read_bytes()
    reply = client.post("/v1/batch?cautions=codes", data=text, content_type="application/x-ndjson")
    *items, last = [json.loads(line) for line in reply.data.splitlines()]
    codes = {code for item in items for code in item["result"]["cautions"]}
    assert codes == {c["code"] for c in last["summary"]["cautions"]}


@pytest.mark.parametrize("query", ["", "?fields=ready.likely", "?fields=inputs.pipe"])
def test_a_table_has_columns_of_what_is_asked_for(client: FlaskClient, query: str) -> None:
    text = (EXAMPLES / "batch-table.csv").read_bytes()
    reply = client.post(f"/v1/batch{query}", data=text, content_type="text/csv")
    head = reply.get_data(as_text=True).splitlines()[0].split(",")
    begin = {name.split(".")[0].split(" ")[0] for name in head}
    assert ("inputs" in begin) == ("inputs" in query)
    assert ("closure" in begin) == (query == "")
    assert not {"history", "bands"} & begin
    assert {"verdict", "reasons", "cautions"} <= begin


def test_what_is_asked_for_hangs_on_the_form_of_the_answer(client: FlaskClient) -> None:
    """An array that is answered as a table, and a table that is answered as an array."""
    query = "/v1/batch?include=history&cautions=codes"
    reply = client.post(query, json=ITEMS, headers={"Accept": "text/csv"})
    begin = {name.split(".")[0] for name in reply.get_data(as_text=True).splitlines()[0].split(",")}
    assert "history" in begin
    assert not {"inputs", "bands", "profile", "growth"} & begin
    text = (EXAMPLES / "batch-table.csv").read_bytes()
    heads = {"Accept": "application/json"}
    answer = client.post(query, data=text, content_type="text/csv", headers=heads).json
    assert answer is not None
    good = [item["result"] for item in answer["items"] if item["status"] == 200]
    assert good
    for result in good:
        assert "inputs" in result
        assert "profile" not in result
    codes = {code for result in good for code in result["cautions"]}
    assert codes == {caution["code"] for caution in answer["summary"]["cautions"]}
