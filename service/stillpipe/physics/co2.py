"""Carbon dioxide from cylinder to jacket: Span and Wagner's equation of state, tabulated.

Span and Wagner, J. Phys. Chem. Ref. Data 25 (1996) 1509, through CoolProp 8. Sublimation from the
published value. Interpolated figures are within 1e-7 of the equation's, in the last 0.1 K below the
critical point within 1e-6, from 1 mK to 1 uK below it within 4e-4.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from stillpipe.errors import Fault, OutOfValidityError
from stillpipe.physics import tabulated
from stillpipe.physics.compiling import njit
from stillpipe.physics.constants import DRY_ICE

Array = NDArray[np.float64]

SUBLIMATION = 573.3e3
"""Heat of sublimation at 1 atm [J/kg]: 25.23 kJ/mol; Giauque and Egan 1937."""
CRITICAL = 304.1282
"""Critical temperature [K]; Span and Wagner 1996."""
TRIPLE = 216.592
"""Triple point [K]; Span and Wagner 1996."""
NEAREST = CRITICAL - 1e-3
"""Warmest state that a search looks at [K]: beyond, the two phases are the same to 6 %."""
COLDEST_GAS, WARMEST_GAS = 190.0, 340.0
"""Range of the tabulated gas [K]."""
ROOT = (1.0 - TRIPLE / CRITICAL) ** (1.0 / 3.0)
"""Cube root of 1 - T/Tc at the triple point [-]: the table's rows are even steps from it to 0."""


@dataclass(frozen=True, kw_only=True)
class Saturation:
    """Liquid and vapour in equilibrium at ``T`` [K].

    ``pressure`` [Pa]; densities ``rho_l``, ``rho_v`` [kg/m3]; enthalpies ``h_l``, ``h_v`` and
    internal energies ``u_l``, ``u_v`` [J/kg], CoolProp's reference state.
    """

    T: float
    pressure: float
    rho_l: float
    rho_v: float
    h_l: float
    h_v: float
    u_l: float
    u_v: float


def saturation_line() -> Array:
    """Saturated states, shape (rows, 7): pressure [Pa] and what follows in :class:`Saturation`."""
    return tabulated.columns(
        "co2_saturation.csv",
        (
            "pressure_Pa", "liquid_density_kg_per_m3", "vapour_density_kg_per_m3",
            "liquid_enthalpy_J_per_kg", "vapour_enthalpy_J_per_kg", "liquid_energy_J_per_kg",
            "vapour_energy_J_per_kg",
        ),
    )  # fmt: skip


@njit(cache=True, nogil=True)
def _row(T: float, count: int) -> float:
    """Place of ``T`` [K] among ``count`` rows of the saturation line [-], as a real number."""
    row: float = (1.0 - max(1.0 - T / CRITICAL, 0.0) ** (1.0 / 3.0) / ROOT) * (count - 1)
    return row


def saturation(T: float) -> Saturation:
    """Return the saturated states at ``T`` [K], triple point to critical point.

    Raises
    ------
    OutOfValidityError
        outside that range: there is no liquid
    """
    if not TRIPLE <= T < CRITICAL:
        raise OutOfValidityError(
            Fault(
                ("cylinder", "temperature"), "liquid CO2 exists from -56.5 degC to 31.0 degC only"
            )
        )
    line = saturation_line()
    row = _row(T, len(line))
    p, rho_l, rho_v, h_l, h_v, u_l, u_v = (tabulated.cubic(line, row, i) for i in range(7))
    return Saturation(T=T, pressure=p, rho_l=rho_l, rho_v=rho_v, h_l=h_l, h_v=h_v, u_l=u_l, u_v=u_v)


def _gas(T: float, column: int) -> float:
    """Density (column 0) or enthalpy (1) of CO2 gas at ``T`` [K] and 1 atm."""
    if not COLDEST_GAS <= T <= WARMEST_GAS:
        raise OutOfValidityError(Fault((), "CO2 gas is covered from -83 degC to 66 degC only"))
    table = tabulated.columns("co2_gas.csv", ("density_kg_per_m3", "enthalpy_J_per_kg"))
    row = (T - COLDEST_GAS) / (WARMEST_GAS - COLDEST_GAS) * (len(table) - 1)
    return tabulated.cubic(table, row, column)


