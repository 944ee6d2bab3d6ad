"""What meets the pipe's outside: the jacket as it fills, the room by the surface's temperature."""

import math

import numpy as np
from numpy.typing import NDArray

from stillpipe.physics.column.mesh import FAST, Mesh, Outside
from stillpipe.physics.compiling import njit

Array = NDArray[np.float64]


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def film(o: Outside, T: float) -> float:
    """Conductance [W/(m2 K)] from the room to a surface at ``T`` [K]."""
    x = min(max((T - o.film_from) * o.film_per, 0.0), len(o.film) - 1.001)
    i = int(x)
    return float(max(o.film[i] + (x - i) * (o.film[i + 1] - o.film[i]), 1e-9))


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def expose(Tw: Array, now: float, dt: float, g: Mesh, o: Outside) -> None:
    """Fill the conductances ``o.G`` [W/K] of a step of ``dt`` from ``now`` [s].

    The jacket's is the step's mean of h (1 - exp(-t / filling)); the room's is that of the surface
    as it was before the step.
    """
    jacket = under(o, now, dt)
    for j in range(len(Tw)):
        o.G[j] = g.dz[j] * (jacket if j < o.jacket else beside(o, Tw[j], o.T[j]))


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def under(o: Outside, now: float, dt: float) -> float:
    """Conductance from the wall's outermost node to the jacket [W/(m K)], mean of a step."""
    share = 1.0
    if o.filling > 0.0:
        part = dt / o.filling
        share = 1.0 + math.exp(-now / o.filling) * math.expm1(-part) / part
    return 1.0 / (o.outer + 1.0 / (o.round * max(o.h_jacket * share, 1e-9)))


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def beside(o: Outside, wall: float, ambient: float) -> float:
    """Conductance from the ``wall``'s outermost node to the room [W/(m K)], temperatures [K]."""
    rest = 1.0 / (o.round * film(o, wall))
    surface = wall + (ambient - wall) * o.outer / (o.outer + rest)
    return 1.0 / (o.outer + 1.0 / (o.round * film(o, surface)))
