"""A second, independent solution of the freeze: fine, explicit, with a resolved pipe wall.

The column of the package is coarse and implicit. Here the wall
has cells of its own across its thickness wherever it resists, the axial cells are short and equal
as far as the plug can reach, and every cell is stepped explicitly; extrapolation from two meshes
gives the converged answer. What the model says is written out anew in ``problem_2d`` and
``kernel_2d``: what fills the bore, its circulation, the bond.
"""

import copy
import math
from dataclasses import dataclass

import numpy as np

from reference import kernel_2d, problem_2d
from reference.kernel_2d import CLOSED, LOST, READY, THAWED, TIME
from reference.problem_2d import Array, Physics
from stillpipe.physics import constants

__all__ = [
    "CLOSED", "COARSE", "FINE", "GAIN", "LOST", "READY", "THAWED", "TIME", "Explicit", "Mesh",
    "closure", "converged",
]  # fmt: skip


@dataclass(frozen=True)
class Mesh:
    """Cells across the bore and across a conducting wall, and how much finer than the first.

    A wall that insulates has twice as many cells, one of copper a single one.
    """

    bore: int
    wall: int
    finer: float


COARSE = Mesh(16, 2, 1.0)
FINE = Mesh(24, 3, 1.5)
GAIN = FINE.finer**2 - 1.0
"""Differences of the two meshes over what the finer one misses, at second order [-]."""

LONGEST_CELL, SHORT_CELL = 2.5e-3, 0.75e-3
"""As far as the plug can reach [m], on the first mesh; the second in a wall that insulates, where
the plug's end is blunt."""
MOST_OF_BORE = 0.2
"""Of such a cell over the bore at most [-]."""
JACKET_CELLS = 10
"""Least number under half the jacket on the first mesh."""
GROWTH, STRETCH = 1.05, 1.25
"""Of one cell over the last beside the jacket, and beyond the plug's reach, on the first mesh."""
FILM = 10.0
"""With which the plug's reach and the length of pipe are estimated [W/(m2 K)]."""
LUMPED = 0.004
"""A wall of lower Biot number under the jacket has one cell across [-]."""
INSULATING = 2.0
"""A wall that conducts less [W/(m K)] has twice the cells across."""
FROST_DISTANCE = 0.010
"""Beside the jacket, where frost is looked for [m]."""
COLD_DIFFUSIVITY = 2.75e-6
"""Of ice at the temperature of dry ice, over-estimated a little [m2/s]."""
MOST_K = 3.5
"""Of ice at the temperature of dry ice, over-estimated a little [W/(m K)]."""
MOST_FILM = 500.0
"""On the outside of the pipe, in the stability limit [W/(m2 K)]."""
SAFE = 0.95
"""Step over the stability limit [-]."""
SAMPLING = 2.0
"""Between rows of the history [s]."""
ROWS = 40000


def axial(physics: Physics, mesh: Mesh) -> tuple[Array, int]:
    """Axial widths [m] from the jacket's centre to where the pipe is warm; cells in the jacket."""
    half = 0.5 * physics.jacket_length
    cell = SHORT_CELL if physics.wall_conductivity < INSULATING else LONGEST_CELL
    cell = min(cell, MOST_OF_BORE * physics.bore)
    cells = max(JACKET_CELLS, math.ceil(half / cell))
    count = round(mesh.finer * (cells + cells % 2))
    fin = problem_2d.fin_length(physics, FILM)
    reach = half + physics.bore + 1.7 * fin
    far = half + 3.0 * physics.bore + 7.0 * fin
    longest = cell / mesh.finer
    widths = [half / count] * count
    while sum(widths) < far:
        near = sum(widths) < reach
        growth = (GROWTH if near else STRETCH) ** (1.0 / mesh.finer)
        widths.append(widths[-1] * growth)
        if near:
            widths[-1] = min(widths[-1], longest)
    return np.array(widths), count


def _wall_cells(physics: Physics, mesh: Mesh) -> int:
    """Cells across the wall."""
    biot = physics.h_jacket * physics.wall_thickness / physics.wall_conductivity
    if biot < LUMPED:
        return 1
    return mesh.wall * (2 if physics.wall_conductivity < INSULATING else 1)


