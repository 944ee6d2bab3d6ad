"""Properties the solver uses, against IAPWS formulations and published freezing points."""

import numpy as np
import pytest
from CoolProp import CoolProp
from iapws import IAPWS95, _iapws

from stillpipe.physics import media, solutions
from stillpipe.physics.stream import liquid

ATM = 0.101325
"""1 atm [MPa]."""
ZERO_C = 273.15
GLYCOLS = {"propylene_glycol": "MPG", "ethylene_glycol": "MEG"}


def ice(T: float) -> dict[str, float]:
    """Ice Ih at ``T`` [K] and 1 atm by IAPWS R10-06(2009), through the iapws library."""
    found: dict[str, float] = _iapws._Ice(T, ATM)
    return found


def test_latent_heat_is_that_of_iapws() -> None:
    """Latent heat at 0 C is 333.43 kJ/kg (IAPWS R10-06 and IAPWS-95), within 0.5 %."""
    water = IAPWS95(T=273.1525, P=ATM)
    melting = water.h - ice(273.1525)["h"]
    assert pytest.approx(melting * 1e3, rel=0.005) == media.LATENT
    assert pytest.approx(333.43e3, rel=0.005) == media.LATENT


def test_ice_density_is_that_of_iapws() -> None:
    """Density of ice at 0 C is 916.72 kg/m3 (IAPWS R10-06), within 0.1 %."""
    assert pytest.approx(ice(273.15)["rho"], rel=1e-3) == media.ICE_DENSITY
    assert pytest.approx(916.72, rel=1e-3) == media.ICE_DENSITY


@pytest.mark.parametrize("T", np.arange(194.65, 273.2, 5.0))
def test_ice_specific_heat_follows_iapws(T: float) -> None:
    """Specific heat of ice follows IAPWS R10-06 within 1 % from dry ice to 0 C."""
    assert media.ice_specific_heat(T) == pytest.approx(ice(T)["cp"] * 1e3, rel=0.01)


def test_ice_specific_heat_at_0_and_its_mean() -> None:
    """cp is 2.097 kJ/(kg K) at 0 C and 1.811 on average from -78.5 C (IAPWS R10-06), in 1 %."""
    mean = -media.ice_enthalpy(194.65) / 78.5
    assert media.ice_specific_heat(ZERO_C) == pytest.approx(2097.0, rel=0.005)
    assert mean == pytest.approx(1811.0, rel=0.01)
    assert mean == pytest.approx(
        1e3 * (ice(273.15)["h"] - ice(194.65)["h"]) / 78.5, rel=0.01
    )  # fmt: skip


def test_ice_enthalpy_is_the_integral_of_its_specific_heat() -> None:
    """The difference of the enthalpy is the specific heat, everywhere."""
    T = np.linspace(190.0, 273.0, 40)
    slope = (media.ice_enthalpy(T + 0.01) - media.ice_enthalpy(T - 0.01)) / 0.02
    np.testing.assert_allclose(slope, media.ice_specific_heat(T), rtol=1e-6)


def test_ice_conductivity_is_inside_published_fits() -> None:
    """Mean k of ice from -78.5 to 0 C is 2.58-2.81 W/(m K), the spread of published fits.

    Fits: 488.19/T + 0.4685 (Yen, CRREL 81-10, 1981, as cited; from memory), 632/T + 0.38 - 0.00197
    T (Slack 1980, from memory) and Fukusako (1990).
    """
    T = np.linspace(194.65, ZERO_C, 200)
    mean = float(np.mean(media.ice_conductivity(T)))
    assert 2.58 <= mean <= 2.81


@pytest.mark.parametrize("T", [200.0, 220.0, 250.0, 273.0])
def test_ice_conductivity_is_near_slacks_fit(T: float) -> None:
    """k of ice is within 8 % of 488.19/T + 0.4685 W/(m K) (fit in handbooks, from memory)."""
    assert media.ice_conductivity(T) == pytest.approx(488.19 / T + 0.4685, rel=0.08)


@pytest.mark.parametrize("celsius", [0.5, 5.0, 10.0, 20.0, 30.0, 40.0])
def test_water_follows_iapws(celsius: float) -> None:
    """Density 0.01 %, viscosity 3 %, conductivity 1 % (IAPWS-95, R12-08, R15-11)."""
    T = ZERO_C + celsius
    water = IAPWS95(T=T, P=ATM)
    assert media.water_density(T) == pytest.approx(water.rho, rel=1e-4)
    assert media.water_viscosity(T) == pytest.approx(water.mu, rel=0.03)
    assert media.water_conductivity(T) == pytest.approx(water.k, rel=0.01)


def test_waters_density_is_greatest_near_4_c() -> None:
    """The density maximum lies at 3.98 C (Kell 1975), within 0.05 K."""
    t = np.linspace(0.0, 10.0, 1001)
    top = t[np.argmax(media.water_density(ZERO_C + t))]
    assert top == pytest.approx(3.98, abs=0.05)


