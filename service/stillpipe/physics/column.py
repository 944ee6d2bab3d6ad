"""The solver's kernel: a two-dimensional enthalpy column with an implicit pipe wall.

Half of the bore is cut into axial x radial cells, z = 0 being the jacket's centre. Each cell
holds its enthalpy per volume, so that latent heat is conserved exactly. A step solves, by
Newton's method, the radial conduction of every axial slice together with the wall and its axial
conduction: each slice is eliminated down to a linear relation between the wall's temperature and
the heat the slice gives it, which leaves one tridiagonal system for the wall. Axial conduction in
the bore, far slower, is explicit; the step is held inside its stability limit. Compiled with
numba (``nogil``: threads run it side by side), because the time is spent in short dependent
recurrences that array operations cannot express.
"""

import math

import numpy as np
from numba import njit

RUN, CLOSED, READY, UNBONDED, THAWED, TIME, FAILED = 0, 1, 2, 3, 4, 5, 6
"""Why :func:`advance` came back; also what it may be asked to stop at."""

ROW = 7
"""Columns of a history row: time, closed half-length, bonded half-length, heat drawn under the
jacket, heat taken from everywhere outside, wall temperature at the centre, liquid fraction of the
central slice."""


@njit(nogil=True, cache=True)
def lookup(h, h0, inv, last, table):  # type: ignore[no-untyped-def]
    """Return value and slope of a table on a uniform enthalpy grid at ``h`` [J/m3]."""
    x = (h - h0) * inv
    i = int(x)
    i = min(max(i, 0), last)
    d = table[i + 1] - table[i]
    return table[i] + (x - i) * d, d * inv


@njit(nogil=True, cache=True)
def _wall_link(H, Tw, rf, dz, Rlin, Tt, kt, h0, inv, ksol, kliq, Gw):  # type: ignore[no-untyped-def]
    """Fill the conductances from the outermost cells to the wall's node [W/K].

    A cell at the freezing point conducts as ice towards a colder wall, as liquid towards a warmer
    one: what freezes or melts first is what touches the wall.
    """
    nz, nr = H.shape
    last = len(Tt) - 2
    half = math.log(rf[nr] / (0.5 * (rf[nr] + rf[nr - 1])))
    for j in range(nz):
        T, s = lookup(H[j, nr - 1], h0, inv, last, Tt)
        if s > 0.0:
            k, _ = lookup(H[j, nr - 1], h0, inv, last, kt)
        else:
            k = ksol if Tw[j] < T else kliq
        Gw[j] = 2.0 * math.pi * dz[j] / (half / k + Rlin)


@njit(nogil=True, cache=True)
def _extent(phi, dz, z, T, Tm):  # type: ignore[no-untyped-def]
    """Half-length over which the centre line is solid [m], from the inner row's solid share."""
    nz = len(dz)
    m = -1
    while m + 1 < nz and phi[m + 1] >= 1.0:
        m += 1
    if m < 0:
        return 0.0
    if m == nz - 1:
        return z[m] + 0.5 * dz[m]
    step = z[m + 1] - z[m]
    if phi[m + 1] > 0.0:
        return z[m] + phi[m + 1] * step
    span = T[m + 1] - T[m]
    part = (Tm - T[m]) / span if span > 0.0 else 0.0
    return z[m] + min(max(part, 0.0), 0.5) * step


@njit(nogil=True, cache=True)
def _crossing(Tw, z, dz, Tm):  # type: ignore[no-untyped-def]
    """Half-length over which the wall is below the melting point [m]."""
    nz = len(z)
    if Tw[0] >= Tm:
        return 0.0
    j = 0
    while j + 1 < nz and Tw[j + 1] < Tm:
        j += 1
    if j == nz - 1:
        return z[j] + 0.5 * dz[j]
    return z[j] + (Tm - Tw[j]) / (Tw[j + 1] - Tw[j]) * (z[j + 1] - z[j])


