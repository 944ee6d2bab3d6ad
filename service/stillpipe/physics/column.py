"""The solver's kernel: a two-dimensional enthalpy column with an implicit pipe wall.

Half of the bore is cut into axial x radial cells, z = 0 being the jacket's centre. Each cell
holds its enthalpy per volume, so that latent heat is conserved exactly, and conducts by its
Kirchhoff transform (the integral of conductivity over temperature), so that a cell at the
freezing point needs no mixed conductivity. A step solves, by Newton's method, the radial
conduction of every axial slice together with the wall and its axial conduction: each slice is
eliminated down to a linear relation between the wall's temperature and the heat the slice gives
it, which leaves one tridiagonal system for the wall. Axial conduction in the bore, far slower, is
explicit; the step is held inside its stability limit. Compiled with numba (``nogil``: threads run
it side by side), because the time is spent in short dependent recurrences that array operations
cannot express.
"""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stillpipe.physics.compiling import njit

Array = NDArray[np.float64]

RUN, CLOSED, READY, UNBONDED, THAWED, TIME, FAILED = 0, 1, 2, 3, 4, 5, 6
"""What :func:`advance` may be asked to stop at, and why it came back."""

ROW = 7
"""Columns of a history row: time [s], closed half-length [m], bonded half-length [m], heat drawn
under the jacket [J], heat taken in from outside [J], wall temperature at the centre [K], liquid
fraction of the central slice [-]."""

NOW, SINCE, UNDER, OUTSIDE, STEP, EVENT = 0, 1, 2, 3, 4, 5
"""Places in the clock: time [s], time since the boundary changed [s], heat under the jacket and
from outside [J], last step [s], interpolated time of the last event [s]."""

TOLERANCE = 0.5
"""Newton's tolerance on the Kirchhoff transform [W/m], about 0.2 K; what is missed is carried into
the next step."""


class Tables(NamedTuple):
    """What fills the bore, on the enthalpy grid ``h0 + i / inv`` [J/m3].

    ``T`` temperature [K], ``A`` Kirchhoff transform [W/m], ``k`` conductivity [W/(m K)], ``f``
    solid fraction [-]; ``Tm`` where a plug forms [K]; ``ksol`` and ``kliq`` conductivities there;
    ``fplug`` the solid fraction of a plug [-] and ``hclose`` its enthalpy [J/m3].
    """

    h0: float
    inv: float
    T: Array
    A: Array
    k: Array
    f: Array
    Tm: float
    ksol: float
    kliq: float
    fplug: float
    hclose: float


class Mesh(NamedTuple):
    """Cells: centres ``z`` and widths ``dz`` [m], ring areas ``area`` [m2], geometric factors.

    ``radial`` per length [-] and ``axial`` [m] times a difference of the Kirchhoff transform give
    heat; ``half`` is ln(bore radius / radius of the outermost cells' centre).
    """

    z: Array
    dz: Array
    area: Array
    radial: Array
    axial: Array
    half: float


class Wall(NamedTuple):
    """Pipe wall: ``inner`` resistance from bore to wall node times 2 pi length [m K/W].

    ``axial`` conductances [W/K] and heat capacities ``heat`` [J/K], per slice.
    """

    inner: float
    axial: Array
    heat: Array


class Outside(NamedTuple):
    """Beyond the wall: conductances ``G`` [W/K] and temperatures ``T`` [K] per slice.

    ``under`` counts the slices under the jacket.
    """

    G: Array
    T: Array
    under: int


class Rule(NamedTuple):
    """How to advance: step growth ``eta``, ``first`` step [s], ``end`` [s], what to stop at.

    ``need`` is the half-length at which the plug is ready, or below which it is lost [m].
    """

    eta: float
    first: float
    end: float
    stop: int
    need: float


class Scratch(NamedTuple):
    """Arrays a step works in."""

    Hn: Array
    Twn: Array
    rhs: Array
    link: Array
    alpha: Array
    beta: Array
    p: Array
    q: Array
    diag: Array
    right: Array
    share: Array


