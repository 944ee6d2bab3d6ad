"""Cells of half a freeze point: rings across the bore, slices along the pipe, and its wall.

The slices are even under the jacket and widen beyond it by a constant factor. Another spacing,
more wall nodes or a whole instead of a half length are other ways to fill the same arrays.
"""

import math
from dataclasses import dataclass
from functools import cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stillpipe.physics.compiling import njit

Array = NDArray[np.float64]

FAST = {"contract", "arcp", "nnan", "ninf", "nsz"}
"""What the compiler may do to arithmetic: contract products and sums, divide by multiplying with a
reciprocal, and take numbers for finite; never put sums in another order, so that a kind of machine
always gives the same digits. ``error_model`` "numpy" drops the checks for division by zero, without
which loops run side by side. A cached function is compiled again when its own file changes, not
when one that it calls does: whoever changes the solver empties the cache."""
part = njit(
    nogil=True, cache=True, apart=True, borrows=True, error_model="numpy", fastmath=FAST,
    forceinline=True,
)  # fmt: skip
"""Compiles a function as a part of those that call it, which give it no arrays that overlap."""


@dataclass(frozen=True, kw_only=True)
class Grid:
    """How finely a freeze is cut up.

    ``axial`` slices under half the jacket, ``radial`` rings across the bore, ``stretch`` of each
    slice beyond the jacket to the one before. No slice under the jacket is wider than ``finest``
    [m], nor one near a plug's end, where it is at most ``bore_share`` of the bore and ``fin_share``
    of the fin [-]; a plug is kept ``ahead`` such slices away from wider ones [-]. From closure to
    ready those under the jacket are at most ``plug_share`` as wide as before [-].

    A step is ``eta`` x the time since the coolant was turned on or off [-], which counts as at
    least ``early`` x an estimate of closure; at most ``freeze_step``, after ready ``hold_step`` (in
    a wall that insulates ``inner_hold_step``, where that is less), after the coolant's stop
    ``thaw_step``, of a plug fed no longer than until ready ``skin_step``, and, once the bond is
    lost, ``melt_step`` x what explicit axial conduction allows [-]. That limit shortens no step to
    less than ``least`` of itself [-]. A step with an event in it is taken again in ``pieces``.
    ``tolerance`` is Newton's on the Kirchhoff transform [W/m], of which 2.5 are about a kelvin of
    ice; what is missed is carried into the next step. Frost that comes after ready is followed
    ``evenly``, on the slices that the pipe began with, or on those of the held plug. The fine part
    grows by ``stride`` finest slices at a time; beyond it each slice is cut into parts at most
    ``grade`` x as wide as those of the one before [-]. A plug is held on its slices once half of it
    is ``readable`` x as long as the finest of them [-]: a shorter one seems to stop there for a
    while. Once the coolant has stopped the first step is ``fading_first`` [s] and any is
    ``fading_eta``, where that is not 0, in place of ``eta`` x the time since then [-]; slices are
    put together to at most ``fading_width`` x the finest [-]. Once the bond is lost a step is
    ``melt_eta`` x that time [-]: by how fast ice went in the one before the last it is told when
    all is gone.
    """

    axial: int
    radial: int
    eta: float
    stretch: float
    finest: float = 0.012
    early: float = 0.1
    freeze_step: float = 1.0
    hold_step: float = 1.0
    inner_hold_step: float = 1e9
    thaw_step: float = 1.0
    skin_step: float = 1.0
    melt_step: float = 1.0
    least: float = 0.0
    tolerance: float = 0.5
    pieces: int = 8
    evenly: bool = False
    stride: float = 6.0
    bore_share: float = 0.5
    fin_share: float = 1.0 / 12.0
    plug_share: float = 0.5
    ahead: float = 3.0
    fading_first: float = 0.25
    fading_eta: float = 0.0
    fading_width: float = 1.0
    melt_eta: float = 0.065
    grade: float = 1e9
    readable: float = 0.0


class Bounds(NamedTuple):
    """What keeps a step: ``reach``, the longest over the limit of explicit axial conduction [-].

    That shortens no step to less than ``least`` of itself [-], as far as its correction allows.
    ``tolerance`` is Newton's on the Kirchhoff transform [W/m].
    """

    reach: float
    least: float
    tolerance: float


