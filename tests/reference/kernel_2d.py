"""The compiled steps of ``explicit_2d``: explicit finite volumes in the bore and in the wall."""

from typing import Any, NamedTuple

import numpy as np
from numba import njit

Array = np.ndarray[Any, Any]

CLOSED, READY, LOST, THAWED, TIME = range(5)
"""What a solution is stepped to."""
FULL_BOND = 10.0
"""Undercooling of the bore-side interface at which the bond has its whole strength [K]."""
ROW = 4
"""Of the history: time [s], half-lengths of plug, grip and sound plug [m]."""
TAPERING, BLUNT = 0.8, 1.0
"""Open share of the second open slice below which the plug's end is a taper, above which blunt."""
STAGES = 5
"""Of a step, but a single one right before an event from which states are branched."""
GAIN = 0.5 * STAGES * (STAGES + 1)
"""Length of such a step over a single stage's [-]."""
NEAR = -0.05
"""How near to ready that begins, as a share of what is needed less 1 [-]."""
NEVER = -1.0
INSTANT = 1e-9
FROST_POINT = 273.15
NOW, UNDER, BESIDE, FROST, ROWS = range(5)
"""Marks on the way: time reached [s], heat drawn under the jacket and beside it [J], when the
surface where frost is looked for was at 0 C [s], rows of history."""


class Laid(NamedTuple):
    """The mesh: axial widths and gaps between centres [m]; of the rings area [m2], conductance
    to the next one [-] and logarithm from the outermost centre to the wall [-]; the wall's cells
    likewise, resistances times 2 pi length [m K/W]; where frost is looked for."""

    dz: Array
    gap: Array
    area: Array
    radial: Array
    inner: float
    wall_area: Array
    through: Array
    kw: float
    cw: float
    jacket: int
    diameter: float
    frost_cell: int
    frost_part: float


class Fill(NamedTuple):
    """What fills the bore: T, the two integrals, ice fraction and the two k by enthalpy.

    Each with its rise to the next entry.
    ``sharp`` where ice and liquid meet at one temperature, with ``ice_k`` and ``liquid_k`` there:
    in a cell at the wall that is partly ice, the layer on the wall is the one that grows, as thick
    as it then is, though never conducting better than half the cell with ``most_k``.
    """

    h0: float
    inv: float
    table: Array
    freezing: float
    plug: float
    closing: float
    melted: float
    sharp: bool
    ice_k: float
    liquid_k: float
    most_k: float


class Stir(NamedTuple):
    """Circulation: its table, the bore's radius and the jacket's length [m]."""

    table: Array
    t0: float
    inv: float
    radius: float
    height: float
    vertical: bool
    strength: float
    core: float


class Outside(NamedTuple):
    """What lies beyond the pipe."""

    h_jacket: float
    fill_time: float
    h_empty: float
    coolant: float
    room: float
    film: Array
    t0: float
    inv: float


class Fields(NamedTuple):
    """The state, and room to work in: enthalpy [J/m3], wall and outside surface [K]."""

    H: Array
    Tw: Array
    Ts: Array
    temp: Array
    ice: Array
    liquid: Array
    H_rate: Array
    H_last: Array
    Tw_rate: Array
    Tw_last: Array
    open: Array
    link: Array
    stir: Array
    into: Array


@njit(cache=True, nogil=True, error_model="numpy")
def _stirred(stir, T, solid, rim_solid):  # type: ignore[no-untyped-def]
    """Factor on the liquid's conductivity of a slice with mean liquid temperature ``T`` [K]."""
    x = min(max((T - stir.t0) * stir.inv, 0.0), stir.table.size - 1.001)
    m = int(x)
    root = stir.table[m] + (x - m) * (stir.table[m + 1] - stir.table[m])
    annular = rim_solid <= 0.0 and solid > 1e-9
    gap = stir.radius * np.sqrt(max(1.0 - solid, 0.0))
    if annular:
        gap = stir.radius * (1.0 - np.sqrt(solid))
    if gap <= 0.0:
        return 1.0
    if stir.vertical:
        nusselt = root * gap**0.75 * (stir.height / gap) ** -0.3
    elif annular:
        outer = 2.0 * stir.radius
        core = outer * np.sqrt(solid)
        nusselt = root * np.log(outer / core) / (core**-0.6 + outer**-0.6) ** 1.25
    else:
        nusselt = root * stir.core * np.sqrt(gap) * np.sqrt(np.sqrt(gap))
    return 1.0 + stir.strength * max(nusselt - 1.0, 0.0)


