"""Carbon dioxide from cylinder to jacket, against published values and a second route."""

import math

import numpy as np
import pytest
from CoolProp import CoolProp
from scipy.integrate import solve_ivp

from stillpipe.errors import OutOfValidityError
from stillpipe.physics import co2, tabulated
from stillpipe.physics.constants import ATMOSPHERE, DRY_ICE

ZERO_C = 273.15
FILL = 680.0
"""[kg/m3]: 68 % of the water capacity, 49 CFR 173.304a."""


def test_critical_and_triple_points() -> None:
    """304.128 K and 216.592 K; Span and Wagner 1996, 0.01 %."""
    assert pytest.approx(304.128, rel=1e-4) == co2.CRITICAL
    assert pytest.approx(216.592, rel=1e-4) == co2.TRIPLE
    assert CoolProp.PropsSI("Pcrit", "CO2") == pytest.approx(7.377e6, rel=1e-3)
    assert co2.saturation(216.6).pressure == pytest.approx(0.518e6, rel=2e-3)


def coolprop(T: float) -> dict[str, float]:
    """Saturated states at ``T`` [K] by CoolProp, named as ours."""
    state = CoolProp.AbstractState("HEOS", "CO2")
    found = {}
    for side, quality in (("l", 0.0), ("v", 1.0)):
        state.update(CoolProp.QT_INPUTS, quality, T)
        found |= {
            "pressure": state.p(), f"rho_{side}": state.rhomass(), f"h_{side}": state.hmass(),
            f"u_{side}": state.umass(),
        }  # fmt: skip
    return found


@pytest.mark.parametrize(
    ("temperatures", "band"),
    [
        (np.linspace(co2.TRIPLE, co2.CRITICAL - 0.1, 777), 1e-7),
        (co2.CRITICAL - np.geomspace(0.1, 1e-3, 77), 1e-6),
        (co2.CRITICAL - np.geomspace(1e-3, 1e-6, 77), 4e-4),
    ],
)
def test_the_saturation_line_is_coolprops(temperatures: np.ndarray, band: float) -> None:
    """On and between the table's rows, every quantity, against CoolProp 8: the bands it claims."""
    for T in temperatures:
        ours = co2.saturation(float(T))
        for name, theirs in coolprop(float(T)).items():
            assert getattr(ours, name) == pytest.approx(theirs, rel=band), (T, name)


def test_the_rows_of_the_saturation_line_are_where_they_are_looked_for() -> None:
    """Even in the cube root of 1 - T/Tc, from the triple point to the critical point; 1e-10."""
    (T,) = tabulated.columns("co2_saturation.csv", ("temperature_K",)).T
    root = np.linspace((1.0 - co2.TRIPLE / co2.CRITICAL) ** (1.0 / 3.0), 0.0, len(T))
    np.testing.assert_allclose(T, co2.CRITICAL * (1.0 - root**3), rtol=1e-10)
    (T,) = tabulated.columns("co2_gas.csv", ("temperature_K",)).T
    np.testing.assert_allclose(T, np.linspace(co2.COLDEST_GAS, co2.WARMEST_GAS, len(T)))


@pytest.mark.parametrize("T", [*np.linspace(190.0, 340.0, 97), DRY_ICE])
def test_the_gas_is_coolprops(T: float) -> None:
    """Pressure at our density is 1 atm, enthalpy is CoolProp 8's with the gas imposed; 1e-7."""
    state = CoolProp.AbstractState("HEOS", "CO2")
    state.specify_phase(CoolProp.iphase_gas)
    state.update(CoolProp.DmassT_INPUTS, co2.gas_density(T), T)
    assert state.p() == pytest.approx(ATMOSPHERE, rel=1e-7)
    assert co2.gas_enthalpy(T) == pytest.approx(state.hmass(), rel=1e-7)


@pytest.mark.parametrize("T", [189.9, 340.1, math.nan])
def test_gas_outside_the_table_has_no_answer(T: float) -> None:
    for quantity in (co2.gas_density, co2.gas_enthalpy):
        with pytest.raises(OutOfValidityError, match="gas"):
            quantity(T)


def test_a_column_that_a_table_lacks_is_refused() -> None:
    with pytest.raises(ValueError, match="density_kg"):
        tabulated.columns("co2_gas.csv", ("density_kg",))


@pytest.mark.parametrize(
    ("celsius", "liquid", "vapour", "heat"),
    [(0.0, 927.43, 97.65, 230.89), (20.0, 773.39, 194.20, 152.00)],
)
def test_saturation(celsius: float, liquid: float, vapour: float, heat: float) -> None:
    """Densities [kg/m3] 0.1 % and heat of vaporisation [kJ/kg] 0.2 %; Span and Wagner 1996."""
    s = co2.saturation(ZERO_C + celsius)
    assert s.rho_l == pytest.approx(liquid, rel=1e-3)
    assert s.rho_v == pytest.approx(vapour, rel=1e-3)
    assert (s.h_v - s.h_l) / 1e3 == pytest.approx(heat, rel=2e-3)


def test_sublimation() -> None:
    """-78.464 C and 573.3 kJ/kg at 1 atm; Giauque and Egan, J. Chem. Phys. 5 (1937) 45."""
    assert pytest.approx(-78.464, abs=0.02) == DRY_ICE - ZERO_C
    assert pytest.approx(573.3e3, rel=0.005) == co2.SUBLIMATION


