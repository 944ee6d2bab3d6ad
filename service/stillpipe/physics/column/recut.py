"""What is known on one set of cells, on another: slices along the pipe, rings across it."""

import math

import numpy as np
from numpy.typing import NDArray

from stillpipe.physics.column.mesh import FAST
from stillpipe.physics.compiling import njit

Array = NDArray[np.float64]


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def split(dz: Array, begin: float, end: float, widest: float, grade: float) -> Array:
    """Return the widths [m] of slices cut, between ``begin`` and ``end`` [m], into equal parts.

    The parts are no wider than ``widest`` [m], those of each slice beyond ``end`` no wider than
    ``grade`` x those of the one before [-]: what is far beyond stays as it is.
    """
    parts, count, edge = np.ones(len(dz), dtype=np.int64), 0, 0.0
    for j in range(len(dz)):
        if edge + dz[j] > begin + 1e-9:
            if edge >= end - 1e-9:
                widest *= grade
            parts[j] = max(math.ceil(dz[j] / widest - 1e-9), 1)
        count += parts[j]
        edge += dz[j]
    found, n = np.empty(count), 0
    for j in range(len(dz)):
        for _ in range(parts[j]):
            found[n] = dz[j] / parts[j]
            n += 1
    return found


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def merged(dz: Array, jacket: int, widest: float) -> Array:
    """Return the widths [m] of slices put together that make no more than ``widest`` [m].

    None of the first ``jacket`` slices with one beyond them.
    """
    found, n = np.empty(len(dz)), 0
    for j in range(len(dz)):
        if n > 0 and j != jacket and found[n - 1] + dz[j] <= widest * (1.0 + 1e-9):
            found[n - 1] += dz[j]
        else:
            found[n] = dz[j]
            n += 1
    return found[:n].copy()


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def shares(dz: Array, new: Array) -> Array:
    """Return which part of every new slice was in which old one [-], shape (old, new).

    ``dz`` widths of the old slices, ``new`` of the new [m]. Beyond the end of the old ones their
    last goes on.
    """
    found = np.empty((len(dz), len(new)))
    _spread(dz, new, np.eye(len(dz)), np.zeros((len(dz), len(dz))), found)
    return found


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def carry(dz: Array, new: Array, old: Array, to: Array) -> None:
    """Fill ``to`` with what rows of ``old``, shape (rows, slices), are on the ``new`` slices.

    ``dz`` and ``new`` are widths [m], the centre of the jacket first, which is a mirror. What is in
    an old slice goes in a straight line, by the harmonic mean of the slopes to both sides, level
    where these differ in sign: nothing is lost, nor lies beyond the old slices beside it. Beyond
    their end the last of them goes on.
    """
    slope = np.zeros(old.shape)
    for i in range(len(old)):
        for j in range(1, len(dz) - 1):
            below, above = old[i, j] - old[i, j - 1], old[i, j + 1] - old[i, j]
            left, right = 2.0 * below / (dz[j - 1] + dz[j]), 2.0 * above / (dz[j] + dz[j + 1])
            if left * right > 0.0:
                most = 2.0 * min(abs(below), abs(above)) / dz[j]
                steep = 2.0 * left * right / (left + right)
                slope[i, j] = min(max(steep, -most), most)
    _spread(dz, new, old, slope, to)


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def _spread(dz: Array, new: Array, old: Array, slope: Array, to: Array) -> None:
    """Fill ``to`` with means over ``new`` slices of what goes by a ``slope`` in each old one."""
    last, begin, left, j = len(dz) - 1, 0.0, 0.0, 0
    for n in range(len(new)):
        end = begin + new[n]
        for i in range(len(old)):
            to[i, n] = 0.0
        while True:
            right = left + dz[j] if j < last else max(left + dz[j], end)
            first, after = max(left, begin), min(right, end)
            share = max(after - first, 0.0) / new[n]
            off = 0.5 * (first + after) - left - 0.5 * dz[j]
            for i in range(len(old)):
                to[i, n] += share * (old[i, j] + slope[i, j] * off)
            if j == last or right >= end:
                break
            left, j = right, j + 1
        begin = end


def carry_rings(edges: Array, new: Array, old: Array) -> Array:
    """Return what rings out to ``edges`` [-] hold, ``old``, shape (rings, slices), in ``new`` ones.

    ``new`` are finer: each lies within one old ring. In that it goes in a straight line, as in
    :func:`carry`; in the outermost one by the slope from within.
    """
    inside, into = np.insert(edges[:-1], 0, 0.0), np.insert(new[:-1], 0, 0.0)
    rise = np.diff(old, axis=0) / np.diff(0.5 * (inside + edges))[:, None]
    slope = np.zeros_like(old)
    left, right = rise[:-1], rise[1:]
    both = left * right
    slope[1:-1] = np.where(both > 0.0, 2.0 * both / np.where(both > 0.0, left + right, 1.0), 0.0)
    slope[-1] = rise[-1]
    ring = np.searchsorted(edges, 0.5 * (into + new))
    off = _centroid(into, new) - _centroid(inside, edges)[ring]
    return np.asarray(old[ring] + slope[ring] * off[:, None])


def _centroid(inside: Array, outside: Array) -> Array:
    """Return the mean radius of rings, each part of its area counted alike [as these radii]."""
    return np.asarray(2.0 / 3.0 * (outside**3 - inside**3) / (outside**2 - inside**2))