class Mesh(NamedTuple):
    """Slices: centres ``z`` and widths ``dz`` [m]; rings: ``area`` [m2] and ``shell`` [-].

    ``before`` and ``after`` [1/m2] and ``shell`` [-, per length] times a difference of the
    Kirchhoff transform give the heat from the slice before, to the slice after (per volume) and to
    the next ring; ``half`` is ln(bore radius / radius of the outermost ring's centre).
    """

    z: Array
    dz: Array
    before: Array
    after: Array
    area: Array
    shell: Array
    half: float


class Wall(NamedTuple):
    """Pipe wall, of one node a slice or of more across a thick one that conducts badly.

    Of the outermost node ``axial`` conductances [W/K] and heat ``capacity`` [J/K]. Of the nodes
    within it ``area`` [m2] and ``shell``, the conductance to the next node outward [W/(m K)];
    their material's conductivity ``along`` [W/(m K)] and ``heat`` capacity [J/(m3 K)]. ``inner`` is
    the resistance from the bore to the innermost node, times 2 pi length [m K/W].
    """

    axial: Array
    capacity: Array
    inner: float
    area: Array
    shell: Array
    along: float
    heat: float


class Outside(NamedTuple):
    """Beyond the wall: conductances ``G`` [W/K] and temperatures ``T`` [K] of the slices.

    ``jacket`` counts the slices under the jacket, where the surface is met by ``h_jacket``
    [W/(m2 K)], reached in time with the time constant ``filling`` [s] (0: at once). ``beside`` it
    are conductances to the room [W/(m K)] on the grid of the outermost node's temperatures
    ``beside_from`` + i / ``beside_per`` [K]. ``outer`` is the resistance from that node to the
    surface, times length [m K/W], ``round`` the circumference [m]. ``G`` is filled before every
    step.
    """

    G: Array
    T: Array
    jacket: int
    h_jacket: float
    filling: float
    beside: Array
    beside_from: float
    beside_per: float
    outer: float
    round: float


class Scratch(NamedTuple):
    """Arrays a step works in: of all cells, of slices, and of the wall's inner nodes."""

    a: Array
    S: Array
    A: Array
    rhs: Array
    Hn: Array
    alpha: Array
    beta: Array
    Twn: Array
    ta: Array
    ts: Array
    p: Array
    q: Array
    diag: Array
    right: Array
    share: Array
    out: Array
    worst: Array
    E: Array
    Tin: Array
    alpha_in: Array
    beta_in: Array
    rhs_in: Array


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def scratch(nr: int, nz: int, inner: int) -> Scratch:
    """Return working arrays for ``nr`` rings of ``nz`` slices and ``inner`` nodes of the wall."""
    c, v, w = np.empty((7, nr, nz)), np.empty((11, nz)), np.empty((4, inner, nz))
    return Scratch(
        c[0], c[1], c[2], c[3], c[4], c[5], c[6], v[0], v[1], v[2], v[3], v[4], v[5], v[6], v[7],
        v[8], v[9], v[10], w[0], w[1], w[2], w[3],
    )  # fmt: skip


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def slices(width: float, count: int, length: float, stretch: float) -> Array:
    """Return widths [m] of ``count`` even slices and of ever wider ones out to ``length`` [m]."""
    total, wide, n = count * width, width, count
    while total < length:
        wide *= stretch
        total += wide
        n += 1
    dz = np.empty(n)
    for j in range(n):
        dz[j] = width if j < count else dz[j - 1] * stretch
    return dz


def rings(count: int) -> Array:
    """Return the outer radii of ``count`` rings over that of the bore [-].

    They are of equal width, but for the outermost two, halves of one: frost beside the jacket
    hangs on how fast the liquid gives its heat to the wall at first.
    """
    return _rings(count).copy()


@cache
def _rings(count: int) -> Array:
    edges = np.arange(1.0, count) / (count - 1.0)
    return np.insert(edges, count - 2, 1.0 - 0.5 / (count - 1.0))