@njit(nogil=True, cache=True)
def lookup(h: float, m: Tables, table: Array) -> tuple[float, float]:
    """Return value and slope of a table at enthalpy ``h`` [J/m3]."""
    x = (h - m.h0) * m.inv
    i = min(max(int(x), 0), len(table) - 2)
    d = table[i + 1] - table[i]
    return table[i] + (x - i) * d, d * m.inv


@njit(nogil=True, cache=True)
def scratch(nz: int, nr: int) -> Scratch:
    """Return working arrays for ``nz`` x ``nr`` cells."""
    return Scratch(
        np.empty((nz, nr)), np.empty(nz), np.empty((nz, nr)), np.empty(nz), np.empty((nz, nr)),
        np.empty((nz, nr)), np.empty(nz), np.empty(nz), np.empty(nz), np.empty(nz), np.empty(nz),
    )  # fmt: skip


@njit(nogil=True, cache=True)
def _wall_link(H: Array, Tw: Array, m: Tables, g: Mesh, w: Wall, s: Scratch) -> None:
    """Fill the conductances from the outermost cells to the wall's node [W/K].

    A cell at the freezing point conducts as ice towards a colder wall, as liquid towards a warmer
    one: what freezes or melts first is what touches the wall.
    """
    nz, nr = H.shape
    for j in range(nz):
        T, slope = lookup(H[j, nr - 1], m, m.T)
        if slope > 0.0:
            k, _ = lookup(H[j, nr - 1], m, m.k)
        else:
            k = m.ksol if Tw[j] < T else m.kliq
        s.link[j] = 2.0 * math.pi * g.dz[j] / (g.half / k + w.inner)


@njit(nogil=True, cache=True)
def _axial(H: Array, m: Tables, g: Mesh, s: Scratch) -> float:
    """Fill the explicit axial heat of every cell [W]; return the longest stable step [s]."""
    nz, nr = H.shape
    limit = 1e30
    for i in range(nr):
        before = 0.0
        A, slope = lookup(H[0, i], m, m.A)
        total = 0.0
        for j in range(nz):
            after, conductance, following, steep = 0.0, 0.0, A, slope
            if j < nz - 1:
                following, steep = lookup(H[j + 1, i], m, m.A)
                conductance = g.axial[j] * g.area[i]
                after = conductance * (following - A)
            s.rhs[j, i] = after - before
            total += conductance
            if slope > 0.0:
                limit = min(limit, 0.8 * g.area[i] * g.dz[j] / (total * slope))
            before, total, A, slope = after, conductance, following, steep
    return limit


@njit(nogil=True, cache=True)
def _eliminate(H: Array, dt: float, m: Tables, g: Mesh, s: Scratch) -> None:
    """Reduce every slice to the heat it gives the wall, ``p Tw - q`` [W], linearised at ``H``."""
    nz, nr = H.shape
    for j in range(nz):
        pp, qq = 0.0, 0.0
        for i in range(nr):
            A, slope = lookup(H[j, i], m, m.A)
            a = A - slope * H[j, i]
            out, ao, so = g.radial[i] * g.dz[j], a, slope
            if i == nr - 1:
                T, so = lookup(H[j, i], m, m.T)
                out, ao = s.link[j], T - so * H[j, i]
            capacity = g.area[i] * g.dz[j] / dt
            den = capacity + out * so + pp * slope
            alpha = (capacity * s.Hn[j, i] + s.rhs[j, i] + qq - pp * a - out * ao) / den
            beta = out / den
            s.alpha[j, i], s.beta[j, i] = alpha, beta
            qq = out * (ao + so * alpha)
            pp = out * (1.0 - so * beta)
        s.p[j], s.q[j] = pp, qq


