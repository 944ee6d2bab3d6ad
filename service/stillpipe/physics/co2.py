"""Carbon dioxide from cylinder to jacket: Span and Wagner's equation of state through CoolProp.

Span and Wagner, J. Phys. Chem. Ref. Data 25 (1996) 1509. Sublimation from the published value.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from CoolProp import CoolProp
from numpy.typing import NDArray

from stillpipe.errors import Fault, OutOfValidityError

Array = NDArray[np.float64]

ATMOSPHERE = 101325.0
DRY_ICE = 194.686
"""Sublimation temperature at 1 atm [K]; Giauque and Egan, J. Chem. Phys. 5 (1937) 45."""
SUBLIMATION = 573.3e3
"""Heat of sublimation at 1 atm [J/kg]: 25.23 kJ/mol; Giauque and Egan 1937."""
CRITICAL = 304.1282
"""Critical temperature [K]; Span and Wagner 1996."""
TRIPLE = 216.592
"""Triple point [K]; Span and Wagner 1996."""
MOLAR_MASS = 0.0440098
"""[kg/mol]."""


@dataclass(frozen=True)
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


@lru_cache(maxsize=4096)
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
    state = CoolProp.AbstractState("HEOS", "CO2")
    values: list[float] = []
    for quality in (0.0, 1.0):
        state.update(CoolProp.QT_INPUTS, quality, T)
        values += [state.p(), state.rhomass(), state.hmass(), state.umass()]
    return Saturation(
        T, values[0], values[1], values[5], values[2], values[6], values[3], values[7]
    )


@lru_cache(maxsize=256)
def _gas(T: float) -> tuple[float, float]:
    """Density [kg/m3] and enthalpy [J/kg] of CO2 gas at ``T`` [K] and 1 atm.

    CoolProp refuses pressure inputs below the triple point: the density is found by iteration
    with the gas phase imposed.
    """
    state = CoolProp.AbstractState("HEOS", "CO2")
    state.specify_phase(CoolProp.iphase_gas)
    density = ATMOSPHERE / (8.314462618 / MOLAR_MASS * T)
    for _ in range(50):
        state.update(CoolProp.DmassT_INPUTS, density, T)
        error = state.p() / ATMOSPHERE
        density /= error
        if abs(error - 1.0) < 1e-12:
            break
    return density, float(state.hmass())


def gas_enthalpy(T: float) -> float:
    """Enthalpy of CO2 gas [J/kg] at ``T`` [K] and 1 atm, down to the sublimation point."""
    return _gas(T)[1]


def gas_density(T: float) -> float:
    """Density of CO2 gas [kg/m3] at ``T`` [K] and 1 atm, down to the sublimation point."""
    return _gas(T)[0]


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
    low, high = TRIPLE, CRITICAL - 1e-3
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
    """
    T, density = cylinder, fill
    step = -0.25
    while T + step > TRIPLE:
        first = _density_slope(T, density)
        second = _density_slope(T + step, density + step * first)
        following = density + 0.5 * step * (first + second)
        vapour = saturation(T + step).rho_v
        if following <= vapour:
            before = density - saturation(T).rho_v
            part = before / (before + vapour - following)
            return (density + part * (following - density)) / fill
        T, density = T + step, following
    return density / fill


def _density_slope(T: float, density: float) -> float:
    """Density over temperature [kg/(m3 K)] of a cylinder that liquid is drawn from."""
    here, above, below = (
        saturation(T),
        saturation(min(T + 0.05, CRITICAL - 1e-3)),
        saturation(T - 0.05),
    )
    rise = (_energy(above, density) - _energy(below, density)) / (above.T - below.T)
    per_density = (here.rho_l * here.u_l - here.rho_v * here.u_v) / (here.rho_l - here.rho_v)
    return rise / (here.h_l - per_density)


def _energy(s: Saturation, density: float) -> float:
    """Return the energy per volume [J/m3] of a two-phase state of overall ``density`` [kg/m3]."""
    liquid = (density - s.rho_v) / (s.rho_l - s.rho_v)
    return liquid * s.rho_l * s.u_l + (1.0 - liquid) * s.rho_v * s.u_v
