"""A freeze point laid on a grid: from lengths and conductances to the arrays of the solver."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stillpipe.errors import Fault, SolverError
from stillpipe.lazy import cached_property
from stillpipe.physics import film, media
from stillpipe.physics.column import exposure, march, mesh, recut, step
from stillpipe.physics.column.circulation import circulation
from stillpipe.physics.column.mesh import Bounds, Grid
from stillpipe.physics.column.work import Work
from stillpipe.physics.compiling import plain
from stillpipe.physics.constants import DRY_ICE


@dataclass(frozen=True, kw_only=True)
class Case:
    """One freeze point as the solver sees it.

    ``bore`` free diameter, ``outer_diameter``, ``wall_thickness``, ``jacket_length`` [m];
    ``wall_conductivity`` [W/(m K)]; ``wall_heat_capacity`` density x specific heat [J/(m3 K)];
    ``lining_resistance`` between bore and wall times 2 pi length [m K/W]. Conductances on the
    pipe's surface [W/(m2 K)]: under the fed jacket ``h_jacket``, which it reaches in time with the
    time constant ``fill_time`` [s]; to the room beside it ``room_film``, on the grid of surface
    temperatures of :mod:`stillpipe.physics.film`; through the empty jacket ``h_empty``.
    ``start_temperature`` and ``ambient_temperature`` [K]; ``medium`` what fills the bore;
    ``plug_ice_fraction`` that counts as a plug [-]; ``convection`` a factor on what the liquid's
    circulation adds [-], ``vertical`` whether the pipe stands.
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
    room_film: NDArray[np.float64]
    h_empty: float
    start_temperature: float
    ambient_temperature: float
    medium: media.Medium
    plug_ice_fraction: float = 1.0
    convection: float = 1.0
    vertical: bool = False


FROST_DISTANCE = 0.010
"""Beside the jacket's edge, where the fitter looks for frost [m]; common practice, no source."""
LONGEST = 9 * 3600.0
"""A pipe is laid out to be followed for this long [s], however long it is held."""
INSULATING = 2e-3
"""A wall of more resistance than this [m2 K/W] has several nodes across."""
SLIM = 0.002
"""Slices are cut no slimmer than this where a plug ends [m]."""
MORE_RINGS = 4
"""Rings that a solution has beyond those of water: its ice forms over a range of temperatures."""
PRANDTL = 10.0
"""Of water, as far as its circulation hangs on it [-]."""
NODES = 3
"""Nodes across a wall that insulates."""