@njit(nogil=True, cache=True)
def _newton(H, Hn, Tw, Twn, dt, rhs, Gr, Gw, Gz, Ge, Te, V, Cw, dz, Tt, At, h0, inv, work):  # type: ignore[no-untyped-def]
    """Solve one implicit step in place; return the number of iterations, or -1."""
    nz, nr = H.shape
    last = len(Tt) - 2
    alpha, beta, p, q, diag, right = work
    for it in range(25):
        for j in range(nz):
            pp, qq = 0.0, 0.0
            for i in range(nr):
                A, s = lookup(H[j, i], h0, inv, last, At)
                a = A - s * H[j, i]
                g, ao, so = Gr[i] * dz[j], a, s
                if i == nr - 1:
                    T, so = lookup(H[j, i], h0, inv, last, Tt)
                    g, ao = Gw[j], T - so * H[j, i]
                cap = V[i] * dz[j] / dt
                den = cap + g * so + pp * s
                al = (cap * Hn[j, i] + rhs[j, i] + qq - pp * a - g * ao) / den
                be = g / den
                alpha[j, i], beta[j, i] = al, be
                qq = g * (ao + so * al)
                pp = g * (1.0 - so * be)
            p[j], q[j] = pp, qq
        for j in range(nz):
            c = Cw[j] / dt
            d = c + p[j] + Ge[j]
            r = c * Twn[j] + q[j] + Ge[j] * Te[j]
            if j > 0:
                d += Gz[j - 1]
            if j < nz - 1:
                d += Gz[j]
            if j > 0:
                f = Gz[j - 1] / diag[j - 1]
                d -= f * Gz[j - 1]
                r += f * right[j - 1]
            diag[j], right[j] = d, r
        Tw[nz - 1] = right[nz - 1] / diag[nz - 1]
        for j in range(nz - 2, -1, -1):
            Tw[j] = (right[j] + Gz[j] * Tw[j + 1]) / diag[j]
        miss = 0.0
        for j in range(nz):
            out = Tw[j]
            for i in range(nr - 1, -1, -1):
                old = H[j, i]
                A, s = lookup(old, h0, inv, last, At)
                new = alpha[j, i] + beta[j, i] * out
                out = A + s * (new - old)
                true, _ = lookup(new, h0, inv, last, At)
                miss = max(miss, abs(true - out))
                H[j, i] = new
        if miss < 0.02:
            return it + 1
    return -1