@njit(cache=True, nogil=True, error_model="numpy")
def look(f, laid, fill, stir) -> None:  # type: ignore[no-untyped-def]
    """Fill temperatures, integrals, shares still open, circulation, resistances to the wall."""
    H, temp, ice, liquid, areas, table = f.H, f.temp, f.ice, f.liquid, laid.area, fill.table
    nz, nr = H.shape
    factors, shares, links, Tw = f.stir, f.open, f.link, f.Tw
    inner = laid.inner
    top, whole, h0, inv, plug = table.shape[0] - 1.0, np.sum(areas), fill.h0, fill.inv, fill.plug
    for i in range(nz):
        wet, warm, solid, still = 0.0, 0.0, 0.0, 0.0
        share, m, p, T = 0.0, 0, 0.0, 0.0
        for j in range(nr):
            x = min(max((H[i, j] - h0) * inv, 0.0), top)
            m = np.uint32(x)
            p = x - m
            T = table[m, 0] + p * table[m, 1]
            temp[i, j] = T
            ice[i, j] = table[m, 2] + p * table[m, 3]
            liquid[i, j] = table[m, 4] + p * table[m, 5]
            share = table[m, 6] + p * table[m, 7]
            area = areas[j]
            open_area = area * (1.0 - share)
            wet += open_area
            warm += open_area * T
            still += area * max(plug - share, 0.0)
        solid = max(whole - wet, 0.0)
        shares[i] = still / (whole * plug)
        factor = 1.0
        if wet > 1e-9 * whole:
            factor = _stirred(stir, warm / wet, solid / whole, share)
        factors[i] = factor
        if fill.sharp and 0.0 < share < 1.0:
            grown, k = share, fill.ice_k
            if Tw[i, 0] > T:
                grown, k = 1.0 - share, fill.liquid_k
            layer = -0.5 * np.log(1.0 - grown * areas[nr - 1] / whole) / k
            links[i] = max(layer, inner / fill.most_k)
        else:
            k = table[m, 8] + p * table[m, 9] + factor * (table[m, 10] + p * table[m, 11])
            links[i] = inner / k


@njit(cache=True, nogil=True, error_model="numpy")
def _bore(f, laid):  # type: ignore[no-untyped-def]
    """Rates of the bore to ``f.H_rate`` [W/m3]; what goes into the wall to ``f.into`` [W/m]."""
    H_rate, ice, liquid, stirs = f.H_rate, f.ice, f.liquid, f.stir
    radial, area, gap, dz = laid.radial, laid.area, laid.gap, laid.dz
    nz, nr = H_rate.shape
    for i in range(nz):
        here, west, east, a, b = stirs[i], 0.0, 0.0, i, i
        if i > 0:
            a, west = i - 1, 1.0 / (gap[i - 1] * dz[i])
        if i < nz - 1:
            b, east = i + 1, 1.0 / (gap[i] * dz[i])
        left, right = 0.5 * (stirs[a] + here), 0.5 * (stirs[b] + here)
        for j in range(nr):
            own, wet = ice[i, j], liquid[i, j]
            H_rate[i, j] = west * (ice[a, j] - own + left * (liquid[a, j] - wet)) + east * (
                ice[b, j] - own + right * (liquid[b, j] - wet)
            )
        entering = 0.0
        for j in range(nr - 1):
            leaving = radial[j] * (
                ice[i, j] - ice[i, j + 1] + here * (liquid[i, j] - liquid[i, j + 1])
            )
            H_rate[i, j] += (entering - leaving) / area[j]
            entering = leaving
        resistance = f.link[i] + laid.through[0]
        leaving = 2.0 * np.pi * (f.temp[i, nr - 1] - f.Tw[i, 0]) / resistance
        H_rate[i, nr - 1] += (entering - leaving) / area[nr - 1]
        f.into[i] = leaving


