"""Material table: ranges, and checks against NIST, ASHRAE and EN data."""

import math
from collections.abc import Callable

import numpy as np
import pytest
from ht import insulation

from stillpipe.errors import UnknownEntryError
from stillpipe.tables import materials, pipes, reading

DRY_ICE = 194.65

# DIN EN 12524:2000 and ASHRAE Fundamentals 2013 as in the ht package, by exact name
k_material: Callable[[str], float] = insulation.k_material
rho_material: Callable[[str], float] = insulation.rho_material
Cp_material: Callable[[str], float] = insulation.Cp_material

# NIST Cryogenic Material Properties, 304 and 316 stainless: log10 y = sum a_i (log10 T)^i
NIST_K = (-1.4087, 1.3982, 0.2543, -0.6260, 0.2334, 0.4256, -0.4658, 0.1650, -0.0199)
NIST_CP = (22.0061, -127.5528, 303.647, -381.0098, 274.0328, -112.9212, 24.7593, -2.239153)


def nist(coefficients: tuple[float, ...], temperature: float) -> float:
    x = math.log10(temperature)
    return float(10.0 ** sum(a * x**i for i, a in enumerate(coefficients)))


def each_material() -> pytest.MarkDecorator:
    return pytest.mark.parametrize("material", materials.catalogue(), ids=lambda m: m.key)


@each_material()
def test_properties_are_physical(material: materials.Material) -> None:
    """Signs and bounds that hold for every solid, wide enough for no false alarm."""
    assert 0.1 < material.conductivity < 401, "pure copper is 401 W/(m K)"
    assert 900 < material.density < 8961, "pure copper is 8,960 kg/m3"
    assert 300 < material.specific_heat < 2400
    assert 0 < material.poisson_ratio < 0.5
    assert 0 < material.emissivity < 1
    assert 0.5e9 < material.youngs_modulus < 210e9
    assert material.allowable_stress < material.youngs_modulus / 100
    row = next(r for r in reading.rows("materials.csv") if r["key"] == material.key)
    valid = [reading.required(row, f"valid_{end}") for end in ("min", "max")]
    assert valid[0] < DRY_ICE + 0.01 < 293.15 < valid[1]
    assert material.service_min < 273.15 < material.service_max
    assert material.source


@each_material()
def test_a_material_not_made_for_dry_ice_carries_a_caution(material: materials.Material) -> None:
    """There is a coded caution exactly where dry ice is below the service minimum."""
    cold = material.service_min > DRY_ICE
    assert bool(material.caution_code) == bool(material.caution) == cold


def test_carbon_steel_minimum_is_that_of_b31_3() -> None:
    """Base limit -29 °C and exempt band to -104 °C at stress ratio 0.3 (ASME B31.3)."""
    steel = materials.find("carbon_steel")
    assert steel.service_min == pytest.approx(273.15 - 29)
    assert "-104 C" in steel.caution
    assert "0.3" in steel.caution


def test_caution_codes_and_keys_are_unique() -> None:
    """No code or key means two things."""
    codes = [m.caution_code for m in materials.catalogue() if m.caution_code]
    assert len(set(codes)) == len(codes)
    keys = [m.key for m in materials.catalogue()] + [x.key for x in materials.layers()]
    assert len(set(keys)) == len(keys)


def test_every_material_but_316_is_used_by_a_pipe() -> None:
    """316 shares the dimensions of ASME B36.19M with 304; all others have their own rows."""
    used = {p.material for p in pipes.catalogue()}
    assert {m.key for m in materials.catalogue()} - used == {"stainless_316"}


@pytest.mark.parametrize("key", ["stainless_304", "stainless_316"])
def test_stainless_conductivity_is_the_nist_fit(key: str) -> None:
    """12.49 W/mK at 194.65 K and 15.12 at 293 K (NIST fit, evaluated here; 0.1 %)."""
    steel = materials.find(key)
    assert nist(NIST_K, DRY_ICE) == pytest.approx(12.49, rel=1e-3)
    assert steel.conductivity_195 == pytest.approx(nist(NIST_K, 195.0), rel=1e-3)
    assert steel.conductivity_293 == pytest.approx(nist(NIST_K, 293.0), rel=1e-3)


def test_mean_of_the_ends_stands_for_the_mean_of_the_fit() -> None:
    """The mean used for the wall is within 0.2 % of the NIST fit averaged over 195-293 K."""
    average = np.mean([nist(NIST_K, t) for t in np.linspace(195.0, 293.0, 401)])
    assert materials.find("stainless_304").conductivity == pytest.approx(average, rel=2e-3)


def test_stainless_specific_heat_is_the_nist_fit() -> None:
    """Mean of the NIST fit for 304 between -40 and 0 °C (1 %)."""
    average = np.mean([nist(NIST_CP, t) for t in np.linspace(233.15, 273.15, 401)])
    assert materials.find("stainless_304").specific_heat == pytest.approx(average, rel=0.01)