def _laid(physics: Physics, mesh: Mesh) -> kernel_2d.Laid:
    ri, ro = 0.5 * physics.bore, 0.5 * physics.outer_diameter
    dz, jacket = axial(physics, mesh)
    faces = np.linspace(0.0, ri, mesh.bore + 1)
    rims = np.linspace(ro - physics.wall_thickness, ro, _wall_cells(physics, mesh) + 1)
    dr = ri / mesh.bore
    nodes = np.concatenate((rims[:1], 0.5 * (rims[1:] + rims[:-1]), rims[-1:]))
    through = np.log(nodes[1:] / nodes[:-1]) / physics.wall_conductivity
    through[0] += physics.lining_resistance
    z = np.cumsum(dz) - 0.5 * dz
    look = 0.5 * physics.jacket_length + FROST_DISTANCE
    cell = int(np.searchsorted(z, look)) - 1
    return kernel_2d.Laid(
        dz, 0.5 * (dz[1:] + dz[:-1]), np.pi * np.diff(faces**2),
        np.append(2.0 * np.pi * faces[1:-1] / dr, 0.0), math.log(ri / (ri - 0.5 * dr)),
        np.pi * np.diff(rims**2), through, physics.wall_conductivity, physics.wall_heat_capacity,
        jacket, physics.outer_diameter, cell, (look - z[cell]) / (z[cell + 1] - z[cell]),
    )  # fmt: skip


def _fill(physics: Physics) -> kernel_2d.Fill:
    m = physics.filling
    columns = (m.temperature, m.ice, m.liquid, m.solid, m.ice_k, m.liquid_k)
    table = np.column_stack([c for x in columns for c in (x[:-1], np.diff(x))])
    plug = physics.plug_ice_fraction
    return kernel_2d.Fill(
        m.h0, m.inv, table, m.freezing, plug, m.closing(plug), m.closing(1e-9), m.sharp,
        float(m.ice_k[np.argmax(m.solid < 1.0) - 1]),
        float(m.liquid_k[np.argmax(m.solid <= 0.0)]), MOST_K,
    )  # fmt: skip


def _stir(physics: Physics) -> kernel_2d.Stir:
    return kernel_2d.Stir(
        problem_2d.circulation(physics.vertical), problem_2d.STIR_T0, problem_2d.STIR_INV,
        0.5 * physics.bore, physics.jacket_length, physics.vertical, physics.convection,
        problem_2d.CORE,
    )  # fmt: skip


def _outside(physics: Physics) -> kernel_2d.Outside:
    return kernel_2d.Outside(
        physics.h_jacket, physics.fill_time, max(physics.h_empty, 1e-9), constants.DRY_ICE,
        physics.ambient_temperature, np.maximum(physics.room_film, 1e-9), physics.film_t0,
        physics.film_inv,
    )  # fmt: skip


def _stable(laid: kernel_2d.Laid, fill: kernel_2d.Fill, stir: kernel_2d.Stir) -> float:
    """Longest stable step [s]: no cell may lose more than it holds over its neighbours."""
    rings = np.append(laid.radial[:-1], 2.0 * np.pi / laid.inner)
    rings[1:] += laid.radial[:-1]
    gaps = np.concatenate(([np.inf], laid.gap, [np.inf]))
    along = float(np.max((1.0 / gaps[1:] + 1.0 / gaps[:-1]) / laid.dz))
    heat = fill.table[-1, 1] * fill.inv
    size = stir.radius if not stir.vertical else stir.radius**0.6 * stir.height**-0.4
    most = stir.strength * max(stir.core, 0.3) * stir.table[-1] * size**0.75
    fast = max(COLD_DIFFUSIVITY, (1.0 + most) * float(np.max(fill.table[:, 10])) * heat)
    bore = fast * (float(np.max(rings / laid.area)) + along)
    links = 2.0 * np.pi / laid.through
    links[0] = 2.0 * np.pi / (laid.inner / MOST_K + laid.through[0])
    links[-1] = 2.0 * np.pi / (laid.through[-1] + 2.0 / (MOST_FILM * laid.diameter))
    across = float(np.max((links[:-1] + links[1:]) / laid.wall_area))
    wall = (across + laid.kw * along) / laid.cw
    return SAFE / max(bore, wall)


