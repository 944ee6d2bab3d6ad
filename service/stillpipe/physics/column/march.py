"""Steps of the column up to an event or a time, with what is kept on the way."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stillpipe.physics.column import exposure, step
from stillpipe.physics.column.circulation import Circulation, liquid_share
from stillpipe.physics.column.mesh import (
    FAST,
    Bounds,
    Mesh,
    Outside,
    Scratch,
    Wall,
    part,
    scratch,
)
from stillpipe.physics.column.step import State
from stillpipe.physics.column.tables import Tables, piece
from stillpipe.physics.compiling import njit

Array = NDArray[np.float64]
Counts = NDArray[np.int64]

NOW, SINCE, JACKET, AMBIENT, CAP = range(5)
"""Places in the clock: time [s], time since the coolant was turned on or off [s], heat drawn under
the jacket and taken in from the room [J], longest step until the event [s]."""
CLOCK = 5

(TIME, CLOSED, BONDED, GRIP, DRAWN, TAKEN, ICE, WALL, LIQUID, FROST) = range(10)
"""Columns of a history row: time [s]; half-lengths closed, bonded and of the grip [m]; heat drawn
under the jacket and taken in from the room [J]; half the ice's volume [m3]; wall temperature at the
centre [K]; liquid fraction of the central slice [-]; temperature of the surface where frost is
looked for [K]."""
ROW = 10

EVERY = 4
"""Steps from one kept state to the next."""

INSTANT = 1e-6
"""Shorter than this nothing is left to do [s]."""

NO_ICE = 1e-9
"""Ice counts as gone below this share of the innermost cell [-]."""

NO_CAP = 1e30
"""Longest step [s] where no event is being closed in on."""


class Record(NamedTuple):
    """What is kept on the way: ``history``, shape (n, ROW), and states to branch from.

    ``filled``, shape (2,), counts rows of history and states. Arrays without rows keep nothing.
    """

    history: Array
    H: Array
    Tw: Array
    Ti: Array
    link: Array
    clock: Array
    filled: Counts


class Rule(NamedTuple):
    """How to advance: step growth ``eta`` [-], ``first`` step [s] and ``bounds`` of every step.

    ``pieces`` in which a step with an event is taken again; ``end`` [s], met ``exactly`` or passed
    by the last step; what to ``stop`` at; half-length ``need`` and half ``grip`` with which the
    plug is ready, or half ``grip`` below which it is lost [m]. It also comes back once the plug
    reaches ``edge`` [m], where the slices get wide. Frost is looked for at ``frost`` from the
    centre [m].
    """

    eta: float
    first: float
    bounds: Bounds
    pieces: int
    end: float
    exactly: bool
    stop: int
    need: float
    grip: float
    edge: float
    frost: float


class Extent(NamedTuple):
    """Half-lengths [m]: ``closed`` where no liquid path is left, ``bonded`` where the wall is cold.

    ``grip`` [m] is half the length that holds as much as this plug does, were all of it bonded to
    its full strength. ``centre`` is the enthalpy of the innermost cell of the central slice [J/m3].
    ``ice`` is half the ice's volume [m3], where it is asked for.
    """

    closed: float
    bonded: float
    grip: float
    centre: float
    ice: float


BLUNT = 0.5
"""Share of the second open slice that is closed, below which a plug's end is taken for blunter than
a line through both slices [-]: so it never goes back while the plug grows."""
FULL_BOND = 10.0
"""Undercooling of the bore's surface from which the bond has its full strength [K]."""


@part
def solid(h: float, m: Tables) -> float:
    """Solid fraction [-] at enthalpy ``h`` [J/m3]."""
    row = m.pieces[piece(h, m)]
    return float(row[6] + row[7] * h)


@part
def _warmest(H: Array, j: int) -> float:
    """Highest enthalpy across slice ``j`` [J/m3]."""
    found = H[0, j]
    for i in range(1, H.shape[0]):
        found = max(found, H[i, j])
    return float(found)


