"""What fills the bore: enthalpy, temperature, ice fraction and conductivity on one grid.

Enthalpy per volume [J/m3] is counted from the fully solid state at the freezing point. All of it
is that of the ice's mass: one volume of plug is one volume of ice, and the water that this
displaces is pushed out as warm as it then is.

The tables hold molecular conductivities. The still liquid circulates, which conducts better by a
factor that the column works out for each of its slices from the liquid's temperature and the width
of the gap that it fills: see :class:`stillpipe.physics.column.circulation.Circulation`. The density
difference that drives it is the largest found between the freezing point and the local
temperature, so that the maximum of water's density near 4 C is kept.
"""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from stillpipe.errors import Fault, SolverError
from stillpipe.lazy import cached_property
from stillpipe.physics.column.tables import Tables
from stillpipe.physics.compiling import njit
from stillpipe.physics.constants import GRAVITY, ZERO_C

Array = NDArray[np.float64]

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


def water_density(T: Array | float) -> Array | float:
    """Density of water at 1 atm [kg/m3], ``T`` [K], 0-40 C; Kell, J. Chem. Eng. Data 20 (1975) 97.

    Coefficients from memory, checked against IAPWS-95 by a test.
    """
    t = T - ZERO_C
    top = 999.83952 + 16.945176 * t - 7.9870401e-3 * t**2 - 46.170461e-6 * t**3
    top = top + 105.56302e-9 * t**4 - 280.54253e-12 * t**5
    return top / (1.0 + 16.879850e-3 * t)


def water_viscosity(T: Array | float) -> Array | float:
    """Viscosity of water [Pa s], ``T`` [K]; Vogel form, checked against IAPWS by a test."""
    result: Array | float = 2.414e-5 * 10.0 ** (247.8 / (T - 140.0))
    return result


def rayleigh(T: Array, freezing: float, size: float) -> Array:
    """Rayleigh number [-] over ``size`` [m] of water between ``freezing`` and ``T`` [K]."""
    warm = np.maximum(T, freezing)
    grid = np.linspace(ZERO_C, ZERO_C + 65.0, 261)
    rho = np.asarray(water_density(grid))
    spread = np.maximum.accumulate(rho) - np.minimum.accumulate(rho)
    drho = np.interp(warm, grid, spread) / 1000.0
    nu = np.asarray(water_viscosity(0.5 * (np.maximum(warm, ZERO_C) + ZERO_C))) / 1000.0
    return np.asarray(GRAVITY * drho * size**3 / (nu * 1.38e-7))


@dataclass(frozen=True)
class Medium:
    """Tables on the uniform enthalpy grid ``h0 + i / inv`` [J/m3], read-only.

    ``temperature`` [K]; ``kirchhoff`` its Kirchhoff transform, the integral of conductivity over
    temperature [W/m]; ``conductivity`` [W/(m K)]; ``solid`` ice mass fraction [-]; ``freezing``
    [K] is where a plug forms; ``ice_k`` and ``liquid_k`` [W/(m K)] the conductivities there.
    ``liquid`` is the first place of the grid without ice; ``root`` the fourth root of the Rayleigh
    number over a metre of liquid that warm beside ice [-].
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
    liquid: int
    root: Array

    def __post_init__(self) -> None:
        """Let nobody write into tables that runs share."""
        for table in (self.temperature, self.kirchhoff, self.conductivity, self.solid, self.root):
            table.setflags(write=False)

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

    def tables(self, plug: float) -> Tables:
        """Return the medium as the solver takes it, ``plug`` being a plug's ice fraction [-]."""
        if plug not in self._made:
            pieces, transform = _pieces(
                self.h0, self.inv, self.kirchhoff, self.temperature, self.conductivity, self.solid
            )
            self._made[plug] = Tables(
                pieces, self.h0, self.inv, transform, float(self.temperature[0]), TRANSFORM_INV,
                self.freezing, self.ice_k, self.liquid_k, plug, self.closing(plug),
                self.liquid, self.h0 + self.liquid / self.inv, float(self.kirchhoff[self.liquid]),
                self.root,
            )  # fmt: skip
        return self._made[plug]

    @cached_property
    def _made(self) -> dict[float, Tables]:
        """The tables that were made, by a plug's ice fraction [-]; cases share a medium."""
        return {}


