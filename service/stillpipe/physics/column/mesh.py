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


@dataclass(frozen=True, kw_only=True)
class Grid:
    """How finely a freeze is cut up.

    ``axial`` slices under half the jacket, ``radial`` rings across the bore, ``stretch`` of each
    slice beyond the jacket to the one before. A step is ``eta`` x the time since the coolant was
    turned on or off [-], which counts as at least ``early`` x an estimate of closure; at most
    ``freeze_step``, after ready ``hold_step``, after the coolant's stop ``thaw_step`` and, once
    the bond is lost, ``melt_step`` x what explicit axial conduction allows [-]. That limit shortens
    no step to less than ``least`` of itself [-]. A step with an event in it is taken again in
    ``pieces``. ``tolerance`` is Newton's on the Kirchhoff transform [W/m], of which 2.5 are about a
    kelvin of ice; what is missed is carried into the next step.
    """

    axial: int
    radial: int
    eta: float
    stretch: float
    early: float = 0.1
    freeze_step: float = 1.0
    hold_step: float = 1.0
    thaw_step: float = 1.0
    melt_step: float = 1.0
    least: float = 0.0
    tolerance: float = 0.5
    pieces: int = 8


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
    """Pipe wall of one node a slice: ``axial`` conductances [W/K] and heat ``capacity`` [J/K].

    ``inner`` is the resistance from the bore to the wall's node, times 2 pi length [m K/W].
    """

    axial: Array
    capacity: Array
    inner: float


class Outside(NamedTuple):
    """Beyond the wall: conductances ``G`` [W/K] and temperatures ``T`` [K] of the slices.

    ``jacket`` counts the slices under the jacket.
    """

    G: Array
    T: Array
    jacket: int


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


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def mesh(dz: Array, radius: float, rings: int) -> Mesh:
    """Return slices of widths ``dz`` [m] and ``rings`` of equal width across ``radius`` [m]."""
    nz = len(dz)
    z, before, after = np.empty(nz), np.zeros(nz), np.zeros(nz)
    edge = 0.0
    for j in range(nz):
        z[j] = edge + 0.5 * dz[j]
        edge += dz[j]
    for j in range(nz - 1):
        gap = z[j + 1] - z[j]
        after[j] = 1.0 / (dz[j] * gap)
        before[j + 1] = 1.0 / (dz[j + 1] * gap)
    area, shell = np.empty(rings), np.zeros(rings)
    dr = radius / rings
    for i in range(rings):
        area[i] = math.pi * dr * dr * (2 * i + 1)
        if i < rings - 1:
            shell[i] = 2.0 * math.pi / math.log((i + 1.5) / (i + 0.5))
    return Mesh(z, dz, before, after, area, shell, math.log(rings / (rings - 0.5)))


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def wall(z: Array, dz: Array, conductance: float, heat: float, inner: float) -> Wall:
    """Return the wall along slices at ``z``, ``dz`` wide [m].

    ``conductance`` [W m/K] and ``heat`` [J/(m K)] of its section; ``inner`` as in :class:`Wall`
    [m K/W].
    """
    nz = len(dz)
    axial = np.zeros(nz)
    for j in range(nz - 1):
        axial[j] = conductance / (z[j + 1] - z[j])
    return Wall(axial, heat * dz, inner)


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def outside(
    dz: Array, jacket: int, inside: tuple[float, float], beyond: tuple[float, float]
) -> Outside:
    """Return what lies beyond the wall: ``jacket`` slices under the jacket, the others beside it.

    ``inside`` and ``beyond`` are resistance from the wall's node times length [m K/W] and
    temperature [K], under the jacket and beside it.
    """
    G, T = np.empty(len(dz)), np.empty(len(dz))
    for j in range(len(dz)):
        resistance, temperature = inside if j < jacket else beyond
        G[j] = dz[j] / resistance
        T[j] = temperature
    return Outside(G, T, jacket)