class Column:
    """A case laid on a grid: what the compiled solver works on."""

    def __init__(
        self, case: Case, grid: Grid, work: Work, dz: NDArray[np.float64] | None = None,
        edges: NDArray[np.float64] | None = None, nodes: int = 0, horizon: float = LONGEST,
    ) -> None:  # fmt: skip
        """Lay ``case`` on ``grid``, or on slices of width ``dz`` [m] where they are given.

        ``edges`` as in :func:`mesh.mesh` [-]; ``nodes`` across the wall, 0 for what it needs;
        ``horizon`` [s] for how long the pipe's length beside the jacket is to do.
        """
        self.case, self.grid, self.work = case, grid, work
        dz = slices(case, grid, grid.finest, horizon) if dz is None else dz
        more = 0 if case.plug_ice_fraction == 1.0 else MORE_RINGS
        self.wall_nodes = nodes or (NODES if wall_insulates(case) else 1)
        self.first = grid.eta * grid.early * _quasi_steady(case)
        self.tables = case.medium.tables(case.plug_ice_fraction)
        self._fill(case.convection)
        self.finest = finest(case, grid)
        self.hold_step = grid.hold_step
        if self.wall_nodes > 1:
            self.hold_step = min(self.hold_step, grid.inner_hold_step)
        self.unfed_step = grid.thaw_step
        self.frost = 0.5 * case.jacket_length + FROST_DISTANCE
        self._round = math.pi * case.outer_diameter
        self._across(mesh.rings(grid.radial + more) if edges is None else edges)
        self._lay(dz)

    def _fill(self, convection: float) -> None:
        """Fill the bore with what circulates by ``convection`` times as much as is told [-]."""
        case = self.case
        self.circulation = circulation(
            0.5 * case.bore, case.jacket_length if case.vertical else 0.0, PRANDTL, convection
        )
        self._filled = (plain(self.tables), plain(self.circulation))

    def _across(self, edges: NDArray[np.float64]) -> None:
        """Lay rings out to ``edges`` [-] and the nodes of the wall."""
        case, outer = self.case, 0.5 * self.case.outer_diameter
        radii, inside = (outer - case.wall_thickness, outer), self.wall_nodes - 1
        area, shell = np.empty((2, len(edges)))
        half = mesh.across(0.5 * case.bore, edges, area, shell)
        self.edges, self._rings = edges, (area, shell, half)
        area, shell = np.empty((2, inside))
        inner, self.outer, section = mesh.through(radii, case.wall_conductivity, area, shell)
        self._within = (inner + case.lining_resistance, area, shell)
        self._conducts = case.wall_conductivity * section
        self._holds = case.wall_heat_capacity * section

    def _lay(self, dz: NDArray[np.float64]) -> None:
        """Lay slices of width ``dz`` [m]."""
        case, rows = self.case, np.empty((8, len(dz)))
        self.jacket = mesh.along(
            dz, self._conducts, self._holds, 0.5 * case.jacket_length, DRY_ICE,
            case.ambient_temperature, rows,
        )  # fmt: skip
        z, before, after, axial, capacity = rows[:5]
        self._exposed, self._around_fed, self._around_empty = rows[5:]
        self.mesh = mesh.Mesh(z, dz, before, after, *self._rings)
        conducts, holds = case.wall_conductivity, case.wall_heat_capacity
        self.wall = mesh.Wall(axial, capacity, *self._within, conducts, holds)
        self.fine = mesh.fine(dz, self.finest)
        self._laid = (plain(self.mesh), plain(self.wall))

    def _with(
        self, dz: NDArray[np.float64], edges: NDArray[np.float64] | None = None
    ) -> "Column":  # fmt: skip
        """Return this column on slices ``dz`` [m], and rings out to other ``edges`` [-] if any."""
        found = object.__new__(Column)
        found.__dict__.update(self.__dict__)
        for laid in ("fed", "empty"):
            found.__dict__.pop(laid, None)
        if edges is not None:
            found._across(edges)
        found._lay(dz)
        return found

    def finer(self, state: step.State) -> tuple["Column", step.State]:
        """Return the column with its next wide slices cut up, and ``state`` on it."""
        end = self.fine + self.grid.stride * self.finest
        cut = recut.split(self.mesh.dz, self.fine, end, self.finest, self.grid.grade)
        return self._onto(cut, state)

    def plug(self, state: step.State) -> tuple["Column", step.State]:
        """Return the column with slices for a plug that has just closed, and ``state`` on it.

        Those under the jacket are slimmer than before, by the grid's share.
        """
        widest = min(self.finest, self.grid.plug_share * self.mesh.dz[0] * (1.0 + 1e-9))
        return self._onto(slices(self.case, self.grid, widest), state)

    def held(self, state: step.State) -> tuple["Column", step.State]:
        """Return the column with slices for a plug that is ready, and ``state`` on it."""
        return self._onto(slices(self.case, self.grid, self.finest), state)

    def even(self, state: step.State) -> tuple["Column", step.State]:
        """Return the column with the slices it began with, and ``state`` on it."""
        return self._onto(slices(self.case, self.grid, self.grid.finest), state)

    def fading(self, state: step.State) -> tuple["Column", step.State]:
        """Return the column with slices for a plug that is fed no more, and ``state`` on it.

        The finest of before are put together, as many as the grid says.
        """
        widest = self.grid.fading_width * self.finest
        return self._onto(recut.merged(self.mesh.dz, self.jacket, widest), state)

    def stirred(self, convection: float) -> "Column":
        """Return the column with other ``convection`` than its case has [-]."""
        found = self._with(self.mesh.dz)
        found._fill(convection)
        return found

    def skin(self, state: step.State) -> tuple["Column", step.State]:
        """Return the column with slim rings at the wall, and ``state`` on it."""
        edges = mesh.skin(self.edges)
        column = self._with(self.mesh.dz, edges)
        column.unfed_step = self.grid.skin_step
        H = np.ascontiguousarray(recut.carry_rings(self.edges, edges, state.H))
        return column, step.State(H, *(a.copy() for a in state[1:]))

    def _onto(self, dz: NDArray[np.float64], state: step.State) -> tuple["Column", step.State]:
        """Return a column on slices ``dz`` [m] and ``state`` on it, the heat as it was."""
        rings, inner, count = len(state.H), len(state.Ti), len(dz)
        rows, to = (
            np.empty((rings + inner + 2, len(state.Tw))),
            np.empty((rings + inner + 2, count)),
        )
        rows[:rings], rows[rings], rows[rings + 1], rows[rings + 2 :] = (
            state.H, state.Tw, state.link, state.Ti,
        )  # fmt: skip
        recut.carry(self.mesh.dz, dz, rows, to)
        moved = step.State(
            to[:rings], to[rings], to[rings + 2 :], to[rings + 1], state.clock.copy()
        )
        return self._with(dz), moved

    def _outside(
        self, jacket: float, filling: float, T: NDArray[np.float64]
    ) -> mesh.Outside:  # fmt: skip
        """Return what lies beyond the wall: the ``jacket`` [W/(m2 K)], at ``T`` [K].

        ``filling`` is its time constant [s].
        """
        return mesh.Outside(
            self._exposed, T, self.jacket, jacket, filling, self._beside, film.TABLE_T0,
            film.TABLE_INV, self.outer, self._round,
        )  # fmt: skip

    @cached_property
    def _beside(self) -> NDArray[np.float64]:
        """Conductances beside the jacket, as in :class:`mesh.Outside`; finer columns share them."""
        case, walls = self.case, film.temperatures()
        return exposure.to_room(
            case.room_film, walls, case.ambient_temperature, self.outer, self._round
        )

    @cached_property
    def fed(self) -> mesh.Outside:
        """What lies beyond the wall while the jacket is filled."""
        return self._outside(self.case.h_jacket, self.case.fill_time, self._around_fed)

    @cached_property
    def empty(self) -> mesh.Outside:
        """What lies beyond the wall once the jacket is empty."""
        return self._outside(self.case.h_empty, 0.0, self._around_empty)

    def warm(self) -> step.State:
        """Return the state before the jacket is filled: everything at the start temperature."""
        slices, start = len(self.mesh.z), self.case.start_temperature
        H = np.full((len(self.edges), slices), self.case.medium.enthalpy(start))
        clock = np.zeros(march.CLOCK)
        clock[march.CAP] = march.NO_CAP
        inner = np.full((self.wall_nodes - 1, slices), start)
        return step.State(H, np.full(slices, start), inner, np.zeros(slices), clock)

    def extent(self, state: step.State) -> march.Extent:
        """Return how far the plug of ``state`` reaches, and how fast it holds."""
        return march.Extent(*march.reach(plain(state), self._filled[0], *self._laid), 0.0)

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
        why, event = march.go(
            plain(state), plain(record), *self._filled, *self._laid, plain(outside), plain(rule),
            self.work.counts, self.work.flag,
        )  # fmt: skip
        if why in (step.EXHAUSTED, step.CANCELLED):
            self.work.check()
        if why == step.FAILED or not math.isfinite(event + state.clock[march.JACKET]):
            raise SolverError(Fault((), "the freeze did not converge"))
        return why, event

    def rule(
        self, end: float, *, exactly: bool = True, stop: int = step.RUN, need: float = 0.0,
        grip: float = 0.0, reach: float | None = None, cut: bool = False, first: float = 0.0,
        eta: float = 0.0,
    ) -> march.Rule:  # fmt: skip
        """Return how to advance to ``end`` [s]; the rest as in :class:`march.Rule`.

        ``cut`` says whether to come back where slices want to be cut; ``first`` step [s] and growth
        ``eta`` of steps [-] where these are not those of a freeze.
        """
        grid = self.grid
        reach = grid.freeze_step if reach is None else reach
        bounds = plain(Bounds(reach, grid.least, grid.tolerance))
        edge = self.fine - self.grid.ahead * self.finest if cut else math.inf
        return march.Rule(
            eta or grid.eta, first or self.first, bounds, grid.pieces, end, exactly, stop, need,
            grip, edge, self.frost,
        )  # fmt: skip

    def warmest(self, state: step.State) -> float:
        """Highest temperature in the bore and the wall [K]."""
        pieces = self._pieces(state.H)
        bore = pieces[..., 2] + pieces[..., 3] * state.H
        wall = max(float(np.max(state.Tw)), float(np.max(state.Ti, initial=0.0)))
        return max(float(np.max(bore)), wall)

    def solid(self, H: NDArray[np.float64]) -> NDArray[np.float64]:
        """Solid fraction [-] of every cell at enthalpies ``H`` [J/m3], shape as ``H``."""
        pieces = self._pieces(H)
        return np.asarray(pieces[..., 6] + pieces[..., 7] * H)

    def _pieces(self, H: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the rows of the medium's table on which enthalpies ``H`` [J/m3] lie."""
        m = self.tables
        place = np.clip((H - m.h0) * m.inv, 0, len(m.pieces) - 1).astype(np.intp)
        return np.asarray(m.pieces[place])

    def ice(self, H: NDArray[np.float64]) -> float:
        """Volume of ice in half the pipe [m3] at enthalpies ``H`` [J/m3], shape (rings, slices)."""
        return float(np.sum(self.solid(H) * self.mesh.area[:, None] * self.mesh.dz))

    def heat_content(self, state: step.State) -> float:
        """Heat in the bore and wall of half the pipe [J], from an arbitrary zero."""
        bore = float(np.sum(state.H * self.mesh.area[:, None] * self.mesh.dz))
        area = self.wall.heat * self.wall.area[:, None]
        inner = float(np.sum(area * state.Ti * self.mesh.dz))
        return bore + inner + float(np.sum(self.wall.capacity * state.Tw))


def wall_insulates(case: Case) -> bool:
    """Tell whether the pipe's wall takes more of the temperature than one node can show."""
    return case.wall_thickness > INSULATING * case.wall_conductivity


def _quasi_steady(case: Case) -> float:
    """Closure time [s] by London and Seban, Trans. ASME 65 (1943) 771, of ice and no more."""
    jacket = 2.0 / (max(case.h_jacket, 1e-9) * case.outer_diameter)
    bare = case.outer_diameter - 2.0 * case.wall_thickness
    wall = math.log(case.outer_diameter / bare) / case.wall_conductivity + case.lining_resistance
    resistance = 1.0 / (2.0 * case.medium.ice_k) + wall + jacket
    latent = media.ICE_DENSITY * media.LATENT
    return latent * (0.5 * case.bore) ** 2 / (2.0 * (case.medium.freezing - DRY_ICE)) * resistance


def slices(case: Case, grid: Grid, widest: float, horizon: float = LONGEST) -> NDArray[np.float64]:
    """Return the widths of the slices of half the pipe [m], none under the jacket over ``widest``.

    They are even there and get wider beyond, as far as the pipe is disturbed at ``horizon`` [s].
    """
    half = 0.5 * case.jacket_length
    jacket = max(grid.axial, math.ceil(half / widest - 1e-9))
    return mesh.slices(half / jacket, jacket, half + _reach(case, horizon), grid.stretch)


def finest(case: Case, grid: Grid) -> float:
    """Width of the slices where a plug ends [m]: the ``grid``'s share of the bore or of the fin.

    At most its finest. The fin's length is that over which pipe and ice come near the
    room's temperature: a plug in a pipe that conducts badly ends steeply.
    """
    metal = case.wall_conductivity * _section(case)
    ice = case.medium.ice_k * 0.25 * math.pi * case.bore**2
    fin = math.sqrt((metal + ice) / (_room(case) * math.pi * case.outer_diameter))
    asked = min(grid.bore_share * case.bore, grid.fin_share * fin)
    return min(grid.finest, max(asked, SLIM))


def _section(case: Case) -> float:
    """Cross-section of the pipe's wall [m2]."""
    bare = case.outer_diameter - 2.0 * case.wall_thickness
    return 0.25 * math.pi * (case.outer_diameter**2 - bare**2)


def _room(case: Case) -> float:
    """Conductance from the room to a pipe at its freezing point [W/(m2 K)]."""
    return max(film.at(case.room_film, case.medium.freezing), 2.0)


def _reach(case: Case, horizon: float) -> float:
    """Length beside the jacket to follow [m]: fin length to the air, growth in ``horizon`` [s]."""
    area = _section(case)
    fin = math.sqrt(case.wall_conductivity * area / (_room(case) * math.pi * case.outer_diameter))
    bore_area = 0.25 * math.pi * case.bore**2
    diffusivity = (case.wall_conductivity * area + 3.0 * bore_area) / (
        case.wall_heat_capacity * area + 4.2e6 * bore_area
    )
    spread = math.sqrt(horizon * diffusivity)
    return 2.0 * case.bore + 3.0 * min(2.0 * fin, spread)
