"""One implicit step of the column.

Each cell holds its enthalpy per volume, so that latent heat is conserved exactly, and conducts by
its Kirchhoff transform A (the integral of conductivity over temperature), so that a cell at the
freezing point needs no mixed conductivity. A step solves, by Newton's method on the straight piece
of A(H) on which each cell lies, the radial conduction of every slice together with the wall and its
axial conduction: each slice is eliminated down to a linear relation between the temperature of the
wall's outermost node and the heat it gives that, which leaves one tridiagonal system for these
nodes. Arrays are (ring, slice), so that the elimination runs side by side over slices. Axial
conduction in the bore and in a thick wall's inner nodes, far slower, is explicit; a step beyond its
stability limit is put right by an implicit correction along each ring, as far out as it needs one,
that leaves a steady state as it is. How well the liquid circulates and the room's film are those
before the step.
Compiled with numba (``nogil``).
"""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stillpipe.physics.column import axial
from stillpipe.physics.column.circulation import Circulation, circulate
from stillpipe.physics.column.exposure import expose
from stillpipe.physics.column.mesh import FAST, Bounds, Mesh, Outside, Scratch, Wall, part
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


@part
def look_up(H: Array, m: Tables, s: Scratch) -> None:
    """Fill the piece of A(H) of every cell, and of T(H) of the outermost ring."""
    for i in range(len(H)):
        _look_up_ring(H[i], s.E, m, s.a[i], s.S[i])
    look_up_surface(H[len(H) - 1], m, s)


@part
def _look_up_ring(row: Array, E: Array, m: Tables, a: Array, S: Array) -> None:
    """Fill the pieces of A(H), ``a`` + ``S`` H, of a ring's enthalpies.

    Liquid conducts as well as it circulates: beyond ``m.Aliq`` A rises ``E`` times as steeply.
    """
    top, liquid = m.pieces.shape[0] - 1.0, np.uint32(m.liquid)
    for j in range(len(row)):
        k = np.uint32(np.int32(min(max((row[j] - m.h0) * m.inv, 0.0), top)))
        e = 1.0 + (E[j] - 1.0) * (k >= liquid)
        a[j] = m.Aliq + e * (m.pieces[k, 0] - m.Aliq)
        S[j] = e * m.pieces[k, 1]


@part
def look_up_surface(row: Array, m: Tables, s: Scratch) -> None:
    """Fill the pieces of T(H) of the outermost ring's enthalpies."""
    top = m.pieces.shape[0] - 1.0
    for j in range(len(row)):
        k = np.uint32(np.int32(min(max((row[j] - m.h0) * m.inv, 0.0), top)))
        s.ta[j], s.ts[j] = m.pieces[k, 2], m.pieces[k, 3]


@part
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


@part
def interfaces(x: State, w: Wall, s: Scratch, T: Array) -> None:
    """Fill temperatures ``T`` [K] of the surface between what fills the bore and the pipe.

    The pieces of T(H) of the outermost ring are those looked up last.
    """
    row, part = x.H[x.H.shape[0] - 1], w.inner / (2.0 * math.pi)
    wall = x.Ti[0] if len(x.Ti) > 0 else x.Tw
    for j in range(len(T)):
        inside = s.ta[j] + s.ts[j] * row[j]
        T[j] = wall[j] + (inside - wall[j]) * x.link[j] * part


@part
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


@part
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


@part
def _solve_wall(Tw: Array, dt: float, g: Mesh, w: Wall, o: Outside, s: Scratch) -> None:
    """Solve the wall's tridiagonal system for ``Tw`` [K].

    It is eliminated from both ends at once, since one division waits for the one before it.
    """
    nz, link, inverse, right = len(Tw), w.axial, s.diag, s.right
    last, middle = nz - 1, nz // 2
    for j in range(nz):
        capacity = w.capacity[j] / dt
        inverse[j] = capacity + s.p[j] * g.dz[j] + o.G[j] + link[j]
        right[j] = capacity * s.Twn[j] + s.q[j] * g.dz[j] + o.G[j] * o.T[j]
    low = inverse[0] = 1.0 / inverse[0]
    high = inverse[last] = 1.0 / (inverse[last] + link[last - 1])
    for j in range(1, middle):
        k = last - j
        front, back = link[j - 1] * low, link[k] * high
        right[j] += front * right[j - 1]
        right[k] += back * right[k + 1]
        low = inverse[j] = 1.0 / (inverse[j] + link[j - 1] - front * link[j - 1])
        high = inverse[k] = 1.0 / (inverse[k] + link[k - 1] - back * link[k])
    if 2 * middle < nz:
        back = link[middle] * high
        right[middle] += back * right[middle + 1]
        pivot = inverse[middle] + link[middle - 1] - back * link[middle]
    else:
        pivot = 1.0 / high
    across = link[middle - 1] * low
    below = (right[middle] + across * right[middle - 1]) / (pivot - across * link[middle - 1])
    above = (right[middle - 1] + link[middle - 1] * below) * low
    Tw[middle], Tw[middle - 1] = below, above
    for j in range(middle - 2, -1, -1):
        above = Tw[j] = (right[j] + link[j] * above) * inverse[j]
    for j in range(middle + 1, nz):
        below = Tw[j] = (right[j] + link[j - 1] * below) * inverse[j]


@part
def _substitute(x: State, m: Tables, s: Scratch) -> float:
    """Put the wall's temperature back into the slices; return by how much a cell misses [W/m].

    That is by how much the linearisation of the cell that misses most is off.
    """
    nr, nz = x.H.shape
    out, missed = s.out, 0.0
    for j in range(nz):
        out[j] = x.Tw[j]
    for i in range(len(x.Ti) - 1, -1, -1):
        for j in range(nz):
            out[j] = s.alpha_in[i, j] + s.beta_in[i, j] * out[j]
            x.Ti[i, j] = out[j]
    for i in range(nr - 1, -1, -1):
        a, S, alpha, beta, row = s.a[i], s.S[i], s.alpha[i], s.beta[i], x.H[i]
        for j in range(nz):
            row[j] = alpha[j] + beta[j] * out[j]
            out[j] = a[j] + S[j] * row[j]
        _look_up_ring(row, s.E, m, a, S)
        for j in range(nz):
            missed = max(missed, abs(a[j] + S[j] * row[j] - out[j]))
    look_up_surface(x.H[nr - 1], m, s)
    return missed


@part
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


@part
def restore(x: State, m: Tables, s: Scratch) -> None:
    """Go back to the state before the step."""
    copy(s.Hn, s.Twn, s.Tin, x.H, x.Tw, x.Ti)
    look_up(x.H, m, s)


@njit(
    nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST, forceinline=True
)  # fmt: skip
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
    limit = axial.flow(x.H, m, g, s)
    far = (FARTHEST if len(x.Ti) == 0 else FARTHEST_INNER) * limit
    dt = min(wish, max(min(bounds.reach * limit, far), min(bounds.least * wish, far)))
    axial.along_wall(x.Ti, dt, g, w, s)
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
            if _substitute(x, m, s) <= bounds.tolerance:
                if dt > limit:
                    axial.correct(x.H, dt, g, s)
                return RUN, dt
        restore(x, m, s)
        dt *= 0.5
    return FAILED, 0.0