@part
def _closed(H: Array, m: Tables, g: Mesh) -> float:
    """Half-length over which no liquid path is left [m].

    Of water: beyond the end the open share of the bore is taken to rise in a straight line to the
    whole; from what is open of the first two open slices follow the end, which lies within the
    first, and how steep the line is. A solution freezes on as a plug: its end lies where the
    enthalpy of the warmest ring, straight between the centres of slices, is that of a plug.
    """
    nz, j, before, now = len(g.z), 0, 0.0, _warmest(H, 0)
    while j < nz and now <= m.hclose:
        j += 1
        before, now = now, _warmest(H, min(j, nz - 1))
    if j == 0:
        return 0.0
    if j >= nz - 1:
        return float(g.z[nz - 1])
    if m.fplug < 1.0:
        part = (m.hclose - before) / (now - before)
        return float(g.z[j - 1] + part * (g.z[j] - g.z[j - 1]))
    first = g.dz[j] * liquid_share(H, j, m, g)
    second = g.dz[j + 1] * liquid_share(H, j + 1, m, g)
    beyond = g.dz[j]
    if second > 0.0:
        beyond = min(beyond, _beyond(first, second, g.dz[j + 1]))
    return float(g.z[j] + 0.5 * g.dz[j] - beyond)


@part
def _beyond(first: float, second: float, wide: float) -> float:
    """How far a plug's end lies from the far face of the first open slice [m].

    Of that slice the length ``first`` is open, of the next, ``wide``, the length ``second`` [m],
    where the line to the whole rises beyond both slices or ends in the second. Where the second is
    all but open, it ends somewhere in the first: less is known of it, and in the limit the plug is
    taken for blunt.
    """
    if second < wide:
        rise = wide * first / second
        end = rise + math.sqrt(rise * rise + wide * rise)
        if end * end >= 2.0 * first * (end + wide):
            return end
    closed = max(1.0 - second / wide, 0.0)
    steep = min(1.0, closed / BLUNT)
    return (1.0 + steep) * first + 2.0 * math.sqrt(first * wide * closed)


@part
def _held(
    x: State, closed: float, m: Tables, g: Mesh, w: Wall, s: Scratch, fed: bool
) -> tuple[float, float]:  # fmt: skip
    """Return the bonded half-length and half the grip of a plug ``closed`` to there [m].

    Strength rises in a straight line with the undercooling of the bore's surface, from nothing to
    its full value at ``FULL_BOND``. Where a plug that is ``fed`` ends bluntly, in a slice whose
    surface is at freezing until it is through, it is bonded as far as there is ice, but no further
    than to the middle of the next.
    """
    nz, under, bond = len(g.z), s.p, s.q
    step.interfaces(x, w, s, under)
    for j in range(nz):
        under[j] = m.Tm - under[j]
        bond[j] = min(max(under[j] * (1.0 / FULL_BOND), 0.0), 1.0)
    bonded, j = 0.0, 0
    while j < nz and under[j] > 0.0:
        j += 1
    if j > 0:
        bonded = g.z[j - 1]
        if j < nz:
            bonded += under[j - 1] / (under[j - 1] - under[j]) * (g.z[j] - bonded)
            if fed and m.fplug >= 1.0:
                bonded = max(bonded, min(closed, g.z[min(j + 1, nz - 1)]))
    grip, before, bond0 = 0.0, 0.0, bond[0]
    for j in range(nz):
        if before >= closed:
            break
        part = min(1.0, (closed - before) / (g.z[j] - before))
        grip += part * (g.z[j] - before) * (bond0 + 0.5 * part * (bond[j] - bond0))
        before, bond0 = g.z[j], bond[j]
    return float(bonded), float(grip)


