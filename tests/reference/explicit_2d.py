"""A second, independent solution of the freeze: fine, explicit, with a resolved pipe wall.

The column of the package is coarse, implicit and carries the wall as one node for each slice.
Here the wall has cells of its own across its thickness, every cell is stepped explicitly, and the
mesh is fine; Richardson extrapolation from two meshes gives the converged answer. What fills the
bore (its tables of temperature and conductivity over enthalpy) is taken from the package, whose
own checks are in ``test_properties``: this is a check of the discretisation.
"""

import copy
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit

from stillpipe.physics import constants, freeze


@dataclass(frozen=True)
class Mesh:
    """Cells across the bore, across the wall and along half the jacket; axial stretch beyond."""

    bore: int
    wall: int
    jacket: int
    stretch: float


COARSE = Mesh(12, 2, 10, 1.20)
FINE = Mesh(24, 4, 20, 1.20**0.5)
CONDUCTIVE = 100.0
"""A wall that conducts better [W/(m K)] has one cell across: its Biot number is below 0.01."""

CLOSED, READY, LOST, THAWED, TIME = range(5)
"""What a solution is stepped to."""


def axial(case: freeze.Case, mesh: Mesh, horizon: float) -> np.ndarray[Any, Any]:
    """Axial widths [m] from the jacket's centre to where the pipe is undisturbed at ``horizon``."""
    diffusivity = max(case.wall_conductivity / case.wall_heat_capacity, 1.2e-6)
    reach = 0.5 * case.jacket_length + 4.0 * case.bore + 2.5 * math.sqrt(diffusivity * horizon)
    widths = [0.5 * case.jacket_length / mesh.jacket] * mesh.jacket
    while sum(widths) < reach:
        widths.append(widths[-1] * mesh.stretch)
    return np.array(widths)


@njit(cache=True)
def _look(H, T, A, k, h0, inv, temp, theta, kout):  # type: ignore[no-untyped-def]
    """Fill temperatures, Kirchhoff transforms and the outermost cells' conductivities."""
    last = H.shape[1] - 1
    for i in range(H.shape[0]):
        for j in range(last + 1):
            x = (H[i, j] - h0) * inv
            m = min(max(int(x), 0), T.size - 2)
            f = x - m
            temp[i, j] = T[m] + f * (T[m + 1] - T[m])
            theta[i, j] = A[m] + f * (A[m + 1] - A[m])
        kout[i] = k[m] + f * (k[m + 1] - k[m])


@njit(cache=True)
def _step(H, Tw, old, temp, theta, kout, dz, gap, area, radial, inner, wall_area, through, kw, cw,
          G, outside, step):  # type: ignore[no-untyped-def]  # fmt: skip
    """Take one explicit step in place; returns the heat drawn through the pipe's surface [W]."""
    nz, nr = H.shape
    nw = Tw.shape[1]
    old[:] = Tw
    drawn = 0.0
    for i in range(nz):
        entering = 0.0
        for j in range(nr):
            if j < nr - 1:
                leaving = radial[j] * (theta[i, j] - theta[i, j + 1])
            else:
                resistance = inner / kout[i] + through[0]
                leaving = 2.0 * np.pi * (temp[i, j] - old[i, 0]) / resistance
            gain = (entering - leaving) / area[j]
            if i > 0:
                gain += (theta[i - 1, j] - theta[i, j]) / (gap[i - 1] * dz[i])
            if i < nz - 1:
                gain += (theta[i + 1, j] - theta[i, j]) / (gap[i] * dz[i])
            H[i, j] += step * gain
            entering = leaving
        for j in range(nw):
            if j < nw - 1:
                leaving = 2.0 * np.pi * (old[i, j] - old[i, j + 1]) / through[j + 1]
            else:
                rim = through[nw] / (2.0 * np.pi) + 1.0 / G[i]
                leaving = (old[i, j] - outside[i]) / rim
                drawn += leaving * dz[i]
            gain = (entering - leaving) / wall_area[j]
            if i > 0:
                gain += kw * (old[i - 1, j] - old[i, j]) / (gap[i - 1] * dz[i])
            if i < nz - 1:
                gain += kw * (old[i + 1, j] - old[i, j]) / (gap[i] * dz[i])
            Tw[i, j] += step * gain / cw
            entering = leaving
    return drawn


@njit(cache=True)
def _crossing(values, level, dz):  # type: ignore[no-untyped-def]
    """Length from the centre over which ``values`` lie below ``level``, straight between cells."""
    edge = 0.0
    for i in range(values.size):
        if values[i] >= level:
            if i == 0:
                return 0.0
            gap = 0.5 * (dz[i - 1] + dz[i])
            part = (level - values[i - 1]) / (values[i] - values[i - 1])
            return edge - 0.5 * dz[i - 1] + part * gap
        edge += dz[i]
    return edge


