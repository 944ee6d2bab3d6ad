"""The freeze solved by FiPy, a general finite-volume library for partial differential equations.

FiPy assembles and solves the axisymmetric conduction equation on its cylindrical mesh, bore and
wall cells alike; what is written here is the enthalpy iteration of Swaminathan and Voller (Metall.
Trans. B 23 (1992) 651) around it, the jacket that fills, the room's film by the surface's
temperature and the liquid's circulation, slice by slice. The melting point is spread over
``SPREAD`` so that the temperature has an inverse. What fills the bore is that of ``problem_2d``.
"""

import math
from dataclasses import dataclass

import numpy as np
from fipy import CellVariable, CylindricalGrid2D, DiffusionTerm, FaceVariable, ImplicitSourceTerm
from fipy.solvers.scipy import LinearLUSolver

from reference import problem_2d
from reference.problem_2d import Array, Physics
from stillpipe.physics import constants

SPREAD = 0.05
"""Width of the melting range [K]."""
SWEEPS = 4


@dataclass(frozen=True)
class Mesh:
    """Cells across the bore, across the wall and along half the jacket; axial stretch beyond."""

    bore: int
    wall: int
    jacket: int
    stretch: float


def axial(physics: Physics, mesh: Mesh, horizon: float) -> Array:
    """Axial widths [m] from the jacket's centre to where the pipe is undisturbed at ``horizon``."""
    diffusivity = max(physics.wall_conductivity / physics.wall_heat_capacity, 1.2e-6)
    reach = 0.5 * physics.jacket_length + 4.0 * physics.bore
    reach += 2.5 * math.sqrt(diffusivity * horizon)
    widths = [0.5 * physics.jacket_length / mesh.jacket] * mesh.jacket
    while sum(widths) < reach:
        widths.append(widths[-1] * mesh.stretch)
    return np.array(widths)