@part
def extent(
    x: State, m: Tables, g: Mesh, w: Wall, s: Scratch, fed: bool, melts: bool
) -> Extent:  # fmt: skip
    """Return how far the plug reaches and how fast it holds, and the ice where it ``melts``."""
    step.look_up_surface(x.H[x.H.shape[0] - 1], m, s)
    closed = _closed(x.H, m, g)
    bonded, grip = _held(x, closed, m, g, w, s, fed)
    return Extent(closed, bonded, grip, x.H[0, 0], _ice(x.H, m, g, s)[0] if melts else 0.0)


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def reach(x: State, m: Tables, g: Mesh, w: Wall) -> tuple[float, float, float, float]:
    """Return the first four of :func:`extent`, as one, of plain tuples: see :func:`go`."""
    state = State(*x)
    s = scratch(state.H.shape[0], state.H.shape[1], len(state.Ti))
    now = extent(state, Tables(*m), Mesh(*g), Wall(*w), s, True, False)
    return now.closed, now.bonded, now.grip, now.centre


@part
def _ice(H: Array, m: Tables, g: Mesh, s: Scratch) -> tuple[float, float]:
    """Return half the volume of ice [m3] and the liquid fraction of the central slice [-].

    Ice of water, unlike that of a solution, is in proportion to the latent heat that is gone.
    """
    nr, nz = H.shape
    section, whole, ice, per = s.p, 0.0, 0.0, 1.0 / (m.hliq - m.hclose)
    for j in range(nz):
        section[j] = 0.0
    for i in range(nr):
        row, area = H[i], g.area[i]
        whole += area
        if m.fplug >= 1.0:
            for j in range(nz):
                section[j] += area * min(max((m.hliq - row[j]) * per, 0.0), 1.0)
        else:
            for j in range(nz):
                section[j] += area * solid(row[j], m)
    for j in range(nz):
        ice += g.dz[j] * section[j]
    return ice, 1.0 - section[0] / whole


@part
def _event(
    rule: Rule, m: Tables, g: Mesh, before: Extent, now: Extent, melting: float
) -> tuple[bool, float]:
    """Tell whether the event came in the last step, and what part of the step lies beyond it.

    A plug that needs no grip is lost with its bond. The last ice melts as fast as ice did in the
    step before: ``melting`` [m3], over as long as this step.
    """
    if rule.stop == step.CLOSED and now.centre <= m.hclose:
        fall = before.centre - now.centre
        return True, (m.hclose - now.centre) / fall if fall > 0.0 else 0.0
    if rule.stop == step.READY:
        last, length = min(before.closed, before.bonded), min(now.closed, now.bonded)
        if length >= rule.need and now.grip >= rule.grip:
            long = (length - rule.need) / (length - last) if length > last else 1.0
            firm = (now.grip - rule.grip) / (now.grip - before.grip)
            return True, min(long, firm if now.grip > before.grip else 1.0)
    if rule.stop == step.UNBONDED:
        if rule.grip > 0.0:
            if now.grip <= rule.grip:
                fall = before.grip - now.grip
                return True, (rule.grip - now.grip) / fall if fall > 0.0 else 0.0
        elif now.bonded <= 0.0:
            return True, 0.0
    if rule.stop == step.THAWED and now.ice <= NO_ICE * g.area[0] * g.dz[0]:
        return True, 1.0 - before.ice / melting if melting > before.ice else 0.0
    return False, 0.0


@part
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


@part
def keep(x: State, r: Record) -> None:
    """Keep a copy of the state to branch from."""
    n = r.filled[1]
    step.copy(x.H, x.Tw, x.Ti, r.H[n], r.Tw[n], r.Ti[n])
    for j in range(len(x.link)):
        r.link[n, j] = x.link[j]
    for i in range(CLOCK):
        r.clock[n, i] = x.clock[i]
    r.filled[1] = n + 1


