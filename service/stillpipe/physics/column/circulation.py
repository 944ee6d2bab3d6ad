"""How well still liquid conducts, since it circulates in the gap that it fills."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stillpipe.physics.column.mesh import Mesh, part
from stillpipe.physics.column.tables import Tables, piece

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
GAPS = 256
"""Pieces of a table of Nusselt numbers, over the root of the share of the bore that is liquid."""
ANNULUS_ENDS = 0.999
"""Share of the bore from which liquid is an open core, even where it touches the wall [-]."""


class Circulation(NamedTuple):
    """How the still liquid of a slice circulates in the gap that it fills.

    Its Nusselt number is ``shapes`` times ``size`` [m^3/4] times the fourth root of the Rayleigh
    number over a metre. ``shapes``, shape (2, GAPS + 1), has one of liquid that is the open middle
    of the bore, then one of liquid between ice and wall, by the root of the share of the bore that
    it fills. Beyond 1 the number counts ``strength`` times [-]. ``bore`` is the bore's area [m2].
    """

    shapes: Array
    size: float
    strength: float
    bore: float


def circulation(radius: float, height: float, prandtl: float, strength: float) -> Circulation:
    """Return how liquid of a ``prandtl`` number [-] circulates in a bore of ``radius`` [m].

    Over a ``height`` [m] in a pipe that stands, 0 in one that lies; ``strength`` [-].
    Horizontal: Raithby and Hollands, Adv. Heat Transfer 11 (1975) 265, concentric cylinders;
    vertical: MacGregor and Emery, J. Heat Transfer 91 (1969) 391, a tall enclosure. From memory.
    """
    size, area = radius**0.75, math.pi * radius * radius
    if height > 0.0:
        factor = TALL * prandtl**TALL_PRANDTL
        return Circulation(
            _STANDING, factor * size * (radius / height) ** TALL_HEIGHT, strength, area
        )
    factor = RING * (prandtl / (RING_PRANDTL + prandtl)) ** 0.25
    return Circulation(_LYING, factor * size, strength, area)


def _shapes() -> tuple[Array, Array]:
    """Return the shapes of a pipe that lies and of one that stands, for a bore of radius 1."""
    root = np.linspace(0.0, 1.0, GAPS + 1)
    inside = np.sqrt(1.0 - np.minimum(root**2, ANNULUS_ENDS))
    between = np.log(1.0 / inside) / (inside**-0.6 + 1.0) ** 1.25 * 2.0**0.75
    powers = 0.75 + TALL_HEIGHT
    return (
        np.stack((CORE_SHAPE * root**0.75, between)),
        np.stack((root**powers, (1.0 - inside) ** powers)),
    )


_LYING, _STANDING = _shapes()


@part
def liquid_share(H: Array, j: int, m: Tables, g: Mesh) -> float:
    """Share of slice ``j`` that no plug's ice fills [-], straight between plug and liquid."""
    open_, whole, per = 0.0, 0.0, 1.0 / (m.hliq - m.hclose)
    for i in range(H.shape[0]):
        open_ += g.area[i] * min(max((H[i, j] - m.hclose) * per, 0.0), 1.0)
        whole += g.area[i]
    return open_ / whole


@part
def circulate(
    H: Array, m: Tables, g: Mesh, c: Circulation, warm: Array, open_: Array, E: Array
) -> None:
    """Fill how many times better than at rest the liquid of each slice conducts, ``E`` [-].

    ``warm`` and ``open_`` are arrays of slices to work in.
    """
    nr, nz = H.shape
    per = 1.0 / (m.hliq - m.hclose)
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
        share = min(open_[j] / c.bore, 1.0)
        shape = c.shapes[1 if H[nr - 1, j] > m.hliq and share < ANNULUS_ENDS else 0]
        x = min(GAPS * math.sqrt(share), GAPS - 1e-3)
        n = int(x)
        nusselt = c.size * (shape[n] + (x - n) * (shape[n + 1] - shape[n]))
        nusselt *= m.root[piece(m.hliq + warm[j] / open_[j], m)]
        E[j] = 1.0 + c.strength * max(nusselt - 1.0, 0.0)
