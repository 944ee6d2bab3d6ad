"""Heat along the pipe: explicit in the bore and in a thick wall's inner nodes.

What a step beyond the explicit stability limit would upset is put right by a correction.
"""

import numpy as np
from numpy.typing import NDArray

from stillpipe.physics.column.mesh import Mesh, Scratch, Wall, part
from stillpipe.physics.column.tables import Tables

Array = NDArray[np.float64]

CALM = 0.5
"""A slice of which a step is no more than such a share of its own limit goes explicitly [-]."""


@part
def flow(H: Array, m: Tables, g: Mesh, s: Scratch) -> float:
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


@part
def along_wall(Ti: Array, dt: float, g: Mesh, w: Wall, s: Scratch) -> None:
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


@part
def _stiff(dt: float, g: Mesh, s: Scratch) -> int:
    """Return how many slices from the centre on a step of ``dt`` [s] is to be corrected in.

    One beyond the last of which the step is more than ``CALM`` of its own limit, by the steeper of
    the slopes before and after the step.
    """
    nr, nz = s.S.shape
    worst, stiff = s.worst, 0
    for i in range(nr):
        S = s.S[i]
        for j in range(nz):
            worst[j] = max(worst[j], S[j])
    for j in range(nz):
        if dt * (g.before[j] + g.after[j]) * worst[j] > CALM:
            stiff = j + 1
    return int(min(stiff + 1, nz))


@part
def correct(H: Array, dt: float, g: Mesh, s: Scratch) -> None:
    """Take the step's change through (1 - dt Lz) along every ring, which makes it stable.

    As far out as the step needs it. Slopes are secants from the old to the provisional state, so
    that plateaus stay. What a ring holds in all, and a steady state, are unchanged. The slopes of
    A(H) must be looked up again.
    """
    nr, nz = H.shape
    stiff = _stiff(dt, g, s)
    last = min(stiff, nz - 1)
    slope, change, share, moved = s.S, s.alpha, s.beta, s.rhs
    for i in range(nr):
        a, S, A, h, hn, rise = s.a[i], slope[i], s.A[i], H[i], s.Hn[i], moved[i]
        for j in range(stiff):
            d = h[j] - hn[j]
            secant = (a[j] + S[j] * h[j] - A[j]) / (d if abs(d) > 1.0 else 1.0)
            S[j] = secant if abs(d) > 1.0 else S[j]
            rise[j] = S[j] * d
        change[i, last] = 0.0
    for j in range(stiff):
        low, high = dt * g.before[j], dt * g.after[j]
        for i in range(nr):
            c, e = slope[i, j] * low, slope[i, j] * high
            back = share[i, j - 1] if j > 0 else 0.0
            ahead = change[i, j - 1] if j > 0 else 0.0
            v = 1.0 / (1.0 + c + e - c * back)
            share[i, j] = e * v
            change[i, j] = (moved[i, j] + c * ahead) * v
    for j in range(stiff - 2, -1, -1):
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
