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
from stillpipe.physics.stream import balance, pipe, regime
from stillpipe.physics.stream import drop as drops
from stillpipe.physics.stream.liquid import Liquid
from stillpipe.physics.stream.pipe import Ice, Pipe

Array = NDArray[np.float64]

LEAST_HEAD = 1000.0
"""Head that drives the flow at least [Pa], a tenth of a metre of water: an assumption."""
SETTLED = 2e-3
"""How far from balance [-], as a logarithm of the radius, a channel that is found may be."""
CALM, CALM_FAR = 5e-3, 1e-2
"""A channel is found, whatever a slice at its end does, where its drop has twice changed by less,
as a logarithm [-] or as a share of what parts it from the head."""
CLEAR, RESTLESS = 8.0, 0.3
"""It need be no better known once its drop is so many times as far from the head as it is from
balance, in logarithms [-], unless it still moves by more than ``RESTLESS`` [-]."""
NEARLY, ROUGHLY, SHARE = 1e-3, 0.1, 0.03
"""How well one slice is balanced in a pass [-]: to a ``SHARE`` of how far the channel was from
balance in the last one, between these."""
GROWS = 2.0
"""By how much more, from pass to pass, a slice goes that does not come back [-]."""
PASSES = 30
"""Most passes for one channel."""
ROWS = 23
"""Rows of slices that a channel is found in."""
BEGINS = 4.0
"""ln(bore radius / channel radius) under the jacket from which a channel is sought [-]."""
NEAR = 5e-3
"""The limit's logarithm is found so well where the drop leaps [-], better where it does not."""
STRAIGHT, LEAP = 0.03, 1.0
"""Between flows so near each other, in logarithms [-], the drop's logarithm is taken for straight
unless it changes by more than ``LEAP`` [-]."""
LEAST_STEEP, STEEP, STEEPEST = -1.0, -5.0, -60.0
"""How the logarithm of a channel's drop is taken to fall with that of the flow [-]."""
WIDEST = 0.7
"""Most by which a flow's logarithm changes from one to the next [-]."""
MOST, LEAST = 10.0, 1e-12
"""Greatest and least flow that is considered [kg/s]."""
GRID = Grid(axial=4, radial=2, eta=0.04, stretch=1.6)
"""How the channel is cut up: slices under half the jacket, and beyond."""
HORIZON = 600.0
"""Beside the jacket the pipe is followed as far as cold comes in so long [s]."""


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


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
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


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
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


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
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


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def _thinnest(flow: float, head: float, warm: float, p: Pipe, q: Liquid) -> float:
    """Most that ln(bore radius / channel radius) is taken for [-].

    One slice of a channel that thin takes a thousand times the ``head`` [Pa].
    """
    along = regime.gradient(flow, p.radius, warm + q.freezing, q) * p.dz[p.begins]
    return max(0.25 * math.log(1e3 * head / along), 1.0)


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
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


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def _pass(
    flow: float, narrow: Array, T: Array, Tw: Array, touches: Array, warm: float, most: float,
    ice: Ice, p: Pipe, q: Liquid, rows: Array, near: float,
) -> float:  # fmt: skip
    """Improve a channel once, to ``near`` [-]; return how far it was from balance [-].

    A slice that comes back from where it went the last time goes as far as the secant of both says.
    """
    g, lost, D, right, store, reaches = rows[1], rows[2], rows[3], rows[4], rows[5], rows[6]
    W = flow * q.cp
    axial, last, share, before = rows[12], rows[17], rows[18], 0.0
    for j in range(len(T)):
        axial[j] = _conducts(j, narrow, ice, p)
        D[j] = p.G[j] + axial[j] + before + touches[j] * g[j]
        before = axial[j]
        right[j] = p.G[j] * (p.T[j] - ice.freezing)
        store[j], reaches[j] = 0.0, 1.0
    pipe.couple(W, warm, store, lost, g, touches, reaches, D, right, axial, T, Tw, rows[7:11])
    moved, front = 0.0, transform(ice.front, ice.tables)
    for j in range(len(T)):
        yields = 1.0 / (D[j] - touches[j] * g[j])
        bare = Tw[j] - yields * g[j] * (T[j] - touches[j] * Tw[j])
        each = yields * p.dz[j] + p.inner / (2.0 * math.pi)
        x = balance.Place(T[j], bare, each, front, most)
        here = regime.here(flow, rows[0, j], T[j] + ice.freezing, q)
        new = balance.balanced(narrow[j], x, here, near, p.radius, ice, q)
        touches[j] = 0.0 if new > 0.0 else 1.0
        off = new - narrow[j]
        if off * last[j] < 0.0:
            share[j] *= last[j] / (last[j] - off)
        else:
            share[j] = min(GROWS * share[j], 1.0)
        last[j] = off
        moved = max(moved, abs(off))
        narrow[j] += share[j] * off
    return moved


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def channel(
    flow: float, head: float, warm: float, narrow: Array, T: Array, Tw: Array, touches: Array,
    ice: Ice, p: Pipe, q: Liquid, rows: Array,
) -> float:  # fmt: skip
    """Find the steady channel of ``flow`` [kg/s] in place; return the drop through it [Pa].

    ``warm`` [K] above freezing flows in, driven by ``head`` [Pa] at most; ``narrow`` and the
    others, from which it begins, as in the module's other functions.
    """
    most = _thinnest(flow, head, warm, p, q)
    rows[17], rows[18] = 0.0, 1.0
    last, rests, moved = 0.0, 0, 1e30
    for _ in range(PASSES):
        drop = _films(flow, head, narrow, T, touches, Tw, warm, ice, p, q, rows)
        near = min(max(SHARE * moved, NEARLY), ROUGHLY)
        moved = _pass(flow, narrow, T, Tw, touches, warm, most, ice, p, q, rows, near)
        far = math.log(drop / head)
        rests = rests + 1 if abs(far - last) < max(CALM, CALM_FAR * abs(far)) else 0
        last = far
        if moved < max(SETTLED, min(abs(far) / CLEAR, RESTLESS)) or rests > 1:
            break
    return _fall(flow, narrow, T, p, q, rows)


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def _begun(v: Array, warm: float, p: Pipe) -> None:
    """Fill the arrays that a channel is found in: narrow under the jacket, all of it ``warm`` [K].

    Where a narrow channel is steady beside a wide one it is the narrow one that is found: the one
    at which a freeze in metal, whose ice grows from the cold wall, shuts or stays open.
    """
    v[0], v[1], v[2], v[3] = 0.0, warm, warm, 1.0
    v[0, p.begins : p.ends] = BEGINS


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def _excess(x: float, head: float, warm: float, v: Array, ice: Ice, p: Pipe, q: Liquid) -> float:
    """Logarithm of drop over head [-] of the steady channel of a flow's logarithm ``x`` [-].

    Within -30 and 30. It hangs on the flow alone, not on those that were tried before.
    """
    _begun(v, warm, p)
    drop = channel(math.exp(x), head, warm, v[0], v[1], v[2], v[3], ice, p, q, v[4:])
    return min(max(math.log(max(drop, 1e-300) / head), -30.0), 30.0)


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def _slope(a: float, b: float, f_a: float, f_b: float) -> float:
    """Slope of the excess between two flows' logarithms [-], within what is taken for likely."""
    return min(max((f_b - f_a) / (b - a), STEEPEST), LEAST_STEEP)


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def _stride(f: float, slope: float) -> float:
    """How far the logarithm of a flow goes [-] from an excess ``f`` [-], to just pass its root."""
    past = math.copysign(0.3 * STRAIGHT, f)
    return min(max(-1.05 * f / slope + past, -WIDEST), WIDEST)


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def greatest(head: float, warm: float, guess: float, most: float, ice: Ice, p: Pipe, q: Liquid
) -> float:  # fmt: skip
    """Greatest flow that still closes [kg/s], ``most`` at most, sought from a ``guess`` [kg/s].

    By secants in logarithms to both sides of where the drop is the head, then by the Illinois
    method; where it leaps there, the greatest found that closes.
    """
    v = np.zeros((ROWS, len(p.dz)))
    end, slope = math.log(most), STEEP
    a = b = min(math.log(guess), end)
    f_a = f_b = _excess(a, head, warm, v, ice, p, q)
    while f_a <= 0.0 and a > math.log(LEAST):
        b, f_b = a, f_a
        a += _stride(f_b, slope)
        f_a = _excess(a, head, warm, v, ice, p, q)
        slope = _slope(a, b, f_a, f_b)
    while f_b > 0.0:
        if b >= end:
            return most
        a, f_a = b, f_b
        b = min(a + _stride(f_a, slope), end)
        f_b = _excess(b, head, warm, v, ice, p, q)
        slope = _slope(a, b, f_a, f_b)
    side = 0
    while f_a > 0.0 and b - a > NEAR:
        c = a + f_a * (b - a) / (f_a - f_b)
        if b - a < STRAIGHT and f_a - f_b < LEAP:
            return math.exp(c)
        c = min(max(c, a + 0.05 * (b - a)), b - 0.05 * (b - a))
        f = _excess(c, head, warm, v, ice, p, q)
        a, b, f_a, f_b, side = _narrowed(a, b, f_a, f_b, side, c, f)
    return math.exp(a)