@njit(nogil=True, cache=True)
def _pieces(h0: float, inv: float, A: Array, T: Array, k: Array, f: Array) -> tuple[Array, Array]:
    """Return the tables as straight pieces, and A on a uniform grid of temperature."""
    n = len(T) - 1
    pieces = np.empty((n, 8))
    for i in range(n):
        h = h0 + i / inv
        for c, table in ((0, A), (2, T), (4, k), (6, f)):
            slope = (table[i + 1] - table[i]) * inv
            pieces[i, c] = table[i] - slope * h
            pieces[i, c + 1] = slope
    transform = np.empty(int((T[n] - T[0]) * TRANSFORM_INV) + 1)
    i = 0
    for j in range(len(transform)):
        at = T[0] + j / TRANSFORM_INV
        while i < n - 1 and T[i + 1] <= at:
            i += 1
        part = (at - T[i]) / (T[i + 1] - T[i]) if T[i + 1] > T[i] else 0.0
        transform[j] = A[i] + part * (A[i + 1] - A[i])
    return pieces, transform


def _still_water() -> tuple[float, float, Array, Array, int]:
    """Return ``h0``, ``inv``, temperature, ice fraction and where water begins to melt."""
    latent = ICE_DENSITY * LATENT
    step = latent / LATENT_STEPS
    T = np.linspace(COLDEST, ZERO_C, 721)
    h_solid = ICE_DENSITY * np.asarray(ice_enthalpy(T))
    low = int(np.floor(-h_solid[0] / step))
    high = int(np.ceil(ICE_DENSITY * WATER_CP * (WARMEST - ZERO_C) / step))
    h = step * np.arange(-low, LATENT_STEPS + high + 1)
    solid_T = np.interp(h, h_solid, T)
    liquid_T = ZERO_C + (h - latent) / (ICE_DENSITY * WATER_CP)
    temperature = np.where(h < 0.0, solid_T, np.where(h > latent, liquid_T, ZERO_C))
    solid = np.clip(1.0 - h / latent, 0.0, 1.0)
    return -low * step, 1.0 / step, temperature, solid, low


LATENT_STEPS = 128
"""Steps of water's enthalpy grid from ice to water at the freezing point."""
TRANSFORM_INV = 4.0
"""Points of the Kirchhoff transform a kelvin [1/K]."""
_H0, _INV, _TEMPERATURE, _SOLID, _LOW = _still_water()


def kirchhoff(T: Array, k: Array) -> Array:
    """Integral of conductivity ``k`` [W/(m K)] over ``T`` [K] from the first entry [W/m]."""
    return np.concatenate(([0.0], np.cumsum(0.5 * (k[1:] + k[:-1]) * np.diff(T))))


def _conductivity(ice: float) -> Array:
    """Return that of ice times ``ice`` [-], and of still water, on the enthalpy grid [W/(m K)]."""
    return np.where(
        np.arange(len(_TEMPERATURE)) <= _LOW,
        ice * np.asarray(ice_conductivity(np.minimum(_TEMPERATURE, ZERO_C))),
        np.asarray(water_conductivity(np.maximum(_TEMPERATURE, ZERO_C))),
    )


@lru_cache(maxsize=16)
def water(ice: float = 1.0) -> Medium:
    """Return pure water, the conductivity of its ice times ``ice`` [-]."""
    still = _conductivity(ice)
    return Medium(
        _H0, _INV, _TEMPERATURE, kirchhoff(_TEMPERATURE, still), still, _SOLID, ZERO_C,
        float(still[_LOW]), float(still[_LOW + LATENT_STEPS]), _LOW + LATENT_STEPS, _ROOT,
    )  # fmt: skip


def partly(medium: Medium, share: float) -> Medium:
    """Return what a bore holds of which only a ``share`` [-] is ``medium``, the rest air.

    Spread evenly over the bore: heat and conductivity are that share, air has none of either.
    """
    return replace(
        medium, h0=share * medium.h0, inv=medium.inv / share, kirchhoff=share * medium.kirchhoff,
        conductivity=share * medium.conductivity, ice_k=share * medium.ice_k,
        liquid_k=share * medium.liquid_k,
    )  # fmt: skip


_ROOT = rayleigh(_TEMPERATURE, ZERO_C, 1.0) ** 0.25
WATER = water()
"""Pure water."""
