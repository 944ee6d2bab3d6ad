"""Carbon dioxide from cylinder to jacket, against published values and a second route."""

import pytest
from CoolProp import CoolProp
from scipy.integrate import solve_ivp

from stillpipe.errors import OutOfValidityError
from stillpipe.physics import co2

ZERO_C = 273.15
FILL = 680.0
"""[kg/m3]: 68 % of the water capacity, 49 CFR 173.304a."""


def test_critical_and_triple_points() -> None:
    """304.128 K and 216.592 K; Span and Wagner 1996, 0.01 %."""
    assert pytest.approx(304.128, rel=1e-4) == co2.CRITICAL
    assert pytest.approx(216.592, rel=1e-4) == co2.TRIPLE
    assert CoolProp.PropsSI("Pcrit", "CO2") == pytest.approx(7.377e6, rel=1e-3)
    assert co2.saturation(216.6).pressure == pytest.approx(0.518e6, rel=2e-3)


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
    assert pytest.approx(-78.464, abs=0.02) == co2.DRY_ICE - ZERO_C
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


def test_liquid_full_temperature() -> None:
    """26.81 C at 68 % fill; Span and Wagner through CoolProp 8, 0.1 K."""
    assert co2.full_temperature(FILL) - ZERO_C == pytest.approx(26.81, abs=0.1)


@pytest.mark.parametrize("T", [200.0, 304.2, 320.0])
def test_no_liquid_no_answer(T: float) -> None:
    with pytest.raises(OutOfValidityError, match="liquid"):
        co2.saturation(T)
