"""The greatest flow that still freezes shut, from a steady tapered channel.

At a given flow the mixing temperature is marched along the pipe, together with the wall and what
it conducts along; the ice is as thick as balances the heat that the water gives it. The flow is
shut off where the drop through what stays open is more than the head that drives it.

Where circulation can hold a wide bore open beside a narrow one (plastic pipe, water of 20 C and
more), the transient closes only up to 0.4 or 0.5 of this limit, since ice creeps upstream there.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stillpipe.physics.column.layout import Case
from stillpipe.physics.column.mesh import FAST, Grid
from stillpipe.physics.column.tables import transform
from stillpipe.physics.compiling import njit
from stillpipe.physics.stream import drop as drops
from stillpipe.physics.stream import pipe, regime
from stillpipe.physics.stream.liquid import Liquid
from stillpipe.physics.stream.pipe import Ice, Pipe
from stillpipe.physics.stream.regime import Here

Array = NDArray[np.float64]

LEAST_HEAD = 1000.0
"""Head that drives the flow at least [Pa], a tenth of a metre of water: an assumption."""
SETTLED = 4e-3
"""Change of the logarithm of the radius at which the channel is found [-]."""
NEARLY = 1e-3
"""How well one slice's channel is balanced in a pass, as for ``SETTLED`` [-]."""
STRIDE = 0.2
"""Step of the search where circulation may hold a wide channel open [-]."""
PASSES = 30
"""Most passes for one channel."""
NEAR = 1e-2
"""The limit's logarithm is found so well [-]."""
MOST = 10.0
"""Greatest flow that is considered [kg/s]."""
GRID = Grid(axial=4, radial=2, eta=0.04, stretch=1.6)
"""How the channel is cut up: slices under half the jacket, and beyond."""
HORIZON = 600.0
"""Beside the jacket the pipe is followed as far as cold comes in so long [s]."""
ROWS = 21
"""Rows of slices that a channel is found in."""
CLEAR = 8.0
"""A channel need be no better known, once its drop is so many times as far from the head as it
still moves, in logarithms [-]."""


