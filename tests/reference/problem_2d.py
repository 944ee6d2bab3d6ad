"""A freeze as the explicit reference takes it, and what fills its bore, written out anew.

Names and meaning of the members are those of the package's own input to its solver. What fills
the bore is laid out here from the laws of ice and water alone, not from the package's tables: the
liquid is counted with the ice's density, since that mass of each volume is what freezes.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from stillpipe.physics import constants, film, media

Array = np.ndarray[Any, Any]

DIFFUSIVITY = 1.38e-7
"""Thermal diffusivity of water [m2/s], as in the package's Rayleigh number."""
REFERENCE_DENSITY = 1000.0
"""Of water, in its Rayleigh number [kg/m3]."""
CORE = 0.65
"""Fourth root of Raithby and Hollands' geometry factor, taken for a liquid core [-]."""


@dataclass(frozen=True)
class Filling:
    """Tables on the uniform enthalpy grid ``h0 + i / inv`` [J/m3].

    ``temperature`` [K]; integrals over temperature of the conductivity that ice, ``ice``, and
    liquid at rest, ``liquid``, have in the mixture [W/m]; those conductivities, ``ice_k`` and
    ``liquid_k`` [W/(m K)]; ``solid`` ice mass fraction [-]; ``freezing`` point [K],
    ``sharp`` where it freezes at that one temperature.
    """

    h0: float
    inv: float
    temperature: Array
    ice: Array
    liquid: Array
    ice_k: Array
    liquid_k: Array
    solid: Array
    freezing: float
    sharp: bool

    def enthalpy(self, T: float) -> float:
        """Enthalpy [J/m3] of the liquid at ``T`` [K]."""
        i = int(np.searchsorted(self.temperature, T, side="left")) - 1
        a, b = self.temperature[i], self.temperature[i + 1]
        return float(self.h0 + (i + (T - a) / (b - a)) / self.inv)

    def closing(self, solid: float) -> float:
        """Enthalpy [J/m3] at which the ice fraction reaches ``solid`` [-] on cooling."""
        i = int(np.argmax(self.solid < solid))
        a, b = self.solid[i - 1], self.solid[i]
        return float(self.h0 + (i - 1 + (a - solid) / (a - b)) / self.inv)


def water() -> Filling:
    """Pure water: ice below 0 C, latent heat at 0 C, liquid with the ice's density above."""
    latent = media.ICE_DENSITY * media.LATENT
    step = latent / 128.0
    T = np.linspace(constants.ZERO_C - 90.0, constants.ZERO_C, 1801)
    h_ice = media.ICE_DENSITY * np.asarray(media.ice_enthalpy(T))
    low = int(-h_ice[0] / step)
    heat = media.ICE_DENSITY * media.WATER_CP
    h = step * np.arange(-low, 128 + int(60.0 * heat / step))
    above = np.maximum(h - latent, 0.0) / heat
    temperature = np.where(h < 0.0, np.interp(h, h_ice, T), constants.ZERO_C + above)
    cold = np.minimum(temperature, constants.ZERO_C)
    ice_k = np.where(h <= 0.0, media.ice_conductivity(cold), 0.0)
    liquid_k = np.where(h >= latent, media.water_conductivity(np.maximum(temperature, cold)), 0.0)
    solid = np.clip(1.0 - h / latent, 0.0, 1.0)
    return Filling(
        -low * step, 1.0 / step, temperature, _integral(temperature, ice_k),
        _integral(temperature, liquid_k), ice_k, liquid_k, solid, constants.ZERO_C, True,
    )  # fmt: skip


def mixture(medium: media.Medium) -> Filling:
    """What a solution is by the package's tables, its conductivity split between ice and liquid."""
    T, solid = medium.temperature, medium.solid
    ice_k = solid * np.asarray(media.ice_conductivity(np.minimum(T, constants.ZERO_C)))
    liquid_k = np.maximum(medium.conductivity - ice_k, 0.0)
    return Filling(
        medium.h0, medium.inv, T, _integral(T, ice_k), _integral(T, liquid_k), ice_k, liquid_k,
        solid, medium.freezing, False,
    )  # fmt: skip


