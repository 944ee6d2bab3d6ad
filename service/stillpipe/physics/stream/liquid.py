"""The liquid that flows: viscosity, conductivity and circulation on one grid of temperature."""

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stillpipe.physics import media, solutions, tabulated
from stillpipe.physics.column import circulation
from stillpipe.physics.column.mesh import FAST
from stillpipe.physics.compiling import njit
from stillpipe.physics.constants import ZERO_C

Array = NDArray[np.float64]

SPAN = 80
"""Kelvins above the freezing point that are tabulated, one apart."""
MIDDLE = ZERO_C + 10.0
"""Where the viscosity of solutions is compared with water's [K]."""


class Liquid(NamedTuple):
    """What flows: ``density`` [kg/m3], ``cp`` [J/(kg K)], ``freezing`` [K] where ice first forms.

    ``table``, shape (SPAN + 1, 3), one kelvin apart from ``freezing`` up: viscosity [Pa s],
    conductivity [W/(m K)], and the Nusselt number of its circulation over a core of radius 1 m [-],
    which goes with the radius to the power ``grows`` [-]; ``strength`` scales its part beyond 1.
    """

    density: float
    cp: float
    freezing: float
    table: Array
    grows: float
    strength: float


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def at(T: float, column: int, q: Liquid) -> float:
    """Value of a ``column`` of the table at ``T`` [K], straight between its rows."""
    x = min(max(T - q.freezing, 0.0), SPAN - 1e-9)
    i = int(x)
    return float(q.table[i, column] + (x - i) * (q.table[i + 1, column] - q.table[i, column]))


@lru_cache(maxsize=64)
def viscosity_ratio(key: str, concentration: float) -> float:
    """Viscosity of fluid ``key`` at ``concentration`` [kg/kg] over that of water [-], near 10 C.

    Sea water by Sharqawy, Lienhard and Zubair, Desalin. Water Treat. 16 (2010) 354 (from memory):
    1 + A S + B S2 with A = 1.541 + 0.01998 t - 9.52e-5 t2, B = 7.974 - 0.07561 t + 4.724e-4 t2,
    t in C. Glycols by the tables.
    """
    if key == "water" or concentration <= 0.0:
        return 1.0
    if key == "seawater":
        t = MIDDLE - ZERO_C
        a = 1.541 + 1.998e-2 * t - 9.52e-5 * t * t
        b = 7.974 - 7.561e-2 * t + 4.724e-4 * t * t
        return 1.0 + a * concentration + b * concentration**2
    names = ("mass_fraction_kg_per_kg", "viscosity_Pa_s")
    x, viscosity = tabulated.columns(f"{key}.csv", names).T
    return float(np.interp(concentration, x, viscosity)) / float(media.water_viscosity(MIDDLE))


@lru_cache(maxsize=256)
def liquid(
    key: str, concentration: float, jacket: float, vertical: bool, strength: float
) -> Liquid:
    """Fluid ``key`` at ``concentration`` [kg/kg] in a pipe under a jacket ``jacket`` [m] long.

    ``strength`` scales the part of the circulation beyond conduction [-].
    """
    freezing = solutions.freezing_point(key, concentration)
    T = freezing + np.arange(SPAN + 1.0)
    viscosity = viscosity_ratio(key, concentration) * np.asarray(media.water_viscosity(T))
    pure = key == "water" or concentration <= 0.0
    if pure:
        rho, cp = media.WATER_DENSITY, media.WATER_CP
        k = np.asarray(media.water_conductivity(T))
    else:
        rho, cp, conductivity = solutions.liquid(key, concentration)
        k = np.full_like(T, conductivity)
    prandtl = viscosity * cp / k
    root = media.rayleigh(T, freezing, 1.0) ** 0.25
    grows = 0.75
    if vertical:  # the gap is the core's radius
        nusselt = circulation.TALL * prandtl**circulation.TALL_PRANDTL * root
        nusselt, grows = nusselt * jacket**-circulation.TALL_HEIGHT, grows + circulation.TALL_HEIGHT
    else:
        ring = circulation.RING * (prandtl / (circulation.RING_PRANDTL + prandtl)) ** 0.25
        nusselt = ring * circulation.CORE_SHAPE * root
    table = np.ascontiguousarray(np.stack((viscosity, k, nusselt), axis=1))
    table.setflags(write=False)
    return Liquid(rho, cp, freezing, table, grows, strength)
