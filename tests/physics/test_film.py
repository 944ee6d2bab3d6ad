"""Heat from the room, against general libraries."""

import math
from typing import Any

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from CoolProp.HumidAirProp import HAPropsSI
from fluids.atmosphere import ATMOSPHERE_1976
from ht.conv_free_immersed import (
    Nu_horizontal_cylinder_Churchill_Chu,
    Nu_vertical_cylinder_Popiel_Churchill,
)
from ht.radiation import q_rad
from hypothesis import given, settings
from hypothesis import strategies as st
from iapws import IAPWS95
from iapws._iapws import _Ice

from stillpipe.physics import film

ZERO_C, ATM = 273.15, 101325.0
T = film.TABLE_T0 + np.arange(film.TABLE_N) / film.TABLE_INV
"""Surfaces of a table's entries [K]."""


def table_of(
    diameter: float = 0.0213, celsius: float = 20.0, humidity: float = 0.5, **changes: Any
) -> np.ndarray:
    """The film of a dull pipe of ``diameter`` [m] in a room at ``celsius``."""
    given: dict[str, Any] = {"emissivity": 0.8} | changes
    return film.room_film(
        outer_diameter=diameter, ambient=ZERO_C + celsius, relative_humidity=humidity, **given
    )


def around_of(
    diameter: float, emissivity: float, humidity: float = 0.5, vertical: bool = False
) -> film.Surface:
    """A surface of ``diameter`` [m] in a room at 20 C."""
    vapour = film.humidity_ratio(humidity * film.saturation_pressure(293.15))
    dew = film.frost_point(293.15, humidity)
    return film.Surface(293.15, vapour, dew, diameter, emissivity, vertical)


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


@pytest.mark.parametrize("T", [203.15, 240.0, ZERO_C, 300.0, 333.15])
def test_properties_of_air_are_those_of_a_reference(T: float) -> None:
    """CoolProp's air (Lemmon 2000, transport Lemmon and Jacobsen 2004): k and nu 2 %, Pr 2.5 %."""
    k, mu, rho, cp = (PropsSI(name, "T", T, "P", ATM, "Air") for name in ("L", "V", "D", "C"))
    grashof, conductivity = film._grashof(1.0, T - 1.0, T + 1.0)
    assert conductivity == pytest.approx(k, rel=0.02)
    assert math.sqrt(9.80665 / T * 2.0 / grashof) == pytest.approx(mu / rho, rel=0.021)
    assert pytest.approx(mu * cp / k, rel=0.025) == film.PRANDTL


@pytest.mark.parametrize("diameter", [0.003, 0.0159, 0.0603, 0.1143])
@pytest.mark.parametrize("surface", [200.0, 268.15, 288.15])
def test_a_vertical_pipe_has_the_film_of_a_slender_cylinder(
    diameter: float, surface: float
) -> None:
    """ht's Popiel and Churchill over 0.3 m; 6 %, of which 5 % is its 0.0043 in the exponent."""
    mean = 0.5 * (surface + 293.15)
    k, mu, rho = (PropsSI(name, "T", mean, "P", ATM, "Air") for name in ("L", "V", "D"))
    grashof = 9.80665 / mean * (293.15 - surface) * 0.3**3 / (mu / rho) ** 2
    expected = Nu_vertical_cylinder_Popiel_Churchill(0.71, grashof, 0.3, diameter) * k / 0.3
    found = film.vertical_convection(diameter, surface, 293.15)
    assert found == pytest.approx(expected, rel=0.06)


