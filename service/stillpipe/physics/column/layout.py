"""A freeze point laid on a grid: from lengths and conductances to the arrays of the solver."""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from stillpipe.errors import Fault, SolverError
from stillpipe.physics import media
from stillpipe.physics.column import march, mesh, step
from stillpipe.physics.column.mesh import Grid
from stillpipe.physics.column.work import Work
from stillpipe.physics.constants import DRY_ICE


@dataclass(frozen=True, kw_only=True)
class Case:
    """One freeze point as the solver sees it.

    ``bore`` free diameter, ``outer_diameter``, ``wall_thickness``, ``jacket_length`` [m];
    ``wall_conductivity`` [W/(m K)]; ``wall_heat_capacity`` density x specific heat [J/(m3 K)];
    ``lining_resistance`` between bore and wall times 2 pi length [m K/W]; conductances on the
    pipe's surface [W/(m2 K)] under the fed jacket, ``h_jacket``, to the room beside it,
    ``h_ambient``, and through the empty jacket, ``h_empty``; ``start_temperature`` and
    ``ambient_temperature`` [K]; ``medium`` what fills the bore; ``plug_ice_fraction`` that counts
    as a plug [-].
    """

    bore: float
    outer_diameter: float
    wall_thickness: float
    jacket_length: float
    wall_conductivity: float
    wall_heat_capacity: float
    lining_resistance: float
    h_jacket: float
    h_ambient: float
    h_empty: float
    start_temperature: float
    ambient_temperature: float
    medium: media.Medium
    plug_ice_fraction: float = 1.0


class Column:
    """A case laid on a grid: what the compiled solver works on."""

    def __init__(self, case: Case, grid: Grid, horizon: float, work: Work) -> None:
        """Lay ``case`` on ``grid``; ``horizon`` [s] sets how far the pipe must be followed."""
        self.case, self.grid, self.work = case, grid, work
        ri, ro = 0.5 * case.bore, 0.5 * case.outer_diameter
        rw = ro - case.wall_thickness
        node = math.sqrt(0.5 * (rw * rw + ro * ro))
        area = math.pi * (ro * ro - rw * rw)
        half = 0.5 * case.jacket_length
        reach = _reach(case, area, horizon)
        dz = mesh.slices(half / grid.axial, grid.axial, half + reach, grid.stretch)
        self.mesh = mesh.mesh(dz, ri, grid.radial)
        inner = case.lining_resistance + math.log(node / rw) / case.wall_conductivity
        self.wall = mesh.wall(
            self.mesh.z, dz, area * case.wall_conductivity, area * case.wall_heat_capacity, inner
        )
        self.outer = math.log(ro / node) / (2.0 * math.pi * case.wall_conductivity)
        through = inner + 2.0 * math.pi * self.outer
        self.first = grid.eta * grid.early * _quasi_steady(case, ri, through)
        self.tables = case.medium.tables(case.plug_ice_fraction)
        self.fed = self._outside(case.h_jacket, DRY_ICE)

    def _outside(self, film: float, temperature: float) -> mesh.Outside:
        """Return what lies beyond the wall, with ``film`` [W/(m2 K)] and ``temperature`` [K]."""
        case = self.case
        round_pipe = math.pi * case.outer_diameter
        return mesh.outside(
            self.mesh.dz,
            self.grid.axial,
            (self.outer + 1.0 / (round_pipe * max(film, 1e-9)), temperature),
            (self.outer + 1.0 / (round_pipe * max(case.h_ambient, 1e-9)), case.ambient_temperature),
        )

    @cached_property
    def empty(self) -> mesh.Outside:
        """What lies beyond the wall once the jacket is empty."""
        return self._outside(self.case.h_empty, self.case.ambient_temperature)

    def warm(self) -> step.State:
        """Return the state before the jacket is filled: everything at the start temperature."""
        slices, start = len(self.mesh.z), self.case.start_temperature
        H = np.full((self.grid.radial, slices), self.case.medium.enthalpy(start))
        clock = np.zeros(march.CLOCK)
        clock[march.CAP] = march.NO_CAP
        return step.State(H, np.full(slices, start), np.zeros(slices), clock)

    def advance(
        self, state: step.State, record: march.Record, outside: mesh.Outside, rule: march.Rule
    ) -> tuple[int, float]:
        """Advance ``state`` in place by ``rule``; return why it ended, and when [s].

        Raises
        ------
        CancelledError
            where nobody waits any more
        TooCostlyError
            where more work was taken than a freeze point is given
        SolverError
            where the step does not converge
        """
        why, event = march.advance(
            state, record, self.tables, self.mesh, self.wall, outside, rule, self.work.counts,
            self.work.flag,
        )  # fmt: skip
        if why in (step.EXHAUSTED, step.CANCELLED):
            self.work.check()
        if why == step.FAILED or not math.isfinite(event + state.clock[march.JACKET]):
            raise SolverError(Fault((), "the freeze did not converge"))
        return why, event

    def rule(
        self, end: float, *, exactly: bool = True, stop: int = step.RUN, need: float = 0.0,
        reach: float | None = None,
    ) -> march.Rule:  # fmt: skip
        """Return how to advance to ``end`` [s]; the rest as in :class:`march.Rule`."""
        grid = self.grid
        reach = grid.freeze_step if reach is None else reach
        bounds = step.Bounds(reach, grid.least, grid.tolerance)
        return march.Rule(grid.eta, self.first, bounds, grid.pieces, end, exactly, stop, need)

    def warmest(self, state: step.State) -> float:
        """Highest temperature in the bore and the wall [K]."""
        m = self.tables
        place = np.clip((state.H - m.h0) * m.inv, 0, len(m.pieces) - 1).astype(np.intp)
        bore = m.pieces[place, 2] + m.pieces[place, 3] * state.H
        return max(float(np.max(bore)), float(np.max(state.Tw)))

    def heat_content(self, state: step.State) -> float:
        """Heat in the bore and wall of half the pipe [J], from an arbitrary zero."""
        bore = float(np.sum(state.H * self.mesh.area[:, None] * self.mesh.dz))
        return bore + float(np.sum(self.wall.capacity * state.Tw))


def _quasi_steady(case: Case, radius: float, between: float) -> float:
    """Closure time [s] by London and Seban, Trans. ASME 65 (1943) 771, of ice and no more.

    ``radius`` of the bore [m]; ``between`` resistance of wall and lining times 2 pi length
    [m K/W].
    """
    film = 2.0 / (max(case.h_jacket, 1e-9) * case.outer_diameter)
    resistance = 1.0 / (2.0 * case.medium.ice_k) + between + film
    latent = media.ICE_DENSITY * media.LATENT
    return latent * radius**2 / (2.0 * (case.medium.freezing - DRY_ICE)) * resistance


def _reach(case: Case, area: float, horizon: float) -> float:
    """Length beside the jacket to follow [m]: fin length to the air and growth with time."""
    film = max(case.h_ambient, 2.0) * math.pi * case.outer_diameter
    fin = math.sqrt(case.wall_conductivity * area / film)
    bore_area = 0.25 * math.pi * case.bore**2
    diffusivity = (case.wall_conductivity * area + 3.0 * bore_area) / (
        case.wall_heat_capacity * area + 4.2e6 * bore_area
    )
    spread = math.sqrt(max(horizon, 60.0) * diffusivity)
    return 2.0 * case.bore + 3.0 * min(2.0 * fin, spread)
