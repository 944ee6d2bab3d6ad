"""Steps of a pipe with a stream in it until it is shut, or stays open."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stillpipe.physics.column.layout import FROST_DISTANCE
from stillpipe.physics.column.mesh import FAST
from stillpipe.physics.compiling import njit
from stillpipe.physics.stream import drop as drops
from stillpipe.physics.stream import pipe, step
from stillpipe.physics.stream.liquid import Liquid
from stillpipe.physics.stream.pipe import Ice, Pipe
from stillpipe.physics.stream.step import Scratch, State

Array = NDArray[np.float64]
Counts = NDArray[np.int64]

ROW = 11
"""Columns of a history row: time [s], flow [kg/s], narrowest radius [m], heat drawn under the
jacket and taken in from the room [J], wall temperature under the centre [K], liquid share there
[-], length over which the wall is below freezing, twice that upstream of the centre [m], drop [Pa],
temperature of the pipe 10 mm upstream of the jacket [K], ice upstream of the narrowest place [m3].
"""
NOW, JACKET, AMBIENT, DRAWN, GIVEN = range(5)
"""Places in the clock: time [s]; heat drawn under the jacket and taken in from the room [J]; heat
the stream brought and took away, together [J], and heat by friction [J]."""
SHARE = 0.35
"""Most of a ring's latent heat that one step may take [-]."""
LESS = 0.1
"""Most of the open area that one step may take [-]."""
NARROW = 1e-6
"""Share of the bore's area below which the channel is let close as it may [-]."""
STEADY = 600.0
"""A channel that changes no more in so long stays as it is [s]."""
SETTLED = 0.2
"""Change of the wall in that time, below which it is taken for none [K]."""
WEIGHT = 4
"""Units of work that a slice takes in a step [-]: measured, a unit then takes 0.16 to 0.33 us, the
still column's 0.18 to 0.35. So a whole budget costs no more here than there."""
SHORTEST = 1e-3
"""A step is not cut below this [s]."""
CLOSED, OPEN, FULL, EXHAUSTED, CANCELLED, ON = range(6)
"""Why the march came back, and that it goes on."""


