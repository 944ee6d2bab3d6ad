"""Columns of tables are the declared inputs."""

import pytest

from stillpipe.api import registry
from stillpipe.api.inputs.columns import Column, column

REQUESTS = registry.REQUESTS


@pytest.mark.parametrize(
    ("name", "unit", "kind"),
    [
        ("line_pressure", "bar", "quantity"),
        ("fluid.temperature", "degC", "quantity"),
        ("jacket_loss.mass", "kg", "quantity"),
        ("safety_factor", None, "number"),
        ("points", None, "number"),
        ("id", None, "text"),
        ("pipe.size", None, "text"),
        ("orientation", None, "text"),
        ("rates.currency", None, "text"),
        ("rates.labour_per_hour", None, "money"),
        ("frost_seen", None, "flag"),
        ("cylinder.dip_tube", None, "flag"),
        ("cylinder.net_mass", "lb", "quantity"),
        ("stock", "json", "json"),
        ("pipe", "json", "json"),
        ("safety_factor", "json", "json"),
        ("decision_probability", None, "number"),
        ("percentiles", "json", "json"),
        ("ready_by", "min", "quantity"),
    ],
)
def test_a_column_is_of_its_inputs_kind(name: str, unit: str | None, kind: str) -> None:
    path = tuple(name.split("."))
    assert column(path, unit, REQUESTS) == Column(path, unit, kind)


@pytest.mark.parametrize(
    ("name", "unit", "fault"),
    [
        ("line_pressure", None, "needs a unit in brackets, one of Pa, kPa, MPa, bar, psi"),
        ("line_pressure", "m", "needs a unit in brackets, one of Pa, kPa, MPa, bar, psi"),
        ("safety_factor", "bar", "takes no unit"),
        ("pipe", None, "has members of its own: name them, or write [json] and give JSON"),
        ("stock", None, "has members of its own: name them, or write [json] and give JSON"),
        ("percentiles", None, "is a list: write [json] and give JSON"),
        ("percentiles", "1", "takes no unit"),
        ("colour", None, "unknown column"),
        ("pipe.colour", "json", "unknown column"),
        ("line_pressure.value", None, "unknown column"),
        ("places.0.name", None, "unknown column"),
    ],
)
def test_a_column_that_cannot_be_used_says_why(name: str, unit: str | None, fault: str) -> None:
    assert column(tuple(name.split(".")), unit, REQUESTS) == fault
