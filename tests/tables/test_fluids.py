"""Fluid table against the limits CoolProp itself enforces."""

import pytest
from CoolProp.CoolProp import PropsSI

from stillpipe.errors import OutOfValidityError, UnknownEntryError
from stillpipe.tables import fluids, reading

SOLUTIONS = [f for f in fluids.catalogue() if f.basis != "none"]
ATM = 101325.0
ROWS = {row["key"]: row for row in reading.rows("fluids.csv")}
"""With what only the tests need: the name of the data set in CoolProp, its temperatures."""


def density(fluid: fluids.Fluid, concentration: float, temperature: float) -> float:
    name = f"{ROWS[fluid.key]['model']}[{concentration:.6g}]"
    return float(PropsSI("D", "T", temperature, "P", 10 * ATM, name))


@pytest.mark.parametrize("fluid", SOLUTIONS, ids=lambda f: f.key)
def test_concentration_limits_are_coolprops(fluid: fluids.Fluid) -> None:
    """CoolProp answers at both ends of the range and refuses 0.1 % beyond."""
    for inside in (fluid.concentration_min, fluid.concentration_max):
        assert 900 < density(fluid, inside, 300.0) < 1200
    with pytest.raises(ValueError, match="composition"):
        density(fluid, fluid.concentration_max + 0.001, 300.0)


@pytest.mark.parametrize("fluid", SOLUTIONS, ids=lambda f: f.key)
def test_temperature_limits_are_coolprops(fluid: fluids.Fluid) -> None:
    """CoolProp answers at the upper limit and refuses 0.1 K outside both limits."""
    middle = 0.5 * (fluid.concentration_min + fluid.concentration_max)
    coldest, warmest = (
        reading.required(ROWS[fluid.key], f"temperature_{end}") for end in ("min", "max")
    )
    assert density(fluid, middle, warmest) > 900
    for outside in (coldest - 0.1, warmest + 0.1):
        with pytest.raises(ValueError, match="temperature"):
            density(fluid, middle, outside)


@pytest.mark.parametrize(
    ("key", "percent", "freezing"),
    [
        ("propylene_glycol", 10, -2.87),
        ("propylene_glycol", 20, -7.17),
        ("propylene_glycol", 30, -12.79),
        ("propylene_glycol", 50, -32.19),
        ("ethylene_glycol", 10, -3.36),
        ("ethylene_glycol", 30, -14.58),
        ("ethylene_glycol", 50, -35.99),
    ],
)
def test_glycol_models_are_the_named_glycol(key: str, percent: float, freezing: float) -> None:
    """Freezing points of Melinder's data (CoolProp MPG and MEG), so the two are not swapped."""
    name = f"{ROWS[key]['model']}[{percent / 100}]"
    assert PropsSI("T_freeze", "T", 300.0, "P", ATM, name) - 273.15 == pytest.approx(
        freezing, abs=0.01
    )


def test_pure_water_has_no_concentration() -> None:
    """Water is the pure fluid of CoolProp; any concentration is refused."""
    water = fluids.find("water")
    assert (water.concentration_min, water.concentration_max) == (0.0, 0.0)
    assert PropsSI("D", "T", 293.15, "P", ATM, ROWS["water"]["model"]) == pytest.approx(
        998.2, abs=0.05
    )
    with pytest.raises(OutOfValidityError):
        fluids.check_concentration(water, 0.1)


def test_typical_seawater_is_35_grams_per_kilogram() -> None:
    """Standard seawater has 35 g/kg (IAPSO); glycols have no usual strength."""
    typical = {f.key: f.concentration_typical for f in fluids.catalogue()}
    assert typical.pop("seawater") == pytest.approx(0.035)
    assert set(typical.values()) == {None}


def test_a_concentration_outside_the_data_is_refused_with_the_range() -> None:
    """The fault stands at the caller's path and says what is covered."""
    glycol = fluids.find("propylene_glycol")
    fluids.check_concentration(glycol, 0.6)
    for outside in (-0.01, 0.61, float("nan")):
        with pytest.raises(OutOfValidityError) as raised:
            fluids.check_concentration(glycol, outside, path=("fluid", "concentration"))
        assert raised.value.faults[0].path == ("fluid", "concentration")
        assert "0 to 60 %" in raised.value.faults[0].detail


def test_unknown_fluids_name_what_there_is() -> None:
    """An unknown key is reported at the caller's path with the choices."""
    with pytest.raises(UnknownEntryError) as raised:
        fluids.find("glycol")
    assert raised.value.faults[0].path == ("fluid",)
    assert "propylene_glycol" in raised.value.faults[0].detail
