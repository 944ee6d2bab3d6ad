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

from stillpipe.physics.column.tables import piece, transform
from stillpipe.physics.compiling import njit
from stillpipe.physics.stream import pipe, regime
from stillpipe.physics.stream.liquid import Liquid
from stillpipe.physics.stream.pipe import Ice, Pipe

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
    open [m2]; ``narrow`` as in :mod:`limit` [-]; ``front`` innermost ring that is freezing, the
    number of rings where none is; ``rows`` of slices.
    """

    open: Array
    A: Array
    slope: Array
    alpha: Array
    beta: Array
    gain: Array
    area: Array
    narrow: Array
    front: NDArray[np.int64]
    rows: Array


def scratch(rings: int, slices: int) -> Scratch:
    """Return working arrays."""
    c, v = np.zeros((6, rings, slices)), np.zeros((2, slices))
    front = np.zeros(slices, dtype=np.int64)
    return Scratch(c[0], c[1], c[2], c[3], c[4], c[5], v[0], v[1], front, np.zeros((14, slices)))


@njit(nogil=True, cache=True, error_model="numpy")
def look(x: State, ice: Ice, p: Pipe, s: Scratch) -> None:
    """Fill what follows from the state: open shares, transforms, front and temperature."""
    m = ice.tables
    nr, nz = x.H.shape
    latent = ice.liquid - m.hclose
    whole = math.pi * p.radius * p.radius
    for j in range(nz):
        area, front = 0.0, nr
        for i in range(nr - 1, -1, -1):
            h = x.H[i, j]
            row = m.pieces[piece(h, m)]
            s.A[i, j], s.slope[i, j] = row[0] + row[1] * h, row[1]
            solid = row[6] + row[7] * h
            s.open[i, j] = min(max(1.0 - solid / m.fplug, 0.0), 1.0)
            area += s.open[i, j] * p.rings[i]
            if h < ice.liquid - TINY * latent:
                front = i
        if 0 < front < nr and s.open[front, j] <= 0.0:
            front -= 1  # the ice begins at this ring's edge
        s.front[j] = front
        s.area[j] = max(area, THIN * whole)
        s.narrow[j] = 0.5 * math.log(whole / s.area[j])


@njit(nogil=True, cache=True, error_model="numpy")
def along(p: Pipe, s: Scratch) -> float:
    """Fill the heat along the bore [W/m]; return the longest stable step [s]."""
    nr, nz = s.A.shape
    fastest = 1e-30
    for i in range(nr):
        for j in range(nz):
            given = 0.0
            if j > 0:
                given += p.before[j] * (s.A[i, j - 1] - s.A[i, j])
            if j < nz - 1:
                given += p.after[j] * (s.A[i, j + 1] - s.A[i, j])
            s.gain[i, j] = p.rings[i] * given
            fastest = max(fastest, (p.before[j] + p.after[j]) * s.slope[i, j])
    return 0.45 / fastest


@njit(nogil=True, cache=True, error_model="numpy")
def _to_wall(j: int, front: bool, Tw: float, link: float, ice: Ice, p: Pipe, s: Scratch,
             H: Array) -> float:  # fmt: skip
    """Conductance [W/(m K)] from the outermost ring of slice ``j`` to the wall's node.

    Through half the ring, or all of its ice where it is the ``front``; by the mean conductivity
    between it and the wall's surface, found with the last conductance ``link``.
    """
    m = ice.tables
    nr = len(p.rings)
    row = m.pieces[piece(H[nr - 1, j], m)]
    T = row[2] + row[3] * H[nr - 1, j]
    surface = Tw + ice.freezing + (T - Tw - ice.freezing) * link * p.inner / (2.0 * math.pi)
    k = m.ksol
    if abs(surface - T) > 0.1:
        k = (transform(surface, m) - s.A[nr - 1, j]) / (surface - T)
    distance = math.log(p.radius / p.middle[nr - 1])
    if front:
        share = s.open[nr - 1, j]
        inside = p.middle[nr - 1] - 0.5 * p.radius / nr
        edge = math.sqrt(inside * inside + share * p.rings[nr - 1] / math.pi)
        distance = math.log(p.radius / edge)
    return 2.0 * math.pi / (distance / k + p.inner + 1e-9)


@njit(nogil=True, cache=True, error_model="numpy")
def shell(i: int, j: int, p: Pipe, s: Scratch) -> float:
    """Conductance between rings ``i`` and ``i + 1`` of slice ``j`` over the transform [-].

    From where the ice begins in the ring that is freezing.
    """
    if i != s.front[j]:
        return float(p.shells[i])
    inside = p.middle[i] - p.middle[0]
    start = math.sqrt(inside * inside + s.open[i, j] * p.rings[i] / math.pi)
    start = max(start, 0.02 * p.middle[0])
    return 2.0 * math.pi / math.log(p.middle[i + 1] / start)


@njit(nogil=True, cache=True, error_model="numpy")
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
                c = shell(i, j, p, s)
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


@njit(nogil=True, cache=True, error_model="numpy")
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


@njit(nogil=True, cache=True, error_model="numpy")
def leaves(x: State, j: int, link: Array, p: Pipe, s: Scratch) -> float:
    """Heat that the front of slice ``j`` gives to what is colder [W/m], as it is now."""
    f = s.front[j]
    if f == len(p.rings) - 1:
        return float(-link[j] * x.Tw[j])
    return float(shell(f, j, p, s) * (s.A[f, j] - s.A[f + 1, j]))


@njit(nogil=True, cache=True, error_model="numpy")
def _film(
    x: State, j: int, dt: float, flow: float, place: float, out: float, ice: Ice, p: Pipe,
    q: Liquid, s: Scratch,
) -> float:  # fmt: skip
    """Conductance from the liquid of slice ``j`` to its front over a step of ``dt`` [s] [W/(m K)].

    ``out`` leaves the front [W/m]. A narrow channel gives the more, the narrower it gets: its
    radius is that of the step's end.
    """
    area, T, whole = s.area[j], x.T[j], math.pi * p.radius * p.radius
    each = dt / (ice.liquid - ice.tables.hclose)
    now = regime.conductance(flow, place, math.sqrt(area / math.pi), T + ice.freezing, q)
    end = area - each * (out - now * T)
    if abs(end - area) < STEADY * area:
        return now
    low, high = min(max(end, THIN * whole), area), max(min(end, whole), area)
    for _ in range(HALVES):
        middle = 0.5 * (low + high)
        now = regime.conductance(flow, place, math.sqrt(middle / math.pi), T + ice.freezing, q)
        if middle > area - each * (out - now * T):
            high = middle
        else:
            low = middle
    return now


@njit(nogil=True, cache=True, error_model="numpy")
def _boundary(
    x: State, dt: float, flow: float, warm: float, link: Array, ice: Ice, p: Pipe, q: Liquid,
    s: Scratch, touches: Array, film: Array,
) -> None:  # fmt: skip
    """Fill what lies between the liquid and the wall or the ice.

    Conductances of slices to wall or front go to row 1 of ``s.rows`` [W/K]; ``touches`` 1 where it
    is the wall; ``film`` heat to the front [W/m]; ``link`` from the outermost ring to the wall.
    """
    nr, nz = x.H.shape
    place, g = s.rows[0], s.rows[1]
    for j in range(nz):
        g[j] = 1.0 if s.front[j] < nr else 1.0 - x.Tw[j] / max(warm, 1e-9)
    pipe.places(g, p, place)
    for j in range(nz):
        if s.front[j] < nr and link[j] > 0.0:
            film[j] = _film(x, j, dt, flow, place[j], leaves(x, j, link, p, s), ice, p, q, s)
        else:
            radius = math.sqrt(s.area[j] / math.pi)
            film[j] = regime.conductance(flow, place[j], radius, x.T[j] + ice.freezing, q)
        through = 1.0 / film[j] + p.inner / (2.0 * math.pi)
        if s.front[j] == nr:
            surface = x.T[j] - (x.T[j] - x.Tw[j]) / (through * film[j])
            if surface < 0.0:  # the first ice
                s.front[j] = nr - 1
        touches[j] = 1.0 if s.front[j] == nr else 0.0
        g[j] = p.dz[j] / (through if touches[j] > 0.0 else 1.0 / film[j])
        film[j] *= x.T[j]
        link[j] = _to_wall(j, s.front[j] == nr - 1, x.Tw[j], link[j], ice, p, s, x.H)


@njit(nogil=True, cache=True, error_model="numpy")
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
