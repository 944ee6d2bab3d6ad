"""The freeze solved by FiPy, a general finite-volume library for partial differential equations.

FiPy assembles and solves the axisymmetric conduction equation on its cylindrical mesh, bore and
wall cells alike; what is written here is the enthalpy iteration of Swaminathan and Voller (Metall.
Trans. B 23 (1992) 651) around it. The melting point is spread over ``SPREAD`` so that the
temperature has an inverse. Tables of what fills the bore come from the package; filling of the
jacket, the room's film by the surface's temperature and circulation are written out anew.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from fipy import CellVariable, CylindricalGrid2D, DiffusionTerm, FaceVariable, ImplicitSourceTerm
from fipy.solvers.scipy import LinearLUSolver

from stillpipe.physics import constants, freeze, media
from stillpipe.physics import film as film_table


@dataclass(frozen=True)
class Mesh:
    """Cells across the bore, across the wall and along half the jacket; axial stretch beyond."""

    bore: int
    wall: int
    jacket: int
    stretch: float


def axial(case: freeze.Case, mesh: Mesh, horizon: float) -> np.ndarray[Any, Any]:
    """Axial widths [m] from the jacket's centre to where the pipe is undisturbed at ``horizon``."""
    diffusivity = max(case.wall_conductivity / case.wall_heat_capacity, 1.2e-6)
    reach = 0.5 * case.jacket_length + 4.0 * case.bore + 2.5 * math.sqrt(diffusivity * horizon)
    widths = [0.5 * case.jacket_length / mesh.jacket] * mesh.jacket
    while sum(widths) < reach:
        widths.append(widths[-1] * mesh.stretch)
    return np.array(widths)


SPREAD = 0.05
"""Width of the melting range [K]."""
SWEEPS = 4


def closure(case: freeze.Case, mesh: Mesh, horizon: float, steps: int) -> float:
    """Closure time [s] in ``steps`` equal steps over ``horizon`` [s], -1 where it stays open."""
    medium, dz = case.medium, axial(case, mesh, horizon)
    ri, ro = 0.5 * case.bore, 0.5 * case.outer_diameter
    if case.lining_resistance > 0.0 or ro - ri - case.wall_thickness > 1e-9:
        raise ValueError("a lined bore is not solved here")
    dr = np.concatenate(
        [np.full(mesh.bore, ri / mesh.bore), np.full(mesh.wall, case.wall_thickness / mesh.wall)]
    )
    grid = CylindricalGrid2D(dr=dr, dz=dz)
    r, z = grid.cellCenters.value
    in_wall, rim = r > ri, r > ro - case.wall_thickness / mesh.wall
    h = medium.h0 + np.arange(medium.temperature.size) / medium.inv
    spread = medium.temperature + SPREAD * (1.0 - medium.solid)
    cool = z < 0.5 * case.jacket_length
    half = ro * math.log(ro / (ro - 0.5 * case.wall_thickness / mesh.wall)) / case.wall_conductivity
    width = case.wall_thickness / mesh.wall
    outside = np.where(cool, constants.DRY_ICE, case.ambient_temperature)

    start = case.start_temperature
    H = np.where(in_wall, case.wall_heat_capacity * start, medium.enthalpy(start))
    T = CellVariable(mesh=grid, value=_temperature(H, in_wall, h, spread, case))
    k = FaceVariable(mesh=grid)
    axis, dt, before = int(np.argmin(r + z)), horizon / steps, H.copy()
    closing = medium.closing(case.plug_ice_fraction)
    capacity, constant = CellVariable(mesh=grid), CellVariable(mesh=grid)
    equation = DiffusionTerm(coeff=k) - ImplicitSourceTerm(capacity) + constant
    solver = LinearLUSolver(tolerance=1e-10, iterations=5)
    for n in range(1, steps + 1):
        before[:] = H
        film = 1.0 / (1.0 / _film(T.value, outside, cool, half, (n - 0.5) * dt, case) + half)
        rim_gain = np.where(rim, film * ro / ((ro - 0.5 * width) * width), 0.0)
        stirred = _stirred(H, h, len(dr), mesh.bore, case)
        for _ in range(SWEEPS):
            now = _temperature(H, in_wall, h, spread, case)
            slope = _slope(H, in_wall, h, spread, case)
            k.setValue(_faces(H, now, in_wall, h, dr, stirred, case, grid))
            capacity.setValue(slope / dt + rim_gain)
            constant.setValue((before - H + slope * now) / dt + rim_gain * outside)
            T.setValue(now)
            equation.solve(var=T, solver=solver)
            H = H + slope * (T.value - now)
        if H[axis] <= closing:
            return dt * (n - (closing - H[axis]) / (before[axis] - H[axis]))
    return -1.0


