"""A freeze taken up from a state found elsewhere, on other slices and rings."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stillpipe.physics.column import march, mesh, recut, step
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


def state(column: Column, begun: Begun) -> step.State:
    """Return ``begun`` on the cells of ``column``, which take their shares of the old ones."""
    even = np.arange(1.0, begun.H.shape[0] + 1.0) / begun.H.shape[0]
    across = recut.shares(mesh.areas(even), mesh.areas(column.edges))
    along = recut.shares(begun.dz, column.mesh.dz)
    H = np.ascontiguousarray(across.T @ begun.H @ along)
    clock = np.zeros(march.CLOCK)
    clock[march.NOW] = clock[march.SINCE] = begun.time
    clock[march.JACKET], clock[march.AMBIENT] = begun.heat_jacket, begun.heat_ambient
    clock[march.CAP] = march.NO_CAP
    Tw = begun.Tw @ along
    return step.State(H, Tw, np.tile(Tw, (column.wall_nodes - 1, 1)), np.zeros(len(Tw)), clock)
