"""Shorthands of the description stand for what they say, and none is served."""

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml

from stillpipe.api import description, limits, units
from stillpipe.api.description import expanded
from stillpipe.api.registry import REQUESTS
from stillpipe.estimates import plug_time
from stillpipe.model.declare import Quantity, members
from stillpipe.model.options import JobEstimateRequest

QUANTITIES = {
    name: declared for name, declared in limits.named(REQUESTS) if isinstance(declared, Quantity)
}


def names(node: Any) -> set[str]:
    if isinstance(node, list):
        return set().union(*map(names, node))
    if isinstance(node, dict):
        return set(node) | names(list(node.values()))
    return set()


def closed(**members: Any) -> dict[str, Any]:
    return {
        "type": "object", "properties": members, "required": list(members),
        "additionalProperties": False,
    }  # fmt: skip


def only(unit: str) -> dict[str, Any]:
    """One unit, as generated clients can tell it from others."""
    return {"type": "string", "enum": [unit]}


def test_no_shorthand_is_served() -> None:
    assert [n for n in names(description.tree()) if n.startswith("x-")] == []


def test_a_quantity_has_an_object_for_each_unit_with_the_bounds_in_it() -> None:
    said = {"kind": "mass", "minimum": 0.5, "maximum": 100, "unit": "kg"}
    written = {"NetMass": {"description": "CO2 in it.", "x-quantity": said}}
    ends = {"kg": (0.5, 100), "g": (500, 100000), "lb": (1.10232, 220.462)}
    assert expanded(written, {}) == {
        "NetMass": {
            "description": "CO2 in it.",
            "oneOf": [
                {"title": f"NetMassIn{unit.title()}"}
                | closed(value={"type": "number", "minimum": low, "maximum": high}, unit=only(unit))
                for unit, (low, high) in ends.items()
            ],
        }
    }


def test_a_quantity_of_one_unit_is_one_object() -> None:
    said = {"kind": "air_changes", "minimum": 0, "maximum": 100, "unit": "1/h"}
    value = {"type": "number", "minimum": 0, "maximum": 100}
    assert expanded({"x-quantity": said}, {}) == closed(value=value, unit=only("1/h"))


def test_no_single_value_is_a_const() -> None:
    """Some client generators ignore it, and then cannot tell one alternative from another."""
    assert "const" not in set(names(description.tree()["components"]))


def test_a_freeze_point_of_a_job_has_no_defaults() -> None:
    """What it leaves out is what the job states; clients that send defaults would undo that."""
    point = description.tree()["components"]["schemas"]["JobPoint"]["properties"]
    assert [name for name, member in point.items() if "default" in member] == []


@pytest.mark.parametrize("name", list(QUANTITIES))
def test_bounds_mean_the_same_in_whichever_unit_they_are_written(name: str) -> None:
    """Six digits, rounded inwards, as the service accepts; the unit of writing must hold them."""
    bound = QUANTITIES[name]
    kind = units.KINDS[bound.kind]
    exact = [
        u for u in kind.accepted
        if all(kind.to_si(e, u) == pytest.approx(b, rel=1e-12, abs=1e-15)
               for e, b in zip(limits.within(bound, u), (bound.low, bound.high), strict=True))
    ]  # fmt: skip
    assert exact
    for unit in exact:
        low, high = limits.within(bound, unit)
        said = {"kind": bound.kind, "minimum": low, "maximum": high, "unit": unit}
        found = expanded({"x-quantity": said}, {})
        shown = {
            c["properties"]["unit"]["enum"][0]: (
                c["properties"]["value"]["minimum"],
                c["properties"]["value"]["maximum"],
            )
            for c in found.get("oneOf", [found])
        }
        assert shown == {u: limits.within(bound, u) for u in kind.accepted}


def test_figures_of_answers_have_the_units_of_answers() -> None:
    unit = {"type": "string", "enum": ["kPa", "psi"]}
    figure = {"type": "number"}
    assert expanded({"x-figure": "pressure"}, {}) == closed(value=figure, unit=unit)
    assert expanded({"x-figure": ["time", "factor"]}, {})["properties"]["unit"]["enum"] == [
        "s", "1",
    ]  # fmt: skip
    span = expanded({"x-range": "pressure"}, {})
    assert span["required"] == ["low", "likely", "high", "unit"]
    assert list(span["properties"]) == [*span["required"], "percentiles"], "where asked for"
    further = span["properties"]["percentiles"]["items"]
    assert further["required"] == ["probability", "value"]
    assert further["properties"]["value"]["type"] == ["number", "null"]
    assert span["properties"]["high"]["type"] == ["number", "null"]
    assert span["properties"]["unit"] == unit
    course = expanded({"x-series": "pressure"}, {})
    assert course == closed(unit=unit, values={"type": "array", "items": figure})
    echo = expanded({"x-echo": "pressure"}, {})
    assert echo["required"] == ["value", "unit", "default"]
    word = expanded({"x-echo": "string"}, {})
    assert word["required"] == ["value", "default"]
    assert word["properties"]["value"] == {"type": "string"}


