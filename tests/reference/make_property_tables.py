"""Writes the tables of CO2 and of glycol solutions that the package interpolates, from CoolProp.

    PYTHONPATH=service:tests python tests/reference/make_property_tables.py

Takes some seconds. CoolProp 8: CO2 by Span and Wagner (1996), glycols by Melinder (2010).
"""

import csv
from collections.abc import Iterable
from pathlib import Path

import numpy as np
from CoolProp import CoolProp

import stillpipe

TABLES = Path(stillpipe.__file__).parent / "tables"
CRITICAL, TRIPLE = 304.1282, 216.592
INTERVALS = 200
SATURATION = (
    "temperature_K", "pressure_Pa", "liquid_density_kg_per_m3", "vapour_density_kg_per_m3",
    "liquid_enthalpy_J_per_kg", "vapour_enthalpy_J_per_kg", "liquid_energy_J_per_kg",
    "vapour_energy_J_per_kg",
)  # fmt: skip
GAS = ("temperature_K", "density_kg_per_m3", "enthalpy_J_per_kg")
GLYCOL = (
    "mass_fraction_kg_per_kg", "freezing_point_K", "density_kg_per_m3", "specific_heat_J_per_kg_K",
    "conductivity_W_per_m_K", "viscosity_Pa_s",
)  # fmt: skip
GLYCOLS = {"propylene_glycol": "MPG", "ethylene_glycol": "MEG"}
MIDDLE = 283.15
"""Where the liquid properties of glycol solutions are taken [K]."""


def saturated(T: float) -> list[float]:
    """Columns of ``SATURATION`` after the temperature, at ``T`` [K]."""
    state = CoolProp.AbstractState("HEOS", "CO2")
    sides = []
    for quality in (0.0, 1.0):
        state.update(CoolProp.QT_INPUTS, quality, T)
        sides.append((state.p(), state.rhomass(), state.hmass(), state.umass()))
    liquid, vapour = sides
    pairs = zip(liquid[1:], vapour[1:], strict=True)
    return [liquid[0], *(value for pair in pairs for value in pair)]


def gas(T: float) -> list[float]:
    """Density [kg/m3] and enthalpy [J/kg] of the gas at ``T`` [K] and 1 atm.

    CoolProp refuses pressures below the triple point's: the density is found by iteration with the
    gas phase imposed.
    """
    state = CoolProp.AbstractState("HEOS", "CO2")
    state.specify_phase(CoolProp.iphase_gas)
    density = 101325.0 * 0.0440098 / (8.314462618 * T)
    for _ in range(50):
        state.update(CoolProp.DmassT_INPUTS, density, T)
        error = state.p() / 101325.0
        density /= error
        if abs(error - 1.0) < 1e-13:
            break
    return [density, state.hmass()]


def solution(name: str, mass: float) -> list[float]:
    """Columns of ``GLYCOL`` after the mass fraction, of CoolProp's fluid ``name``."""
    fluid = f"INCOMP::{name}[{mass}]"
    wanted = ("T_freeze", "D", "C", "L", "V")
    return [CoolProp.PropsSI(q, "T", MIDDLE, "P", 2e5, fluid) for q in wanted]


def write(name: str, heads: tuple[str, ...], rows: Iterable[list[float]]) -> None:
    """Write one table with eleven significant digits."""
    with (TABLES / name).open("w", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(heads)
        writer.writerows([f"{value:.11g}" for value in row] for row in rows)


def main() -> None:
    """Write every table.

    The saturation line is laid out evenly in the cube root of 1 - T/Tc, in which the densities are
    nearly straight lines towards the critical point.
    """
    root = (1.0 - TRIPLE / CRITICAL) ** (1.0 / 3.0)
    line = [CRITICAL * (1.0 - v**3) for v in np.linspace(root, 0.0, INTERVALS + 1)]
    line[0] = TRIPLE
    write("co2_saturation.csv", SATURATION, ([T, *saturated(T)] for T in line))
    write("co2_gas.csv", GAS, ([T, *gas(T)] for T in np.arange(190.0, 340.1, 2.5)))
    masses = [0.0, 0.001, *(0.0025 * i for i in range(1, 241))]
    for key, name in GLYCOLS.items():
        write(f"{key}.csv", GLYCOL, ([x, *solution(name, x)] for x in masses))


if __name__ == "__main__":
    main()