def _temperature(H, in_wall, h, spread, case):  # type: ignore[no-untyped-def]
    return np.where(in_wall, H / case.wall_heat_capacity, np.interp(H, h, spread))


def _slope(H, in_wall, h, spread, case):  # type: ignore[no-untyped-def]
    """Heat capacity [J/(m3 K)] at ``H``, from the table's own slope there."""
    m = np.clip(((H - h[0]) / (h[1] - h[0])).astype(int), 0, h.size - 2)
    return np.where(in_wall, case.wall_heat_capacity, (h[1] - h[0]) / (spread[m + 1] - spread[m]))


def _film(T, outside, cool, half, time, case):  # type: ignore[no-untyped-def]
    """Conductance on the surface [W/(m2 K)] at ``time`` [s]: filling jacket, room's film."""
    filled = case.h_jacket * -np.expm1(-time / case.fill_time)
    surface = T
    for _ in range(3):
        place = (surface - film_table.TABLE_T0) * film_table.TABLE_INV
        room = np.interp(place, np.arange(film_table.TABLE_N), case.room_film)
        surface = T + (outside - T) * half / (half + 1.0 / room)
    return np.where(cool, filled, room)


def _stirred(H, h, cells, bore, case):  # type: ignore[no-untyped-def]
    """How much better than at rest the liquid conducts, by cell, one value for each slice [-].

    Cores alone, as there are none but these until closure.
    """
    medium = case.medium
    rows = H.reshape(-1, cells)[:, :bore]
    area = 2.0 * np.arange(bore) + 1.0
    liquid, closed = h[medium.liquid], medium.closing(case.plug_ice_fraction)
    open_share = np.clip((rows - closed) / (liquid - closed), 0.0, 1.0) @ area / np.sum(area)
    excess = np.maximum(rows - liquid, 0.0) @ area / np.sum(area) / np.maximum(open_share, 1e-12)
    warm = np.interp(liquid + excess, h, medium.temperature)
    start = medium.temperature[medium.liquid]
    gap = 0.5 * case.bore * np.sqrt(np.maximum(open_share, 1e-12))
    root = media.rayleigh(warm, start, 1.0) ** 0.25 * gap**0.75
    if case.vertical:
        nusselt = 0.42 * 10.0**0.012 * root * (case.jacket_length / gap) ** -0.3
    else:
        nusselt = 0.386 * (10.0 / 10.861) ** 0.25 * 0.65 * root
    factor = 1.0 + case.convection * np.maximum(nusselt - 1.0, 0.0)
    return np.repeat(np.where(excess > 0.0, factor, 1.0), cells)


def _faces(H, T, in_wall, h, dr, stirred, case, grid):  # type: ignore[no-untyped-def]
    """Conductivity [W/(m K)] of every face, exact for the flux between two cells of the bore.

    Between cells of the bore it is the mean of k(T) over temperature, the difference of the
    Kirchhoff transforms over that of the temperatures; where the wall meets the bore, the
    harmonic mean over the two half cells.
    """
    a, b = np.asarray(grid.faceCellIDs.filled(-1))
    b = np.where(b < 0, a, b)
    theta = np.interp(H, h, case.medium.kirchhoff)
    still = np.interp(H, h, case.medium.conductivity)
    still = np.where(h[case.medium.liquid] <= H, still * stirred, still)
    k = np.where(in_wall, case.wall_conductivity, still)
    gap = T[a] - T[b]
    ends = case.medium.kirchhoff[case.medium.liquid]
    solid, liquid = np.minimum(theta, ends), np.maximum(theta - ends, 0.0)
    both = solid[a] - solid[b] + 0.5 * (stirred[a] + stirred[b]) * (liquid[a] - liquid[b])
    mean = np.where(
        np.abs(gap) > 0.1, both / np.where(gap == 0.0, 1.0, gap), 0.5 * (k[a] + k[b])
    )  # fmt: skip
    # half cells of the bore (dr) and of the wall (dw) in series
    harmonic = (
        (dr[0] + dr[-1])
        * k[a]
        * k[b]
        / np.where(in_wall[a], dr[-1] * k[b] + dr[0] * k[a], dr[0] * k[b] + dr[-1] * k[a])
    )
    return np.where(in_wall[a] != in_wall[b], harmonic, np.where(in_wall[a], k[a], mean))