@pytest.mark.parametrize("celsius", [5.0, 20.0, 40.0])
def test_heat_of_warm_water_follows_iapws(celsius: float) -> None:
    """rho(0 C) x mean cp from 0 C is that of IAPWS-95, within 0.5 %."""
    low, high = IAPWS95(T=273.16, P=ATM), IAPWS95(T=ZERO_C + celsius, P=ATM)
    mean = 1e3 * (high.h - low.h) / (celsius - 0.01)
    ours = media.WATER_DENSITY * media.WATER_CP
    assert ours == pytest.approx(low.rho * mean, rel=0.005)


@pytest.mark.parametrize("key", GLYCOLS)
@pytest.mark.parametrize("mass", [0.02, 0.05, 0.1, 0.15])
def test_flowing_glycol_is_as_thick_as_coolprop_says(key: str, mass: float) -> None:
    """Viscosity at 10 C by CoolProp 8 (Melinder 2010), 3 % (water's fit); at 0 C 10 %."""
    ours = liquid.liquid(key, mass, 0.05, False, 1.0)
    for celsius, band in ((10.0, 0.03), (0.0, 0.10)):
        T = ZERO_C + celsius
        theirs = CoolProp.PropsSI("V", "T", T, "P", 2e5, f"INCOMP::{GLYCOLS[key]}[{mass}]")
        assert liquid.at(T, 0, ours) == pytest.approx(theirs, rel=band)


@pytest.mark.parametrize("celsius", [1.0, 10.0, 20.0])
def test_flowing_water_is_iapws(celsius: float) -> None:
    """Viscosity 3 %, conductivity 1 %, rho cp 1 % of IAPWS-95, R12-08 and R15-11."""
    T, ours = ZERO_C + celsius, liquid.liquid("water", 0.0, 0.05, False, 1.0)
    theirs = IAPWS95(T=T, P=ATM)
    assert liquid.at(T, 0, ours) == pytest.approx(theirs.mu, rel=0.03)
    assert liquid.at(T, 1, ours) == pytest.approx(theirs.k, rel=0.01)
    assert ours.density * ours.cp == pytest.approx(1e3 * theirs.rho * theirs.cp, rel=0.01)


# Freezing points [C] of aqueous glycol by mass, from CoolProp's incompressible MPG and MEG
# (Melinder, IIF/IIR 2010). Tolerance 0.05 K for the table in between its points.
@pytest.mark.parametrize(
    ("key", "mass", "celsius"),
    [
        ("propylene_glycol", 0.10, -2.87),
        ("propylene_glycol", 0.20, -7.17),
        ("propylene_glycol", 0.30, -12.79),
        ("propylene_glycol", 0.50, -32.19),
        ("ethylene_glycol", 0.10, -3.36),
        ("ethylene_glycol", 0.30, -14.58),
        ("ethylene_glycol", 0.50, -35.99),
    ],
)
def test_glycol_freezes_where_published(key: str, mass: float, celsius: float) -> None:
    """The liquidus passes the published freezing points."""
    assert solutions.freezing_point(key, mass) - ZERO_C == pytest.approx(celsius, abs=0.05)


@pytest.mark.parametrize("key", GLYCOLS)
def test_glycol_freezes_where_coolprop_says(key: str) -> None:
    """Between and on the table's points, 0.1 to 60 % by mass: CoolProp 8 (Melinder 2010), 0.01 K.

    Thinner, the curve is drawn to 0 C at no glycol: within 0.03 K of CoolProp's.
    """
    for mass in (*np.linspace(0.001, 0.6, 333), *np.linspace(0.0, 0.001, 5)):
        theirs = CoolProp.PropsSI(
            "T_freeze", "T", 300.0, "P", 2e5, f"INCOMP::{GLYCOLS[key]}[{mass}]"
        )
        band = 0.01 if mass >= 0.001 else 0.03
        assert solutions.freezing_point(key, mass) == pytest.approx(theirs, rel=0.0, abs=band)


@pytest.mark.parametrize("key", GLYCOLS)
def test_glycol_solutions_are_coolprops(key: str) -> None:
    """Density, specific heat and conductivity at 10 C, 0 to 60 % by mass: CoolProp 8, 1e-4."""
    for mass in np.linspace(0.0, 0.6, 333):
        fluid = f"INCOMP::{GLYCOLS[key]}[{mass}]"
        theirs = [CoolProp.PropsSI(q, "T", 283.15, "P", 2e5, fluid) for q in ("D", "C", "L")]
        assert solutions.liquid(key, mass) == pytest.approx(theirs, rel=1e-4)


