"""One implicit step of the column.

Each cell holds its enthalpy per volume, so that latent heat is conserved exactly, and conducts by
its Kirchhoff transform A (the integral of conductivity over temperature), so that a cell at the
freezing point needs no mixed conductivity. A step solves, by Newton's method on the straight piece
of A(H) on which each cell lies, the radial conduction of every slice together with the wall and its
axial conduction: each slice is eliminated down to a linear relation between the temperature of the
wall's outermost node and the heat it gives that, which leaves one tridiagonal system for these
nodes. Arrays are (ring, slice), so that the elimination runs side by side over slices. Axial
conduction in the bore and in a thick wall's inner nodes, far slower, is explicit; a step beyond
its stability limit is put right by an implicit correction along each ring that leaves a steady
state as it is. How well the liquid circulates and the room's film are those before the step.
Compiled with numba (``nogil``).
"""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stillpipe.physics.column.circulation import Circulation, circulate
from stillpipe.physics.column.exposure import expose
from stillpipe.physics.column.mesh import FAST, Bounds, Mesh, Outside, Wall
from stillpipe.physics.column.tables import Tables, piece, transform
from stillpipe.physics.compiling import njit

Array = NDArray[np.float64]
Counts = NDArray[np.int64]

(
    RUN, CLOSED, READY, UNBONDED, THAWED, ENDED, FULL, GROWN, FAILED, EXHAUSTED, CANCELLED,
) = range(11)  # fmt: skip
"""What the column may be asked to stop at, and why it came back."""

FARTHEST = 20.0
"""Longest step over the limit of explicit axial conduction that the correction keeps stable [-]:
measured, 40 holds and 80 does not."""
FARTHEST_INNER = 8.0
"""The same where the wall has inner nodes, explicit too: 20 does not hold."""


class State(NamedTuple):
    """Enthalpy ``H`` [J/m3], shape (rings, slices); ``clock``, shape (5,).

    The wall's temperature: of the outermost node, ``Tw``, and of those within it, ``Ti``, shape
    (nodes within, slices) [K]. ``link`` is the last step's conductance from the outermost cells to
    the wall [W/(m K)].
    """

    H: Array
    Tw: Array
    Ti: Array
    link: Array
    clock: Array


