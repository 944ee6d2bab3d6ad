"""The echo is complete: every declared input, each marked where the caller left it out."""

from decimal import Decimal
from pathlib import Path
from typing import Any

import orjson
import pytest

from api.examples import SINGLE, example, request_of
from stillpipe.api import registry
from stillpipe.api.inputs import echo, schemas
from stillpipe.model.declare import (
    Group,
    Many,
    Money,
    Name,
    Numbers,
    Quantity,
    inputs,
    members,
)
from stillpipe.model.requests import PlugTimeRequest

REQUESTS = registry.REQUESTS


def echoed(tree: Any, request: type[Any]) -> dict[str, Any]:
    return echo.inputs(*schemas.load(request, tree))


def full(request: type[Any]) -> Any:
    """A request in which every group and list is there, values made from the declarations."""
    values = {}
    for name, member in inputs(request).items():
        declared = member.declaration
        if isinstance(declared, Group):
            values[name] = full(member.group)
        elif isinstance(declared, Many):
            values[name] = (full(member.group), full(member.group))
        elif isinstance(declared, Money):
            values[name] = Decimal("1.50")
        elif isinstance(declared, Quantity):
            values[name] = declared.high
        elif isinstance(declared, Numbers):
            values[name] = (declared.low, declared.high)
        elif hasattr(declared, "low"):
            values[name] = declared.low
        elif hasattr(declared, "choices"):
            values[name] = next(iter(declared.choices))
        else:
            values[name] = "XXX"
    return request(**values)


def lacking(request: type[Any], shown: Any, before: str = "") -> list[str]:
    """The dotted names of declared inputs that ``shown`` has not, or not in their shape."""
    found = []
    for name, member in inputs(request).items():
        declared, path = member.declaration, before + name
        if path in echo.HEAD:
            continue
        value = shown.get(name)
        if isinstance(declared, Group):
            found += [path] if value is None else lacking(member.group, value, f"{path}.")
        elif isinstance(declared, Many):
            for entry in value or [{}]:
                found += lacking(member.group, entry, f"{path}.0.")
        elif isinstance(declared, Name):
            found += [] if isinstance(value, str) else [path]
        elif isinstance(declared, Quantity):
            found += [] if set(value or ()) == {"value", "unit", "default"} else [path]
        else:
            found += [] if set(value or ()) == {"value", "default"} else [path]
    return found


@pytest.mark.parametrize("request_class", REQUESTS, ids=[r.__name__ for r in REQUESTS])
def test_every_declared_input_is_echoed(request_class: type[Any]) -> None:
    shown = echo.inputs(full(request_class), frozenset())
    assert lacking(request_class, shown) == []
    assert set(shown) == set(members(request_class)) - set(echo.HEAD)


def test_a_lacking_input_would_be_seen() -> None:
    shown = echo.inputs(full(PlugTimeRequest), frozenset())
    del shown["jacket"]["length"]
    shown["lining"] = None
    assert lacking(PlugTimeRequest, shown) == ["lining", "jacket.length"]


@pytest.mark.parametrize("file", SINGLE, ids=[f.stem for f in SINGLE])
def test_default_is_whatever_the_caller_left_out(file: Path) -> None:
    """Pipe and jacket of a job's freeze point are stated where the job states them."""
    tree = example(file.stem)
    shown = echoed(tree, request_of(file.stem))
    common = {name: tree[name] for name in ("pipe", "jacket") if name in tree}

    def check(echo_of: Any, stated: Any) -> None:
        for name, leaf in echo_of.items():
            if isinstance(leaf, list):
                for entry, said in zip(leaf, stated.get(name, []), strict=True):
                    check(entry, common | said if name == "freeze_points" else said)
            elif isinstance(leaf, dict) and "default" in leaf:
                assert leaf["default"] is (name not in stated), name
            elif isinstance(leaf, dict):
                check(leaf, stated.get(name, {}))

    check(shown, tree)
    assert orjson.loads(orjson.dumps(shown)) == shown


def test_leaves_have_the_units_of_the_answer_and_six_digits() -> None:
    tree = example("plug-time-request") | {"units": "us", "safety_factor": 3}
    tree["fluid"]["temperature"] = {"value": 68, "unit": "degF"}
    tree["line_pressure"] = {"value": 3, "unit": "bar"}
    shown = echoed(tree, PlugTimeRequest)
    assert shown["fluid"]["temperature"] == {"value": 68.0, "unit": "degF", "default": False}
    assert shown["line_pressure"] == {"value": 43.5113, "unit": "psi", "default": False}
    assert shown["safety_factor"] == {"value": 3.0, "default": False}
    assert shown["orientation"] == {"value": "horizontal", "default": True}
    assert type(shown["orientation"]["value"]) is str


def test_probabilities_are_echoed_as_they_were_stated() -> None:
    plain = echoed(example("plug-time-request"), PlugTimeRequest)
    assert plain["decision_probability"] == {"value": 0.95, "default": True}
    assert not {"percentiles", "ready_by"} & set(plain), "what was not asked for is left out"
    asked = {"percentiles": [0.9, 0.1], "ready_by": {"value": 10, "unit": "min"}}
    shown = echoed(example("plug-time-request") | asked, PlugTimeRequest)
    assert shown["percentiles"] == {"value": [0.9, 0.1], "default": False}, "in the order stated"
    assert shown["ready_by"] == {"value": 600.0, "unit": "s", "default": False}


def test_a_catalogued_pipe_has_its_name_and_its_measures() -> None:
    pipe = echoed(example("plug-time-request"), PlugTimeRequest)["pipe"]
    assert pipe["id"] == "astm-b88/1-2/L"
    assert pipe["size"] == {"value": "1/2", "default": False}
    assert pipe["outside_diameter"] == {"value": 15.875, "unit": "mm", "default": True}


def test_what_does_not_apply_is_left_out() -> None:
    shown = echoed(example("plug-time-by-measure"), PlugTimeRequest)
    assert set(shown["pipe"]) == {"outside_diameter", "wall", "material"}
    assert shown["insulation"] is None
    assert shown["lining"]["material"] == {"value": "iron_oxide_scale", "default": False}
    assert not {"id", "units"} & set(shown)


def test_a_job_echoes_what_it_is_asked_for() -> None:
    tree = example("job-estimate-request")
    tree["drain_down"] = {"volume": {"value": 80, "unit": "L"}, "downtime_per_hour": "120.00"}
    tree["places"] = [{"name": "V1", "kind": "valve", "at": {"value": 2, "unit": "m"}}]
    tree.pop("room", None)
    shown = echoed(tree, request_of("job-estimate-request"))
    assert shown["room"] is None
    assert shown["drain_down"]["downtime_per_hour"] == {"value": "120.00", "default": False}
    assert shown["drain_down"]["inhibitor_per_litre"] == {"value": "0", "default": True}
    assert shown["places"] == [{
        "name": {"value": "V1", "default": False}, "kind": {"value": "valve", "default": False},
        "at": {"value": 2000.0, "unit": "mm", "default": False},
    }]  # fmt: skip
    assert "hold" not in shown
    assert shown["repair"]["unit"] == "s"


def test_the_name_of_a_pipe_is_plain_whether_stated_or_not() -> None:
    by_size = {"standard": "ASTM B88", "size": "1/2", "schedule": "L"}
    for pipe in (by_size, {"id": "astm-b88/1-2/L"}):
        tree = example("plug-time-request") | {"pipe": pipe}
        assert echoed(tree, PlugTimeRequest)["pipe"]["id"] == "astm-b88/1-2/L"