class Freeze:
    """A case on FiPy's mesh: its cells, and what is evaluated in them at every sweep."""

    def __init__(self, physics: Physics, mesh: Mesh, horizon: float) -> None:
        """Lay out the mesh."""
        ri, ro = 0.5 * physics.bore, 0.5 * physics.outer_diameter
        if physics.lining_resistance > 0.0 or ro - ri - physics.wall_thickness > 1e-9:
            raise ValueError("a lined bore is not solved here")
        self.physics, self.filling, self.rings = physics, physics.filling, mesh.bore
        width = physics.wall_thickness / mesh.wall
        self.dr = np.append(np.full(mesh.bore, ri / mesh.bore), np.full(mesh.wall, width))
        dz = axial(physics, mesh, horizon)
        self.grid = CylindricalGrid2D(dr=self.dr, dz=dz)
        r, self.z = self.grid.cellCenters.value
        self.wall, self.rim = r > ri, r > ro - width
        self.slice = np.repeat(np.arange(len(dz)), len(self.dr))
        a, b = np.asarray(self.grid.faceCellIDs.filled(-1))
        self.pairs = a, np.where(b < 0, a, b)
        self.h = self.filling.h0 + np.arange(self.filling.temperature.size) / self.filling.inv
        self.spread = self.filling.temperature + SPREAD * (1.0 - self.filling.solid)
        self.under = self.z < 0.5 * physics.jacket_length
        self.half = ro * math.log(ro / (ro - 0.5 * width)) / physics.wall_conductivity
        self.gain = np.where(self.rim, ro / ((ro - 0.5 * width) * width), 0.0)
        self.area = np.where(self.wall, 0.0, r)
        self.stirring = problem_2d.circulation(physics.vertical)

    def temperature(self, H: Array) -> Array:
        """Temperature of every cell [K]."""
        inside = np.interp(H, self.h, self.spread)
        return np.where(self.wall, H / self.physics.wall_heat_capacity, inside)

    def slope(self, H: Array) -> Array:
        """Heat capacity [J/(m3 K)] at ``H``, from the table's own slope there."""
        h, spread = self.h, self.spread
        m = np.clip(((H - h[0]) / (h[1] - h[0])).astype(int), 0, h.size - 2)
        inside = (h[1] - h[0]) / (spread[m + 1] - spread[m])
        return np.where(self.wall, self.physics.wall_heat_capacity, inside)

    def stirred(self, H: Array) -> Array:
        """Factor of circulation in a liquid core [-] for every cell."""
        physics, filling = self.physics, self.filling
        wet = self.area * (1.0 - np.interp(H, self.h, filling.solid))
        T = np.interp(H, self.h, filling.temperature)
        area = np.bincount(self.slice, wet)
        warm = np.bincount(self.slice, wet * T) / np.maximum(area, 1e-30)
        grid = problem_2d.STIR_T0 + np.arange(problem_2d.STIR_N) / problem_2d.STIR_INV
        share = area / np.bincount(self.slice, self.area)
        gap = 0.5 * physics.bore * np.sqrt(share) + 1e-12
        nusselt = np.interp(warm, grid, self.stirring) * gap**0.75
        if physics.vertical:
            nusselt *= (physics.jacket_length / gap) ** -0.3
        else:
            nusselt *= problem_2d.CORE
        return (1.0 + physics.convection * np.maximum(nusselt - 1.0, 0.0))[self.slice]

    def film(self, T: Array, time: float) -> Array:
        """Conductance from the rim's cells to what lies outside [W/(m2 K)]."""
        physics = self.physics
        jacket = physics.h_jacket
        if physics.fill_time > 0.0:
            jacket *= 1.0 - math.exp(-time / physics.fill_time)
        grid = physics.film_t0 + np.arange(physics.room_film.size) / physics.film_inv
        room = np.maximum(np.interp(T, grid, physics.room_film), 1e-9)
        for _ in range(3):
            whole = 1.0 / (1.0 / room + self.half)
            surface = T + whole * self.half * (physics.ambient_temperature - T)
            room = np.maximum(np.interp(surface, grid, physics.room_film), 1e-9)
        return np.asarray(1.0 / (1.0 / np.where(self.under, jacket, room) + self.half))

    def faces(self, H: Array, T: Array) -> Array:
        """Conductivity [W/(m K)] of every face, exact for the flux between two cells of the bore.

        Between cells of the bore it is the mean of k(T) over temperature, the difference of the
        integrals over that of the temperatures; where the wall meets the bore, the harmonic mean
        over the two half cells, a cell that is partly ice counting as ice.
        """
        (a, b), m, stir = self.pairs, self.filling, self.stirred(H)
        ice, liquid = np.interp(H, self.h, m.ice), np.interp(H, self.h, m.liquid)
        rim = np.interp(H, self.h, m.ice_k) + stir * np.interp(H, self.h, m.liquid_k)
        if m.sharp:
            solid = np.interp(H, self.h, m.solid)
            melting = float(m.ice_k[np.argmax(m.solid < 1.0) - 1])
            rim = np.where((solid > 0.0) & (solid < 1.0), melting, rim)
        k = np.where(self.wall, self.physics.wall_conductivity, rim)
        gap, mixing = T[a] - T[b], 0.5 * (stir[a] + stir[b])
        flux = ice[a] - ice[b] + mixing * (liquid[a] - liquid[b])
        far = np.abs(gap) > 2.0 * SPREAD
        mean = np.where(far, flux / np.where(gap == 0.0, 1.0, gap), 0.5 * (k[a] + k[b]))
        # half cells of the bore (dr) and of the wall (dw) in series
        first, last = self.dr[0], self.dr[-1]
        weight = np.where(self.wall[a], last * k[b] + first * k[a], first * k[b] + last * k[a])
        harmonic = (first + last) * k[a] * k[b] / weight
        meet = self.wall[a] != self.wall[b]
        return np.where(meet, harmonic, np.where(self.wall[a], k[a], mean))


def closure(physics: Physics, mesh: Mesh, horizon: float, steps: int) -> float:
    """Closure time [s] in ``steps`` equal steps over ``horizon`` [s], -1 where it stays open."""
    freeze = Freeze(physics, mesh, horizon)
    start = physics.start_temperature
    inside = physics.filling.enthalpy(start)
    H = np.where(freeze.wall, physics.wall_heat_capacity * start, inside)
    T = CellVariable(mesh=freeze.grid, value=freeze.temperature(H))
    k = FaceVariable(mesh=freeze.grid)
    r = freeze.grid.cellCenters.value[0]
    axis, dt, before = int(np.argmin(r + freeze.z)), horizon / steps, H.copy()
    closing = physics.filling.closing(physics.plug_ice_fraction)
    outside = np.where(freeze.under, constants.DRY_ICE, physics.ambient_temperature)
    capacity, constant = CellVariable(mesh=freeze.grid), CellVariable(mesh=freeze.grid)
    equation = DiffusionTerm(coeff=k) - ImplicitSourceTerm(capacity) + constant
    solver = LinearLUSolver(tolerance=1e-10, iterations=5)
    for n in range(1, steps + 1):
        before[:] = H
        for _ in range(SWEEPS):
            now, slope = freeze.temperature(H), freeze.slope(H)
            rim = freeze.gain * freeze.film(now, (n - 0.5) * dt)
            k.setValue(freeze.faces(H, now))
            capacity.setValue(slope / dt + rim)
            constant.setValue((before - H + slope * now) / dt + rim * outside)
            T.setValue(now)
            equation.solve(var=T, solver=solver)
            H = H + slope * (T.value - now)
        if H[axis] <= closing:
            return float(dt * (n - (closing - H[axis]) / (before[axis] - H[axis])))
    return -1.0
