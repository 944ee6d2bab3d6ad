"""The solver's kernel in its one-dimensional limit, with constant properties.

A jacket a kilometre long leaves no axial conduction, a wall a millionth of a radius thick adds
no resistance and no heat, and the medium is given by two straight lines of enthalpy.
"""

from dataclasses import dataclass

import numpy as np

from reference import closing
from stillpipe.physics import constants, film, freeze, media
from stillpipe.physics.column.work import Work

TM = 273.15
SUBCOOLING = TM - constants.DRY_ICE


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
    return media.Medium(
        -low * step, 1.0 / step, T, A, k, solid, TM, m.k_ice, m.k_liquid,
        int(np.argmax(solid <= 0.0)), np.zeros_like(T),
    )  # fmt: skip


def case(m: Constant, radius: float, jacket: float, start: float = TM + 1e-9) -> freeze.Case:
    """A bare bore of ``radius`` [m] behind a ``jacket`` [W/(m2 K)], no wall to speak of."""
    thin = 1e-6 * radius
    return freeze.Case(
        bore=2.0 * radius,
        outer_diameter=2.0 * (radius + thin),
        wall_thickness=thin,
        jacket_length=1000.0,
        wall_conductivity=1e3,
        wall_heat_capacity=1.0,
        lining_resistance=0.0,
        h_jacket=jacket,
        fill_time=0.0,
        room_film=np.zeros(film.TABLE_N),
        h_empty=0.0,
        start_temperature=start,
        ambient_temperature=start,
        medium=medium(m),
    )


def grid(radial: int = 60, eta: float = 0.002) -> freeze.Grid:
    """One slice under the jacket, ``radial`` rings, fine steps from the first on."""
    return freeze.Grid(axial=1, radial=radial, eta=eta, stretch=2.0, finest=1e9, early=1e-3)


def freeze_shut(case: freeze.Case) -> freeze.History:
    """Freeze ``case`` to closure."""
    run = freeze.FreezeRun(case, needed_length=1e-9, work=Work(10**12), grid=grid())
    return run.history()


def closure(case: freeze.Case, radial: int = 60, eta: float = 0.002) -> float:
    """Time to closure [s]."""
    found = closing.closure_only(case, grid(radial, eta), Work(10**12))
    assert found is not None
    return found
