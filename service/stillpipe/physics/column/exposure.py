"""What meets the pipe's outside: the jacket as it fills, the room by the surface's temperature."""

import math

import numpy as np
from numpy.typing import NDArray

from stillpipe.physics.column.mesh import Mesh, Outside, part

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