@pytest.mark.parametrize("surface", [200.0, 230.0, 260.0, 272.0, 275.0, 278.0])
@pytest.mark.parametrize(("celsius", "humidity"), [(20.0, 0.5), (20.0, 0.95), (35.0, 0.8)])
@pytest.mark.parametrize("diameter", [0.0103, 0.0603])
def test_a_wet_or_frosted_pipe_against_humid_air(
    surface: float, celsius: float, humidity: float, diameter: float
) -> None:
    """By hand with the densities and the humidity of CoolProp's HAPropsSI; within 5 %.

    Buoyancy from the densities of the room's air and of saturated air at the surface, ht's
    Churchill and Chu, vapour by the logarithmic mean of dry air (Stefan flow), diffusivity 2.178e-5
    (T/273.15)^1.81 m2/s (Massman 1998, from memory), heat of vapour less that of ice or water by
    IAPWS-95 and R10-06.
    """
    room, mean = ZERO_C + celsius, 0.5 * (surface + ZERO_C + celsius)
    there = {"T": room, "P": ATM, "R": humidity}
    cold = {"T": surface, "P": ATM, "R": 1.0}
    ratio = [HAPropsSI("W", *(x for pair in at.items() for x in pair)) for at in (there, cold)]
    rho = [(1 + w) / HAPropsSI("V", "T", t, "P", ATM, "W", w)
           for w, t in zip(ratio, (room, surface), strict=True)]  # fmt: skip
    mixed = 0.5 * sum(ratio)
    k, mu, cp = (HAPropsSI(n, "T", mean, "P", ATM, "R", 0.0) for n in ("K", "M", "C"))
    at_mean = PropsSI("D", "T", mean, "P", ATM, "Air")
    grashof = 9.80665 * (rho[1] - rho[0]) / at_mean * diameter**3 / (mu / at_mean) ** 2
    h = Nu_horizontal_cylinder_Churchill_Chu(mu * cp / k, grashof) * k / diameter
    diffusivity = 2.178e-5 * (mean / ZERO_C) ** 1.81
    lewis = k / (at_mean * cp * diffusivity)
    fractions = [w / (1.0 + w) for w in ratio]
    flow = h / ((cp + 1860.0 * mixed) * lewis ** (2 / 3))
    flow *= math.log((1.0 - fractions[1]) / (1.0 - fractions[0]))
    vapour = IAPWS95(T=max(surface, 273.16), x=1).h
    settled = _Ice(surface, 0.101325)["h"] if surface < ZERO_C else IAPWS95(T=surface, x=0).h
    if surface < ZERO_C:  # vapour's enthalpy below the triple point, cp 1.86 kJ/(kg K)
        vapour += 1.86 * (surface - 273.16)
    expected = h + q_rad(0.95, room, surface) / (room - surface)
    expected += flow * (vapour - settled) * 1e3 / (room - surface)
    found = film.at(table_of(diameter, celsius, humidity), surface)
    assert found == pytest.approx(expected, rel=0.05)


@pytest.mark.parametrize(
    ("diameter", "emissivity", "humid", "dry"),
    [(0.015875, 0.6, 15.6, 9.9), (0.0603, 0.3, 12.8, 6.6)],
)
def test_films_of_frosted_and_dry_pipes(
    diameter: float, emissivity: float, humid: float, dry: float
) -> None:
    """1/2 in copper tube and 2 in stainless pipe at 0 C in a room of 20 C and 50 %.

    An independent estimate of the same physics, a few digits; 5 %.
    """
    for humidity, expected in ((0.5, humid), (0.0, dry)):
        found = film.at(table_of(diameter, humidity=humidity, emissivity=emissivity), ZERO_C)
        assert found == pytest.approx(expected, rel=0.05)


def test_dry_air_gives_convection_and_radiation_alone() -> None:
    table = table_of(humidity=0.0)
    for surface in (200.0, 250.0, 280.0, 320.0):
        expected = film.natural_convection(0.0213, surface, 293.15)
        expected += film.radiation(surface, 293.15, 0.8)
        assert film.at(table, surface) == pytest.approx(expected)


def test_above_the_dew_point_humidity_changes_nothing() -> None:
    """Dew point of air at 20 C, 50 %: 9.3 C (psychrometric chart); read between whole kelvins."""
    dry, humid = table_of(humidity=0.0), table_of(humidity=0.5)
    assert np.array_equal(humid[T > ZERO_C + 9.3], dry[T > ZERO_C + 9.3])
    assert np.all(humid[T < ZERO_C + 9.2] > dry[T < ZERO_C + 9.2])


@settings(max_examples=100, deadline=None, derandomize=True)
@given(
    st.floats(0.003, 0.12), st.floats(-20.0, 50.0), st.floats(0.0, 0.99), st.booleans(),
    st.sampled_from([0.0, 0.005, 0.03]),
)  # fmt: skip
def test_more_humidity_never_brings_less_heat(
    diameter: float, celsius: float, humidity: float, vertical: bool, thickness: float
) -> None:
    around: dict[str, Any] = {"vertical": vertical, "thickness": thickness, "conductivity": 0.04}
    less, more = (table_of(diameter, celsius, h, **around) for h in (humidity, humidity + 0.01))
    assert np.all(np.isfinite(more))
    assert np.all(more >= less * (1.0 - 1e-4))
    assert less.min() > 0.0


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.floats(0.003, 0.12), st.floats(-20.0, 50.0), st.floats(0.0, 1.0), st.booleans(),
       st.sampled_from([0.0, 0.02]))  # fmt: skip
