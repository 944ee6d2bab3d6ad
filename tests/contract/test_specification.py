"""The description and the code say the same: addresses, choices, ranges, examples."""

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from flask.testing import FlaskClient

from stillpipe.api import description, limits, problems, units
from stillpipe.api.registry import ENDPOINTS, REQUESTS
from stillpipe.model.declare import Quantity
from stillpipe.model.pipe import SPELLED
from stillpipe.server.batch.exchange import XLSX
from stillpipe.tables import fluids, materials, pipes

FOLDER = description.FOLDER / "examples"
EXAMPLES = sorted(p for p in FOLDER.glob("*.json") if not p.stem.startswith("batch"))
BATCHES = {
    "/v1/batch": ("application/json", FOLDER / "batch-array.json"),
    "/v1/batch/lines": ("application/x-ndjson", FOLDER / "batch-lines.ndjson"),
    "/v1/batch/table": ("text/csv", FOLDER / "batch-table.csv"),
}
FORMS = {"/lines", "/table", "/workbook"}
"""Addresses of the forms of a request, below its own."""
SPEC = description.tree()
SCHEMAS = SPEC["components"]["schemas"]


def _pattern(
    _: object, pattern: str, instance: Any, __: object
) -> Iterator[jsonschema.ValidationError]:
    """The keyword as ECMA-262 has it: "$" is the end alone, and not before a last line break."""
    if isinstance(instance, str) and not re.search(re.sub(r"\$$", r"\\Z", pattern), instance):
        yield jsonschema.ValidationError(f"{instance!r} does not match {pattern!r}")


VALIDATOR = jsonschema.validators.extend(jsonschema.Draft202012Validator, {"pattern": _pattern})


QUANTITIES = {
    name: declared for name, declared in limits.named(REQUESTS) if isinstance(declared, Quantity)
}


def validator(name: str) -> Any:
    schema = {"$ref": f"#/components/schemas/{name}", "components": SPEC["components"]}
    return VALIDATOR(schema)


def test_every_route_is_described_and_every_description_routed(client: FlaskClient) -> None:
    routed = set()
    for rule in client.application.url_map.iter_rules():
        methods = (rule.methods or set()) - {"HEAD", "OPTIONS"}
        for method in methods:
            if "<any(" in rule.rule:
                names = rule.rule.split("(")[1].split(")")[0].replace(" ", "").split(",")
                routed |= {(method.lower(), f"/v1/{name}") for name in names}
            else:
                routed.add(
                    (
                        method.lower(),
                        rule.rule.replace("<slug>", "{type}").replace("<file>", "{file}"),
                    )
                )
    described = {(m, p) for p, item in SPEC["paths"].items() for m in item}
    assert routed == described


def test_description_is_valid_openapi() -> None:
    validate = pytest.importorskip("openapi_spec_validator").validate
    validate(SPEC)


@pytest.mark.parametrize("name", list(QUANTITIES))
def test_published_range_of_a_quantity_is_the_accepted_one(name: str) -> None:
    bound = QUANTITIES[name]
    title = "".join(part.title() for part in name.split("_"))
    described = {
        b["properties"]["unit"]["enum"][0]: (
            b["properties"]["value"]["minimum"],
            b["properties"]["value"]["maximum"],
        )
        for b in SCHEMAS[title].get("oneOf", [SCHEMAS[title]])
    }
    assert described == {u: limits.within(bound, u) for u in units.KINDS[bound.kind].accepted}


def test_choices_in_the_description_are_those_of_the_code() -> None:
    exact, spelled = SCHEMAS["PipeBySize"]["properties"]["standard"]["anyOf"]
    assert tuple(exact["enum"]) == pipes.standards()
    known = [re.escape(spelling) for spelling, _ in SPELLED]
    assert re.sub(r"\\([ -])", r"\1", "|".join(known)) == spelled["pattern"][4:-2]
    assert SCHEMAS["Material"]["enum"] == [m.key for m in materials.catalogue()]
    assert SCHEMAS["Fluid"]["properties"]["type"]["enum"] == [f.key for f in fluids.catalogue()]
    for kind in ("lining", "insulation"):
        enum = SCHEMAS[kind.title()]["properties"]["material"]["enum"]
        assert enum == [m.key for m in materials.layers() if m.kind == kind]
    parameters = SPEC["paths"]["/v1/problems/{type}"]["get"]["parameters"]
    assert parameters[0]["schema"]["enum"] == list(problems.TYPES)