class Drive(NamedTuple):
    """What moves the water: the stated ``flow`` [kg/s], the ``head`` [Pa] it cannot exceed.

    ``warm`` is its temperature above freezing where it comes in [K].
    """

    flow: float
    head: float
    warm: float


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def _driven(drive: Drive, x: State, p: Pipe, q: Liquid, s: Scratch) -> tuple[float, float]:
    """Flow [kg/s] and drop [Pa]; fill the heat that each slice makes of it [W]."""
    lost = s.rows[2]
    drops.lay(s.radius, x.T, p.dz, q, s.drop)
    flow, drop = drops.driven(drive.flow, drive.head, s.drop, lost)
    for j in range(len(lost)):
        lost[j] *= flow / q.density
    return flow, drop


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def _longest(x: State, ice: Ice, p: Pipe, s: Scratch, film: Array) -> float:
    """Longest step [s] in which no ring that is freezing freezes by more than ``SHARE``."""
    nr, nz = x.H.shape
    latent, most = ice.liquid - ice.tables.hclose, 1e30
    whole = math.pi * p.radius * p.radius
    for j in range(nz):
        f = s.front[j]
        if f == nr:
            continue
        net = s.leaves[j] - film[j] * x.T[j]
        if net > 0.0:
            area = SHARE * p.rings[f]
            if s.area[j] > NARROW * whole:
                area = min(area, LESS * s.area[j])
            most = min(most, latent * area / net)
    return most


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def _share_below(Tw: Array, p: Pipe) -> float:
    """Length upstream of the jacket's centre over which the wall is below freezing [m]."""
    j = (p.begins + p.ends) // 2 - 1
    if Tw[j] >= 0.0:
        return 0.0
    while j > 0 and Tw[j - 1] < 0.0:
        j -= 1
    if j == 0:
        return float(0.5 * p.dz[0] - p.z[0])
    return float(-p.z[j] + Tw[j] / (Tw[j] - Tw[j - 1]) * (p.z[j] - p.z[j - 1]))


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def _neck(radius: Array) -> int:
    """Slice in which the channel is narrowest."""
    found = 0
    for j in range(len(radius)):
        if radius[j] < radius[found]:
            found = j
    return found


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def _beside(Tw: Array, p: Pipe) -> float:
    """Temperature of the pipe where frost is looked for, upstream of the jacket [K]."""
    at = p.z[p.begins] - 0.5 * p.dz[p.begins] - FROST_DISTANCE
    j = p.begins
    while j > 1 and p.z[j] > at:
        j -= 1
    return float(Tw[j] + (at - p.z[j]) / (p.z[j + 1] - p.z[j]) * (Tw[j + 1] - Tw[j]))


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def _write(
    x: State, clock: Array, flow: float, drop: float, p: Pipe, s: Scratch, row: Array,
    freezing: float,
) -> None:  # fmt: skip
    """Fill a row of the history."""
    middle, neck, whole = (p.begins + p.ends) // 2, _neck(s.radius), math.pi * p.radius * p.radius
    share = 0.5 * (s.area[middle - 1] + s.area[middle]) / whole
    row[0], row[1], row[2] = clock[NOW], flow, min(s.radius[neck], p.radius)
    row[3], row[4] = clock[JACKET], clock[AMBIENT]
    row[5], row[6] = 0.5 * (x.Tw[middle - 1] + x.Tw[middle]) + freezing, share
    row[7], row[8] = 2.0 * _share_below(x.Tw, p), drop
    row[9] = _beside(x.Tw, p) + freezing
    row[10] = 0.0
    for j in range(neck + 1):
        row[10] += (whole - s.area[j]) * p.dz[j]


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def _tick(
    x: State, clock: Array, dt: float, flow: float, warm: float, freezing: float, p: Pipe,
    q: Liquid, outlet: float, rubbed: float,
) -> None:  # fmt: skip
    """Move the clock and add the heat that crossed the boundaries."""
    for j in range(len(x.Tw)):
        heat = p.G[j] * (x.Tw[j] + freezing - p.T[j]) * dt
        if p.begins <= j < p.ends:
            clock[JACKET] += heat
        else:
            clock[AMBIENT] -= heat
    clock[DRAWN] += flow * q.cp * (warm - outlet) * dt
    clock[GIVEN] += rubbed * dt
    clock[NOW] += dt


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def _keep(x: State, old: State, s: Scratch, areas: Array) -> None:
    """Keep the state and the open ``areas`` before a step."""
    for j in range(len(x.Tw)):
        for i in range(x.H.shape[0]):
            old.H[i, j] = x.H[i, j]
        old.heat[j], old.T[j], old.Tw[j] = x.heat[j], x.T[j], x.Tw[j]
        areas[j] = s.area[j]


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def _back(x: State, old: State) -> None:
    """Go back to the state before the step."""
    for j in range(len(x.Tw)):
        for i in range(x.H.shape[0]):
            x.H[i, j] = old.H[i, j]
        x.heat[j], x.T[j], x.Tw[j] = old.heat[j], old.T[j], old.Tw[j]


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def _settled(then: Array, Tw: Array) -> bool:
    """Tell whether the wall is as cold as it was ``then`` [K], within ``SETTLED``; keep it."""
    most = 0.0
    for j in range(len(Tw)):
        most = max(most, abs(then[j] - Tw[j]))
        then[j] = Tw[j]
    return most < SETTLED


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def _calm(before: Array, after: Array, p: Pipe) -> bool:
    """Tell whether no channel became much narrower in a step, but for those that are shut."""
    least = NARROW * math.pi * p.radius * p.radius
    for j in range(len(before)):
        if before[j] > least and after[j] < (1.0 - 2.0 * LESS) * before[j]:
            return False
    return True


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def _ends(
    x: State, clock: Array, drop: float, head: float, longest: float, marked: Array, wall: Array,
    ice: Ice,
) -> int:  # fmt: skip
    """Tell whether the march has come to its end: ``CLOSED``, ``OPEN`` or ``ON``.

    ``marked``: time [s] at which it was last looked whether anything still changes, the mean
    logarithm of the drop until then, the sum and the number of those since.
    """
    for j in range(len(x.Tw)):
        if x.H[0, j] <= ice.tables.hclose:
            return CLOSED
    if clock[NOW] >= longest:
        return OPEN
    marked[2] += math.log(max(drop, 1e-30))
    marked[3] += 1.0
    if clock[NOW] > marked[0] + STEADY:
        mean = marked[2] / marked[3]
        rate = max(mean - marked[1], 0.0) / (clock[NOW] - marked[0])
        rises = 1.5 * rate * (longest - clock[NOW]) + 0.1
        marked[0], marked[1], marked[2], marked[3] = clock[NOW], mean, 0.0, 0.0
        if _settled(wall, x.Tw) and math.log(head) - mean > rises:
            return OPEN
    return ON


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def _step(
    x: State, old: State, areas: Array, dt: float, flow: float, drive: Drive, link: Array,
    film: Array, now: float, ice: Ice, p: Pipe, q: Liquid, s: Scratch, counts: Counts,
    flag: Counts,
) -> tuple[int, float, float]:  # fmt: skip
    """Step from ``now`` by ``dt`` [s] or, where a channel would narrow too fast, by less.

    Return why it ended, the step [s] and the outlet's temperature above freezing [K].
    """
    nz = len(x.Tw)
    _keep(x, old, s, areas)
    while True:
        counts[0] += WEIGHT * nz
        pipe.expose(old.Tw, ice.freezing, now, dt, p)
        if counts[0] > counts[1]:
            return EXHAUSTED, 0.0, 0.0
        if flag[0] != 0:
            return CANCELLED, 0.0, 0.0
        step.take(x, dt, flow, drive.warm, link, ice, p, q, s)
        outlet = x.T[nz - 1]
        for j in range(nz):
            film[j] = s.rows[1, j] / p.dz[j]
        step.look(x, link, ice, p, s)
        if _calm(areas, s.area, p) or dt < SHORTEST:
            return ON, dt, outlet
        _back(x, old)
        step.look(x, link, ice, p, s)
        _driven(drive, x, p, q, s)
        step.along(p, s)
        dt *= 0.4


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def march(
    x: State, clock: Array, drive: Drive, first: float, eta: float, longest: float, ice: Ice,
    p: Pipe, q: Liquid, s: Scratch, history: Array, filled: Counts, counts: Counts, flag: Counts,
) -> int:  # fmt: skip
    """Step until the channel is shut, or ``longest`` [s] has gone; return why.

    ``first`` step [s], ``eta`` share of the time that a step is at most [-].
    """
    nz = len(x.Tw)
    old = State(x.H.copy(), x.heat.copy(), x.T.copy(), x.Tw.copy())
    link, film, areas, wall = np.zeros(nz), np.zeros(nz), np.zeros(nz), np.zeros(nz)
    marked, share = np.array([0.0, -70.0, 0.0, 0.0]), 1.0
    step.look(x, link, ice, p, s)
    while filled[0] < len(history):
        flow, drop = _driven(drive, x, p, q, s)
        _write(x, clock, flow, drop, p, s, history[filled[0]], ice.freezing)
        filled[0] += 1
        why = _ends(x, clock, drop, drive.head, longest, marked, wall, ice)
        if why != ON:
            return why
        dt = min(max(first, eta * clock[NOW]), step.along(p, s), longest - clock[NOW] + 1e-6)
        dt = share * min(dt, max(_longest(x, ice, p, s, film), 0.02 * dt))
        rubbed = 0.0
        for j in range(nz):
            rubbed += s.rows[2, j]
        why, taken, outlet = _step(
            x, old, areas, dt, flow, drive, link, film, clock[NOW], ice, p, q, s, counts, flag
        )
        if why != ON:
            return why
        share = min(1.0, 1.5 * share) if taken == dt else share * taken / dt
        _tick(x, clock, taken, flow, drive.warm, ice.freezing, p, q, outlet, rubbed)
    return FULL