@njit(cache=True, nogil=True, error_model="numpy")
def _wall(f, laid, out, conductance, coolant):  # type: ignore[no-untyped-def]
    """Rates of the wall to ``f.Tw_rate`` [K/s]; heat drawn under the jacket and beside it [W]."""
    Tw, Tw_rate, Ts, into = f.Tw, f.Tw_rate, f.Ts, f.into
    wall_area, through, gap, dz = laid.wall_area, laid.through, laid.gap, laid.dz
    film, t0, inv, top = out.film, out.t0, out.inv, out.film.size - 1.001
    around, kw = np.pi * laid.diameter, laid.kw
    nz, nw = Tw.shape
    rim = through[nw] / (2.0 * np.pi)
    under, beside = 0.0, 0.0
    for i in range(nz):
        entering = into[i]
        west = kw / (gap[i - 1] * dz[i]) if i > 0 else 0.0
        east = kw / (gap[i] * dz[i]) if i < nz - 1 else 0.0
        a, b = max(i - 1, 0), min(i + 1, nz - 1)
        for j in range(nw):
            own = Tw[i, j]
            if j < nw - 1:
                leaving = 2.0 * np.pi * (own - Tw[i, j + 1]) / through[j + 1]
            elif i < laid.jacket:
                leaving = (own - coolant) / (rim + 1.0 / (around * conductance))
                under += leaving * dz[i]
                Ts[i] = own - rim * leaving
            else:
                x = min(max((Ts[i] - t0) * inv, 0.0), top)
                m = int(x)
                h = film[m] + (x - m) * (film[m + 1] - film[m])
                leaving = (own - out.room) / (rim + 1.0 / (around * h))
                beside += leaving * dz[i]
                Ts[i] = own - rim * leaving
            gain = (entering - leaving) / wall_area[j]
            gain += west * (Tw[a, j] - own) + east * (Tw[b, j] - own)
            Tw_rate[i, j] = gain / laid.cw
            entering = leaving
    return under, beside


@njit(cache=True, nogil=True, error_model="numpy")
def _blend(now, last, rate, mu, nu, step):  # type: ignore[no-untyped-def]
    """One stage in place: ``mu`` now + ``nu`` last + ``step`` rate; what was now becomes last."""
    a, b, c = now.reshape(-1), last.reshape(-1), rate.reshape(-1)
    for i in range(a.size):
        kept = a[i]
        a[i] = mu * kept + nu * b[i] + step * c[i]
        b[i] = kept


@njit(cache=True, nogil=True, error_model="numpy")
def _step(f, laid, fill, stir, out, conductance, coolant, step, stages):  # type: ignore[no-untyped-def]  # fmt: skip
    """Step in place, ``look`` done; returns heat drawn under the jacket and beside it [J].

    One stage is Euler's explicit step. More make it longer by (s^2 + s) / 2 at the same stability:
    the Runge-Kutta-Legendre method of first order, Meyer, Balsara and Aslam, J. Comput. Phys. 257
    (2014) 594, explicit as well. The heats go through the same stages, so that none is lost.
    """
    each = step * 2.0 / (stages * (stages + 1.0))
    under, beside, under_last, beside_last = 0.0, 0.0, 0.0, 0.0
    for j in range(1, stages + 1):
        if j > 1:
            look(f, laid, fill, stir)
        mu, nu = (2.0 * j - 1.0) / j, (1.0 - j) / j
        _bore(f, laid)
        q_under, q_beside = _wall(f, laid, out, conductance, coolant)
        _blend(f.H, f.H_last, f.H_rate, mu, nu, mu * each)
        _blend(f.Tw, f.Tw_last, f.Tw_rate, mu, nu, mu * each)
        under, under_last = mu * under + nu * under_last + mu * each * q_under, under
        beside, beside_last = mu * beside + nu * beside_last + mu * each * q_beside, beside
    return under, beside


@njit(cache=True, nogil=True, error_model="numpy")
def _closed(f, laid, closing):  # type: ignore[no-untyped-def]
    """Half-length closed from the centre [m].

    Where the bore tapers its open share falls straight to zero at the plug's end: drawn through
    the first two open slices. Where the plug ends bluntly, so that one slice opens and the next
    is wide open, the end lies within the first by what of it is frozen.
    """
    H, share, dz, gap = f.H, f.open, laid.dz, laid.gap
    edge = 0.0
    for i in range(H.shape[0] - 1):
        if H[i, 0] > closing:
            if i == 0:
                return 0.0
            here, beyond = share[i], max(share[i + 1], share[i])
            blunt = min(max((beyond - TAPERING) / (BLUNT - TAPERING), 0.0), 1.0)
            end = edge + (1.0 - here / beyond) * dz[i]
            if blunt < 1.0:
                centre = edge + 0.5 * dz[i]
                straight = centre - gap[i - 1]
                if beyond > here:
                    straight = max(straight, centre - here * gap[i] / (beyond - here))
                end = blunt * end + (1.0 - blunt) * straight
            return end
        edge += dz[i]
    return edge