def gas_enthalpy(T: float) -> float:
    """Enthalpy of CO2 gas [J/kg] at ``T`` [K] and 1 atm, down to the sublimation point.

    Raises
    ------
    OutOfValidityError
        outside 190 to 340 K
    """
    return _gas(T, 1)


def gas_density(T: float) -> float:
    """Density of CO2 gas [kg/m3] at ``T`` [K] and 1 atm, down to the sublimation point.

    Raises
    ------
    OutOfValidityError
        outside 190 to 340 K
    """
    return _gas(T, 0)


def cooling(cylinder: float, leaving: float = DRY_ICE) -> float:
    """Heat one kilogram of liquid takes up [J/kg], from liquid at ``cylinder`` [K] to gas.

    The gas leaves the jacket at ``leaving`` [K] and 1 atm.
    """
    return gas_enthalpy(leaving) - saturation(cylinder).h_l


def snow_yield(cylinder: float) -> float:
    """Mass of dry ice per mass of liquid let down to 1 atm [-], from liquid at ``cylinder`` [K]."""
    return cooling(cylinder) / SUBLIMATION


def full_temperature(fill: float) -> float:
    """Temperature [K] at which a cylinder filled to ``fill`` [kg/m3] is full of liquid."""
    low, high = TRIPLE, NEAREST
    if saturation(high).rho_l >= fill:
        return CRITICAL
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if saturation(middle).rho_l > fill else (low, middle)
    return low


def left_isothermal(cylinder: float, fill: float) -> float:
    """Share of the fill left as vapour [-] when the last liquid goes, cylinder kept warm.

    ``fill`` [kg/m3] is mass over water volume.
    """
    return min(saturation(cylinder).rho_v / fill, 1.0)


@lru_cache(maxsize=256)
def left_adiabatic(cylinder: float, fill: float) -> float:
    """Share of the fill left as vapour [-] when the last liquid goes, no heat from outside.

    Liquid of enthalpy h is drawn from a closed volume: d(rho u) = h d rho. Followed along the
    saturation line with Heun's method, 0.25 K a step.

    Raises
    ------
    OutOfValidityError
        where a cylinder at ``cylinder`` [K] holds no liquid
    """
    saturation(cylinder)
    return _drained(saturation_line(), cylinder, fill)


@njit(cache=True, nogil=True)
def _drained(line: Array, cylinder: float, fill: float) -> float:
    """Share of the fill left [-], as :func:`left_adiabatic` on the saturation ``line``."""
    T, density, step = cylinder, fill, -0.25
    while T + step > TRIPLE:
        first = _density_slope(line, T, density)
        second = _density_slope(line, T + step, density + step * first)
        following = density + 0.5 * step * (first + second)
        vapour = tabulated.cubic(line, _row(T + step, line.shape[0]), 2)
        if following <= vapour:
            before = density - tabulated.cubic(line, _row(T, line.shape[0]), 2)
            part = before / (before + vapour - following)
            return (density + part * (following - density)) / fill
        T, density = T + step, following
    return density / fill


@njit(cache=True, nogil=True)
def _density_slope(line: Array, T: float, density: float) -> float:
    """Density over temperature [kg/(m3 K)] of a cylinder that liquid is drawn from."""
    above, below = min(T + 0.05, NEAREST), T - 0.05
    rise = (_energy(line, above, density) - _energy(line, below, density)) / (above - below)
    row = _row(T, line.shape[0])
    rho_l, rho_v = tabulated.cubic(line, row, 1), tabulated.cubic(line, row, 2)
    u_l, u_v = tabulated.cubic(line, row, 5), tabulated.cubic(line, row, 6)
    per_density = (rho_l * u_l - rho_v * u_v) / (rho_l - rho_v)
    slope: float = rise / (tabulated.cubic(line, row, 3) - per_density)
    return slope


@njit(cache=True, nogil=True)
def _energy(line: Array, T: float, density: float) -> float:
    """Energy per volume [J/m3] of a two-phase state at ``T`` [K] of overall ``density`` [kg/m3]."""
    row = _row(T, line.shape[0])
    rho_l, rho_v = tabulated.cubic(line, row, 1), tabulated.cubic(line, row, 2)
    liquid = (density - rho_v) / (rho_l - rho_v)
    u_l, u_v = tabulated.cubic(line, row, 5), tabulated.cubic(line, row, 6)
    energy: float = liquid * rho_l * u_l + (1.0 - liquid) * rho_v * u_v
    return energy