def operation(path: Path) -> tuple[str, str, str]:
    """Address, request schema and reply schema of an example, by the address its name begins."""
    posts = [p for p, item in SPEC["paths"].items() if "post" in item]
    address = max((p for p in posts if path.stem.startswith(p.removeprefix("/v1/"))), key=len)
    post = SPEC["paths"][address]["post"]
    contents = (post["requestBody"]["content"], post["responses"]["200"]["content"])
    request, reply = (c["application/json"]["schema"]["$ref"].split("/")[-1] for c in contents)
    return address, request, reply


@pytest.mark.parametrize("system", ["si", "us"])
@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_example_is_answered_as_described(path: Path, system: str, client: FlaskClient) -> None:
    address, request_schema, reply_schema = operation(path)
    body: dict[str, Any] = json.loads(path.read_text()) | {"units": system}
    validator(request_schema).validate(body)
    reply = client.post(address, json=body)
    assert reply.status_code == 200
    validator(reply_schema).validate(reply.json)
    assert reply.json is not None
    assert reply.json["id"] == body["id"]


def test_every_example_is_named_in_the_description() -> None:
    text = (description.FOLDER / "openapi.yaml").read_text()
    assert [p.name for p in sorted(FOLDER.iterdir()) if f"examples/{p.name}" not in text] == []


@pytest.mark.parametrize("own", [True, False], ids=["own-address", "batch"])
@pytest.mark.parametrize("path", list(BATCHES))
def test_batch_example_is_answered_as_described(path: str, own: bool, client: FlaskClient) -> None:
    """At the address of its form, and at that which takes all forms."""
    kind, file = BATCHES[path]
    sent = path if own else "/v1/batch"
    reply = client.post(sent, data=file.read_bytes(), content_type=kind)
    assert reply.status_code == 200
    assert reply.mimetype == kind
    if kind == "application/json":
        validator("BatchReply").validate(reply.json)
    elif kind == "application/x-ndjson":
        *answered, last = [json.loads(line) for line in reply.get_data().splitlines()]
        for answer in answered:
            validator("BatchAnswer").validate(answer)
        validator("BatchSummary").validate(last["summary"])
    else:
        assert (reply.headers["Batch-Succeeded"], reply.headers["Batch-Failed"]) == ("3", "0")


def test_a_batch_takes_every_estimate_with_an_address() -> None:
    posts = {p.removeprefix("/v1/") for p, item in SPEC["paths"].items() if "post" in item}
    forms = {p for p in posts if any(p.endswith(form) for form in FORMS)}
    assert posts - forms - {"batch"} == set(ENDPOINTS)
    assert SCHEMAS["BatchItem"]["properties"]["estimate"]["enum"] == list(ENDPOINTS)


def test_an_operation_takes_one_form() -> None:
    """Generated clients type and send but one."""
    for item in SPEC["paths"].values():
        for operation in item.values():
            assert len(operation.get("requestBody", {}).get("content", "1")) == 1


@pytest.mark.parametrize("path", [p for p in SPEC["paths"] if p.count("/") == 3 and "{" not in p])
def test_an_address_of_one_form_takes_no_other(path: str, client: FlaskClient) -> None:
    taken = set(SPEC["paths"][path]["post"]["requestBody"]["content"])
    for kind in {"application/json", "application/x-ndjson", "text/csv", XLSX} - taken:
        reply = client.post(path, data=b"[]", content_type=kind)
        assert reply.status_code == 415
        assert reply.json is not None
        assert reply.json["detail"] == f"Send {', '.join(taken)}."