@njit(nogil=True, cache=True)
def _solve_wall(Tw: Array, dt: float, w: Wall, o: Outside, s: Scratch) -> None:
    """Solve the wall's tridiagonal system for ``Tw`` [K]."""
    nz = len(Tw)
    for j in range(nz):
        capacity = w.heat[j] / dt
        d = capacity + s.p[j] + o.G[j] + w.axial[j]
        r = capacity * s.Twn[j] + s.q[j] + o.G[j] * o.T[j]
        if j > 0:
            link = w.axial[j - 1]
            factor = link / s.diag[j - 1]
            d += link - factor * link
            r += factor * s.right[j - 1]
        s.diag[j], s.right[j] = d, r
    Tw[nz - 1] = s.right[nz - 1] / s.diag[nz - 1]
    for j in range(nz - 2, -1, -1):
        Tw[j] = (s.right[j] + w.axial[j] * Tw[j + 1]) / s.diag[j]


@njit(nogil=True, cache=True)
def _substitute(H: Array, Tw: Array, m: Tables, s: Scratch) -> float:
    """Put the wall's temperature back into the slices; return the linearisation's miss [W/m]."""
    nz, nr = H.shape
    miss = 0.0
    for j in range(nz):
        out = Tw[j]
        for i in range(nr - 1, -1, -1):
            old = H[j, i]
            A, slope = lookup(old, m, m.A)
            new = s.alpha[j, i] + s.beta[j, i] * out
            out = A + slope * (new - old)
            true, _ = lookup(new, m, m.A)
            miss = max(miss, abs(true - out))
            H[j, i] = new
    return miss


@njit(nogil=True, cache=True)
def _step(
    H: Array, Tw: Array, dt: float, m: Tables, g: Mesh, w: Wall, o: Outside, s: Scratch
) -> float:
    """Take one implicit step of at most ``dt`` [s]; return the step taken, or 0 on failure.

    The step is halved where Newton's method does not settle. Enthalpy is conserved whether it has
    settled or not, since the fluxes are those of the linear system that was solved.
    """
    s.Hn[:, :] = H
    s.Twn[:] = Tw
    for _ in range(12):
        for _ in range(25):
            _eliminate(H, dt, m, g, s)
            _solve_wall(Tw, dt, w, o, s)
            if _substitute(H, Tw, m, s) < TOLERANCE:
                return dt
        H[:, :] = s.Hn
        Tw[:] = s.Twn
        dt *= 0.5
    return 0.0


@njit(nogil=True, cache=True)
def _closed(H: Array, m: Tables, g: Mesh, s: Scratch) -> float:
    """Half-length over which the centre line is solid [m], from the innermost cells."""
    nz = len(g.z)
    j = 0
    while j < nz and s.share[j] >= 1.0:
        j += 1
    if j == 0:
        return 0.0
    if j == nz:
        return float(g.z[nz - 1] + 0.5 * g.dz[nz - 1])
    step = g.z[j] - g.z[j - 1]
    if s.share[j] > 0.0:
        return float(g.z[j - 1] + s.share[j] * step)
    cold, _ = lookup(H[j - 1, 0], m, m.T)
    warm, _ = lookup(H[j, 0], m, m.T)
    part = (m.Tm - cold) / (warm - cold) if warm > cold else 0.0
    return float(g.z[j - 1] + min(max(part, 0.0), 0.5) * step)


@njit(nogil=True, cache=True)
def _bonded(Tw: Array, Tm: float, g: Mesh) -> float:
    """Half-length over which the wall is below the plug's melting point [m]."""
    nz = len(g.z)
    if Tw[0] >= Tm:
        return 0.0
    j = 0
    while j + 1 < nz and Tw[j + 1] < Tm:
        j += 1
    if j == nz - 1:
        return float(g.z[j] + 0.5 * g.dz[j])
    return float(g.z[j] + (Tm - Tw[j]) / (Tw[j + 1] - Tw[j]) * (g.z[j + 1] - g.z[j]))