class Scratch(NamedTuple):
    """Arrays a step works in: of all cells, of slices, and of the wall's inner nodes."""

    a: Array
    S: Array
    A: Array
    rhs: Array
    Hn: Array
    alpha: Array
    beta: Array
    Twn: Array
    ta: Array
    ts: Array
    p: Array
    q: Array
    diag: Array
    right: Array
    share: Array
    out: Array
    worst: Array
    E: Array
    Tin: Array
    alpha_in: Array
    beta_in: Array
    rhs_in: Array


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def scratch(nr: int, nz: int, inner: int) -> Scratch:
    """Return working arrays for ``nr`` rings of ``nz`` slices and ``inner`` nodes of the wall."""
    c, v, w = np.empty((7, nr, nz)), np.empty((11, nz)), np.empty((4, inner, nz))
    return Scratch(
        c[0], c[1], c[2], c[3], c[4], c[5], c[6], v[0], v[1], v[2], v[3], v[4], v[5], v[6], v[7],
        v[8], v[9], v[10], w[0], w[1], w[2], w[3],
    )  # fmt: skip


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def look_up(H: Array, m: Tables, s: Scratch) -> None:
    """Fill the piece of A(H) of every cell, and of T(H) of the outermost ring.

    Liquid conducts as well as it circulates: beyond ``m.Aliq`` A rises ``s.E`` times as steeply.
    """
    nr, nz = H.shape
    top, liquid, E = m.pieces.shape[0] - 1.0, np.uint32(m.liquid), s.E
    for i in range(nr):
        a, S, row = s.a[i], s.S[i], H[i]
        for j in range(nz):
            k = np.uint32(np.int32(min(max((row[j] - m.h0) * m.inv, 0.0), top)))
            e = 1.0 + (E[j] - 1.0) * (k >= liquid)
            a[j] = m.Aliq + e * (m.pieces[k, 0] - m.Aliq)
            S[j] = e * m.pieces[k, 1]
    for j in range(nz):
        k = np.uint32(np.int32(min(max((H[nr - 1, j] - m.h0) * m.inv, 0.0), top)))
        s.ta[j], s.ts[j] = m.pieces[k, 2], m.pieces[k, 3]


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def _axial(H: Array, m: Tables, g: Mesh, s: Scratch) -> float:
    """Fill the explicit axial heat of every cell [W/m]; return the longest stable step [s].

    Liquid conducts along the pipe as the mean of two slices does across it.
    """
    nr, nz = H.shape
    last = nz - 1
    before, after = g.before[1:last], g.after[1:last]
    solid, still, mean, rest, flux = s.p, s.q, s.diag, s.right, s.out
    for j in range(nz):
        s.worst[j] = 0.0
        rest[j] = 1.0 / s.E[j]
    for j in range(last):
        mean[j] = 0.5 * (s.E[j] + s.E[j + 1])
    for i in range(nr):
        a, S, h, A, rhs, area = s.a[i], s.S[i], H[i], s.A[i], s.rhs[i], g.area[i]
        for j in range(nz):
            A[j] = a[j] + S[j] * h[j]
            solid[j] = min(A[j], m.Aliq)
            still[j] = (A[j] - solid[j]) * rest[j]
            s.worst[j] = max(s.worst[j], S[j])
        for j in range(last):
            flux[j] = solid[j + 1] - solid[j] + mean[j] * (still[j + 1] - still[j])
        rhs[0] = area * g.after[0] * flux[0]
        rhs[last] = -area * g.before[last] * flux[last - 1]
        middle, back, ahead = rhs[1:last], flux[: last - 1], flux[1:last]
        for j in range(last - 1):
            middle[j] = area * (after[j] * ahead[j] - before[j] * back[j])
    fastest = 1e-30
    for j in range(nz):
        fastest = max(fastest, (g.before[j] + g.after[j]) * s.worst[j])
    return 0.8 / fastest


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def _along(Ti: Array, dt: float, g: Mesh, w: Wall, s: Scratch) -> None:
    """Fill the explicit axial heat of the wall's inner nodes [W/m], less where ``dt`` [s] is long.

    Such a wall conducts little along the pipe; what it does must not upset the step.
    """
    inner, nz = Ti.shape
    if inner == 0:
        return
    fastest = 0.0
    for j in range(nz):
        fastest = max(fastest, g.before[j] + g.after[j])
    conducts = min(w.along, 0.5 * w.heat / (fastest * dt))
    for i in range(inner):
        for j in range(nz):
            flux = g.after[j] * (Ti[i, j + 1] - Ti[i, j]) if j + 1 < nz else 0.0
            flux -= g.before[j] * (Ti[i, j] - Ti[i, j - 1]) if j > 0 else 0.0
            s.rhs_in[i, j] = conducts * flux * w.area[i]


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def _correct(H: Array, dt: float, g: Mesh, s: Scratch) -> None:
    """Take the step's change through (1 - dt Lz) along every ring, which makes it stable.

    Slopes are secants from the old to the provisional state, so that plateaus stay. What a ring
    holds in all, and a steady state, are unchanged. The slopes of A(H) must be looked up again.
    """
    nr, nz = H.shape
    last = nz - 1
    slope, change, share, moved = s.S, s.alpha, s.beta, s.rhs
    for i in range(nr):
        a, S, A, h, hn, rise = s.a[i], slope[i], s.A[i], H[i], s.Hn[i], moved[i]
        for j in range(nz):
            d = h[j] - hn[j]
            secant = (a[j] + S[j] * h[j] - A[j]) / (d if abs(d) > 1.0 else 1.0)
            S[j] = secant if abs(d) > 1.0 else S[j]
            rise[j] = S[j] * d
    for j in range(nz):
        low, high = dt * g.before[j], dt * g.after[j]
        for i in range(nr):
            c, e = slope[i, j] * low, slope[i, j] * high
            back = share[i, j - 1] if j > 0 else 0.0
            ahead = change[i, j - 1] if j > 0 else 0.0
            v = 1.0 / (1.0 + c + e - c * back)
            share[i, j] = e * v
            change[i, j] = (moved[i, j] + c * ahead) * v
    for j in range(last - 1, -1, -1):
        for i in range(nr):
            change[i, j] += share[i, j] * change[i, j + 1]
    before, after = g.before[1:last], g.after[1:last]
    for i in range(nr):
        h, d = H[i], change[i]
        h[0] += dt * g.after[0] * (d[1] - d[0])
        h[last] -= dt * g.before[last] * (d[last] - d[last - 1])
        middle, left, here, right = h[1:last], d[: last - 1], d[1:last], d[2:]
        for j in range(last - 1):
            middle[j] += dt * (after[j] * (right[j] - here[j]) - before[j] * (here[j] - left[j]))


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def _wall_link(x: State, m: Tables, g: Mesh, w: Wall, s: Scratch) -> None:
    """Fill the conductances from the outermost cells to the wall's node [W/(m K)].

    A half cell conducts by its mean conductivity between its temperature and the wall's surface of
    the last step, so that at the freezing point it is ice towards a colder wall, liquid towards a
    warmer one: what freezes or melts first is what touches the wall.
    """
    nr, nz = x.H.shape
    wall, link = x.Ti[0] if len(x.Ti) > 0 else x.Tw, x.link
    for j in range(nz):
        h, e = x.H[nr - 1, j], s.E[j]
        T = s.ta[j] + s.ts[j] * h
        surface = wall[j] + (T - wall[j]) * link[j] * w.inner / (2.0 * math.pi)
        if abs(surface - T) > 0.5:
            A = s.a[nr - 1, j] + s.S[nr - 1, j] * h
            B = transform(surface, m)
            k = (min(B, m.Aliq) + e * max(B - m.Aliq, 0.0) - A) / (surface - T)
        elif s.ts[j] > 0.0:
            n = piece(h, m)
            row = m.pieces[n]
            k = (row[4] + row[5] * h) * (e if n >= m.liquid else 1.0)
        else:
            k = m.ksol if wall[j] < T else m.kliq * e
        link[j] = 2.0 * math.pi / (g.half / k + w.inner)


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def interface(x: State, j: int, m: Tables, w: Wall) -> float:
    """Temperature [K] of the surface between what fills the bore and slice ``j`` of the pipe."""
    h = x.H[x.H.shape[0] - 1, j]
    row = m.pieces[piece(h, m)]
    wall = x.Ti[0, j] if len(x.Ti) > 0 else x.Tw[j]
    T = row[2] + row[3] * h
    return float(wall + (T - wall) * x.link[j] * w.inner / (2.0 * math.pi))


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def _eliminate(H: Array, link: Array, dt: float, g: Mesh, s: Scratch) -> None:
    """Reduce every slice to the heat it gives the wall, ``p Tw - q`` [W/m], linearised at ``H``."""
    nr, nz = H.shape
    p, q = s.p, s.q
    for j in range(nz):
        p[j] = 0.0
        q[j] = 0.0
    for i in range(nr - 1):
        a, S, Hn, rhs, alpha, beta = s.a[i], s.S[i], s.Hn[i], s.rhs[i], s.alpha[i], s.beta[i]
        capacity, shell = g.area[i] / dt, g.shell[i]
        for j in range(nz):
            v = 1.0 / (capacity + (shell + p[j]) * S[j])
            x = (capacity * Hn[j] + rhs[j] + q[j] - (p[j] + shell) * a[j]) * v
            b = shell * v
            alpha[j] = x
            beta[j] = b
            q[j] = shell * (a[j] + S[j] * x)
            p[j] = shell - shell * S[j] * b
    i = nr - 1
    a, S, Hn, rhs, alpha, beta = s.a[i], s.S[i], s.Hn[i], s.rhs[i], s.alpha[i], s.beta[i]
    capacity = g.area[i] / dt
    for j in range(nz):
        v = 1.0 / (capacity + link[j] * s.ts[j] + p[j] * S[j])
        x = (capacity * Hn[j] + rhs[j] + q[j] - p[j] * a[j] - link[j] * s.ta[j]) * v
        b = link[j] * v
        alpha[j] = x
        beta[j] = b
        q[j] = link[j] * (s.ta[j] + s.ts[j] * x)
        p[j] = link[j] - link[j] * s.ts[j] * b


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def _eliminate_wall(dt: float, w: Wall, s: Scratch) -> None:
    """Go on from the bore's surface through the wall's inner nodes."""
    inner, nz = s.Tin.shape
    for i in range(inner):
        capacity, shell = w.area[i] * w.heat / dt, w.shell[i]
        for j in range(nz):
            v = 1.0 / (capacity + s.p[j] + shell)
            x = (capacity * s.Tin[i, j] + s.rhs_in[i, j] + s.q[j]) * v
            s.alpha_in[i, j], s.beta_in[i, j] = x, shell * v
            s.q[j] = shell * x
            s.p[j] = shell - shell * shell * v


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def _solve_wall(Tw: Array, dt: float, g: Mesh, w: Wall, o: Outside, s: Scratch) -> None:
    """Solve the wall's tridiagonal system for ``Tw`` [K]."""
    nz = len(Tw)
    for j in range(nz):
        capacity = w.capacity[j] / dt
        s.diag[j] = capacity + s.p[j] * g.dz[j] + o.G[j] + w.axial[j]
        s.right[j] = capacity * s.Twn[j] + s.q[j] * g.dz[j] + o.G[j] * o.T[j]
    v = 1.0 / s.diag[0]
    for j in range(1, nz):
        link = w.axial[j - 1]
        share = link * v
        s.share[j] = share
        s.diag[j - 1] = v
        v = 1.0 / (s.diag[j] + link - share * link)
        s.right[j] += share * s.right[j - 1]
    T = s.right[nz - 1] * v
    Tw[nz - 1] = T
    for j in range(nz - 2, -1, -1):
        T = s.right[j] * s.diag[j] + s.share[j + 1] * T
        Tw[j] = T


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def _substitute(x: State, tolerance: float, m: Tables, s: Scratch) -> int:
    """Put the wall's temperature back into the slices; return how many cells miss.

    A cell misses where its linearisation is off by more than ``tolerance`` [W/m].
    """
    nr, nz = x.H.shape
    out, top, misses = s.out, m.pieces.shape[0] - 1.0, 0
    liquid, E = np.uint32(m.liquid), s.E
    for j in range(nz):
        out[j] = x.Tw[j]
    for i in range(len(x.Ti) - 1, -1, -1):
        for j in range(nz):
            out[j] = s.alpha_in[i, j] + s.beta_in[i, j] * out[j]
            x.Ti[i, j] = out[j]
    for i in range(nr - 1, -1, -1):
        a, S, alpha, beta, row = s.a[i], s.S[i], s.alpha[i], s.beta[i], x.H[i]
        for j in range(nz):
            h = alpha[j] + beta[j] * out[j]
            A = a[j] + S[j] * h
            k = np.uint32(np.int32(min(max((h - m.h0) * m.inv, 0.0), top)))
            e = 1.0 + (E[j] - 1.0) * (k >= liquid)
            value, slope = m.Aliq + e * (m.pieces[k, 0] - m.Aliq), e * m.pieces[k, 1]
            misses += abs(value + slope * h - A) > tolerance
            row[j], out[j], a[j], S[j] = h, A, value, slope
            if i == nr - 1:
                s.ta[j], s.ts[j] = m.pieces[k, 2], m.pieces[k, 3]
    return misses


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def copy(H: Array, Tw: Array, Ti: Array, to_H: Array, to_Tw: Array, to_Ti: Array) -> None:
    """Copy enthalpies and wall temperatures, element by element, which compiles fast."""
    for i in range(len(H)):
        for j in range(len(Tw)):
            to_H[i, j] = H[i, j]
    for i in range(len(Ti)):
        for j in range(len(Tw)):
            to_Ti[i, j] = Ti[i, j]
    for j in range(len(Tw)):
        to_Tw[j] = Tw[j]


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def restore(x: State, m: Tables, s: Scratch) -> None:
    """Go back to the state before the step."""
    copy(s.Hn, s.Twn, s.Tin, x.H, x.Tw, x.Ti)
    look_up(x.H, m, s)


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def take(
    x: State, now: float, wish: float, bounds: Bounds, m: Tables, c: Circulation, g: Mesh, w: Wall,
    o: Outside, s: Scratch, counts: Counts, flag: Counts,
) -> tuple[int, float]:  # fmt: skip
    """Take one implicit step of ``wish`` [s] or less; return why it ended and the step taken.

    The step is halved where Newton's method does not settle. Enthalpy is conserved whether it has
    settled or not, since the fluxes are those of the linear system that was solved.
    """
    circulate(x.H, m, g, c, s.p, s.q, s.E)
    look_up(x.H, m, s)
    limit = _axial(x.H, m, g, s)
    far = (FARTHEST if len(x.Ti) == 0 else FARTHEST_INNER) * limit
    dt = min(wish, max(min(bounds.reach * limit, far), min(bounds.least * wish, far)))
    _along(x.Ti, dt, g, w, s)
    _wall_link(x, m, g, w, s)
    copy(x.H, x.Tw, x.Ti, s.Hn, s.Twn, s.Tin)
    for _ in range(12):
        expose(s.Twn, now, dt, g, o)
        for _ in range(25):
            counts[0] += len(x.Tw)
            if counts[0] > counts[1]:
                return EXHAUSTED, 0.0
            if flag[0] != 0:
                return CANCELLED, 0.0
            _eliminate(x.H, x.link, dt, g, s)
            _eliminate_wall(dt, w, s)
            _solve_wall(x.Tw, dt, g, w, o, s)
            if _substitute(x, bounds.tolerance, m, s) == 0:
                if dt > limit:
                    _correct(x.H, dt, g, s)
                return RUN, dt
        restore(x, m, s)
        dt *= 0.5
    return FAILED, 0.0
