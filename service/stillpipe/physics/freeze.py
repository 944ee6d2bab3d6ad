"""A freeze from filling the jacket to the last ice: grid, stages and their events.

:class:`Case` is the problem in SI units; :func:`run` solves it on one grid. Boundary conditions:
z = 0 and the far end carry no heat, the jacket covers ``jacket / 2`` of the half-domain.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stillpipe.errors import Fault, SolverError
from stillpipe.physics import column, media

Array = NDArray[np.float64]

DRY_ICE = 194.65
"""Surface of dry ice at 1 atm [K] (-78.5 C)."""


@dataclass(frozen=True)
class Case:
    """One freeze point as the solver sees it.

    ``bore`` free diameter, ``outside`` diameter, ``wall`` thickness, ``jacket`` length [m];
    ``wall_conductivity`` [W/(m K)]; ``wall_heat`` density x specific heat [J/(m3 K)];
    ``lining`` resistance between bore and wall times length [m K/W]; ``under`` and ``beside``
    outside conductances under and beside the jacket [W/(m2 K)] on the pipe's surface; ``leak``
    that of the empty jacket to the air; ``start`` and ``ambient`` temperatures [K]; ``medium``
    what fills the bore; ``plug_solid`` ice fraction that counts as a plug [-].
    """

    bore: float
    outside: float
    wall: float
    jacket: float
    wall_conductivity: float
    wall_heat: float
    lining: float
    under: float
    beside: float
    leak: float
    start: float
    ambient: float
    medium: media.Medium
    plug_solid: float = 1.0


@dataclass(frozen=True)
class Grid:
    """Cells under the jacket (axial), across the bore (radial), step growth, axial stretch."""

    axial: int = 6
    radial: int = 5
    eta: float = 0.06
    stretch: float = 1.35


@dataclass
class State:
    """The column between two stages: fields, clock and the rows of its history so far."""

    H: Array
    Tw: Array
    clock: Array
    history: Array
    rows: int
    why: int = column.RUN

    def copy(self) -> "State":
        """Return an independent copy, to try another course from here."""
        return replace(
            self,
            H=self.H.copy(),
            Tw=self.Tw.copy(),
            clock=self.clock.copy(),
            history=self.history.copy(),
        )


class Column:
    """A case laid on a grid, ready to be advanced stage by stage."""

    def __init__(self, case: Case, grid: Grid, horizon: float) -> None:
        """Lay ``case`` on ``grid``; ``horizon`` [s] sets how far the pipe must be followed."""
        self.case, self.grid = case, grid
        ri, ro = 0.5 * case.bore, 0.5 * case.outside
        rw = ro - case.wall
        mid = math.sqrt(0.5 * (rw * rw + ro * ro))
        width = 0.5 * case.jacket / grid.axial
        area = math.pi * (ro * ro - rw * rw)
        reach = _reach(case, area, horizon)
        dz = [width] * grid.axial
        while sum(dz) < 0.5 * case.jacket + reach:
            dz.append(dz[-1] * grid.stretch)
        self.dz = np.array(dz)
        self.rf = np.linspace(0.0, ri, grid.radial + 1)
        z = np.cumsum(self.dz) - 0.5 * self.dz
        dr = ri / grid.radial
        self.mesh = column.Mesh(
            z,
            self.dz,
            math.pi * np.diff(self.rf**2),
            2.0 * math.pi * self.rf[1:] / dr,
            np.append(1.0 / np.diff(z), 0.0),
            math.log(ri / (ri - 0.5 * dr)),
        )
        inner = case.lining + math.log(mid / rw) / case.wall_conductivity
        self.outer = math.log(ro / mid) / (2.0 * math.pi * case.wall_conductivity)
        gaps = np.append(np.diff(z), np.inf)
        self.wall = column.Wall(
            inner, area * case.wall_conductivity / gaps, area * case.wall_heat * self.dz
        )
        self.first = 0.002 * ri * ri / 1.2e-6 * (grid.eta / 0.06)
        self.tables = tables(case)

    def start(self, rows: int = 6000) -> State:
        """Return the state before the jacket is filled: everything at the start temperature."""
        shape = (len(self.dz), self.grid.radial)
        H = np.full(shape, self.case.medium.enthalpy(self.case.start))
        Tw = np.full(shape[0], self.case.start)
        return State(H, Tw, np.zeros(6), np.zeros((rows, column.ROW)), 0)

    def advance(
        self,
        state: State,
        end: float,
        stop: int = column.RUN,
        need: float = 0.0,
        cooled: bool = True,
    ) -> State:
        """Advance ``state`` in place until ``stop`` or time ``end`` [s] and return it."""
        rule = column.Rule(self.grid.eta, self.first, end, stop, need)
        state.why, state.rows = column.advance(
            state.H, state.Tw, state.clock, state.history, state.rows, self.tables, self.mesh,
            self.wall, self.outside(cooled), rule,
        )  # fmt: skip
        if state.why == column.FAILED or not np.isfinite(state.clock).all():
            raise SolverError(Fault((), "the freeze did not converge"))
        return state

    def outside(self, cooled: bool) -> column.Outside:
        """Return what lies beyond the wall, with the jacket fed or empty."""
        case = self.case
        under = np.arange(len(self.dz)) < self.grid.axial
        film, cold = (case.under, DRY_ICE) if cooled else (case.leak, case.ambient)
        conductance = math.pi * case.outside * np.where(under, film, max(case.beside, 1e-9))
        return column.Outside(
            self.dz / (self.outer + 1.0 / conductance),
            np.where(under, cold, case.ambient),
            self.grid.axial,
        )

    def heat_content(self, state: State) -> float:
        """Heat in the bore and wall of the half-domain [J], from an arbitrary zero."""
        bore = float(np.sum(state.H * self.mesh.area[None, :] * self.dz[:, None]))
        return bore + float(np.sum(self.wall.heat * state.Tw))


def tables(case: Case) -> column.Tables:
    """Return the medium of ``case`` as the kernel takes it."""
    m = case.medium
    return column.Tables(
        m.h0, m.inv, m.temperature, m.kirchhoff, m.conductivity, m.solid, m.freezing, m.ice_k,
        m.liquid_k, case.plug_solid, m.closing(case.plug_solid),
    )  # fmt: skip


def _reach(case: Case, area: float, horizon: float) -> float:
    """Length beside the jacket to follow [m]: fin length to the air and growth with time."""
    film = max(case.beside, 2.0) * math.pi * case.outside
    fin = math.sqrt(case.wall_conductivity * area / film)
    bore_area = 0.25 * math.pi * case.bore**2
    heat = (case.wall_heat * area + 4.2e6 * bore_area) / (
        case.wall_conductivity * area + 3.0 * bore_area
    )
    return 2.0 * case.bore + 3.0 * min(2.0 * fin, math.sqrt(max(horizon, 60.0) / heat))
