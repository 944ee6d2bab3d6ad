"""Aqueous solutions: freezing curve, ice fraction by the lever rule, and their medium tables.

Ice is taken as pure: it forms from the liquidus down, the rest grows richer until the last
published point of the freezing curve, below which nothing more is promised.
"""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from stillpipe.physics import media, tabulated
from stillpipe.physics.constants import ZERO_C

Array = NDArray[np.float64]

RICHEST = 0.60
"""Richest glycol on the tabulated freezing curves [kg/kg]."""
SEA_EUTECTIC = ZERO_C - 22.9
"""Sodium chloride dihydrate leaves sea ice's brine here [K]; Assur 1958, from memory."""


def brine_salinity(T: Array) -> Array:
    """Salinity [kg/kg] of brine in equilibrium with ice at ``T`` [K], 250.25-273.15 K.

    Fit to Assur (1958) as in Notz (2005), from memory:
    -1.20 - 21.8 t - 0.919 t2 - 0.0178 t3 in g/kg, t in C.
    """
    t = T - ZERO_C
    return np.asarray(np.maximum(-1.20 - 21.8 * t - 0.919 * t**2 - 0.0178 * t**3, 0.0) / 1000.0)


@lru_cache(maxsize=8)
def liquidus(key: str) -> tuple[Array, Array]:
    """Freezing curve of fluid ``key``: concentration [kg/kg], rising, and temperature [K].

    It starts beside pure water, which freezes at 0 C: a glycol's curve, fitted to richer solutions,
    misses that by 0.03 K.
    """
    if key == "seawater":
        T = np.linspace(ZERO_C - 0.06, SEA_EUTECTIC, 200)
        return brine_salinity(T), T
    x, T = tabulated.columns(f"{key}.csv", ("mass_fraction_kg_per_kg", "freezing_point_K")).T
    return x[1:], T[1:]


def freezing_point(key: str, concentration: float) -> float:
    """Temperature [K] at which ice first forms in fluid ``key`` at ``concentration`` [kg/kg]."""
    if key == "water" or concentration <= 0.0:
        return ZERO_C
    x, T = liquidus(key)
    return float(np.interp(concentration, np.append(0.0, x), np.append(ZERO_C, T)))


def most_ice(key: str, concentration: float) -> float:
    """Largest ice mass fraction [-] that the freezing curve lets fluid ``key`` reach."""
    if key == "water":
        return 1.0
    if key == "seawater":
        return 1.0
    return 1.0 - concentration / RICHEST


def strongest(ice: float) -> float:
    """Concentration of a glycol [kg/kg] of which a mass fraction ``ice`` [-] can turn to ice.

    The reverse of :func:`most_ice`.
    """
    return (1.0 - ice) * RICHEST


def liquid(key: str, concentration: float) -> tuple[float, float, float]:
    """Density [kg/m3], specific heat [J/(kg K)] and conductivity [W/(m K)] near 10 C."""
    if key == "seawater":  # linear in salinity from sea water at 35 g/kg; from memory
        part = concentration / 0.035
        return 999.7 + 27.3 * part, 4195.0 - 205.0 * part, 0.576 - 0.004 * part
    x, *properties = tabulated.columns(
        f"{key}.csv",
        (
            "mass_fraction_kg_per_kg", "density_kg_per_m3", "specific_heat_J_per_kg_K",
            "conductivity_W_per_m_K",
        ),
    ).T  # fmt: skip
    rho, cp, k = (float(np.interp(concentration, x, values)) for values in properties)
    return rho, cp, k


def ice_fraction(key: str, concentration: float, T: Array) -> Array:
    """Ice mass fraction [-] at ``T`` [K] by the lever rule, 1 - x0 / x(T)."""
    x, curve = liquidus(key)
    rich = np.interp(-T, -np.append(ZERO_C, curve), np.append(0.0, x))
    ice = np.where(rich > concentration, 1.0 - concentration / np.maximum(rich, 1e-9), 0.0)
    if key == "seawater":
        ice = np.where(T < SEA_EUTECTIC - 0.5, 1.0, ice)
    return np.asarray(ice)


@lru_cache(maxsize=256)
def medium(
    key: str, concentration: float, plug_solid: float, ice_factor: float = 1.0
) -> media.Medium:
    """Tables of fluid ``key`` at ``concentration`` [kg/kg].

    ``plug_solid`` [-] is the ice fraction that counts as a plug; ``freezing`` of the result is
    the temperature at which it is reached. The ice conducts ``ice_factor`` times as well [-].
    """
    rho, cp, k_liquid = liquid(key, concentration)
    start = freezing_point(key, concentration)
    T = np.linspace(media.COLDEST, media.WARMEST, 3001)
    ice = ice_fraction(key, concentration, T)
    solid_heat = media.ICE_DENSITY * np.asarray(media.ice_specific_heat(np.minimum(T, ZERO_C)))
    left = rho * media.ICE_DENSITY / media.WATER_DENSITY
    heat = ice * solid_heat + (1.0 - ice) * left * cp
    latent = media.LATENT + (media.WATER_CP - 2000.0) * np.minimum(T - ZERO_C, 0.0)
    steps = 0.5 * (heat[1:] + heat[:-1]) * np.diff(T)
    released = media.ICE_DENSITY * 0.5 * (latent[1:] + latent[:-1]) * -np.diff(ice)
    H = np.concatenate(([0.0], np.cumsum(steps + released)))
    step = media.ICE_DENSITY * media.LATENT / 256.0
    h = step * np.arange(int(H[-1] / step))
    temperature = np.interp(h, H, T)
    solid = np.interp(h, H, ice)
    ice_k = np.asarray(media.ice_conductivity(np.minimum(temperature, ZERO_C)))
    conductivity = solid * ice_factor * ice_k + (1.0 - solid) * k_liquid
    bond = float(T[int(np.argmax(ice < plug_solid))])
    return media.Medium(
        0.0, 1.0 / step, temperature, media.kirchhoff(temperature, conductivity), conductivity,
        solid, bond, float(np.interp(bond, temperature, conductivity)), k_liquid,
        int(np.argmax(temperature >= start)), media.rayleigh(temperature, start, 1.0) ** 0.25,
    )  # fmt: skip
