"""What fills the bore: enthalpy, temperature, ice fraction and conductivity on one grid.

Enthalpy per volume [J/m3] is counted from the fully solid state at the freezing point: liquid
heat with the liquid's density, latent and solid heat with the ice's, since one volume of plug is
one volume of ice and the water it displaces leaves near the freezing point.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from stillpipe.errors import Fault, SolverError
from stillpipe.physics import convection

Array = NDArray[np.float64]

ZERO_C = 273.15
ICE_DENSITY = 916.72
"""Density of ice Ih at 0 C, 1 atm [kg/m3]; IAPWS R10-06."""
LATENT = 333.43e3
"""Latent heat of melting at 0 C, 1 atm [J/kg]; IAPWS R10-06."""
WATER_DENSITY = 999.8
"""Density of water near 0 C [kg/m3]; IAPWS-95."""
WATER_CP = 4195.0
"""Mean specific heat of water, 0-40 C [J/(kg K)]; IAPWS-95."""
COLDEST = ZERO_C - 90.0
WARMEST = ZERO_C + 60.0


def ice_specific_heat(T: Array | float) -> Array | float:
    """Specific heat of ice [J/(kg K)] at ``T`` [K]; linear fit to IAPWS R10-06, 183-273 K."""
    return 2097.0 + 7.29 * (T - ZERO_C)


def ice_enthalpy(T: Array | float) -> Array | float:
    """Enthalpy of ice from 0 C [J/kg] at ``T`` [K]: the integral of its specific heat."""
    t = T - ZERO_C
    return 2097.0 * t + 3.645 * t * t


def ice_conductivity(T: Array | float) -> Array | float:
    """Conductivity of ice [W/(m K)] at ``T`` [K].

    Fukusako, Int. J. Thermophys. 11 (1990) 353: 1.16 (1.91 - 8.66e-3 t + 2.97e-5 t2), t in C
    (coefficients from memory).
    """
    t = T - ZERO_C
    return 1.16 * (1.91 - 8.66e-3 * t + 2.97e-5 * t * t)


def water_conductivity(T: Array | float) -> Array | float:
    """Conductivity of water [W/(m K)] at ``T`` [K]; linear fit to IAPWS R15-11, 0-40 C."""
    return 0.5575 + 0.00187 * (T - ZERO_C)


@dataclass(frozen=True)
class Medium:
    """Tables on the uniform enthalpy grid ``h0 + i / inv`` [J/m3].

    ``temperature`` [K]; ``kirchhoff`` its Kirchhoff transform, the integral of conductivity over
    temperature [W/m]; ``conductivity`` [W/(m K)]; ``solid`` ice mass fraction [-]; ``freezing``
    [K] is where ice first forms; ``ice_k`` and ``liquid_k`` [W/(m K)] the conductivities there.
    """

    h0: float
    inv: float
    temperature: Array
    kirchhoff: Array
    conductivity: Array
    solid: Array
    freezing: float
    ice_k: float
    liquid_k: float

    def enthalpy(self, T: float) -> float:
        """Enthalpy [J/m3] of the liquid at ``T`` [K], ``T`` above the freezing point."""
        i = int(np.searchsorted(self.temperature, T, side="left")) - 1
        a, b = self.temperature[i], self.temperature[i + 1]
        return float(self.h0 + (i + (T - a) / (b - a)) / self.inv)

    def closing(self, solid: float) -> float:
        """Enthalpy [J/m3] at which the ice fraction reaches ``solid`` [-] on cooling.

        Raises
        ------
        SolverError
            where the medium holds less ice than that when it is coldest
        """
        if self.solid[0] < solid:
            raise SolverError(Fault((), "the fluid never holds that much ice"))
        i = int(np.argmax(self.solid < solid))
        a, b = self.solid[i - 1], self.solid[i]
        return float(self.h0 + (i - 1 + (a - solid) / (a - b)) / self.inv)


@lru_cache(maxsize=512)
def water(bore: float, jacket: float, vertical: bool, strength: float) -> Medium:
    """Pure water in a bore of diameter ``bore`` [m] under a jacket ``jacket`` [m] long.

    ``strength`` scales the convective part of the conductivity [-] (1: as correlated).
    """
    latent = ICE_DENSITY * LATENT
    step = latent / 128.0
    T = np.linspace(COLDEST, ZERO_C, 721)
    h_solid = ICE_DENSITY * np.asarray(ice_enthalpy(T))
    low = int(np.floor(-h_solid[0] / step))
    high = int(np.ceil(WATER_DENSITY * WATER_CP * (WARMEST - ZERO_C) / step))
    h = step * np.arange(-low, 128 + high + 1)
    solid_T = np.interp(h, h_solid, T)
    liquid_T = ZERO_C + (h - latent) / (WATER_DENSITY * WATER_CP)
    temperature = np.where(h < 0.0, solid_T, np.where(h > latent, liquid_T, ZERO_C))
    solid = np.clip(1.0 - h / latent, 0.0, 1.0)
    factor = convection.enhancement(temperature, ZERO_C, bore, jacket, vertical, strength)
    conductivity = np.where(
        h <= 0.0,
        np.asarray(ice_conductivity(np.minimum(temperature, ZERO_C))),
        factor * np.asarray(water_conductivity(np.maximum(temperature, ZERO_C))),
    )
    return Medium(
        -low * step,
        1.0 / step,
        temperature,
        kirchhoff(temperature, conductivity),
        conductivity,
        solid,
        ZERO_C,
        float(conductivity[low]),
        float(conductivity[low + 128]),
    )


def kirchhoff(T: Array, k: Array) -> Array:
    """Integral of conductivity ``k`` [W/(m K)] over ``T`` [K] from the first entry [W/m]."""
    return np.concatenate(([0.0], np.cumsum(0.5 * (k[1:] + k[:-1]) * np.diff(T))))