def areas(edges: Array) -> Array:
    """Return the share of the bore's area that each ring out to ``edges`` [-] has [-]."""
    return np.diff(edges**2, prepend=0.0)


def skin(edges: Array) -> Array:
    """Return ``edges`` [-] with the outermost ring cut into a half, a quarter and two eighths.

    A young plug's bond hangs on the ice that touches the wall.
    """
    width = edges[-1] - edges[-2]
    return np.concatenate((edges[:-1], edges[-1] - width * np.array([0.5, 0.25, 0.125, 0.0])))


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def across(radius: float, edges: Array, area: Array, shell: Array) -> float:
    """Fill ``area`` and ``shell`` of a :class:`Mesh` of rings out to ``edges`` [-] x ``radius``.

    Both [m]; return its ``half``.
    """
    inside, last = 0.0, 0.0
    for i in range(len(edges)):
        outside = radius * edges[i]
        middle = 0.5 * (inside + outside)
        area[i] = math.pi * (outside * outside - inside * inside)
        shell[i] = 0.0
        if i > 0:
            shell[i - 1] = 2.0 * math.pi / math.log(middle / last)
        inside, last = outside, middle
    return math.log(radius / last)


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def through(
    radii: tuple[float, float], conductivity: float, area: Array, shell: Array
) -> tuple[float, float, float]:  # fmt: skip
    """Fill ``area`` and ``shell`` of a :class:`Wall` between ``radii`` [m], of one node more each.

    Return the resistance from the bore to the innermost node, times 2 pi length, and that from the
    outermost to the surface, times length [m K/W], and the outermost node's section [m2].
    """
    inside = len(area)
    thickness = (radii[1] - radii[0]) / (inside + 1)
    inner, last, section = 0.0, radii[0], 0.0
    for i in range(inside + 1):
        low = radii[0] + i * thickness
        high = low + thickness
        middle = math.sqrt(0.5 * (low * low + high * high))
        section = math.pi * (high * high - low * low)
        if i == 0:
            inner = math.log(middle / last) / conductivity
        else:
            shell[i - 1] = 2.0 * math.pi * conductivity / math.log(middle / last)
        if i < inside:
            area[i] = section
        last = middle
    return inner, math.log(radii[1] / last) / (2.0 * math.pi * conductivity), section


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def along(
    dz: Array, conducts: float, holds: float, jacket: float, under: float, beside: float,
    to: Array,
) -> int:  # fmt: skip
    """Fill, row by row, what there is of each slice of width ``dz`` [m].

    Of a :class:`Mesh` and a :class:`Wall` ``z``, ``before``, ``after``, ``axial`` and ``capacity``;
    of an :class:`Outside` ``G``, nothing so far, and ``T`` [K], first fed, then with an empty
    jacket. ``conducts`` and ``holds`` are conductivity and heat capacity times section of the
    wall's outermost node [W m/K, J/(m K)]; it is so cold [K] ``under`` the jacket, fed, which is so
    long [m] to one side, and ``beside`` it. Return how many slices lie under the jacket.
    """
    z, before, after, axial, capacity = to[0], to[1], to[2], to[3], to[4]
    G, fed, empty = to[5], to[6], to[7]
    nz, edge, covers = len(dz), 0.0, 0
    for j in range(nz):
        z[j] = edge + 0.5 * dz[j]
        covers += edge < jacket * (1.0 - 1e-9)
        edge += dz[j]
        capacity[j] = holds * dz[j]
        G[j], fed[j], empty[j] = 0.0, under if j < covers else beside, beside
    before[0] = after[nz - 1] = axial[nz - 1] = 0.0
    for j in range(nz - 1):
        gap = z[j + 1] - z[j]
        after[j] = 1.0 / (dz[j] * gap)
        before[j + 1] = 1.0 / (dz[j + 1] * gap)
        axial[j] = conducts / gap
    return covers


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def fine(dz: Array, widest: float) -> float:
    """Return how far slices are no wider than ``widest`` [m]: beyond any pipe where none is."""
    edge = 0.0
    for j in range(len(dz)):
        if dz[j] > widest * (1.0 + 1e-9):
            return edge
        edge += dz[j]
    return 1e30
