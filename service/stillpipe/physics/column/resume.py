"""A freeze taken up from a state found elsewhere, on other slices and rings."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stillpipe.physics.column import march, step
from stillpipe.physics.column.layout import Column

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Begun:
    """Half a freeze as it goes on as a still one from ``time`` [s]; ``closed`` or given up then.

    Slices ``dz`` wide [m] from where it is narrowest outwards, even rings from the axis: enthalpy
    ``H`` [J/m3], shape (rings, slices), and wall ``Tw`` [K]. ``rows`` of history until then, as
    :mod:`march` keeps it, ``heat_jacket`` and ``heat_ambient`` [J], all of half the pipe.
    """

    time: float
    closed: bool
    dz: Array
    H: Array
    Tw: Array
    rows: Array
    heat_jacket: float
    heat_ambient: float


def overlap(old: Array, new: Array) -> Array:
    """Return what share of each ``new`` interval each ``old`` one fills, shape (new, old) [-].

    Both are widths from a common beginning [any unit]; what lies beyond the old ones is taken like
    the last of them.
    """
    a, b = np.concatenate(([0.0], np.cumsum(old))), np.concatenate(([0.0], np.cumsum(new)))
    a[-1] = max(a[-1], b[-1])
    low, high = np.maximum.outer(b[:-1], a[:-1]), np.minimum.outer(b[1:], a[1:])
    return np.asarray(np.maximum(high - low, 0.0) / new[:, None])


def state(column: Column, begun: Begun) -> step.State:
    """Return ``begun`` on the cells of ``column``, which take their shares of the old ones."""
    rings, mine = begun.H.shape[0], column.grid.radial
    across = overlap(_areas(rings), _areas(mine))
    along = overlap(begun.dz, column.mesh.dz)
    H = across @ begun.H @ along.T
    clock = np.zeros(march.CLOCK)
    clock[march.NOW] = clock[march.SINCE] = begun.time
    clock[march.JACKET], clock[march.AMBIENT] = begun.heat_jacket, begun.heat_ambient
    clock[march.CAP] = march.NO_CAP
    Tw = along @ begun.Tw
    return step.State(np.ascontiguousarray(H), Tw, np.zeros(len(Tw)), clock)


def _areas(rings: int) -> Array:
    """Share of the bore's area that each of so many rings of equal width has [-]."""
    return np.diff((np.arange(rings + 1.0) / rings) ** 2)
