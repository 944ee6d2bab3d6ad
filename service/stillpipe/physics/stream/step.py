"""One step of a pipe with a stream in it.

Rings hold what is frozen or freezing, as enthalpy per volume no higher than that of liquid at its
freezing point; the liquid's heat above that is kept apart, one sum a slice, since it is mixed. What
it gives goes to the innermost ring that holds ice, or, where none does, to the wall. Liquid is
carried downstream implicitly, so that it may pass many slices in a step. The ring that is freezing
conducts from where its ice begins, so that a narrow neck is as well resolved as a wide one. The
wall, with what it conducts along, and the stream are solved at once; conduction along the bore is
explicit.
"""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stillpipe.physics.column.mesh import FAST
from stillpipe.physics.column.tables import piece, transform
from stillpipe.physics.compiling import njit
from stillpipe.physics.stream import drop, pipe, regime
from stillpipe.physics.stream.liquid import Liquid
from stillpipe.physics.stream.pipe import Ice, Pipe
from stillpipe.physics.stream.regime import Here

Array = NDArray[np.float64]

TINY = 1e-9
"""Share of the latent heat by which a ring must differ from liquid to count as freezing [-]."""
STEADY = 0.02
"""Change of the open area in a step up to which its beginning stands for all of it [-]."""
HALVES = 6
"""How often the bracket of a channel's area is halved."""
THIN = 1e-8
"""Least share of the bore's area that the open channel is taken for [-]."""


class State(NamedTuple):
    """Enthalpy ``H`` [J/m3], shape (rings, slices), no more than the liquid's at freezing.

    For each slice ``heat`` of the open liquid above freezing [J]; above freezing [K] the mixing
    temperature ``T`` of the last step, in which the stream has mixed what the slice held, and the
    wall's ``Tw``.
    """

    H: Array
    heat: Array
    T: Array
    Tw: Array


class Scratch(NamedTuple):
    """What a step works out: of cells, then of slices.

    ``open`` share of each cell [-]; ``A`` Kirchhoff transform and ``slope`` of it over enthalpy;
    ``alpha``, ``beta`` of the elimination; ``gain`` explicit heat along the bore [W/m]; ``area``
    open [m2] and its ``radius`` [m]; ``front`` innermost ring that is freezing, the number of rings
    where none is; ``ahead`` conductance from there to the next ring over the transform [-];
    ``leaves`` heat that the front gives to what is colder [W/m]; ``rows`` of slices; ``drop`` those
    of :mod:`drop`.
    """

    open: Array
    A: Array
    slope: Array
    alpha: Array
    beta: Array
    gain: Array
    area: Array
    radius: Array
    front: NDArray[np.int64]
    ahead: Array
    leaves: Array
    rows: Array
    drop: Array