@njit(cache=True)
def _march(H, Tw, T, A, k, h0, inv, dz, gap, area, radial, inner, wall_area, through, kw, cw, G,
           outside, hclose, bond, frozen, step, end, stop, need):  # type: ignore[no-untyped-def]  # fmt: skip
    """Explicit steps until ``stop`` or ``end`` [s]; returns the time, -1 at the end, and heat [J].

    A cell of the axis is closed below ``hclose``, the wall bonded below ``bond``; the half-length
    ``need`` is that of both; no ice is left above ``frozen`` anywhere.
    """
    nz = H.shape[0]
    temp, theta = np.empty_like(H), np.empty_like(H)
    kout, old = np.empty(nz), np.empty_like(Tw)
    time, heat = 0.0, 0.0
    while time < end:
        before = H[0, 0]
        _look(H, T, A, k, h0, inv, temp, theta, kout)
        heat += step * _step(H, Tw, old, temp, theta, kout, dz, gap, area, radial, inner,
                             wall_area, through, kw, cw, G, outside, step)  # fmt: skip
        time += step
        if stop == CLOSED and H[0, 0] <= hclose:
            return time - step * (hclose - H[0, 0]) / (before - H[0, 0]), heat
        if stop in (READY, LOST):
            length = _crossing(Tw[:, 0], bond, dz)
            if stop == READY or need > 0.0:
                length = min(length, _crossing(H[:, 0], hclose, dz))
            if (length >= need) if stop == READY else (length <= need):
                return time, heat
        if stop == THAWED and H.min() >= frozen:
            return time, heat
    return -1.0, heat


class Explicit:
    """A freeze on one mesh, stepped from event to event; ``horizon`` [s] sets the pipe's length."""

    def __init__(self, case: freeze.Case, mesh: Mesh, horizon: float) -> None:
        """Lay the case on the mesh, everything at the start temperature."""
        self.case, medium, dz = case, case.medium, axial(case, mesh, horizon)
        ri, ro = 0.5 * case.bore, 0.5 * case.outer_diameter
        rw = ro - case.wall_thickness
        faces = np.linspace(0.0, ri, mesh.bore + 1)
        cells = 1 if case.wall_conductivity > CONDUCTIVE else mesh.wall
        rims = np.linspace(rw, ro, cells + 1)
        middle = 0.5 * (rims[1:] + rims[:-1])
        dr = ri / mesh.bore
        radial = np.append(2.0 * np.pi * faces[1:-1] / dr, 0.0)
        nodes = np.concatenate(([rw], middle, [ro]))
        through = np.log(nodes[1:] / nodes[:-1]) / case.wall_conductivity
        through[0] += case.lining_resistance
        self.under = np.arange(len(dz)) < mesh.jacket
        self.H = np.full((len(dz), mesh.bore), medium.enthalpy(case.start_temperature))
        self.Tw = np.full((len(dz), cells), case.start_temperature)
        self.step = _stable(case, dr, dz[0], cells)
        self.dz, self.time = dz, 0.0
        self.laid = (
            medium.temperature, medium.kirchhoff, medium.conductivity, medium.h0, medium.inv, dz,
            0.5 * (dz[1:] + dz[:-1]), np.pi * np.diff(faces**2), radial,
            math.log(ri / (ri - 0.5 * dr)), np.pi * np.diff(rims**2), through,
            case.wall_conductivity, case.wall_heat_capacity,
        )  # fmt: skip
        self.events = (
            medium.closing(case.plug_ice_fraction), medium.freezing, medium.closing(1e-9)
        )  # fmt: skip

    def copy(self) -> "Explicit":
        """Return the state to branch from."""
        other = copy.copy(self)
        other.H, other.Tw = self.H.copy(), self.Tw.copy()
        return other

    def to(
        self, stop: int, end: float, need: float = 0.0, *, fed: bool = True
    ) -> tuple[float, float]:
        """Step to ``stop``, ``end`` [s] at most; return the time it took, -1 if none, and heat [J].

        Heat is that of half the pipe through its surface.
        """
        case = self.case
        jacket = case.h_jacket if fed else case.h_empty
        G = np.pi * case.outer_diameter * np.where(self.under, jacket, max(case.h_ambient, 1e-9))
        cold = self.under & fed
        outside = np.where(cold, constants.DRY_ICE, case.ambient_temperature)
        time, heat = _march(
            self.H, self.Tw, *self.laid, G, outside, *self.events, self.step, end, stop, need
        )
        return float(time), float(heat)

    @property
    def sound_length(self) -> float:
        """Length over which the plug is closed and bonded [m]."""
        closed, bond, _ = self.events
        return 2.0 * min(
            _crossing(self.H[:, 0].copy(), closed, self.dz),
            _crossing(self.Tw[:, 0].copy(), bond, self.dz),
        )


def _stable(case: freeze.Case, dr: float, dz: float, cells: int) -> float:
    """Step [s] inside the stability limit."""
    fast = np.max(np.diff(case.medium.kirchhoff) * case.medium.inv)
    slim = case.wall_conductivity / case.wall_heat_capacity
    width = case.wall_thickness / cells
    across = 2.0 / width**2 if cells > 1 else 4.0 / (dr * width)
    wall = slim * (across * (cells > 1) + 2.0 / dz**2) + 4.0 * 2.7 / (
        case.wall_heat_capacity * dr * width
    )
    return float(0.45 * min(1.0 / (2.0 * fast * (2.0 / dr**2 + 1.0 / dz**2)), 1.0 / wall))


def closure(case: freeze.Case, mesh: Mesh, horizon: float) -> float:
    """Closure time [s] of ``case`` on one mesh, -1 where it does not close in ``horizon`` [s]."""
    return Explicit(case, mesh, horizon).to(CLOSED, horizon)[0]


def converged(case: freeze.Case, horizon: float) -> tuple[float, float]:
    """Closure time [s] extrapolated at second order, and what the extrapolation moved it by [-]."""
    coarse, fine = (closure(case, mesh, horizon) for mesh in (COARSE, FINE))
    if min(coarse, fine) < 0.0:
        raise ValueError("the case does not close")
    best = fine + (fine - coarse) / 3.0
    return best, best / fine - 1.0
