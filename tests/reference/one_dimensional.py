"""The solver's kernel in its one-dimensional limit, with constant properties.

A jacket a kilometre long leaves no axial conduction, a wall a millionth of a radius thick adds
no resistance and no heat, and the medium is given by two straight lines of enthalpy.
"""

from dataclasses import dataclass

import numpy as np

from stillpipe.physics import column, freeze, media

TM = 273.15
SUBCOOLING = TM - freeze.DRY_ICE


@dataclass(frozen=True)
class Constant:
    """A pure substance: ``k_ice``, ``k_liquid`` [W/(m K)], heats [J/(m3 K)], latent [J/m3]."""

    k_ice: float
    heat_ice: float
    latent: float
    k_liquid: float
    heat_liquid: float


def medium(m: Constant, steps: int = 64) -> media.Medium:
    """Tables of a constant-property medium, ``steps`` of enthalpy to the latent heat."""
    step = m.latent / steps
    low = int(np.ceil(90.0 * m.heat_ice / step)) + 1
    high = int(np.ceil(60.0 * m.heat_liquid / step)) + 1
    h = step * np.arange(-low, steps + high + 1)
    above = TM + (h - m.latent) / m.heat_liquid
    T = np.where(h < 0.0, TM + h / m.heat_ice, np.where(h > m.latent, above, TM))
    k = np.where(h <= 0.0, m.k_ice, m.k_liquid)
    A = np.where(T <= TM, m.k_ice, m.k_liquid) * (T - TM)
    solid = np.clip(1.0 - h / m.latent, 0.0, 1.0)
    return media.Medium(-low * step, 1.0 / step, T, A, k, solid, TM, m.k_ice, m.k_liquid)


def case(m: Constant, radius: float, film: float, start: float = TM + 1e-9) -> freeze.Case:
    """A bare bore of ``radius`` [m] behind a ``film`` [W/(m2 K)], no wall to speak of."""
    thin = 1e-6 * radius
    return freeze.Case(
        bore=2.0 * radius,
        outside=2.0 * (radius + thin),
        wall=thin,
        jacket=1000.0,
        wall_conductivity=1e3,
        wall_heat=1.0,
        lining=0.0,
        under=film,
        beside=0.0,
        leak=0.0,
        start=start,
        ambient=start,
        medium=medium(m),
    )


def freeze_shut(laid: freeze.Case, radial: int = 60, eta: float = 0.002) -> freeze.State:
    """Freeze ``laid`` to closure; the time of closure is ``clock[column.EVENT]`` [s]."""
    grid = freeze.Grid(axial=1, radial=radial, eta=eta, stretch=2.0)
    solver = freeze.Column(laid, grid, 60.0)
    return solver.advance(solver.start(20000), 1e7, column.CLOSED)


def closure(laid: freeze.Case, radial: int = 60, eta: float = 0.002) -> float:
    """Time to closure [s]."""
    state = freeze_shut(laid, radial, eta)
    assert state.why == column.CLOSED
    return float(state.clock[column.EVENT])
