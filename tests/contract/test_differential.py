"""JSON Schema and marshmallow, two validators, reach the same verdict on any body."""

import json
from typing import Any

import pytest
from flask.testing import FlaskClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from marshmallow import ValidationError

from contract.test_specification import EXAMPLES, operation, validator
from stillpipe.api.inputs import schemas
from stillpipe.api.registry import ENDPOINTS

Tree = Any

SCALARS = st.one_of(
    st.none(), st.booleans(), st.integers(-10, 10), st.floats(allow_nan=False), st.just("5"),
    st.sampled_from(["", " 5 ", "1_0", "mm", "degC", "water", "L", "x" * 200, 1e400, 10**400,
                     "a\0", "a\n", "\x7f", "\x9f", "\ufffe", "\U0001f9ca", "\u00a0"]),
    st.just({}), st.just([]),
)  # fmt: skip


def places(tree: Tree, path: tuple[str, ...] = ()) -> list[tuple[str, ...]]:
    found = [path] if path else []
    if isinstance(tree, dict):
        for key, value in tree.items():
            found += places(value, (*path, key))
    return found


def changed(tree: Tree, path: tuple[str, ...], value: Tree, action: str) -> Tree:
    copy = json.loads(json.dumps(tree))
    at = copy
    for key in path[:-1]:
        at = at[key]
    if action == "drop":
        del at[path[-1]]
    elif action == "add":
        at[path[-1] + "_"] = value
    else:
        at[path[-1]] = value
    return copy


@st.composite
def bodies(draw: st.DrawFn) -> tuple[str, str, Tree]:
    example = draw(st.sampled_from(EXAMPLES))
    address, schema, _ = operation(example)
    tree = json.loads(example.read_text())
    for _ in range(draw(st.integers(0, 2))):
        path = draw(st.sampled_from(places(tree)))
        tree = changed(tree, path, draw(SCALARS), draw(st.sampled_from(["set", "drop", "add"])))
        if not places(tree):
            break
    return address.removeprefix("/v1/"), schema, tree


@settings(max_examples=600, deadline=None, derandomize=True)
@given(bodies())
def test_json_schema_and_marshmallow_agree(case: tuple[str, str, Tree]) -> None:
    name, schema, tree = case
    try:
        schemas.schema_of(ENDPOINTS[name].request).load(tree)
        loaded = True
    except ValidationError:
        loaded = False
    assert loaded == validator(schema).is_valid(tree)


@settings(
    max_examples=150,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(bodies())
def test_any_body_gets_200_or_a_4xx_problem(
    client: FlaskClient, case: tuple[str, str, Tree]
) -> None:
    name, schema, tree = case
    text = json.dumps(tree)
    reply = client.post(f"/v1/{name}", data=text, content_type="application/json")
    if reply.status_code == 200:
        assert validator(schema).is_valid(tree)
        return
    assert reply.status_code in {400, 422}
    assert reply.content_type == "application/problem+json"
    assert reply.json is not None
    if reply.json["type"].endswith("invalid-request"):
        assert not validator(schema).is_valid(tree)


@pytest.mark.parametrize("text", ["5", " 5 ", "1_0", True, None, [], {}])
def test_number_must_be_a_json_number(client: FlaskClient, text: Tree) -> None:
    tree = json.loads(next(p for p in EXAMPLES if p.stem == "plug-time-request").read_text())
    tree["line_pressure"]["value"] = text
    reply = client.post("/v1/plug-time", json=tree)
    assert reply.status_code == 422
    assert reply.json is not None
    assert [e["pointer"] for e in reply.json["errors"]] == ["#/line_pressure/value"]