@njit(nogil=True, cache=True)
def _record(H: Array, Tw: Array, clock: Array, row: Array, m: Tables, g: Mesh, s: Scratch) -> float:
    """Fill a history row; return the largest solid fraction anywhere [-]."""
    nz, nr = H.shape
    most, solid, whole = 0.0, 0.0, 0.0
    for j in range(nz):
        for i in range(nr):
            f, _ = lookup(H[j, i], m, m.f)
            most = max(most, f)
            if i == 0:
                s.share[j] = f / m.fplug
            if j == 0:
                solid += f * g.area[i]
                whole += g.area[i]
    row[0] = clock[NOW]
    row[1] = _closed(H, m, g, s)
    row[2] = _bonded(Tw, m.Tm, g)
    row[3] = clock[UNDER]
    row[4] = clock[OUTSIDE]
    row[5] = Tw[0]
    row[6] = 1.0 - solid / whole
    return most


@njit(nogil=True, cache=True)
def _tick(Tw: Array, dt: float, clock: Array, o: Outside) -> None:
    """Move the clock and add the heat that crossed the pipe's surface."""
    for j in range(len(Tw)):
        heat = o.G[j] * (Tw[j] - o.T[j]) * dt
        if j < o.under:
            clock[UNDER] += heat
        else:
            clock[OUTSIDE] -= heat
    clock[NOW] += dt
    clock[SINCE] += dt
    clock[STEP] = dt
    clock[EVENT] = clock[NOW]


@njit(nogil=True, cache=True)
def _event(
    rule: Rule, m: Tables, centre: tuple[float, float], extent: tuple[float, float], Tw: float,
    most: float,
) -> tuple[bool, float]:  # fmt: skip
    """Tell whether the event came in the last step, and what part of the step lies beyond it.

    ``centre`` enthalpy and ``extent`` are pairs, before and after the step.
    """
    before, after = extent
    if rule.stop == CLOSED and centre[1] <= m.hclose:
        fall = centre[0] - centre[1]
        return True, (m.hclose - centre[1]) / fall if fall > 0.0 else 0.0
    if rule.stop == READY and after >= rule.need:
        return True, (after - rule.need) / (after - before) if after > before else 0.0
    if rule.stop == UNBONDED and (after <= rule.need or Tw >= m.Tm):
        return True, (rule.need - after) / (before - after) if after < before else 0.0
    return rule.stop == THAWED and most <= 1e-9, 0.0


@njit(nogil=True, cache=True)
def advance(
    H: Array, Tw: Array, clock: Array, history: Array, rows: int, m: Tables, g: Mesh, w: Wall,
    o: Outside, rule: Rule,
) -> tuple[int, int]:  # fmt: skip
    """Advance the column until its event or its end; return (why, rows of history).

    ``H`` enthalpy [J/m3], shape (axial, radial); ``Tw`` wall [K], shape (axial,); ``clock`` and
    ``history``, shape (most rows, ROW), are changed in place. When the history is full its last
    row is written over. ``FAILED`` where Newton's method does not settle.
    """
    s = scratch(H.shape[0], H.shape[1])
    extent = min(history[rows - 1, 1], history[rows - 1, 2]) if rows > 0 else 0.0
    while clock[NOW] < rule.end:
        limit = _axial(H, m, g, s)
        _wall_link(H, Tw, m, g, w, s)
        wish = max(rule.first, rule.eta * clock[SINCE])
        dt = _step(H, Tw, min(limit, wish, rule.end - clock[NOW] + 1e-9), m, g, w, o, s)
        if dt <= 0.0:
            return FAILED, rows
        _tick(Tw, dt, clock, o)
        row = min(rows, len(history) - 1)
        most = _record(H, Tw, clock, history[row], m, g, s)
        rows = row + 1
        last, extent = extent, min(history[row, 1], history[row, 2])
        came, beyond = _event(rule, m, (s.Hn[0, 0], H[0, 0]), (last, extent), Tw[0], most)
        if came:
            clock[EVENT] -= min(max(beyond, 0.0), 1.0) * dt
            return rule.stop, rows
    return TIME, rows
