"""How well still liquid conducts, since it circulates in the gap that it fills."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stillpipe.physics.column.mesh import FAST, Mesh
from stillpipe.physics.column.tables import Tables, piece
from stillpipe.physics.compiling import njit

Array = NDArray[np.float64]

RING = 0.386
"""Raithby and Hollands' factor of concentric cylinders [-], Adv. Heat Transfer 11 (1975) 265."""
RING_PRANDTL = 0.861
"""Their number in (Pr / (0.861 + Pr))^(1/4) [-]."""
CORE_SHAPE = 0.65
"""Their geometry factor F^(1/4) taken for an open core, which has no inner cylinder [-]: the
largest of ratios of diameters from 2 to 10, which give 0.56 to 0.65."""
TALL = 0.42
"""MacGregor and Emery's factor of a tall enclosure [-], J. Heat Transfer 91 (1969) 391."""
TALL_PRANDTL, TALL_HEIGHT = 0.012, 0.3
"""Their powers of the Prandtl number and of gap over height [-]; all of these from memory."""


class Circulation(NamedTuple):
    """How the still liquid of a slice circulates in the gap that it fills.

    Its Nusselt number is ``core`` [-] times the fourth root of the Rayleigh number over the gap,
    where that is the open middle of the bore, ``annulus`` times Raithby and Hollands' factor of
    geometry where it lies between ice and wall; times (gap / ``height`` [m])^0.3 in a pipe that
    stands, where ``height`` is not 0. Beyond 1 it counts ``strength`` times [-]. ``radius`` of the
    bore [m].
    """

    core: float
    annulus: float
    height: float
    strength: float
    radius: float


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def liquid_share(H: Array, j: int, m: Tables, g: Mesh) -> float:
    """Share of slice ``j`` that no plug's ice fills [-], straight between plug and liquid."""
    open_, whole, per = 0.0, 0.0, 1.0 / (m.hliq - m.hclose)
    for i in range(H.shape[0]):
        open_ += g.area[i] * min(max((H[i, j] - m.hclose) * per, 0.0), 1.0)
        whole += g.area[i]
    return open_ / whole


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def circulate(
    H: Array, m: Tables, g: Mesh, c: Circulation, warm: Array, open_: Array, E: Array
) -> None:
    """Fill how many times better than at rest the liquid of each slice conducts, ``E`` [-].

    Horizontal: Raithby and Hollands, Adv. Heat Transfer 11 (1975) 265, concentric cylinders;
    vertical: MacGregor and Emery, J. Heat Transfer 91 (1969) 391, a tall enclosure. From memory.
    ``warm`` and ``open_`` are arrays of slices to work in.
    """
    nr, nz = H.shape
    per, bore = 1.0 / (m.hliq - m.hclose), c.radius * c.radius
    for j in range(nz):
        warm[j] = 0.0
        open_[j] = 0.0
    for i in range(nr):
        row, area = H[i], g.area[i]
        for j in range(nz):
            warm[j] += area * max(row[j] - m.hliq, 0.0)
            open_[j] += area * min(max((row[j] - m.hclose) * per, 0.0), 1.0)
    for j in range(nz):
        E[j] = 1.0
        if warm[j] <= 0.0 or c.strength <= 0.0:
            continue
        share = min(open_[j] / (math.pi * bore), 1.0)
        root = m.root[piece(m.hliq + warm[j] / open_[j], m)]
        if H[nr - 1, j] > m.hliq and share < 0.999:
            inside = c.radius * math.sqrt(1.0 - share)
            gap, factor = c.radius - inside, c.annulus
            if c.height <= 0.0:
                shape = math.pow(2.0 * inside, -0.6) + math.pow(2.0 * c.radius, -0.6)
                factor *= math.log(c.radius / inside) / (math.pow(shape, 1.25) * _three(gap))
        else:
            gap, factor = c.radius * math.sqrt(share), c.core
        nusselt = factor * root * _three(gap)
        if c.height > 0.0:
            nusselt *= math.pow(gap / c.height, TALL_HEIGHT)
        E[j] = 1.0 + c.strength * max(nusselt - 1.0, 0.0)


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)
def _three(x: float) -> float:
    """Return ``x`` to the power of three quarters."""
    return math.sqrt(x) * math.sqrt(math.sqrt(x))