@dataclass(frozen=True, kw_only=True)
class Channel:
    """A steady channel from upstream to downstream, arrays over slices.

    ``z`` from the jacket's centre [m]; ``radius`` [m]; ``mixed`` and ``wall`` temperatures [K];
    ``heat`` given to ice and wall [W]; ``drop`` through it [Pa].
    """

    z: Array
    radius: Array
    mixed: Array
    wall: Array
    heat: Array
    drop: float


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def _thickness(
    narrow: float, T: float, wall: float, yields: float, most: float, x: Here, ice: Ice,
    radius: float, grows: float, strength: float,
) -> float:  # fmt: skip
    """Logarithm of bore radius over channel radius [-] for the heat of a channel ``narrow`` [-].

    ``T`` of the liquid that comes by as ``x``, and ``wall`` of the wall without the slice's heat
    [K], above freezing; each W/m of it warms the bore's wall by ``yields`` [m K/W]. 0 without ice.
    """
    m = ice.tables
    film = regime.through(radius * math.exp(-narrow), x, grows, strength)
    surface = wall + film * T * yields + ice.freezing
    passed = transform(ice.front, m) - transform(surface, m)
    return min(max(2.0 * math.pi * passed / max(film * T, 1e-30), 0.0), most)


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def _narrowed(
    low: float, high: float, over: float, under: float, side: int, middle: float, f: float
) -> tuple[float, float, float, float, int]:
    """Return a bracket of a falling function narrowed by its value ``f`` at ``middle``.

    The Illinois method: ``over`` and ``under`` are its values at the ends, the one that stays put
    twice being halved; ``side`` tells which moved last.
    """
    if f > 0.0:
        return middle, high, f, under * (0.5 if side > 0 else 1.0), 1
    return low, middle, over * (0.5 if side < 0 else 1.0), f, -1


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def _balanced(
    narrow: float, flow: float, place: float, T: float, wall: float, yields: float, most: float,
    ice: Ice, p: Pipe, q: Liquid,
) -> float:  # fmt: skip
    """Logarithm of bore radius over channel radius [-] in balance, sought from ``narrow``.

    The rest as :func:`_thickness` takes it. The narrower, the less heat the ice passes and the
    more the stream gives, so that the answer lies between a guess and what follows from it.
    """
    x = regime.here(flow, place, T + ice.freezing, q)
    rests = math.log(max(regime.circulation(p.radius, x, q.grows), 1.0)) / q.grows
    narrow = narrow if rests <= 0.0 else 0.0
    R, g, k = p.radius, q.grows, q.strength
    f = _thickness(narrow, T, wall, yields, most, x, ice, R, g, k) - narrow
    while f > STRIDE and narrow < rests:  # the widest one, while circulation may give others
        narrow += STRIDE
        f = _thickness(narrow, T, wall, yields, most, x, ice, R, g, k) - narrow
    if abs(f) < NEARLY:
        return narrow + f
    low = high = narrow
    over = under = f
    if f > 0.0:
        high = narrow + f
        under = _thickness(high, T, wall, yields, most, x, ice, R, g, k) - high
    else:
        low = narrow + f
        over = _thickness(low, T, wall, yields, most, x, ice, R, g, k) - low
    if over <= 0.0 or under >= 0.0:  # it is there
        return low if over <= 0.0 else high
    side = 0
    for _ in range(30):
        if high - low < NEARLY:
            break
        middle = (low * under - high * over) / (under - over)
        f = _thickness(middle, T, wall, yields, most, x, ice, R, g, k) - middle
        if abs(f) < NEARLY:
            return middle + 0.5 * f
        low, high, over, under, side = _narrowed(low, high, over, under, side, middle, f)
    return 0.5 * (low + high)


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def _fall(flow: float, narrow: Array, T: Array, p: Pipe, q: Liquid, rows: Array) -> float:
    """Pressure drop [Pa] of ``flow`` [kg/s] through a channel; fills the heat lost to it [W].

    ``narrow`` is ln(bore radius / channel radius) of each slice [-], ``T`` above freezing [K].
    """
    lost, radius = rows[2], rows[13]
    for j in range(len(T)):
        radius[j] = p.radius * math.exp(-narrow[j])
    drops.lay(radius, T, p.dz, q, rows[14:17])
    total = drops.of(flow, rows[14:17], lost)
    for j in range(len(T)):
        lost[j] *= flow / q.density
    return total


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def _conducts(j: int, narrow: Array, ice: Ice, p: Pipe) -> float:
    """Conductance of wall and ice from slice ``j`` to the next, over the wall's temperatures [W/K].

    The mean temperature over the ice's area, of a logarithmic profile, is a share of the wall's.
    """
    if j == len(narrow) - 1:
        return 0.0
    thin = 2.0 * min(narrow[j], narrow[j + 1])
    if thin <= 1e-6:
        return float(p.axial[j])
    area = 1.0 - math.exp(-thin)
    share = 1.0 / area - 1.0 / thin
    gap = p.z[j + 1] - p.z[j]
    ice_only = ice.tables.ksol * math.pi * p.radius * p.radius * area * share / gap
    return float(p.axial[j] + p.carries * ice_only)


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def _thinnest(flow: float, head: float, warm: float, p: Pipe, q: Liquid) -> float:
    """Most that ln(bore radius / channel radius) is taken for [-].

    One slice of a channel that thin takes a thousand times the ``head`` [Pa].
    """
    along = regime.gradient(flow, p.radius, warm + q.freezing, q) * p.dz[p.begins]
    return max(0.25 * math.log(1e3 * head / along), 1.0)


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def _films(
    flow: float, head: float, narrow: Array, T: Array, touches: Array, Tw: Array, warm: float,
    ice: Ice, p: Pipe, q: Liquid, rows: Array,
) -> float:  # fmt: skip
    """Fill what a pass rests on: conductance to ice or wall, and dissipation; return the drop.

    ``rows`` are place, conductance [W/K] to the boundary, dissipated heat [W].
    """
    place, g, lost = rows[0], rows[1], rows[2]
    for j in range(len(T)):
        g[j] = 1.0 - touches[j] * max(Tw[j], 0.0) / warm
    pipe.places(g, p, place)
    total = _fall(flow, narrow, T, p, q, rows)
    radius = rows[13]
    for j in range(len(T)):
        film = regime.conductance(flow, place[j], radius[j], T[j] + ice.freezing, q)
        through = 1.0 / film + touches[j] * p.inner / (2.0 * math.pi)
        g[j] = p.dz[j] / through
    most = head * flow / q.density
    spent = 0.0
    for j in range(len(T)):
        spent += lost[j]
    if spent > most:  # the head gives no more than this
        for j in range(len(T)):
            lost[j] *= most / spent
    return total


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def _pass(
    flow: float, narrow: Array, T: Array, Tw: Array, touches: Array, warm: float, most: float,
    ice: Ice, p: Pipe, q: Liquid, rows: Array, damp: float,
) -> float:  # fmt: skip
    """Improve a channel once; return by how much it moved [-]."""
    g, lost, D, right, store, reaches = rows[1], rows[2], rows[3], rows[4], rows[5], rows[6]
    W = flow * q.cp
    axial, before = rows[12], 0.0
    for j in range(len(T)):
        axial[j] = _conducts(j, narrow, ice, p)
        D[j] = p.G[j] + axial[j] + before + touches[j] * g[j]
        before = axial[j]
        right[j] = p.G[j] * (p.T[j] - ice.freezing)
        store[j], reaches[j] = 0.0, 1.0
    pipe.couple(W, warm, store, lost, g, touches, reaches, D, right, axial, T, Tw, rows[7:11])
    moved = 0.0
    for j in range(len(T)):
        yields = 1.0 / (D[j] - touches[j] * g[j])
        bare = Tw[j] - yields * g[j] * (T[j] - touches[j] * Tw[j])
        each = yields * p.dz[j] + p.inner / (2.0 * math.pi)
        new = _balanced(narrow[j], flow, rows[0, j], T[j], bare, each, most, ice, p, q)
        touches[j] = 0.0 if new > 0.0 else 1.0
        step = damp * (new - narrow[j])
        moved = max(moved, abs(step))
        narrow[j] += step
    return moved


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def channel(
    flow: float, head: float, warm: float, narrow: Array, T: Array, Tw: Array, touches: Array,
    ice: Ice, p: Pipe, q: Liquid, rows: Array,
) -> float:  # fmt: skip
    """Find the steady channel of ``flow`` [kg/s] in place; return the drop through it [Pa].

    ``warm`` [K] above freezing flows in, driven by ``head`` [Pa] at most; ``narrow`` and the
    others, from which it begins, as in the module's other functions.
    """
    damp, last = 1.0, 1e30
    most = _thinnest(flow, head, warm, p, q)
    for i in range(PASSES):
        drop = _films(flow, head, narrow, T, touches, Tw, warm, ice, p, q, rows)
        moved = _pass(flow, narrow, T, Tw, touches, warm, most, ice, p, q, rows, damp)
        if i > 2 and (moved < SETTLED or CLEAR * moved < abs(math.log(drop / head))):
            break
        if moved > 0.7 * last:
            damp = 0.6
        last = moved
    return _fall(flow, narrow, T, p, q, rows)


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def _opened(v: Array, warm: float) -> None:
    """Make an open warm pipe of the arrays that a channel is found in."""
    v[0], v[1], v[2], v[3] = 0.0, warm, warm, 1.0


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def _excess(flow: float, head: float, warm: float, v: Array, ice: Ice, p: Pipe, q: Liquid) -> float:
    """Logarithm of drop over head [-] of the steady channel of ``flow``, within -30 and 30.

    From an open warm pipe on: a narrow channel may be steady where a wide one is too.
    """
    _opened(v, warm)
    drop = channel(flow, head, warm, v[0], v[1], v[2], v[3], ice, p, q, v[4:])
    return min(max(math.log(max(drop, 1e-300) / head), -30.0), 30.0)


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def greatest(head: float, warm: float, guess: float, most: float, ice: Ice, p: Pipe, q: Liquid
) -> float:  # fmt: skip
    """Greatest flow that still closes [kg/s], ``most`` at most, sought from a ``guess`` [kg/s].

    From a flow that closes upward to the first that does not, then by the Illinois method in
    logarithms.
    """
    v = np.zeros((ROWS, len(p.dz)))
    low = min(guess, most)
    f_low = _excess(low, head, warm, v, ice, p, q)
    while f_low <= 0.0 and low > 1e-12:
        low *= 0.4
        f_low = _excess(low, head, warm, v, ice, p, q)
    high, f_high = low, f_low
    while f_high > 0.0:
        if high >= most:
            return most
        low, f_low = high, f_high
        high = min(1.6 * high, most)
        f_high = _excess(high, head, warm, v, ice, p, q)
    a, b, side = math.log(low), math.log(high), 0
    while b - a > NEAR:
        c = (a * f_high - b * f_low) / (f_high - f_low)
        c = min(max(c, a + 0.05 * (b - a)), b - 0.05 * (b - a))
        f = _excess(math.exp(c), head, warm, v, ice, p, q)
        a, b, f_low, f_high, side = _narrowed(a, b, f_low, f_high, side, c, f)
    return math.exp(a)