class Explicit:
    """A freeze on one mesh, stepped from event to event."""

    def __init__(self, physics: Physics, mesh: Mesh) -> None:
        """Lay the freeze on the mesh, everything at the start temperature."""
        self.laid, self.fill = _laid(physics, mesh), _fill(physics)
        self.stir, self.out = _stir(physics), _outside(physics)
        self.step = _stable(self.laid, self.fill, self.stir)
        nz, nr, nw = len(self.laid.dz), mesh.bore, len(self.laid.wall_area)
        start = physics.start_temperature
        self.fields = kernel_2d.Fields(
            np.full((nz, nr), physics.filling.enthalpy(start)), np.full((nz, nw), start),
            np.full(nz, start), *(np.zeros((nz, nr)) for _ in range(5)),
            *(np.zeros((nz, nw)) for _ in range(2)), *(np.zeros(nz) for _ in range(4)),
        )  # fmt: skip
        self.marks = np.array([0.0, 0.0, 0.0, kernel_2d.NEVER, 0.0])
        self._history = np.empty((ROWS, kernel_2d.ROW))

    def copy(self) -> "Explicit":
        """Return the state to branch from."""
        other = copy.copy(self)
        other.fields = kernel_2d.Fields(*(array.copy() for array in self.fields))
        other.marks = self.marks.copy()
        return other

    def to(
        self, stop: int, end: float, grip: float = 0.0, length: float = 0.0, *, fed: bool = True
    ) -> float | None:
        """Step to ``stop``, to ``end`` [s] at most; return the event's time if it came.

        ``grip`` and ``length`` [m] of the whole pipe: what a plug needs to be ready, or below
        which its bond is lost. Times are those since the first feed.
        """
        event = kernel_2d.march(
            self.fields, self.laid, self.fill, self.stir, self.out, fed, end, self.step, stop,
            0.5 * grip, max(0.5 * length, 1e-12), self._history,
            max(round(SAMPLING / (kernel_2d.GAIN * self.step)), 1), self.marks,
        )  # fmt: skip
        if not np.isfinite(self.fields.H).all():
            raise ArithmeticError("the explicit steps are not stable")
        return None if event == kernel_2d.NEVER else float(event)

    @property
    def time(self) -> float:
        """Since the first feed [s]."""
        return float(self.marks[kernel_2d.NOW])

    @property
    def frost(self) -> float | None:
        """When the outside surface beside the jacket was at 0 C [s]."""
        at = float(self.marks[kernel_2d.FROST])
        return None if at == kernel_2d.NEVER else at

    @property
    def heat(self) -> tuple[float, float]:
        """Heat drawn through the surface under the jacket and beside it so far, whole pipe [J]."""
        under, beside = self.marks[kernel_2d.UNDER], self.marks[kernel_2d.BESIDE]
        return 2.0 * float(under), 2.0 * float(beside)

    @property
    def history(self) -> Array:
        """Rows of time [s] and lengths of plug, grip and sound plug [m], while fed."""
        rows = self._history[: int(self.marks[kernel_2d.ROWS])].copy()
        rows[:, 1:] *= 2.0
        return rows

    @property
    def lengths(self) -> tuple[float, float, float]:
        """Lengths of plug, grip and sound plug now [m]."""
        kernel_2d.look(self.fields, self.laid, self.fill, self.stir)
        closed, grip, sound, _ = kernel_2d.measure(self.fields, self.laid, self.fill)
        return 2.0 * float(closed), 2.0 * float(grip), 2.0 * float(sound)


def closure(physics: Physics, mesh: Mesh, horizon: float) -> float:
    """Closure time [s] on one mesh, -1 where it does not close in ``horizon`` [s]."""
    found = Explicit(physics, mesh).to(CLOSED, horizon)
    return -1.0 if found is None else found


def converged(physics: Physics, horizon: float) -> tuple[float, float]:
    """Closure time [s] extrapolated at second order, and what the extrapolation moved it by [-]."""
    coarse, fine = (closure(physics, mesh, horizon) for mesh in (COARSE, FINE))
    if min(coarse, fine) < 0.0:
        raise ValueError("the case does not close")
    best = fine + (fine - coarse) / GAIN
    return best, best / fine - 1.0