@njit(cache=True, nogil=True, error_model="numpy")
def measure(f, laid, fill) -> tuple[float, float, float, float]:  # type: ignore[no-untyped-def]
    """Half-lengths of plug, grip and sound plug [m], greatest undercooling in the plug [K].

    From what ``look`` found.
    """
    temp, Tw, link, dz, gap = f.temp, f.Tw, f.link, laid.dz, laid.gap
    last, first = temp.shape[1] - 1, laid.through[0]
    closed = _closed(f, laid, fill.closing)
    edge, grip, most, bonded, before = 0.0, 0.0, -1e9, -1.0, 0.0
    for i in range(temp.shape[0]):
        if edge >= closed:
            break
        inside = link[i]
        T = temp[i, last]
        u = fill.freezing - T + (T - Tw[i, 0]) * inside / (inside + first)
        if u <= 0.0 and bonded < 0.0:
            bonded = 0.0
            if i > 0:
                bonded = edge - 0.5 * dz[i - 1] + gap[i - 1] * before / (before - u)
        most, before = max(most, u), u
        grip += min(max(u, 0.0) / FULL_BOND, 1.0) * min(dz[i], closed - edge)
        edge += dz[i]
    return closed, grip, closed if bonded < 0.0 else min(closed, bonded), most


@njit(cache=True, nogil=True, error_model="numpy")
def _excess(stop, found, grip_needed, length_needed):  # type: ignore[no-untyped-def]
    """What turns from negative to positive as the event comes, -1 where it is none of these."""
    closed, grip, sound, most = found
    if stop == READY:
        return min(grip / grip_needed, sound / length_needed) - 1.0
    if stop == LOST:
        if closed <= 0.0:
            return 0.0
        return grip_needed - grip if grip_needed > 0.0 else -most
    return -1.0


@njit(cache=True, nogil=True, error_model="numpy")
def _frost(f, laid, marks, time, step, before):  # type: ignore[no-untyped-def]
    """Note when the surface where frost is looked for is at 0 C; returns its temperature [K]."""
    a, b = f.Ts[laid.frost_cell], f.Ts[laid.frost_cell + 1]
    now = a + laid.frost_part * (b - a)
    if marks[FROST] == NEVER and now < FROST_POINT:
        part = 0.0 if before <= FROST_POINT else (FROST_POINT - now) / (before - now)
        marks[FROST] = time - step * part
    return now


@njit(cache=True, nogil=True, error_model="numpy")
def _keep(history, marks, found):  # type: ignore[no-untyped-def]
    """Add a row to the history."""
    n = int(marks[ROWS])
    if n < history.shape[0]:
        history[n, 0] = marks[NOW]
        history[n, 1], history[n, 2], history[n, 3], _ = found
        marks[ROWS] += 1.0


@njit(cache=True, nogil=True, error_model="numpy")
def march(f, laid, fill, stir, out, fed, end, step, stop, grip_needed, length_needed, history,
          every, marks) -> float:  # type: ignore[no-untyped-def]  # fmt: skip
    """Steps to ``stop`` or ``end`` [s]; returns the event's time, or ``NEVER``.

    The state is left at the first step behind the event. ``history`` gets a row every so many
    steps where the pipe is fed.
    """
    before, passed, count, frost = 0.0, 0.0, 0, 0.0
    asked = stop in (READY, LOST)
    while True:
        look(f, laid, fill, stir)
        if asked or (fed and count % every == 0):
            found = measure(f, laid, fill)
            value = _excess(stop, found, grip_needed, length_needed)
            if value >= 0.0:
                return marks[NOW] - (passed * value / (value - before) if count > 0 else 0.0)
            before = value
            if fed and count % every == 0:
                _keep(history, marks, found)
        if marks[NOW] >= end - INSTANT:
            return NEVER
        stages, axis = STAGES, f.H[0, 0]
        if (stop == CLOSED and axis < fill.melted) or (stop == READY and before > NEAR):
            stages = 1
        passed = min(step * (GAIN if stages > 1 else 1.0), end - marks[NOW])
        conductance, coolant = out.h_empty, out.room
        if fed:
            conductance, coolant = out.h_jacket, out.coolant
            if out.fill_time > 0.0:
                conductance *= 1.0 - np.exp(-(marks[NOW] + 0.5 * passed) / out.fill_time)
        under, beside = _step(f, laid, fill, stir, out, conductance, coolant, passed, stages)
        marks[NOW] += passed
        marks[UNDER] += under
        marks[BESIDE] += beside
        count += 1
        if fed:
            frost = _frost(f, laid, marks, marks[NOW] - passed, passed, frost)
        if stop == CLOSED and f.H[0, 0] <= fill.closing:
            return marks[NOW] - passed * (fill.closing - f.H[0, 0]) / (axis - f.H[0, 0])
        if stop == THAWED and f.H.min() >= fill.melted:
            return marks[NOW]
