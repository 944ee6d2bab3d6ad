"""Heat from the room, against general libraries."""

import math

import pytest
from fluids.atmosphere import ATMOSPHERE_1976
from ht.conv_free_immersed import Nu_horizontal_cylinder_Churchill_Chu
from ht.radiation import q_rad

from stillpipe.physics import film


@pytest.mark.parametrize("diameter", [0.010, 0.0213, 0.0603, 0.1143])
@pytest.mark.parametrize(("surface", "ambient"), [(268.15, 293.15), (273.15, 283.15)])
def test_natural_convection_is_churchill_and_chu(
    diameter: float, surface: float, ambient: float
) -> None:
    """Nusselt by the ht library, air by the fluids library's atmosphere; 3 %."""
    mean = 0.5 * (surface + ambient)
    viscosity = ATMOSPHERE_1976.viscosity(mean) / (101325.0 / (287.05 * mean))
    k = ATMOSPHERE_1976.thermal_conductivity(mean)
    prandtl = 1005.0 * viscosity * (101325.0 / (287.05 * mean)) / k
    grashof = 9.80665 / mean * (ambient - surface) * diameter**3 / viscosity**2
    expected = Nu_horizontal_cylinder_Churchill_Chu(prandtl, grashof) * k / diameter
    found = film.natural_convection(diameter, surface, ambient)
    assert found == pytest.approx(expected, rel=0.03)


def test_radiation_is_the_fourth_power_law() -> None:
    """ht's q_rad over the difference of temperature."""
    found = film.radiation(268.15, 293.15, 0.8)
    assert found == pytest.approx(q_rad(0.8, 293.15, 268.15) / 25.0, rel=1e-5)


def test_insulation_is_a_resistance_in_series() -> None:
    """By hand: 25 mm of 0.04 W/(m K) on 33.4 mm."""
    bare = film.h_ambient(0.0334, 268.15, 293.15, 0.9, 0.0, 0.04)
    outer = film.h_ambient(0.0834, 268.15, 293.15, 0.9, 0.0, 0.04)
    through = math.log(0.0834 / 0.0334) / (2.0 * 0.04)
    expected = 1.0 / (0.0334 * (through + 1.0 / (outer * 0.0834)))
    found = film.h_ambient(0.0334, 268.15, 293.15, 0.9, 0.025, 0.04)
    assert found == pytest.approx(expected)
    assert found < 0.5 * bare