def test_copper_is_tube_copper() -> None:
    """C12200: 196 Btu/(ft h °F) = 339 W/mK (CDA); cp between 361 at -50 and 386 at 20 °C (CDA)."""
    copper = materials.find("copper_c12200")
    assert copper.conductivity == pytest.approx(196 * 1.730735, rel=2e-3)
    assert copper.specific_heat == pytest.approx(np.interp(-20, [-50, 20], [361, 386]), rel=2e-3)
    assert copper.density == pytest.approx(8940, rel=1e-3)


@pytest.mark.parametrize(
    ("key", "quantity", "theirs", "tolerance"),
    [
        ("carbon_steel", "conductivity", k_material("Metals, steel"), 1e-9),
        ("carbon_steel", "specific_heat", Cp_material("Metals, steel"), 1e-9),
        ("carbon_steel", "density", rho_material("Metals, steel"), 0.01),
        ("cast_iron", "conductivity", k_material("Metals, iron, cast"), 1e-9),
        ("cast_iron", "specific_heat", Cp_material("Metals, iron, cast"), 1e-9),
        ("cast_iron", "density", rho_material("Metals, iron, cast"), 0.05),
        ("pvc", "conductivity", k_material("Plastics, Polyvinylchloride (PVC)"), 0.07),
        ("pvc", "specific_heat", Cp_material("Plastics, Polyvinylchloride (PVC)"), 1e-9),
        ("pvc", "density", rho_material("Plastics, Polyvinylchloride (PVC)"), 0.01),
        ("stainless_304", "density", rho_material("Metals, stainless steel"), 0.01),
        ("stainless_304", "specific_heat", Cp_material("Metals, stainless steel"), 0.01),
        (
            "pex",
            "specific_heat",
            Cp_material("Plastics, polyethylene / polythene, high density"),
            1e-9,
        ),
    ],
)
def test_building_material_values_agree_with_en_12524(
    key: str, quantity: str, theirs: float, tolerance: float
) -> None:
    """DIN EN 12524:2000 as in the ht package, by exact name, within the spread stated here."""
    assert getattr(materials.find(key), quantity) == pytest.approx(theirs, rel=tolerance)


@pytest.mark.parametrize(
    ("key", "theirs"),
    [
        ("mineral_wool", "Mineral fiber"),
        ("cellular_glass", "Cellular glass"),
        ("polyethylene_foam", "Sealant, polyethylene foam"),
        ("cement_mortar", "Plasters and renders, cement sand"),
    ],
)
def test_layers_agree_with_ashrae_and_en_12524(key: str, theirs: str) -> None:
    """ASHRAE Fundamentals 2013 and DIN EN 12524:2000 as in the ht package, by exact name."""
    layer = next(x for x in materials.layers() if x.key == key)
    assert layer.conductivity == pytest.approx(k_material(theirs), rel=1e-9)
    assert materials.find_layer(key, layer.kind, ("layer",)) is layer


def test_insulation_insulates_and_a_lining_is_no_metal() -> None:
    """Insulation conducts less than still-air-filled foam's 0.06 W/mK; linings 0.3 to 5 W/mK."""
    kinds = {"insulation": (0.015, 0.06), "lining": (0.3, 5.0)}
    for layer in materials.layers():
        low, high = kinds[layer.kind]
        assert low < layer.conductivity < high
        assert layer.source


@pytest.mark.parametrize(
    ("key", "psi"),
    [
        ("copper_c12200", 6000),  # Copper Tube Handbook, annealed, 100 °F
        ("pvc", 2000),  # ASTM D1785, PVC 1120
        ("cpvc", 2000),  # ASTM F441, CPVC 4120
        ("pex", 630),  # ASTM F876, HDS at 73 °F
        ("cast_iron", 2000),  # ASME B31.3-2012 Table A-1, ASTM A48 class 20
        ("carbon_steel", 16000),  # ASME B31.3 Table A-1, ASTM A53 A: 48 ksi / 3; from memory
        ("stainless_304", 20000),  # ASME B31.3 Table A-1: 2/3 of 30 ksi yield; from memory
        ("red_brass", 8000),  # ASME B31.3 Table A-1: 2/3 of 12 ksi yield; from memory
        ("ductile_iron", 21000),  # AWWA C150: yield 42 ksi / 2
    ],
)
def test_allowable_stress_as_printed(key: str, psi: float) -> None:
    """Allowable stress in psi as its source prints it (0.1 %)."""
    stress = materials.find(key).allowable_stress
    assert stress / 6894.757293 == pytest.approx(psi, rel=1e-3)


def test_unknown_keys_name_what_there_is() -> None:
    """An unknown material or layer is reported at the caller's path with the choices."""
    with pytest.raises(UnknownEntryError) as raised:
        materials.find("copper")
    assert raised.value.faults[0].path == ("pipe", "material")
    assert "copper_c12200" in raised.value.faults[0].detail
    with pytest.raises(UnknownEntryError) as raised:
        materials.find_layer("cement_mortar", "insulation", ("pipe", "insulation"))
    assert raised.value.faults[0].path == ("pipe", "insulation")
    assert "mineral_wool" in raised.value.faults[0].detail
    assert "cement_mortar, " not in raised.value.faults[0].detail
