"""Steps of the column up to an event or a time, with what is kept on the way."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stillpipe.physics.column import step
from stillpipe.physics.column.mesh import FAST, Mesh, Outside, Wall
from stillpipe.physics.column.step import Bounds, State, Tables
from stillpipe.physics.compiling import njit

Array = NDArray[np.float64]
Counts = NDArray[np.int64]

NOW, SINCE, JACKET, AMBIENT, CAP = range(5)
"""Places in the clock: time [s], time since the coolant was turned on or off [s], heat drawn under
the jacket and taken in from the room [J], longest step until the event [s]."""
CLOCK = 5

ROW = 7
"""Columns of a history row: time [s], closed half-length [m], bonded half-length [m], heat drawn
under the jacket [J], heat taken in from the room [J], wall temperature at the centre [K], liquid
fraction of the central slice [-]."""

EVERY = 4
"""Steps from one kept state to the next."""

INSTANT = 1e-6
"""Shorter than this nothing is left to do [s]."""

NO_CAP = 1e30
"""Longest step [s] where no event is being closed in on."""


class Record(NamedTuple):
    """What is kept on the way: ``history``, shape (n, ROW), and states to branch from.

    ``filled``, shape (2,), counts rows of history and states. Arrays without rows keep nothing.
    """

    history: Array
    H: Array
    Tw: Array
    link: Array
    clock: Array
    filled: Counts


class Rule(NamedTuple):
    """How to advance: step growth ``eta`` [-], ``first`` step [s] and ``bounds`` of every step.

    ``pieces`` in which a step with an event is taken again; ``end`` [s], met ``exactly`` or passed
    by the last step; what to ``stop`` at; ``need`` half-length at which the plug is ready, or at
    which it is lost [m].
    """

    eta: float
    first: float
    bounds: Bounds
    pieces: int
    end: float
    exactly: bool
    stop: int
    need: float


class Extent(NamedTuple):
    """Half-lengths [m]: ``closed`` where no liquid path is left, ``bonded`` where the wall is cold.

    ``centre`` is the enthalpy of the innermost cell of the central slice [J/m3].
    """

    closed: float
    bonded: float
    centre: float


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def solid(h: float, m: Tables) -> float:
    """Solid fraction [-] at enthalpy ``h`` [J/m3]."""
    row = m.pieces[step.piece(h, m)]
    return float(row[6] + row[7] * h)


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def _closed(H: Array, m: Tables, g: Mesh) -> float:
    """Half-length over which the centre line is solid [m], from the innermost cells."""
    nz = len(g.z)
    j, share = 0, 0.0
    while j < nz:
        share = solid(H[0, j], m) / m.fplug
        if share < 1.0:
            break
        j += 1
    if j == 0:
        return 0.0
    if j == nz:
        return float(g.z[nz - 1] + 0.5 * g.dz[nz - 1])
    gap = g.z[j] - g.z[j - 1]
    if share > 0.0:
        return float(g.z[j - 1] + share * gap)
    a, b = m.pieces[step.piece(H[0, j - 1], m)], m.pieces[step.piece(H[0, j], m)]
    cold, warm = a[2] + a[3] * H[0, j - 1], b[2] + b[3] * H[0, j]
    part = (m.Tm - cold) / (warm - cold) if warm > cold else 0.0
    return float(g.z[j - 1] + min(max(part, 0.0), 0.5) * gap)


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
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


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def extent(x: State, m: Tables, g: Mesh) -> Extent:
    """Return how far the plug reaches."""
    return Extent(_closed(x.H, m, g), _bonded(x.Tw, m.Tm, g), x.H[0, 0])


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def _liquid(H: Array, m: Tables, g: Mesh) -> float:
    """Liquid fraction of the central slice [-]."""
    ice, whole = 0.0, 0.0
    for i in range(H.shape[0]):
        ice += solid(H[i, 0], m) * g.area[i]
        whole += g.area[i]
    return 1.0 - ice / whole


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def _any_ice(H: Array, m: Tables) -> bool:
    """Whether ice is left anywhere."""
    for i in range(H.shape[0]):
        for j in range(H.shape[1]):
            if solid(H[i, j], m) > 1e-9:
                return True
    return False


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def _event(rule: Rule, m: Tables, x: State, before: Extent, now: Extent) -> tuple[bool, float]:
    """Tell whether the event came in the last step, and what part of the step lies beyond it.

    A plug that needs no length is lost with its bond alone.
    """
    last, length = before.bonded, now.bonded
    if rule.stop != step.UNBONDED or rule.need > 0.0:
        last, length = min(last, before.closed), min(length, now.closed)
    if rule.stop == step.CLOSED and now.centre <= m.hclose:
        fall = before.centre - now.centre
        return True, (m.hclose - now.centre) / fall if fall > 0.0 else 0.0
    if rule.stop == step.READY and length >= rule.need:
        return True, (length - rule.need) / (length - last) if length > last else 0.0
    if rule.stop == step.UNBONDED and (length <= rule.need or x.Tw[0] >= m.Tm):
        return True, (rule.need - length) / (last - length) if length < last else 0.0
    if rule.stop == step.THAWED:
        return not _any_ice(x.H, m), 0.0
    return False, 0.0


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def _tick(x: State, dt: float, o: Outside) -> None:
    """Move the clock and add the heat that crossed the pipe's surface."""
    drawn, taken = 0.0, 0.0
    for j in range(len(x.Tw)):
        heat = o.G[j] * (x.Tw[j] - o.T[j])
        if j < o.jacket:
            drawn += heat
        else:
            taken -= heat
    x.clock[JACKET] += drawn * dt
    x.clock[AMBIENT] += taken * dt
    x.clock[NOW] += dt
    x.clock[SINCE] += dt


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def keep(x: State, r: Record) -> None:
    """Keep a copy of the state to branch from."""
    n = r.filled[1]
    step.copy(x.H, x.Tw, r.H[n], r.Tw[n])
    for j in range(len(x.link)):
        r.link[n, j] = x.link[j]
    for i in range(CLOCK):
        r.clock[n, i] = x.clock[i]
    r.filled[1] = n + 1


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def _write(x: State, now: Extent, m: Tables, g: Mesh, r: Record) -> None:
    """Add a row to the history, and after every few the state."""
    n = r.filled[0]
    row = r.history[n]
    row[0] = x.clock[NOW]
    row[1], row[2] = now.closed, now.bonded
    row[3], row[4] = x.clock[JACKET], x.clock[AMBIENT]
    row[5] = x.Tw[0]
    row[6] = _liquid(x.H, m, g)
    r.filled[0] = n + 1
    if n % EVERY == EVERY - 1:
        keep(x, r)


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def advance(
    x: State, r: Record, m: Tables, g: Mesh, w: Wall, o: Outside, rule: Rule, counts: Counts,
    flag: Counts,
) -> tuple[int, float]:  # fmt: skip
    """Advance ``x`` in place to its event or ``rule.end``; return why, and the event's time [s].

    ``step.FULL`` where the record has no room left: give it more and go on. ``counts`` and
    ``flag`` as in :class:`stillpipe.physics.column.work.Work`.
    """
    s = step.scratch(x.H.shape[0], x.H.shape[1])
    step.look_up(x.H, m, s)
    now, clock = extent(x, m, g), x.clock
    while rule.end - clock[NOW] > INSTANT:
        if len(r.history) > 0 and r.filled[0] == len(r.history):
            return step.FULL, clock[NOW]
        wish = min(max(rule.first, rule.eta * clock[SINCE]), clock[CAP])
        if rule.exactly:
            wish = min(wish, rule.end - clock[NOW])
        why, dt = step.take(x, wish, rule.bounds, m, g, w, o, s, counts, flag)
        if why != step.RUN:
            return why, clock[NOW]
        before, now = now, extent(x, m, g)
        came, beyond = _event(rule, m, x, before, now)
        if came and clock[CAP] >= NO_CAP and dt > 0.25 * rule.eta * clock[SINCE]:
            step.restore(x, m, s)
            clock[CAP], now = dt / rule.pieces, before
            continue
        _tick(x, dt, o)
        if len(r.history) > 0:
            _write(x, now, m, g, r)
        if came:
            clock[CAP] = NO_CAP
            return rule.stop, clock[NOW] - min(max(beyond, 0.0), 1.0) * dt
    return step.ENDED, clock[NOW]
