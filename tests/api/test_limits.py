"""Published limits are those that are applied."""

from collections import defaultdict
from dataclasses import replace
from typing import Any

import pytest
from marshmallow import ValidationError

from api.examples import example
from stillpipe.api import limits, registry, units
from stillpipe.api.inputs import schemas
from stillpipe.model.declare import Choice, Count, Input, Many, Number, Quantity, Text
from stillpipe.model.requests import PlugTimeRequest

REQUESTS = registry.REQUESTS
SECTIONS: dict[type[Input], str] = {
    Quantity: "quantities", Number: "numbers", Count: "numbers", Many: "lists", Text: "texts",
    Choice: "choices",
}  # fmt: skip
NAMED: dict[tuple[str, str], list[Input]] = defaultdict(list)
for _name, _declared in limits.named(REQUESTS):
    if type(_declared) in SECTIONS:
        NAMED[SECTIONS[type(_declared)], _name].append(_declared)
QUANTITIES = {n: d[0] for (s, n), d in NAMED.items() if s == "quantities"}


@pytest.mark.parametrize(("section", "name"), sorted(NAMED))
def test_one_name_has_one_range(section: str, name: str) -> None:
    assert len({replace(d, says="", limit="") for d in NAMED[section, name]}) == 1


@pytest.mark.parametrize("name", sorted(QUANTITIES))
def test_published_range_never_reaches_outside_the_si_range(name: str) -> None:
    declared = QUANTITIES[name]
    assert isinstance(declared, Quantity)
    kind = units.KINDS[declared.kind]
    for unit in kind.accepted:
        low, high = (kind.to_si(v, unit) for v in limits.within(declared, unit))
        slack = 1e-9 * max(abs(declared.high), 1.0)
        assert declared.low - slack <= low < high <= declared.high + slack


def test_every_bounded_input_is_published() -> None:
    published = limits.published(REQUESTS)
    assert {(part, name) for part, found in published.items() for name in found} == set(NAMED)
    assert set(published["numbers"]) == {
        "safety_factor", "capture_efficiency", "reserve", "relative_humidity", "points",
        "jackets_per_cylinder", "stock", "emissivity",
    }  # fmt: skip
    assert published["numbers"]["reserve"] == {"minimum": 0.0, "maximum": 0.9}
    assert published["lists"]["places"] == {"minimum": 1, "maximum": 50}
    assert published["texts"]["id"] == {"minimum": 1, "maximum": 128}
    assert published["choices"]["units"] == ["si", "us"]


def test_names_of_the_last_release_are_kept() -> None:
    published = limits.published(REQUESTS)
    kept = {"units", "orientation", "standard", "material", "lining", "insulation", "fluid"}
    assert kept <= set(published["choices"])
    assert {"outside_diameter", "jacket_leak", "release_duration", "drain_rate", "setup",
            "position", "air_changes", "fill_time"} <= set(published["quantities"])  # fmt: skip


@pytest.mark.parametrize("unit", ["Pa", "kPa", "MPa", "bar", "psi"])
def test_the_published_ends_are_accepted_and_what_is_beyond_is_not(unit: str) -> None:
    ends = limits.published(REQUESTS)["quantities"]["line_pressure"][unit]
    tree: dict[str, Any] = example("plug-time-request")
    for end in ends.values():
        schemas.load(PlugTimeRequest, tree | {"line_pressure": {"value": end, "unit": unit}})
    beyond = ends["maximum"] * (1.0 + 1e-5)
    with pytest.raises(ValidationError):
        schemas.load(PlugTimeRequest, tree | {"line_pressure": {"value": beyond, "unit": unit}})
