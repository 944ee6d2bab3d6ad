"""Outflow of an open pipe: a handbook's example, hand arithmetic, the library fluids, limits."""

import math

import fluids
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from iapws import IAPWS95

from stillpipe.physics.stream import outflow, regime

WATER = (998.2, 1.0016e-3)
"""Density [kg/m3] and viscosity [Pa s] of water at 20 C and 1 atm; IAPWS-95 and R12-08."""


def test_a_handbook_s_tank_that_empties_through_a_pipe() -> None:
    """Crane TP-410M, example 7.6, as the documentation of the library fluids retells it.

    Water of 15 C from a tank of 7 m head through 60 m of 80 mm schedule 40 (77.93 mm) into the air:
    sharp-edged entrance, six elbows of 30 diameters each, a ball valve. Theirs: 2.74 m/s, f 0.017
    of a rough wall, so that all losses are 2 x 9.80665 x 7 / 2.74^2 = 18.29 velocity heads. Pipe
    13.09, elbows 3.06, entrance 0.5 and jet 1 leave 0.64 to the valve, 38 diameters at that f. Ours
    is of a smooth wall: more, by as much as the roots of the losses differ.
    """
    bore, head = 0.07793, 999.1 * 9.80665 * 7.0
    length = 60.0 + (6 * 30 + 38) * bore
    found = outflow.speed(head, bore, length, 999.1, 1.138e-3)
    assert 2.74 < found < 1.05 * 2.74
    smooth = regime.friction(999.1 * found * bore / 1.138e-3)
    heads = 1.5 + smooth * length / bore
    assert found == pytest.approx(2.74 * math.sqrt(18.29 / heads), rel=2e-3)


def test_a_handbook_s_friction_factor_of_a_smooth_pipe() -> None:
    """Crane TP-410M, example 7.1, likewise: 0.0179 at a Reynolds number of 100,600."""
    assert regime.friction(100_600.0) == pytest.approx(0.0179, rel=0.01)


def test_by_hand() -> None:
    """3 bar, 10 m of 15 mm pipe; friction by Blasius, 0.316 / Re^0.25, good to some 2 % here.

    v = 6.7 m/s: Re = 998.2 x 6.7 x 0.015 / 1.0016e-3 = 100,160, f = 0.316 / 17.79 = 0.01776,
    f L / D = 11.84, 13.34 heads of 22.40 kPa are 298.9 kPa. So it is 6.7 m/s and 71 L/min.
    """
    found = outflow.speed(3e5, 0.015, 10.0, *WATER)
    assert found == pytest.approx(6.7, rel=0.01)
    assert 60e3 * found * 0.25 * math.pi * 0.015**2 == pytest.approx(71.0, rel=0.01)


@pytest.mark.parametrize("bore", [0.004, 0.015, 0.05, 0.1])
@pytest.mark.parametrize("bar", [0.05, 3.0, 16.0])
@pytest.mark.parametrize("length", [1.0, 30.0])
def test_the_library_fluids_finds_the_same(bore: float, bar: float, length: float) -> None:
    """Its friction factor (Clamond: Colebrook's equation exactly) and losses, at our speed."""
    rho, mu = WATER
    found = outflow.speed(bar * 1e5, bore, length, rho, mu)
    factor = fluids.friction_factor(Re=fluids.Reynolds(V=found, D=bore, rho=rho, mu=mu), eD=0.0)
    entrance = fluids.entrance_sharp(method="Crane")
    heads = fluids.K_from_f(factor, length, bore) + entrance + fluids.exit_normal()
    assert entrance == outflow.ENTRANCE
    assert fluids.dP_from_K(heads, rho, found) == pytest.approx(bar * 1e5, rel=0.03)


def test_a_long_narrow_pipe_of_glycol_is_poiseuille_s() -> None:
    """pi D^4 p / (128 mu L), where the jet takes next to nothing."""
    rho, mu = outflow.fluid("propylene_glycol", 0.5, 268.15)
    bore, length, pressure = 0.004, 50.0, 1e5
    found = outflow.speed(pressure, bore, length, rho, mu) * 0.25 * math.pi * bore**2
    assert found == pytest.approx(math.pi * bore**4 * pressure / (128.0 * mu * length), rel=1e-3)


def test_a_short_wide_pipe_is_torricelli_s_with_its_entrance() -> None:
    assert outflow.speed(3e5, 0.1, 0.0, *WATER) == pytest.approx(
        math.sqrt(2.0 * 3e5 / (WATER[0] * 1.5)), rel=1e-9
    )


def test_nothing_comes_without_pressure() -> None:
    assert outflow.speed(0.0, 0.015, 1.0, *WATER) == 0.0


@given(
    st.floats(1.0, 4e6), st.floats(0.003, 0.15), st.floats(0.0, 500.0), st.floats(1e-4, 5e-2),
    st.floats(1.01, 3.0),
)  # fmt: skip
def test_directions(
    pressure: float, bore: float, length: float, viscosity: float, more: float
) -> None:
    """More pressure or a wider bore never gives less, a longer supply never more.

    A thicker liquid may give more, where the flow turns laminar for it.
    """
    args = (bore, length, 1000.0, viscosity)
    found = outflow.speed(pressure, *args)
    assert outflow.speed(pressure * more, *args) >= found * (1.0 - 1e-9)
    assert outflow.speed(pressure, bore * more, *args[1:]) * more**2 >= found * (1.0 - 1e-9)
    longer = (bore, length * more, 1000.0, viscosity)
    assert outflow.speed(pressure, *longer) <= found * (1.0 + 1e-9)
    assert outflow.lost(found, *args) == pytest.approx(pressure, rel=1e-6)


def test_viscosity_and_density_are_those_of_water() -> None:
    for celsius in (5.0, 20.0, 60.0, 95.0):
        rho, mu = outflow.fluid("water", 0.0, 273.15 + celsius)
        water = IAPWS95(T=273.15 + celsius, P=0.3)
        assert mu == pytest.approx(water.mu, rel=0.03)
        assert rho == pytest.approx(water.rho, rel=0.04)


def test_a_flow_that_is_stopped_strikes_with_the_speed_of_sound() -> None:
    """1 m/s in a rigid pipe: rho c of water at 40 C by IAPWS-95, of colder less; a soft one less.

    Half glycol: 1,690 m/s at 1,075 kg/m3, from memory.
    """
    for celsius, near in ((0.01, 0.09), (20.0, 0.032), (40.0, 0.003)):
        water = IAPWS95(T=273.15 + celsius, P=0.3)
        found = outflow.surge(1.0, "water", water.rho, 0.0)
        assert water.rho * water.w <= found * (1.0 + 1e-3)
        assert found == pytest.approx(water.rho * water.w, rel=near + 0.005)
    glycol = outflow.surge(1.0, "ethylene_glycol", 1075.0, 0.0)
    assert glycol == pytest.approx(1075.0 * 1690.0, rel=0.02)
    rises = [outflow.surge(1.0, "water", 998.0, c) for c in np.linspace(0.0, 1e-8, 5)]
    assert np.all(np.diff(rises) < 0.0)
