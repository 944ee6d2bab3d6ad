"""Natural convection in the liquid, as an effective conductivity.

The still liquid circulates; in the column it conducts better by a factor that depends on the
local temperature, the bore and its direction. The density difference that drives it is the
largest found between the freezing point and the local temperature, so that the maximum of
water's density near 4 C is kept.
"""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

GRAVITY = 9.80665
ZERO_C = 273.15


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


def nusselt(radius: float, jacket: float, vertical: bool) -> float:
    """Nusselt number over the fourth root of the Rayleigh number, over ``radius`` [m], [-].

    Horizontal: Raithby and Hollands' form for concentric cylinders (1975), gap = radius.
    Vertical: MacGregor and Emery's form for a tall enclosure (1969), gap = radius, height =
    ``jacket`` [m]. Both from memory.
    """
    if vertical:
        return float(0.42 * (jacket / radius) ** -0.3 * 10.0**0.012)
    return float(0.386 * (10.0 / 10.861) ** 0.25)


def enhancement(
    T: Array, freezing: float, bore: float, jacket: float, vertical: bool, strength: float
) -> Array:
    """Effective over molecular conductivity of the liquid [-] at ``T`` [K], never below 1.

    ``bore`` and ``jacket`` [m]; ``strength`` scales the convective part [-].
    """
    radius = 0.5 * bore
    root = rayleigh(T, freezing, radius) ** 0.25
    convective = nusselt(radius, jacket, vertical) * root - 1.0
    return np.asarray(1.0 + strength * np.maximum(convective, 0.0))
