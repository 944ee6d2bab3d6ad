"""What meets the pipe's outside: the jacket as it fills, the room by the surface's temperature."""

import math

import numpy as np
from numpy.typing import NDArray

from stillpipe.physics.column.mesh import FAST, Mesh, Outside, part
from stillpipe.physics.compiling import njit

Array = NDArray[np.float64]

LEAST = 1e-9
"""A film counts as at least this [W/(m2 K)]."""


@part
def expose(Tw: Array, now: float, dt: float, g: Mesh, o: Outside) -> None:
    """Fill the conductances ``o.G`` [W/K] of a step of ``dt`` from ``now`` [s].

    The jacket's is the step's mean of h (1 - exp(-t / filling)); the room's is that of the surface
    as it was before the step.
    """
    jacket = under(o, now, dt)
    for j in range(o.jacket):
        o.G[j] = g.dz[j] * jacket
    for j in range(o.jacket, len(Tw)):
        o.G[j] = g.dz[j] * beside(o, Tw[j])


@part
def under(o: Outside, now: float, dt: float) -> float:
    """Conductance from the wall's outermost node to the jacket [W/(m K)], mean of a step."""
    share = 1.0
    if o.filling > 0.0:
        step = dt / o.filling
        share = 1.0 + math.exp(-now / o.filling) * math.expm1(-step) / step
    return 1.0 / (o.outer + 1.0 / (o.round * max(o.h_jacket * share, LEAST)))


@part
def beside(o: Outside, wall: float) -> float:
    """Conductance to the room [W/(m K)] from the outermost node of the ``wall``, so warm [K]."""
    x = min(max((wall - o.beside_from) * o.beside_per, 0.0), len(o.beside) - 1.001)
    i = int(x)
    return float(o.beside[i] + (x - i) * (o.beside[i + 1] - o.beside[i]))


@part
def surface(Tw: Array, at: float, g: Mesh, o: Outside) -> float:
    """Temperature [K] of the pipe's outside ``at`` a distance from the centre [m].

    Beside the jacket it comes near the room's like a fin's, by a power of the distance: so it is
    read between two slices.
    """
    j = 1
    while j < len(g.z) - 1 and g.z[j] < at:
        j += 1
    low, high = _skin(Tw, j - 1, g, o), _skin(Tw, j, g, o)
    part = min(max((at - g.z[j - 1]) / (g.z[j] - g.z[j - 1]), 0.0), 1.0)
    warm = max(o.T[len(o.T) - 1], Tw[len(Tw) - 1], low, high) + 1.0
    return float(warm - (warm - low) * math.pow((warm - high) / (warm - low), part))


@part
def _skin(Tw: Array, j: int, g: Mesh, o: Outside) -> float:
    return float(Tw[j] + (o.T[j] - Tw[j]) * o.G[j] / g.dz[j] * o.outer)


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def surfaces(Tw: Array, times: Array, instant: float, at: float, g: Mesh, o: Outside) -> Array:
    """Temperature [K] of the pipe's outside ``at`` a distance from the centre [m].

    One for each of the walls ``Tw``, shape (times, slices) [K], at ``times`` [s], of which none
    counts for less than an ``instant`` [s].
    """
    found = np.empty(len(times))
    for n in range(len(times)):
        expose(Tw[n], max(times[n], instant), instant, g, o)
        found[n] = surface(Tw[n], at, g, o)
    return found


def to_room(
    room_film: Array, walls: Array, ambient: float, outer: float, circumference: float
) -> Array:
    """Return conductances from the wall's outermost node to the room [W/(m K)].

    One for each of ``walls``, temperatures of that node [K], at which ``room_film`` is that of a
    surface [W/(m2 K)]. ``ambient`` [K]; ``outer`` resistance from that node to the surface, times
    length [m K/W]; ``circumference`` [m].
    """
    rest = 1.0 / (circumference * np.maximum(room_film, LEAST))
    surface = walls + (ambient - walls) * outer / (outer + rest)
    there = np.maximum(np.interp(surface, walls, room_film), LEAST)
    return np.asarray(1.0 / (outer + 1.0 / (circumference * there)))