@part
def _write(
    x: State, now: Extent, m: Tables, g: Mesh, o: Outside, rule: Rule, r: Record, s: Scratch
) -> None:  # fmt: skip
    """Add a row to the history, and after every few the state."""
    n = r.filled[0]
    row = r.history[n]
    row[TIME] = x.clock[NOW]
    row[CLOSED], row[BONDED], row[GRIP] = now.closed, now.bonded, now.grip
    row[DRAWN], row[TAKEN] = x.clock[JACKET], x.clock[AMBIENT]
    row[WALL] = x.Tw[0]
    row[ICE], row[LIQUID] = _ice(x.H, m, g, s)
    row[FROST] = exposure.surface(x.Tw, rule.frost, g, o)
    r.filled[0] = n + 1
    if n % EVERY == EVERY - 1:
        keep(x, r)


@part
def _sound(x: State) -> bool:
    """Tell whether the wall is between 100 and 600 K: beyond, a step has gone wrong."""
    for j in range(len(x.Tw)):
        if x.Tw[j] < 100.0 or x.Tw[j] > 600.0:
            return False
        for i in range(len(x.Ti)):
            if x.Ti[i, j] < 100.0 or x.Ti[i, j] > 600.0:
                return False
    return True


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def advance(
    x: State, r: Record, m: Tables, c: Circulation, g: Mesh, w: Wall, o: Outside, rule: Rule,
    s: Scratch, counts: Counts, flag: Counts,
) -> tuple[int, float]:  # fmt: skip
    """Advance ``x`` in place to its event or ``rule.end``; return why, and the event's time [s].

    ``step.FULL`` where the record has no room left: give it more and go on; ``step.GROWN`` where
    the plug comes near wide slices: cut them and go on. ``counts`` and ``flag`` as in
    :class:`stillpipe.physics.column.work.Work`.
    """
    melts, clock = rule.stop == step.THAWED, x.clock
    fed = not melts and rule.stop != step.UNBONDED
    now, pace = extent(x, m, g, w, s, fed, melts), 0.0
    while rule.end - clock[NOW] > INSTANT:
        if len(r.history) > 0 and r.filled[0] == len(r.history):
            return step.FULL, clock[NOW]
        if now.closed > rule.edge:
            return step.GROWN, clock[NOW]
        wish = min(max(rule.first, rule.eta * clock[SINCE]), clock[CAP])
        if rule.exactly:
            wish = min(wish, rule.end - clock[NOW])
        why, dt = step.take(x, clock[NOW], wish, rule.bounds, m, c, g, w, o, s, counts, flag)
        if why != step.RUN or not _sound(x):
            return why if why != step.RUN else step.FAILED, clock[NOW]
        before, now = now, extent(x, m, g, w, s, fed, melts)
        came, beyond = _event(rule, m, g, before, now, pace * dt)
        if came and clock[CAP] >= NO_CAP and dt > 0.25 * rule.eta * clock[SINCE]:
            step.restore(x, m, s)
            clock[CAP], now = dt / rule.pieces, before
            continue
        _tick(x, dt, o)
        pace = (before.ice - now.ice) / dt
        if len(r.history) > 0:
            _write(x, now, m, g, o, rule, r, s)
        if came:
            clock[CAP] = NO_CAP
            return rule.stop, clock[NOW] - min(max(beyond, 0.0), 1.0) * dt
    return step.ENDED, clock[NOW]


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def go(
    x: State, r: Record, m: Tables, c: Circulation, g: Mesh, w: Wall, o: Outside, rule: Rule,
    counts: Counts, flag: Counts,
) -> tuple[int, float]:  # fmt: skip
    """:func:`advance`, of plain tuples: see :func:`stillpipe.physics.compiling.plain`."""
    named = Rule(
        rule[0], rule[1], Bounds(*rule[2]), rule[3], rule[4], rule[5], rule[6], rule[7], rule[8],
        rule[9], rule[10],
    )  # fmt: skip
    state = State(*x)
    s = scratch(state.H.shape[0], state.H.shape[1], len(state.Ti))
    return advance(
        state, Record(*r), Tables(*m), Circulation(*c), Mesh(*g), Wall(*w), Outside(*o), named, s,
        counts, flag,
    )  # fmt: skip