def of(case: Case, q: Liquid, head: float, *, along: bool = True) -> float:
    """Greatest flow of ``q`` that ``case`` still freezes shut [kg/s], ``head`` [Pa] driving it.

    Not ``along``: nothing is conducted along the wall.
    """
    p, ice = _laid(case, q, along)
    head, warm = max(head, LEAST_HEAD), case.start_temperature - q.freezing
    outer = sum(1.0 / p.G[p.begins : p.ends]) / (p.ends - p.begins) ** 2
    power = (q.freezing - p.T[p.begins]) / max(outer, 1e-9)
    return float(greatest(head, warm, 0.5 * power / (q.cp * warm), MOST, ice, p, q))


def steady(case: Case, q: Liquid, head: float, flow: float, *, along: bool = True) -> Channel:
    """Return the steady channel of ``flow`` [kg/s] of ``q``; the rest as for :func:`of` [Pa]."""
    p, ice = _laid(case, q, along)
    warm = case.start_temperature - q.freezing
    v = np.zeros((ROWS, len(p.dz)))
    _opened(v, warm)
    drop = channel(flow, head, warm, v[0], v[1], v[2], v[3], ice, p, q, v[4:])
    heat = v[5] * (v[1] - v[3] * v[2])
    return Channel(
        z=p.z, radius=p.radius * np.exp(-v[0]), mixed=v[1] + q.freezing, wall=v[2] + q.freezing,
        heat=heat, drop=float(drop),
    )  # fmt: skip


def _laid(case: Case, q: Liquid, along: bool) -> tuple[Pipe, Ice]:
    p = pipe.laid(case, HORIZON, GRID)
    return (p if along else p._replace(axial=0.0 * p.axial, carries=0.0)), pipe.frozen(case, q)