def of(
    case: Case, q: Liquid, head: float, *, along: bool = True, near: float = 0.0
) -> float:  # fmt: skip
    """Greatest flow of ``q`` that ``case`` still freezes shut [kg/s], ``head`` [Pa] driving it.

    Not ``along``: nothing is conducted along the wall. It is sought from what it is ``near``
    [kg/s], if that is known.
    """
    p, ice = _laid(case, q, along)
    head, warm = max(head, LEAST_HEAD), case.start_temperature - q.freezing
    outer = sum(1.0 / p.G[p.begins : p.ends]) / (p.ends - p.begins) ** 2
    power = (q.freezing - p.T[p.begins]) / max(outer, 1e-9)
    guess = near or 0.5 * power / (q.cp * warm)
    return float(greatest(head, warm, guess, MOST, ice, p, q))


def steady(case: Case, q: Liquid, head: float, flow: float, *, along: bool = True) -> Channel:
    """Return the steady channel of ``flow`` [kg/s] of ``q``; the rest as for :func:`of` [Pa]."""
    p, ice = _laid(case, q, along)
    warm = case.start_temperature - q.freezing
    v = np.zeros((ROWS, len(p.dz)))
    _begun(v, warm, p)
    drop = channel(flow, head, warm, v[0], v[1], v[2], v[3], ice, p, q, v[4:])
    heat = v[5] * (v[1] - v[3] * v[2])
    return Channel(
        z=p.z, radius=p.radius * np.exp(-v[0]), mixed=v[1] + q.freezing, wall=v[2] + q.freezing,
        heat=heat, drop=float(drop),
    )  # fmt: skip


def _laid(case: Case, q: Liquid, along: bool) -> tuple[Pipe, Ice]:
    p = pipe.laid(case, HORIZON, GRID)
    return (p if along else p._replace(axial=0.0 * p.axial, carries=0.0)), pipe.frozen(case, q)
