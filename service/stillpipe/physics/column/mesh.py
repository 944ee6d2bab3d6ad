"""Cells of half a freeze point: rings across the bore, slices along the pipe, and its wall.

The slices are even under the jacket and widen beyond it by a constant factor. Another spacing,
more wall nodes or a whole instead of a half length are other ways to fill the same arrays.
"""

import math
from dataclasses import dataclass
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
    nogil=True, cache=True, apart=True, error_model="numpy", fastmath=FAST, forceinline=True
)  # fmt: skip
"""Compiles a function as a part of those that call it, which give it no arrays that overlap."""


@dataclass(frozen=True, kw_only=True)
class Grid:
    """How finely a freeze is cut up.

    ``axial`` slices under half the jacket, ``radial`` rings across the bore, ``stretch`` of each
    slice beyond the jacket to the one before. No slice near a plug's end is wider than ``finest``
    [m], nor one under the jacket. A step is ``eta`` x the time since the coolant was
    turned on or off [-], which counts as at least ``early`` x an estimate of closure; at most
    ``freeze_step``, after ready ``hold_step``, after the coolant's stop ``thaw_step`` and, once
    the bond is lost, ``melt_step`` x what explicit axial conduction allows [-]. That limit shortens
    no step to less than ``least`` of itself [-]. A step with an event in it is taken again in
    ``pieces``. ``tolerance`` is Newton's on the Kirchhoff transform [W/m], of which 2.5 are about a
    kelvin of ice; what is missed is carried into the next step. Frost that comes after ready is
    followed ``evenly``, on the slices that the pipe began with, or on those of the held plug. The
    fine part grows by ``stride`` finest slices at a time.
    """

    axial: int
    radial: int
    eta: float
    stretch: float
    finest: float = 0.012
    early: float = 0.1
    freeze_step: float = 1.0
    hold_step: float = 1.0
    thaw_step: float = 1.0
    melt_step: float = 1.0
    least: float = 0.0
    tolerance: float = 0.5
    pieces: int = 8
    evenly: bool = False
    stride: float = 6.0


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
def _mesh(
    dz: Array, radius: float, edges: Array
) -> tuple[Array, Array, Array, Array, Array, Array, float]:
    """Return what :class:`Mesh` holds: see :func:`mesh`."""
    nz, count = len(dz), len(edges)
    z, before, after = np.empty(nz), np.zeros(nz), np.zeros(nz)
    edge = 0.0
    for j in range(nz):
        z[j] = edge + 0.5 * dz[j]
        edge += dz[j]
    for j in range(nz - 1):
        gap = z[j + 1] - z[j]
        after[j] = 1.0 / (dz[j] * gap)
        before[j + 1] = 1.0 / (dz[j + 1] * gap)
    area, shell = np.empty(count), np.zeros(count)
    inside, last = 0.0, 0.0
    for i in range(count):
        outside = radius * edges[i]
        middle = 0.5 * (inside + outside)
        area[i] = math.pi * (outside * outside - inside * inside)
        if i > 0:
            shell[i - 1] = 2.0 * math.pi / math.log(middle / last)
        inside, last = outside, middle
    return z, dz, before, after, area, shell, math.log(radius / last)


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def _wall(
    z: Array, dz: Array, radii: tuple[float, float], nodes: int, conductivity: float, heat: float,
    resistance: float,
) -> tuple[Array, Array, float, Array, Array, float]:  # fmt: skip
    """Return what :class:`Wall` holds but for its material, and more: see :func:`wall`."""
    thickness = (radii[1] - radii[0]) / nodes
    area, shell, inner, last = np.empty(nodes - 1), np.empty(nodes - 1), resistance, radii[0]
    section = 0.0
    for i in range(nodes):
        low = radii[0] + i * thickness
        high = low + thickness
        middle = math.sqrt(0.5 * (low * low + high * high))
        section = math.pi * (high * high - low * low)
        if i == 0:
            inner += math.log(middle / last) / conductivity
        else:
            shell[i - 1] = 2.0 * math.pi * conductivity / math.log(middle / last)
        if i < nodes - 1:
            area[i] = section
        last = middle
    nz = len(z)
    axial, capacity = np.zeros(nz), np.empty(nz)
    for j in range(nz):
        capacity[j] = heat * section * dz[j]
        if j < nz - 1:
            axial[j] = conductivity * section / (z[j + 1] - z[j])
    outer = math.log(radii[1] / last) / (2.0 * math.pi * conductivity)
    return axial, capacity, inner, area, shell, outer


def mesh(dz: Array, radius: float, edges: Array) -> Mesh:
    """Return slices of widths ``dz`` [m] and rings out to ``edges`` [-] times ``radius`` [m]."""
    return Mesh(*_mesh(dz, radius, edges))


def wall(
    z: Array, dz: Array, radii: tuple[float, float], nodes: int, conductivity: float, heat: float,
    resistance: float,
) -> tuple[Wall, float]:  # fmt: skip
    """Return the wall along slices at ``z``, ``dz`` wide [m], and its resistance to the surface.

    That is the one from the outermost node times length [m K/W]. ``radii`` inner and outer [m],
    ``nodes`` across, ``conductivity`` [W/(m K)], ``heat`` capacity [J/(m3 K)], ``resistance`` of a
    lining times 2 pi length [m K/W].
    """
    axial, capacity, inner, area, shell, outer = _wall(
        z, dz, radii, nodes, conductivity, heat, resistance
    )
    return Wall(axial, capacity, inner, area, shell, conductivity, heat), outer


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def found(dz: Array, jacket: float, widest: float) -> tuple[int, float]:
    """Return how many slices lie under the ``jacket`` [m] and how far they are fine [m].

    That is as far as none is wider than ``widest`` [m]: a length beyond any pipe where none is.
    """
    under, fine, edge = 0, 1e30, 0.0
    for j in range(len(dz)):
        if edge < jacket * (1.0 - 1e-9):
            under = j + 1
        if dz[j] > widest * (1.0 + 1e-9):
            fine = min(fine, edge)
        edge += dz[j]
    return under, fine


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def split(dz: Array, begin: float, end: float, widest: float) -> Array:
    """Return the widths [m] of slices cut, between ``begin`` and ``end`` [m], into equal parts.

    The parts are no wider than ``widest`` [m].
    """
    parts, count, edge = np.ones(len(dz), dtype=np.int64), 0, 0.0
    for j in range(len(dz)):
        if edge + dz[j] > begin + 1e-9 and edge < end - 1e-9:
            parts[j] = math.ceil(dz[j] / widest - 1e-9)
        count += parts[j]
        edge += dz[j]
    found, n = np.empty(count), 0
    for j in range(len(dz)):
        for _ in range(parts[j]):
            found[n] = dz[j] / parts[j]
            n += 1
    return found


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def shares(dz: Array, new: Array) -> Array:
    """Return which part of every new slice was in which old one [-], shape (old, new).

    ``dz`` widths of the old slices, ``new`` of the new [m]. Beyond the end of the old ones their
    last goes on.
    """
    found = np.zeros((len(dz), len(new)))
    begin, last, j = 0.0, len(dz) - 1, 0
    left = 0.0
    for n in range(len(new)):
        end = begin + new[n]
        while True:
            right = left + dz[j] if j < last else max(left + dz[j], end)
            found[j, n] = max(min(right, end) - max(left, begin), 0.0) / new[n]
            if j == last or right >= end:
                break
            left, j = right, j + 1
        begin = end
    return found