def test_a_colder_pipe_takes_in_more_heat(
    diameter: float, celsius: float, humidity: float, vertical: bool, thickness: float
) -> None:
    """And heat always flows from warm to cold."""
    table = table_of(
        diameter, celsius, humidity, vertical=vertical, thickness=thickness, conductivity=0.04
    )
    heat = table * (ZERO_C + celsius - T)
    assert np.all(np.diff(heat) < 0.0)
    assert np.all((heat > 0.0) == (ZERO_C + celsius > T))


def test_the_film_jumps_only_by_the_latent_heats() -> None:
    """At 0 C heat of sublimation against evaporation, 2834 / 2501 kJ/kg (IAPWS); else no jump.

    Entries a kelvin apart, up to a kelvin below the room: at most 12 % where a pipe gets wet, 8 %
    elsewhere.
    """

    def flux(surface: float) -> float:
        return film.heat_flux(surface, around_of(0.0213, 0.8))

    below, above = flux(ZERO_C - 1e-6), flux(ZERO_C + 1e-6)
    h = film.natural_convection(0.0213, ZERO_C, 293.15)
    latent = above - (h + film.radiation(ZERO_C, 293.15, 0.95)) * 20.0
    assert below - above == pytest.approx(latent * (2834.4 / 2500.9 - 1.0), rel=0.01)
    dew = film.frost_point(293.15, 0.5)
    h = film.natural_convection(0.0213, dew - 1.0, 293.15)
    sensible = (h + film.radiation(dew - 1.0, 293.15, 0.95)) * (294.15 - dew)
    vapour = film.humidity_ratio(0.5 * film.saturation_pressure(293.15))
    assert flux(dew - 1.0) == pytest.approx(sensible + film.latent(dew - 1.0, h, vapour))
    for place in (dew, dew - 1.0, 293.15 - 0.5):
        assert flux(place - 1e-6) == pytest.approx(flux(place + 1e-6), rel=1e-4)
    change = np.abs(np.diff(table_of()) / table_of()[1:])[T[1:] < 292.0]
    where = T[1:][T[1:] < 292.0]
    wetting = (where > dew - 1.5) & (where < dew + 1.0)
    melting = (where > ZERO_C) & (where < ZERO_C + 1.0)
    assert change[wetting].max() < 0.12
    assert change[~wetting & ~melting].max() < 0.08


@pytest.mark.parametrize("thickness", [0.0, 0.013])
def test_a_pipe_at_room_temperature_has_a_finite_film(thickness: float) -> None:
    """Continuous in the room's temperature too, where an entry lies on it."""
    for celsius in (19.84, 19.85, 19.86):
        table = table_of(celsius=celsius, humidity=0.5, thickness=thickness, conductivity=0.036)
        i = int(np.argmin(np.abs(T - (ZERO_C + celsius))))
        assert 0.5 < table[i] < table[i - 3]
        assert table[i] == pytest.approx(table[i + 1], rel=0.15)


def test_in_saturated_air_dew_comes_just_below_the_rooms_temperature() -> None:
    """An entry 0.2 K below the room takes in dew, one 0.2 K above none."""
    below, above = (table_of(celsius=20.0 + d, humidity=1.0) for d in (0.05, -0.35))
    dry = table_of(celsius=20.05, humidity=0.0)
    assert below[103] > 1.5 * dry[103]
    assert above[103] == pytest.approx(dry[103], rel=0.01)


