"""The whole length of a freeze point, from upstream to downstream, for streams.

The slices, the wall and what lies beyond it are those of the still column, on both sides of the
jacket's centre.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stillpipe.physics.column import exposure
from stillpipe.physics.column.layout import Case, Column
from stillpipe.physics.column.mesh import FAST, Grid, Outside
from stillpipe.physics.column.tables import Tables
from stillpipe.physics.column.work import Work
from stillpipe.physics.compiling import njit
from stillpipe.physics.stream.liquid import Liquid

Array = NDArray[np.float64]

GRID = Grid(axial=8, radial=8, eta=0.04, stretch=1.3, early=0.3)
"""How finely the length is cut up: slices under half the jacket, rings across the bore."""


class Pipe(NamedTuple):
    """The whole length: slices from upstream to downstream, rings from the axis to the wall.

    ``z`` of the slices from the jacket's centre, downstream positive, ``dz`` wide [m]; ``before``
    and ``after`` as in :class:`~stillpipe.physics.column.mesh.Mesh`; ``rings`` areas [m2] and
    ``middle`` radii of their centres [m] and ``shells`` conductances from each to the next over the
    Kirchhoff transform [-]; ``radius`` of the bore [m]; ``axial`` conductances of the
    wall to the next slice and its heat ``capacity`` [W/K, J/K]; ``inner`` resistance from the bore
    to the wall's node, times 2 pi length [m K/W]; ``G`` [W/K] to what lies beyond, at ``T`` [K];
    the jacket from slice ``begins`` to before ``ends``; ``carries`` 1 where ice conducts along [-];
    ``out`` what lies beyond, of the still column's half.
    """

    z: Array
    dz: Array
    before: Array
    after: Array
    rings: Array
    middle: Array
    shells: Array
    radius: float
    axial: Array
    capacity: Array
    inner: float
    G: Array
    T: Array
    begins: int
    ends: int
    carries: float
    out: Outside


class Ice(NamedTuple):
    """What freezes: ``tables`` of the still column; the liquid's end of the freezing range.

    ``freezing`` [K] and ``liquid`` [J/m3] where ice first forms; ``front`` [K] at which a plug's
    ice share is half reached, taken for the edge of the open channel; ``heat`` of the liquid for
    each volume and kelvin [J/(m3 K)].
    """

    tables: Tables
    freezing: float
    liquid: float
    front: float
    heat: float


def _both(half: Array) -> Array:
    """Return values of all slices from those of the downstream half."""
    return np.concatenate((half[::-1], half))


def laid(case: Case, horizon: float, grid: Grid = GRID) -> Pipe:
    """Return ``case`` on both sides of the jacket's centre; ``horizon`` [s] sets how far.

    The jacket is full, the room's film that of a pipe at its freezing point.
    """
    even = np.arange(1.0, grid.radial + 1.0) / grid.radial
    half = Column(case, grid, Work(), edges=even, nodes=1, horizon=horizon)
    g, w, o = half.mesh, half.wall, half.fed
    wall = np.full(len(g.dz), case.medium.freezing)
    exposure.expose(wall, 1e9, 1.0, g, o)
    n = len(g.dz)
    dz = _both(g.dz)
    z = np.concatenate((-g.z[::-1], g.z))
    gap = np.diff(z)
    before, after, axial = np.zeros(2 * n), np.zeros(2 * n), np.zeros(2 * n)
    after[:-1] = 1.0 / (dz[:-1] * gap)
    before[1:] = 1.0 / (dz[1:] * gap)
    axial[n : 2 * n - 1] = w.axial[: n - 1]
    axial[: n - 1] = w.axial[: n - 1][::-1]
    axial[n - 1] = w.axial[0] * (g.z[1] - g.z[0]) / gap[n - 1]
    rings = np.asarray(g.area)
    radius = 0.5 * case.bore
    middle = radius * (np.arange(len(rings)) + 0.5) / len(rings)
    return Pipe(
        z, dz, before, after, rings, middle, np.asarray(g.shell),
        radius, axial, _both(w.capacity), w.inner, _both(o.G),
        _both(o.T), n - o.jacket, n + o.jacket, 1.0, o,
    )  # fmt: skip


def frozen(case: Case, q: Liquid) -> Ice:
    """Return what freezes in ``case`` out of the liquid ``q``."""
    m = case.medium
    tables = m.tables(case.plug_ice_fraction)
    liquid = m.closing(1e-9)
    half = m.closing(0.5 * case.plug_ice_fraction)
    at_half = float(np.interp((half - m.h0) * m.inv, np.arange(len(m.temperature)), m.temperature))
    warm = max(case.start_temperature, q.freezing + 5.0)
    heat = (m.enthalpy(warm) - liquid) / (warm - q.freezing)
    return Ice(tables, q.freezing, liquid, at_half, heat)


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def expose(Tw: Array, freezing: float, now: float, dt: float, p: Pipe) -> None:
    """Fill ``p.G`` for a step of ``dt`` from ``now`` [s]; ``Tw`` from ``freezing`` [K]."""
    jacket = exposure.under(p.out, now, dt)
    for j in range(len(Tw)):
        if p.begins <= j < p.ends:
            p.G[j] = p.dz[j] * jacket
        else:
            p.G[j] = p.dz[j] * exposure.beside(p.out, Tw[j] + freezing)


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def couple(
    W: float, entering: float, store: Array, given: Array, g: Array, touches: Array,
    reaches: Array, D: Array, right: Array, axial: Array, T: Array, Tw: Array, work: Array,
) -> None:  # fmt: skip
    """Solve mixing temperatures ``T`` and wall temperatures ``Tw`` [K] of all slices at once.

    For each slice, ``W`` [W/K] being the stream's heat capacity rate, ``touches`` 1 where its
    boundary is the wall and 0 where it is ice, whose temperature is 0 in these units, and
    ``reaches`` 1 where its heat comes to the wall at once and 0 where it melts ice:

        W (T - T before) + store T + g (T - touches Tw) = given
        D Tw - axial (Tw after) - axial before (Tw before) - reaches g T = right

    ``store``, ``g``, ``D`` and ``axial`` [W/K], ``given`` and ``right`` [W]. ``entering`` is the
    temperature of what flows in, all temperatures from the freezing point; ``work``, shape (4, n).
    """
    n = len(T)
    t0, t1, w0, w1 = work[0], work[1], work[2], work[3]
    for j in range(n):
        cross = reaches[j] * g[j]
        a = W + store[j] + g[j]
        r1, b = given[j] + W * entering, touches[j] * g[j]
        d, r2 = D[j], right[j]
        if j > 0:
            r1, b = given[j] + W * t0[j - 1], b + W * t1[j - 1]
            d -= axial[j - 1] * w1[j - 1]
            r2 += axial[j - 1] * w0[j - 1]
        d -= cross * b / a
        r2 += cross * r1 / a
        w0[j], w1[j] = r2 / d, axial[j] / d
        t0[j], t1[j] = (r1 + b * w0[j]) / a, b * w1[j] / a
    Tw[n - 1], T[n - 1] = w0[n - 1], t0[n - 1]
    for j in range(n - 2, -1, -1):
        Tw[j] = w0[j] + w1[j] * Tw[j + 1]
        T[j] = t0[j] + t1[j] * Tw[j + 1]


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def places(share: Array, p: Pipe, found: Array) -> None:
    """Fill the distance [m] of every slice from where the stream begins to be cooled.

    ``share`` of each slice counts as cooled, 0 to 1: how far its boundary is below the temperature
    of what flows in, over how far it could be.
    """
    so_far, least = 0.0, 0.5 * p.dz[p.begins]
    for j in range(len(p.dz)):
        part = min(max(share[j], 0.0), 1.0) * p.dz[j]
        found[j] = max(so_far + 0.5 * part, least)
        so_far += part