def scratch(rings: int, slices: int) -> Scratch:
    """Return working arrays."""
    c, v = np.zeros((6, rings, slices)), np.zeros((4, slices))
    front = np.zeros(slices, dtype=np.int64)
    return Scratch(
        c[0], c[1], c[2], c[3], c[4], c[5], v[0], v[1], front, v[2], v[3], np.zeros((14, slices)),
        np.zeros((drop.ROWS, slices)),
    )  # fmt: skip


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def look(x: State, link: Array, ice: Ice, p: Pipe, s: Scratch) -> None:
    """Fill what follows from the state: open shares, transforms, front and what it gives.

    ``link`` as for :func:`take`.
    """
    m, opened, A, slope = ice.tables, s.open, s.A, s.slope
    nr, nz = x.H.shape
    share, freezes = 1.0 / m.fplug, ice.liquid - TINY * (ice.liquid - m.hclose)
    whole = math.pi * p.radius * p.radius
    for j in range(nz):
        area, front = 0.0, nr
        for i in range(nr - 1, -1, -1):
            h = x.H[i, j]
            row = m.pieces[piece(h, m)]
            A[i, j], slope[i, j] = row[0] + row[1] * h, row[1]
            opened[i, j] = min(max(1.0 - (row[6] + row[7] * h) * share, 0.0), 1.0)
            area += opened[i, j] * p.rings[i]
            front = i if h < freezes else front
        if 0 < front < nr and opened[front, j] <= 0.0:
            front -= 1  # the ice begins at this ring's edge
        s.front[j] = front
        s.area[j] = max(area, THIN * whole)
        s.radius[j] = math.sqrt(s.area[j] / math.pi)
        s.ahead[j], s.leaves[j] = 0.0, -link[j] * x.Tw[j]
        if front < nr - 1:
            start = _edge(p.middle[front] - p.middle[0], opened[front, j], float(p.rings[front]))
            start = max(start, 0.02 * p.middle[0])
            s.ahead[j] = 2.0 * math.pi / math.log(p.middle[front + 1] / start)
            s.leaves[j] = s.ahead[j] * (A[front, j] - A[front + 1, j])


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def along(p: Pipe, s: Scratch) -> float:
    """Fill the heat along the bore [W/m]; return the longest stable step [s]."""
    nr, nz = s.A.shape
    fastest, last, before, after = 1e-30, nz - 1, p.before, p.after
    for i in range(nr):
        A, gain, slope, ring = s.A[i], s.gain[i], s.slope[i], p.rings[i]
        gain[0] = ring * after[0] * (A[1] - A[0])
        gain[last] = ring * before[last] * (A[last - 1] - A[last])
        for j in range(1, last):
            given = before[j] * (A[j - 1] - A[j]) + after[j] * (A[j + 1] - A[j])
            gain[j] = ring * given
        for j in range(nz):
            fastest = max(fastest, (before[j] + after[j]) * slope[j])
    return 0.45 / fastest


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def _edge(inside: float, share: float, ring: float) -> float:
    """Radius at which the ice of a ``ring`` [m2] from ``inside`` [m] begins, ``share`` open [m]."""
    return math.sqrt(inside * inside + share * ring / math.pi)


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def _to_wall(h: float, A: float, distance: float, Tw: float, link: float, inner: float, ice: Ice
) -> float:  # fmt: skip
    """Conductance [W/(m K)] from the outermost ring, of enthalpy ``h`` [J/m3], to the wall's node.

    Through a ``distance`` ln(radius over radius) [-] of it; by the mean conductivity between it and
    the wall's surface, found with the last conductance ``link``; ``A`` its transform [W/m].
    """
    m = ice.tables
    row = m.pieces[piece(h, m)]
    T = row[2] + row[3] * h
    surface = Tw + ice.freezing + (T - Tw - ice.freezing) * link * inner / (2.0 * math.pi)
    k = m.ksol
    if abs(surface - T) > 0.1:
        k = (transform(surface, m) - A) / (surface - T)
    return 2.0 * math.pi / (distance / k + inner + 1e-9)


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def _eliminate(x: State, link: Array, dt: float, film: Array, ice: Ice, p: Pipe, s: Scratch,
               to_wall: Array, from_ice: Array) -> None:  # fmt: skip
    """Reduce the rings of every slice with ice to the heat they give the wall, linearised.

    ``film`` [W/m] comes to the front. Fills ``to_wall`` [W/(m K)] and ``from_ice`` [W/m]: heat to
    the wall is their ``from_ice - to_wall Tw``, ``Tw`` from freezing.
    """
    m = ice.tables
    nr, nz = x.H.shape
    for j in range(nz):
        f = s.front[j]
        to_wall[j], from_ice[j] = 0.0, 0.0
        if f == nr:
            continue
        p0, q0 = 0.0, 0.0
        for i in range(nr):
            h = x.H[i, j]
            S, capacity = s.slope[i, j], p.rings[i] / dt
            given = s.gain[i, j] + (film[j] if i == f else 0.0)
            if i < nr - 1:
                c = s.ahead[j] if i == f else p.shells[i]
                a = s.A[i, j] - S * h
                v = 1.0 / (capacity + (c + p0) * S)
                s.alpha[i, j] = (capacity * h + given + q0 - (p0 + c) * a) * v
                s.beta[i, j] = c * v
                q0 = c * (a + S * s.alpha[i, j])
                p0 = c - c * S * s.beta[i, j]
            else:
                row = m.pieces[piece(h, m)]
                a = s.A[i, j] - S * h
                ta, ts = row[2] - ice.freezing, row[3]
                L = link[j]
                v = 1.0 / (capacity + L * ts + p0 * S)
                s.alpha[i, j] = (capacity * h + given + q0 - p0 * a - L * ta) * v
                s.beta[i, j] = L * v
                from_ice[j] = L * (ta + ts * s.alpha[i, j])
                to_wall[j] = L - L * ts * s.beta[i, j]


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def _put_back(x: State, dt: float, more: Array, ice: Ice, p: Pipe, s: Scratch) -> None:
    """Put the wall's temperature back into the rings; ``more`` [W/m] comes to the front.

    What a ring holds beyond liquid at freezing melts the next one out, or warms the liquid.
    """
    nr, nz = x.H.shape
    for j in range(nz):
        f = s.front[j]
        if f == nr:
            for i in range(nr):
                x.H[i, j] += s.gain[i, j] * dt / p.rings[i]
        else:
            out = x.Tw[j]
            for i in range(nr - 1, -1, -1):
                h = s.alpha[i, j] + s.beta[i, j] * out
                out = s.A[i, j] + s.slope[i, j] * (h - x.H[i, j])
                x.H[i, j] = h
            x.H[f, j] += more[j] * dt / p.rings[f]
        for i in range(nr):
            beyond = x.H[i, j] - ice.liquid
            if beyond > 0.0:
                x.H[i, j] = ice.liquid
                if i < nr - 1:
                    x.H[i + 1, j] += beyond * p.rings[i] / p.rings[i + 1]
                else:
                    x.heat[j] += beyond * p.rings[i] * p.dz[j]


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def _film(
    area: float, T: float, each: float, out: float, least: float, whole: float, x: Here,
    grows: float, strength: float,
) -> float:  # fmt: skip
    """Conductance from the liquid of a slice to its front over a step [W/(m K)].

    ``area`` open, ``least`` and ``whole`` its bounds [m2]; the liquid ``T`` above freezing [K];
    ``out`` leaves the front [W/m], of which ``each`` makes ice [m3/J m]. A narrow channel gives the
    more, the narrower it gets: its radius is that of the step's end.
    """
    now = regime.through(math.sqrt(area / math.pi), x, grows, strength)
    end = area - each * (out - now * T)
    if abs(end - area) < STEADY * area:
        return now
    low, high = min(max(end, least), area), max(min(end, whole), area)
    if regime.alike(low, high, x, grows):
        return now
    for _ in range(HALVES):
        middle = 0.5 * (low + high)
        now = regime.through(math.sqrt(middle / math.pi), x, grows, strength)
        if middle > area - each * (out - now * T):
            high = middle
        else:
            low = middle
    return now


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def _boundary(
    x: State, dt: float, flow: float, warm: float, link: Array, ice: Ice, p: Pipe, q: Liquid,
    s: Scratch, touches: Array, film: Array,
) -> None:  # fmt: skip
    """Fill what lies between the liquid and the wall or the ice.

    Conductances of slices to wall or front go to row 1 of ``s.rows`` [W/K]; ``touches`` 1 where it
    is the wall; ``film`` heat to the front [W/m]; ``link`` from the outermost ring to the wall.
    """
    nr, nz = x.H.shape
    place, g, whole = s.rows[0], s.rows[1], math.pi * p.radius * p.radius
    for j in range(nz):
        g[j] = 1.0 if s.front[j] < nr else 1.0 - x.Tw[j] / max(warm, 1e-9)
    pipe.places(g, p, place)
    outermost, each = p.middle[nr - 1], dt / (ice.liquid - ice.tables.hclose)
    wall = p.inner / (2.0 * math.pi)
    for j in range(nz):
        here = regime.here(flow, place[j], x.T[j] + ice.freezing, q)
        if s.front[j] < nr and link[j] > 0.0:
            film[j] = _film(
                s.area[j], x.T[j], each, s.leaves[j], THIN * whole, whole, here, q.grows, q.strength
            )
        else:
            film[j] = regime.through(s.radius[j], here, q.grows, q.strength)
        between = 1.0 / film[j]
        if s.front[j] == nr:
            surface = x.T[j] - (x.T[j] - x.Tw[j]) * between / (between + wall)
            if surface < 0.0:  # the first ice
                s.front[j] = nr - 1
        touches[j] = 1.0 if s.front[j] == nr else 0.0
        g[j] = p.dz[j] / (between + wall * touches[j])
        film[j] *= x.T[j]
        start = outermost
        if s.front[j] == nr - 1:
            start = _edge(outermost - p.middle[0], s.open[nr - 1, j], p.rings[nr - 1])
        distance = math.log(p.radius / start)
        link[j] = _to_wall(x.H[nr - 1, j], s.A[nr - 1, j], distance, x.Tw[j], link[j], p.inner, ice)


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def take(
    x: State, dt: float, flow: float, warm: float, link: Array, ice: Ice, p: Pipe, q: Liquid,
    s: Scratch,
) -> None:  # fmt: skip
    """Take a step of ``dt`` [s] with ``flow`` [kg/s] coming in ``warm`` [K] above freezing.

    :func:`look` and :func:`along` have filled the scratch; ``link`` is the last step's conductance
    to the wall [W/(m K)].
    """
    nz = len(x.Tw)
    g, lost, D, right, store = s.rows[1], s.rows[2], s.rows[3], s.rows[4], s.rows[5]
    touches, film, to_wall, from_ice = s.rows[6], s.rows[7], s.rows[8], s.rows[9]
    _boundary(x, dt, flow, warm, link, ice, p, q, s, touches, film)
    _eliminate(x, link, dt, film, ice, p, s, to_wall, from_ice)
    for j in range(nz):
        before = p.axial[j - 1] if j > 0 else 0.0
        capacity = p.capacity[j] / dt
        D[j] = capacity + p.G[j] + p.axial[j] + before + to_wall[j] * p.dz[j] + touches[j] * g[j]
        right[j] = capacity * x.Tw[j] + p.G[j] * (p.T[j] - ice.freezing) + from_ice[j] * p.dz[j]
        store[j] = s.area[j] * p.dz[j] * ice.heat / dt
        lost[j] += x.heat[j] / dt
    pipe.couple(
        flow * q.cp,
        warm,
        store,
        lost,
        g,
        touches,
        touches,
        D,
        right,
        p.axial,
        x.T,
        x.Tw,
        s.rows[10:14],
    )
    for j in range(nz):
        x.heat[j] = store[j] * dt * x.T[j]
        film[j] = g[j] * x.T[j] / p.dz[j] - film[j]
    _put_back(x, dt, film, ice, p, s)