@pytest.mark.parametrize("pipe", [195.0, 255.0, 273.0, 283.0, 318.0])
@pytest.mark.parametrize("vertical", [False, True])
def test_insulation_is_a_resistance_in_series(pipe: float, vertical: bool) -> None:
    """By hand: 25 mm of 0.04 W/(m K) on 33.4 mm; heat through it is what its surface takes in.

    The surface's temperature from the heat through the layer, q' = 2 pi k dT / ln(Do/Di), and then
    the flux of a bare cylinder of that size and temperature, of emissivity 0.9.
    """
    around: dict[str, Any] = {"vertical": vertical, "emissivity": 0.2}
    table = table_of(0.0334, humidity=0.8, thickness=0.025, conductivity=0.04, **around)
    for_length = film.at(table, pipe) * math.pi * 0.0334 * (293.15 - pipe)
    surface = pipe + for_length * math.log(0.0834 / 0.0334) / (2.0 * math.pi * 0.04)
    assert min(pipe, 293.15) < surface < max(pipe, 293.15)
    taken = film.heat_flux(surface, around_of(0.0834, 0.9, 0.8, vertical)) * math.pi * 0.0834
    assert taken == pytest.approx(for_length, rel=2e-3)


def test_the_surface_of_insulation_is_found_wherever_it_is_looked_for() -> None:
    """Between the right limits, between wrong ones on both sides, and with none at all."""
    around = around_of(0.0473, 0.9, 0.8)
    limits = [(250.0, 293.15), (250.0, 251.0), (293.0, 293.1), (270.0, 270.0)]
    found = [film.covered(250.0, 2.0, around, low, high) for low, high in limits]
    assert found == pytest.approx([found[0]] * 4, abs=3e-5)
    assert 250.0 < found[0] < 293.15
    assert film.heat_flux(found[0], around) == pytest.approx(2.0 * (found[0] - 250.0), rel=1e-4)


def test_frost_on_insulation_melts_at_zero() -> None:
    """A layer whose surface stays at 0 C while the pipe under it warms by more than a kelvin."""
    table = table_of(humidity=0.9, thickness=0.004, conductivity=0.04)
    outside = 0.0293
    surface = T + table * (293.15 - T) * 0.0213 * math.log(outside / 0.0213) / (2.0 * 0.04)
    assert np.sum(np.abs(surface - ZERO_C) < 2e-4) >= 2
    assert np.all(np.diff(surface) > -1e-4)


def test_limits_of_insulation() -> None:
    """Hardly any is a bare pipe of its cover's emissivity; a thick layer is conduction alone."""
    bare = table_of(emissivity=film.COVER_EMISSIVITY)
    thin = table_of(thickness=1e-6, conductivity=0.04)
    assert thin == pytest.approx(bare, rel=0.005)
    through = 2.0 * 0.001 / (0.0213 * math.log(0.2213 / 0.0213))
    thick = table_of(thickness=0.1, conductivity=0.001)
    assert thick[T < 285.0] == pytest.approx(through, rel=0.01)


def test_latent_heats_are_those_of_iapws() -> None:
    """Sublimation at the triple point, evaporation at 0.01 and 40 C: IAPWS-95, R10-06; 0.2 %."""
    cold, warm = (IAPWS95(T=t, x=1).h - IAPWS95(T=t, x=0).h for t in (273.16, 313.15))
    assert pytest.approx(cold * 1e3, rel=0.002) == film.EVAPORATION
    fallen = film.EVAPORATION - 40.0 * film.EVAPORATION_SLOPE
    assert fallen == pytest.approx(warm * 1e3, rel=0.002)
    frost = IAPWS95(T=273.16, x=1).h - _Ice(273.15, 0.101325)["h"]
    assert pytest.approx(frost * 1e3, rel=0.002) == film.SUBLIMATION


@pytest.mark.parametrize(("celsius", "humidity"), [(5.0, 0.3), (20.0, 0.5), (35.0, 0.9)])
def test_humidity_ratio_is_that_of_moist_air(celsius: float, humidity: float) -> None:
    """CoolProp's HAPropsSI; 1 %, of which 0.5 % is vapour that is no ideal gas."""
    found = film.humidity_ratio(humidity * film.saturation_pressure(ZERO_C + celsius))
    expected = HAPropsSI("W", "T", ZERO_C + celsius, "P", ATM, "R", humidity)
    assert found == pytest.approx(expected, rel=0.01)


def test_a_table_is_read_straight_between_entries_and_cannot_be_changed() -> None:
    table = table_of()
    assert len(table) == film.TABLE_N
    assert film.at(table, T[50] + 0.25) == pytest.approx(0.75 * table[50] + 0.25 * table[51])
    with pytest.raises(ValueError, match="read-only"):
        table[0] = 1.0
