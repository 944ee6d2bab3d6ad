"""Published limits are those that are applied."""

from collections import defaultdict
from dataclasses import replace
from typing import Any

import pytest
from marshmallow import ValidationError

from api.examples import example
from stillpipe.api import limits, registry, units
from stillpipe.api.inputs import schemas
from stillpipe.model.declare import (
    Choice,
    Count,
    Input,
    Many,
    Name,
    Number,
    Numbers,
    Quantity,
    Text,
)
from stillpipe.model.observations import Seen
from stillpipe.model.requests import PlugTimeRequest

REQUESTS = registry.REQUESTS
SECTIONS: dict[type[Input], tuple[str, ...]] = {
    Quantity: ("quantities",), Number: ("numbers",), Count: ("numbers",), Many: ("lists",),
    Numbers: ("numbers", "lists"), Text: ("texts",), Name: ("texts",), Choice: ("choices",),
}  # fmt: skip
NAMED: dict[tuple[str, str], list[Input]] = defaultdict(list)
for _name, _declared in limits.named(REQUESTS):
    for _section in SECTIONS.get(type(_declared), ()):
        NAMED[_section, _name].append(_declared)
QUANTITIES = {n: d[0] for (s, n), d in NAMED.items() if s == "quantities"}


ALTERNATIVES = ("choices", "observation")
"""The kinds of observation: each stands alone in what is declared of it."""


def test_the_kinds_of_alternatives_are_one_list() -> None:
    published = limits.published(REQUESTS)["choices"]["observation"]
    assert published == [str(kind) for kind in Seen]


@pytest.mark.parametrize(("section", "name"), sorted(set(NAMED) - {ALTERNATIVES}))
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
        "jackets_per_cylinder", "jackets", "crew", "points_each", "stock", "emissivity",
        "decision_probability", "percentiles", "calibrated_factor", "calibration_records",
    }  # fmt: skip
    assert published["numbers"]["reserve"] == {"minimum": 0.0, "maximum": 0.9}
    assert published["numbers"]["decision_probability"] == {"minimum": 0.5, "maximum": 0.99}
    assert published["numbers"]["percentiles"] == {"minimum": 0.01, "maximum": 0.99}
    assert published["lists"]["percentiles"] == {"minimum": 1, "maximum": 20}
    assert published["quantities"]["ready_by"]["min"] == {"minimum": 0.0166667, "maximum": 480.0}
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


@pytest.mark.parametrize("member", ["decision_probability", "percentiles"])
def test_the_ends_of_probabilities_are_accepted_and_what_is_beyond_is_not(member: str) -> None:
    ends = limits.published(REQUESTS)["numbers"][member]
    tree: dict[str, Any] = example("plug-time-request")

    def said(value: float) -> dict[str, Any]:
        return tree | {member: [value] if member == "percentiles" else value}

    for end, beyond in ((ends["minimum"], -1e-6), (ends["maximum"], 1e-6)):
        schemas.load(PlugTimeRequest, said(end))
        with pytest.raises(ValidationError):
            schemas.load(PlugTimeRequest, said(end + beyond))
