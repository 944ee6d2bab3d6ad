"""Unit conversions against published definitions and against pint."""

import pint
import pytest

from stillpipe.api import units
from stillpipe.errors import SolverError

# Exact by definition: international inch and foot, avoirdupois pound (1959 agreement),
# degree Fahrenheit; BTU_IT 1055.05585262 J (ISO 31-4); psi = lbf/in2 from those and g 9.80665.
DEFINED = [
    ("length", "in", 1.0, 0.0254),
    ("length", "ft", 1.0, 0.3048),
    ("temperature", "degF", 32.0, 273.15),
    ("temperature", "degF", -109.3, 194.65),
    ("temperature", "degC", -78.5, 194.65),
    ("pressure", "psi", 1.0, 6894.757293168),
    ("pressure", "bar", 1.0, 1e5),
    ("time", "h", 1.0, 3600.0),
    ("mass_flow", "lb/h", 1.0, 0.45359237 / 3600.0),
    ("energy", "BTU", 1.0, 1055.05585262),
    ("conductance", "BTU/(h.ft2.degF)", 1.0, 5.678263341113488),
    ("fraction", "%", 35.0, 0.35),
    ("fraction", "g/kg", 35.0, 0.035),
]


@pytest.mark.parametrize(("kind", "unit", "value", "expected"), DEFINED)
def test_conversion_matches_its_published_definition(
    kind: str, unit: str, value: float, expected: float
) -> None:
    assert units.KINDS[kind].to_si(value, unit) == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("kind", list(units.KINDS))
def test_every_unit_goes_there_and_back(kind: str) -> None:
    for unit in units.KINDS[kind].accepted:
        there = units.KINDS[kind].to_si(12.5, unit)
        assert units.KINDS[kind].from_si(there, unit) == pytest.approx(12.5, rel=1e-12)


def test_a_temperature_difference_is_not_a_temperature() -> None:
    ureg = pint.UnitRegistry(cache_folder=None)
    rise = ureg.Quantity(1.0, "delta_degree_Fahrenheit").to("kelvin").magnitude
    film = units.KINDS["conductance"].to_si(1.0, "BTU/(h.ft2.degF)")
    plain = 1055.05585262 / 3600.0 / 0.3048**2
    assert film == pytest.approx(plain / rise, rel=1e-6)


@pytest.mark.parametrize(
    ("value", "digits", "expected"),
    [(1234.56, 4, 1235.0), (0.00123456, 4, 0.001235), (0.0, 4, 0.0)],
)
def test_rounding_keeps_significant_digits(value: float, digits: int, expected: float) -> None:
    assert units.rounded(value, digits) == expected


@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf")])
def test_what_is_not_finite_never_leaves(value: float) -> None:
    with pytest.raises(SolverError):
        units.rounded(value)


@pytest.mark.parametrize("system", ["si", "us"])
@pytest.mark.parametrize("kind", ["length", "temperature", "pressure", "energy"])
def test_a_series_is_its_quantities_one_by_one(kind: str, system: str) -> None:
    values = [0.0, 1.0, 273.15, 99999.5, 1.23456789e-7, 8.00005e6, 233.15]
    found = units.display(kind, system, 4).series(values)
    each = [units.display(kind, system, 4).quantity(v) for v in values]
    assert found["values"] == [q["value"] for q in each]
    assert {found["unit"]} == {q["unit"] for q in each}


def test_an_empty_series_is_empty() -> None:
    assert units.display("time", "si", 4).series(()) == {"unit": "s", "values": []}


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_no_series_has_a_number_that_is_not_finite(value: float) -> None:
    with pytest.raises(SolverError):
        units.display("time", "si", 4).series((1.0, value))