def test_a_schema_or_null() -> None:
    reference = {"$ref": "#/components/schemas/TimeRange"}
    assert expanded({"x-maybe": "TimeRange"}, {}) == {"oneOf": [reference, {"type": "null"}]}


def test_members_are_all_required_but_those_beside_them() -> None:
    whole = {"type": "integer"}
    written = {"properties": {"id": whole}, "x-members": {"count": whole}}
    assert expanded(written, {}) == closed(count=whole) | {
        "properties": {"id": whole, "count": whole}
    }


def test_fragments_are_merged_and_what_is_given_again_replaces() -> None:
    whole, text = {"type": "integer"}, {"type": "string", "minLength": 1}
    fragments = {"named": {"x-members": {"id": text}}, "both": {"x-include": ["named"]}}
    written = {"x-include": ["both"], "properties": {"id": whole, "at": text}, "required": ["at"]}
    assert expanded(written, fragments) == closed(id=whole, at=text)
    assert fragments["named"] == {"x-members": {"id": text}}, "a fragment is only read"
    twice = expanded([{"x-include": ["named"]}] * 2, fragments)
    assert twice[0]["properties"]["id"] is not twice[1]["properties"]["id"]


@pytest.mark.parametrize(
    "wrong",
    [
        {"x-figur": "time"},
        {"x-figure": "colour"},
        {"x-include": ["nothing"]},
        {"x-quantity": {"kind": "time", "minimum": 0, "maximum": 1, "unit": "fortnight"}},
    ],
)
def test_a_mistake_in_a_shorthand_is_an_error(wrong: dict[str, Any]) -> None:
    with pytest.raises(KeyError):
        expanded(wrong, {})


@pytest.mark.parametrize(
    "text",
    [None, "paths: [", "5", "info: {}", "paths: {/v1: {x-figure: colour}}",
     "paths: {/v1: {externalValue: examples/none.json}}"],
    ids=["missing", "no YAML", "no object", "no paths", "wrong shorthand", "no example"],
)  # fmt: skip
def test_a_description_that_cannot_be_read_is_one_error(
    text: str | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    if text is not None:
        (tmp_path / "openapi.yaml").write_text(text)
    monkeypatch.setattr(description, "FOLDER", tmp_path)
    with pytest.raises(description.DescriptionError, match=r"openapi\.yaml"):
        description.tree.__wrapped__()


def test_the_command_prints_what_is_served() -> None:
    printed = subprocess.run(
        [sys.executable, "-m", "stillpipe.api.description"],
        capture_output=True, timeout=120, check=True,
    ).stdout  # fmt: skip
    assert yaml.safe_load(printed) == description.tree()
    assert b"*id0" not in printed


def properties(node: Any, path: str = "") -> Iterator[tuple[str, dict[str, Any]]]:
    """Every property of every schema, except those that tell what is refused."""
    if isinstance(node, list):
        for index, part in enumerate(node):
            yield from properties(part, f"{path}/{index}")
    elif isinstance(node, dict):
        declared = node.get("properties")
        if isinstance(declared, dict) and "$ref" not in declared:
            yield from ((f"{path}/{name}", part) for name, part in declared.items())
        for key, part in node.items():
            if key not in ("not", "examples", "example"):
                yield from properties(part, f"{path}/{key}")


def told(schema: dict[str, Any]) -> str:
    """The sentence of a schema, or of the one that it refers to."""
    schemas = description.tree()["components"]["schemas"]
    while "description" not in schema and "$ref" in schema:
        schema = schemas[schema["$ref"].rpartition("/")[2]]
    return str(schema.get("description", ""))


def test_every_property_that_is_served_is_described() -> None:
    found = dict(properties(description.tree()))
    assert len(found) > 1000
    assert [path for path, schema in found.items() if not told(schema).strip()] == []


def test_a_sentence_is_said_where_the_input_or_figure_is_declared() -> None:
    schemas = description.tree()["components"]["schemas"]
    declared = members(JobEstimateRequest)["orientation"].declaration.says
    assert schemas["JobEstimateRequest"]["properties"]["orientation"]["description"] == declared
    heat = members(plug_time.PlugTimeFigures)["heat_removed"].declaration.says
    assert schemas["PlugTime"]["properties"]["heat_removed"]["description"] == heat