# ASHRAE Handbook Fundamentals, freezing points of aqueous glycols [C], from memory; 1 K, and
# 2 K at 50 %, where published tables differ.
@pytest.mark.parametrize(
    ("key", "mass", "celsius", "band"),
    [
        ("propylene_glycol", 0.20, -7.1, 1.0),
        ("propylene_glycol", 0.30, -12.7, 1.0),
        ("propylene_glycol", 0.50, -33.5, 2.0),
        ("ethylene_glycol", 0.10, -3.2, 1.0),
        ("ethylene_glycol", 0.30, -14.1, 1.0),
        ("ethylene_glycol", 0.50, -36.8, 2.0),
    ],
)
def test_glycol_freezes_near_the_handbooks_value(
    key: str, mass: float, celsius: float, band: float
) -> None:
    """The liquidus agrees with a second table."""
    assert solutions.freezing_point(key, mass) - ZERO_C == pytest.approx(celsius, abs=band)


def unesco_freezing(salinity: float) -> float:
    """Freezing point [C] of sea water of practical ``salinity`` at 1 atm.

    Millero (1978) in UNESCO Technical Papers in Marine Science 44 (1983); coefficients from
    memory.
    """
    s = salinity
    return -0.0575 * s + 1.710523e-3 * s**1.5 - 2.154996e-4 * s * s


def test_sea_water_freezes_where_unesco_says() -> None:
    """Sea water of 35 g/kg freezes at -1.922 C (UNESCO 44, 1983), within 0.15 K."""
    assert unesco_freezing(35.0) == pytest.approx(-1.922, abs=0.001)
    assert solutions.freezing_point("seawater", 0.035) - ZERO_C == pytest.approx(-1.922, abs=0.15)


@pytest.mark.parametrize("salinity", [5.0, 10.0, 20.0, 30.0, 40.0])
def test_brackish_water_freezes_near_unesco(salinity: float) -> None:
    """From 5 to 40 g/kg the freezing point is within 0.15 K of UNESCO 44."""
    ours = solutions.freezing_point("seawater", salinity / 1e3) - ZERO_C
    assert ours == pytest.approx(unesco_freezing(salinity), abs=0.15)


# Brine in sea ice: salinity [g/kg] at temperature [C], Assur (1958) as tabulated by Cox and Weeks
# (1983), from memory; 7 %, about what published fits differ by at -20 C.
@pytest.mark.parametrize(("celsius", "salinity"), [(-5.0, 86.0), (-10.0, 143.0), (-20.0, 224.0)])
def test_brine_is_as_rich_as_tabulated(celsius: float, salinity: float) -> None:
    """Brine in equilibrium with ice follows the published table."""
    ours = 1e3 * float(solutions.brine_salinity(np.array([ZERO_C + celsius]))[0])
    assert ours == pytest.approx(salinity, rel=0.07)


@pytest.mark.parametrize("key", ["seawater", "propylene_glycol", "ethylene_glycol"])
def test_a_liquidus_falls_as_it_grows_richer(key: str) -> None:
    """Concentration rises and temperature falls along every freezing curve."""
    x, T = solutions.liquidus(key)
    assert np.all(np.diff(x) > 0.0)
    assert np.all(np.diff(T) < 0.0)


@pytest.mark.parametrize("key", ["propylene_glycol", "ethylene_glycol"])
def test_ice_follows_the_lever_rule(key: str) -> None:
    """At the freezing point of twice the concentration, half the solution is ice."""
    T = np.array([solutions.freezing_point(key, 0.30)])
    assert solutions.ice_fraction(key, 0.15, T)[0] == pytest.approx(0.5, abs=0.01)


@pytest.mark.parametrize("key", ["propylene_glycol", "ethylene_glycol"])
def test_solution_heat_above_freezing_is_coolprops(key: str) -> None:
    """Enthalpy between 5 and 25 C is rho cp dT of CoolProp's incompressible at 15 C, in 2 %.

    Of the share of it that stays when ice fills the volume: 916.72 / 999.8.
    """
    m = solutions.medium(key, 0.20, 0.75)
    rho, cp = (
        CoolProp.PropsSI(q, "T", 288.15, "P", 2e5, f"INCOMP::{GLYCOLS[key]}[0.2]")
        for q in ("D", "C")
    )
    heat = m.enthalpy(298.15) - m.enthalpy(278.15)
    assert heat == pytest.approx(rho * cp * 20.0 * 916.72 / 999.8, rel=0.02)


def test_rayleigh_number_of_warm_water() -> None:
    """Ra over 20 mm of water from 0 to 30 C, by hand with IAPWS-95 and R12-08, within 10 %."""
    warm, mean = IAPWS95(T=303.15, P=ATM), IAPWS95(T=288.15, P=ATM)
    spread = (999.972 - warm.rho) / 1000.0  # from the density maximum (Kell 1975)
    expected = 9.80665 * spread * 0.02**3 / (mean.mu / 1000.0 * 1.38e-7)
    ours = media.rayleigh(np.array([303.15]), ZERO_C, 0.02)[0]
    assert ours == pytest.approx(expected, rel=0.10)