@pytest.mark.parametrize(("celsius", "share"), [(0.0, 0.3885), (20.0, 0.2910), (30.0, 0.2060)])
def test_snow_yield(celsius: float, share: float) -> None:
    """Share of the liquid that becomes snow at 1 atm; computed with CoolProp 8, 0.003."""
    assert co2.snow_yield(ZERO_C + celsius) == pytest.approx(share, abs=0.003)


@pytest.mark.parametrize(("celsius", "kilojoules"), [(0.0, 222.6), (20.0, 166.7)])
def test_cooling_per_kilogram(celsius: float, kilojoules: float) -> None:
    """Gas leaving at -78.5 C; computed with CoolProp 8, 0.7 %."""
    assert co2.cooling(ZERO_C + celsius) / 1e3 == pytest.approx(kilojoules, rel=0.007)


def test_warmer_gas_takes_more_heat_away() -> None:
    """Between -78.5 and -40 C by the ideal gas's cp, about 0.79 kJ/(kg K) (handbook, memory)."""
    more = co2.cooling(ZERO_C + 20.0, ZERO_C - 40.0) - co2.cooling(ZERO_C + 20.0)
    assert more == pytest.approx(0.79e3 * 38.5, rel=0.03)


@pytest.mark.parametrize(("celsius", "share"), [(0.0, 0.1436), (20.0, 0.2856)])
def test_vapour_left_in_a_warm_cylinder(celsius: float, share: float) -> None:
    """Isothermal, 68 % fill; Span and Wagner through CoolProp 8, 0.001."""
    assert co2.left_isothermal(ZERO_C + celsius, FILL) == pytest.approx(share, abs=0.001)


@pytest.mark.parametrize(("celsius", "share"), [(0.0, 0.091), (20.0, 0.149)])
def test_vapour_left_in_an_insulated_cylinder(celsius: float, share: float) -> None:
    """Adiabatic, 68 % fill; computed with CoolProp 8, 0.002."""
    assert co2.left_adiabatic(ZERO_C + celsius, FILL) == pytest.approx(share, abs=0.002)


def test_adiabatic_draining_by_a_second_route() -> None:
    """d(rho u)/d rho = h of the liquid, stepped in density and energy by scipy; 0.5 %."""
    state = CoolProp.AbstractState("HEOS", "CO2")

    def slope(_density: float, y: list[float]) -> list[float]:
        density = _density
        state.update(CoolProp.DmassUmass_INPUTS, density, y[0] / density)
        state.update(CoolProp.QT_INPUTS, 0.0, state.T())
        return [state.hmass()]

    def dry(density: float, y: list[float]) -> float:
        state.update(CoolProp.DmassUmass_INPUTS, density, y[0] / density)
        return float(state.Q()) - 0.9999

    dry.terminal = True  # type: ignore[attr-defined]
    state.update(CoolProp.DmassT_INPUTS, FILL, ZERO_C + 10.0)
    begun = FILL * state.umass()
    found = solve_ivp(slope, (FILL, 20.0), [begun], events=dry, rtol=1e-7, max_step=10.0)
    assert found.t[-1] / FILL == pytest.approx(co2.left_adiabatic(ZERO_C + 10.0, FILL), rel=0.005)


def drained(T: float, fill: float) -> float:
    """Share left [-] of an insulated cylinder, states by CoolProp; Heun, 0.25 K a step."""

    def energy(T: float, density: float) -> float:
        s = coolprop(T)
        liquid = (density - s["rho_v"]) / (s["rho_l"] - s["rho_v"])
        return liquid * s["rho_l"] * s["u_l"] + (1.0 - liquid) * s["rho_v"] * s["u_v"]

    def slope(T: float, density: float) -> float:
        s, above = coolprop(T), min(T + 0.05, co2.CRITICAL - 1e-3)
        rise = (energy(above, density) - energy(T - 0.05, density)) / (above - T + 0.05)
        each = (s["rho_l"] * s["u_l"] - s["rho_v"] * s["u_v"]) / (s["rho_l"] - s["rho_v"])
        return rise / (s["h_l"] - each)

    density = fill
    while T - 0.25 > co2.TRIPLE:
        first = slope(T, density)
        following = density - 0.125 * (first + slope(T - 0.25, density - 0.25 * first))
        vapour = coolprop(T - 0.25)["rho_v"]
        if following <= vapour:
            before = density - coolprop(T)["rho_v"]
            return (density + before / (before + vapour - following) * (following - density)) / fill
        T, density = T - 0.25, following
    return density / fill


@pytest.mark.parametrize(
    ("T", "fill"), [(243.15, 680.0), (283.15, 600.0), (293.15, 680.0), (303.9, 300.0)]
)
def test_tables_change_nothing_about_an_insulated_cylinder(T: float, fill: float) -> None:
    """The same steps with states by CoolProp: five digits, 1e-6."""
    assert co2.left_adiabatic(T, fill) == pytest.approx(drained(T, fill), rel=1e-6)


def test_liquid_full_temperature() -> None:
    """26.81 C at 68 % fill; Span and Wagner through CoolProp 8, 0.1 K."""
    assert co2.full_temperature(FILL) - ZERO_C == pytest.approx(26.81, abs=0.1)


@pytest.mark.parametrize("T", [200.0, 304.2, 320.0])
def test_no_liquid_no_answer(T: float) -> None:
    with pytest.raises(OutOfValidityError, match="liquid"):
        co2.saturation(T)