def _integral(T: Array, k: Array) -> Array:
    """Integral of ``k`` over ``T`` from the first entry [W/m]."""
    return np.concatenate(([0.0], np.cumsum(0.5 * (k[1:] + k[:-1]) * np.diff(T))))


@dataclass(frozen=True, kw_only=True)
class Physics:
    """One freeze: lengths [m], conductances [W/(m2 K)] and temperatures [K].

    ``fill_time`` [s] with which the jacket's conductance rises; ``room_film`` the conductances
    between the room and the pipe's outside at surface temperatures ``film_t0`` + i / ``film_inv``;
    ``convection`` a factor on circulation [-].
    """

    bore: float
    outer_diameter: float
    wall_thickness: float
    jacket_length: float
    wall_conductivity: float
    wall_heat_capacity: float
    lining_resistance: float
    h_jacket: float
    fill_time: float
    room_film: Array
    film_t0: float
    film_inv: float
    h_empty: float
    start_temperature: float
    ambient_temperature: float
    filling: Filling
    plug_ice_fraction: float = 1.0
    vertical: bool = False
    convection: float = 1.0


def of(case: Any) -> Physics:
    """Return a case of the package's solver as it is taken here."""
    names = (
        "bore", "outer_diameter", "wall_thickness", "jacket_length", "wall_conductivity",
        "wall_heat_capacity", "lining_resistance", "h_jacket", "fill_time", "room_film", "h_empty",
        "start_temperature", "ambient_temperature", "plug_ice_fraction", "vertical", "convection",
    )  # fmt: skip
    pure = case.plug_ice_fraction >= 1.0
    return Physics(
        **{name: getattr(case, name) for name in names}, film_t0=film.TABLE_T0,
        film_inv=film.TABLE_INV, filling=water() if pure else mixture(case.medium),
    )  # fmt: skip


STIR_T0, STIR_INV, STIR_N = constants.ZERO_C, 10.0, 601
"""Grid of the table of circulation: 0 to 60 C."""


def circulation(vertical: bool) -> Array:
    """Nusselt number over (length [m])^(3/4) and the shape's factor, by liquid temperature.

    Horizontal: 0.386 (Pr / (0.861 + Pr))^(1/4) Ra^(1/4), Raithby and Hollands 1975; vertical:
    0.42 Ra^(1/4) Pr^0.012, MacGregor and Emery 1969. The density difference is the greatest found
    between the freezing point and the liquid's temperature, the viscosity that at their mean.
    """
    T = STIR_T0 + np.arange(STIR_N) / STIR_INV
    rho = np.asarray(media.water_density(T))
    drho = np.maximum.accumulate(rho) - np.minimum.accumulate(rho)
    nu = np.asarray(media.water_viscosity(0.5 * (T + constants.ZERO_C))) / REFERENCE_DENSITY
    ra = constants.GRAVITY * drho / REFERENCE_DENSITY / (nu * DIFFUSIVITY)
    prandtl = nu / DIFFUSIVITY
    if vertical:
        return np.asarray(0.42 * ra**0.25 * prandtl**0.012)
    return np.asarray(0.386 * (prandtl / (0.861 + prandtl)) ** 0.25 * ra**0.25)


def fin_length(physics: Physics, h: float) -> float:
    """Length [m] over which cold along a pipe filled with ice decays; ``h`` to the room."""
    inner = physics.outer_diameter - 2.0 * physics.wall_thickness
    area = 0.25 * math.pi * (physics.outer_diameter**2 - inner**2)
    along = physics.wall_conductivity * area + 2.5 * 0.25 * math.pi * physics.bore**2
    return math.sqrt(along / (h * math.pi * physics.outer_diameter))