@njit(nogil=True, cache=True)
def advance(
    H,
    Tw,
    clock,
    hist,
    n,
    rf,
    dz,
    nj,
    hje,
    hae,
    Tj,
    Ta,
    Rlin,
    Rwo,
    Gz,
    Cw,
    Tt,
    At,
    kt,
    ft,  # type: ignore[no-untyped-def]
    h0,
    inv,
    Tm,
    ksol,
    kliq,
    fplug,
    hclose,
    eta,
    dt0,
    t_end,
    stop,
    need,
    keep,
):
    """Advance the column until ``stop`` or ``t_end``; return (why, rows of history).

    Parameters
    ----------
    H, Tw
        enthalpy [J/m3], shape (axial, radial), and wall temperature [K], changed in place
    clock
        [time s, time since the last change of the boundary s, heat under the jacket J, heat
        from outside J, last step s, interpolated time of the event s], changed in place
    hist, n
        history rows, shape (rows, ROW), and how many are filled
    rf, dz, nj
        radial faces [m], axial widths [m], slices under the jacket
    hje, hae, Tj, Ta
        conductance per length outside, under and beside the jacket [W/(m K)], and temperatures
    Rlin, Rwo
        radial resistance times length of lining and inner half wall, of the outer half [m K/W]
    Gz, Cw
        axial conductance of the wall [W/K] and its heat capacity [J/K], per slice
    Tt, At, kt, ft
        temperature [K], its Kirchhoff transform, the integral of conductivity over temperature
        [W/m], conductivity [W/(m K)], solid fraction [-], on the enthalpy grid
    ksol, kliq
        conductivity of ice and of the liquid at the freezing point [W/(m K)]
    need
        half-length at which the plug counts as ready, or below which it counts as lost [m]
    """
    nz, nr = H.shape
    last = len(Tt) - 2
    Gr = np.empty(nr)
    Ga = np.zeros((nz, nr))
    Gw = np.empty(nz)
    Ge = np.empty(nz)
    Te = np.empty(nz)
    V = np.empty(nr)
    z = np.empty(nz)
    rhs = np.empty((nz, nr))
    T = np.empty((nz, nr))
    s = np.empty((nz, nr))
    Hn = np.empty((nz, nr))
    Twn = np.empty(nz)
    phi = np.empty(nz)
    Tc = np.empty(nz)
    work = (
        np.empty((nz, nr)),
        np.empty((nz, nr)),
        np.empty(nz),
        np.empty(nz),
        np.empty(nz),
        np.empty(nz),
    )
    edge = 0.0
    for j in range(nz):
        z[j] = edge + 0.5 * dz[j]
        edge += dz[j]
        outer = 1.0 / hje if j < nj else 1.0 / hae
        Ge[j] = dz[j] / (Rwo + outer) if outer < 1e30 else 0.0
        Te[j] = Tj if j < nj else Ta
    for i in range(nr):
        V[i] = math.pi * (rf[i + 1] ** 2 - rf[i] ** 2)
        Gr[i] = 2.0 * math.pi * rf[i + 1] / (rf[1] - rf[0])
        for j in range(nz - 1):
            Ga[j, i] = V[i] / (z[j + 1] - z[j])
    last_extent = min(hist[n - 1, 1], hist[n - 1, 2]) if n > 0 else 0.0
    while True:
        if clock[0] >= t_end:
            clock[5] = clock[0]
            return TIME, n
        limit = 1e30
        for j in range(nz):
            for i in range(nr):
                T[j, i], s[j, i] = lookup(H[j, i], h0, inv, last, At)
        _wall_link(H, Tw, rf, dz, Rlin, Tt, kt, h0, inv, ksol, kliq, Gw)
        for j in range(nz):
            for i in range(nr):
                flux, total = 0.0, 0.0
                if j > 0:
                    flux += Ga[j - 1, i] * (T[j - 1, i] - T[j, i])
                    total += Ga[j - 1, i]
                if j < nz - 1:
                    flux += Ga[j, i] * (T[j + 1, i] - T[j, i])
                    total += Ga[j, i]
                rhs[j, i] = flux
                if s[j, i] > 0.0:
                    limit = min(limit, 0.8 * V[i] * dz[j] / (total * s[j, i]))
        dt = min(limit, max(dt0, eta * clock[1]), t_end - clock[0] + 1e-12)
        Hn[:, :] = H
        Twn[:] = Tw
        iters = -1
        for _try in range(12):
            iters = _newton(
                H, Hn, Tw, Twn, dt, rhs, Gr, Gw, Gz, Ge, Te, V, Cw, dz, Tt, At, h0, inv, work
            )
            if iters > 0:
                break
            H[:, :] = Hn
            Tw[:] = Twn
            dt *= 0.5
        if iters < 0:
            return FAILED, n
        under, outside = 0.0, 0.0
        for j in range(nz):
            heat = Ge[j] * (Tw[j] - Te[j]) * dt
            if j < nj:
                under += heat
            else:
                outside += heat
        clock[0] += dt
        clock[1] += dt
        clock[2] += under
        clock[3] -= outside
        clock[4] = dt
        solid = 0.0
        most = 0.0
        for j in range(nz):
            f, _ = lookup(H[j, 0], h0, inv, last, ft)
            phi[j] = f / fplug
            Tc[j], _ = lookup(H[j, 0], h0, inv, last, Tt)
            for i in range(nr):
                f, _ = lookup(H[j, i], h0, inv, last, ft)
                most = max(most, f)
                if j == 0:
                    solid += f * V[i]
        closed = _extent(phi, dz, z, Tc, Tm)
        bonded = _crossing(Tw, z, dz, Tm)
        row = n if n < keep else keep - 1
        hist[row, 0] = clock[0]
        hist[row, 1] = closed
        hist[row, 2] = bonded
        hist[row, 3] = clock[2]
        hist[row, 4] = clock[3]
        hist[row, 5] = Tw[0]
        hist[row, 6] = 1.0 - solid / (math.pi * rf[nr] ** 2)
        n = row + 1
        extent = min(closed, bonded)
        if stop == CLOSED and H[0, 0] <= hclose:
            over = (hclose - H[0, 0]) / (Hn[0, 0] - H[0, 0]) if Hn[0, 0] > H[0, 0] else 0.0
            clock[5] = clock[0] - over * dt
            return CLOSED, n
        if stop == READY and extent >= need:
            over = (extent - need) / (extent - last_extent) if extent > last_extent else 0.0
            clock[5] = clock[0] - min(over, 1.0) * dt
            return READY, n
        if stop == UNBONDED and (extent <= need or Tw[0] >= Tm):
            over = (need - extent) / (last_extent - extent) if extent < last_extent else 0.0
            clock[5] = clock[0] - min(max(over, 0.0), 1.0) * dt
            return UNBONDED, n
        last_extent = extent
        if stop == THAWED and most <= 1e-9:
            clock[5] = clock[0]
            return THAWED, n
