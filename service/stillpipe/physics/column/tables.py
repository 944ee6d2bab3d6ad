"""What fills the bore, as the compiled solver takes it."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stillpipe.physics.column.mesh import FAST
from stillpipe.physics.compiling import njit

Array = NDArray[np.float64]


class Tables(NamedTuple):
    """What fills the bore, in straight pieces over the enthalpy grid ``h0 + i / inv`` [J/m3].

    A row of ``pieces`` has value at H = 0 and slope of the Kirchhoff transform A [W/m], temperature
    [K], conductivity [W/(m K)] and solid fraction [-]. ``transform`` is A on the temperature grid
    ``t0 + i / tinv`` [K]. ``Tm`` where a plug forms [K]; ``ksol`` and ``kliq`` conductivities
    there; ``fplug`` the solid fraction of a plug [-] and ``hclose`` its enthalpy [J/m3]. From the
    row ``liquid`` on, at enthalpy ``hliq`` [J/m3] and transform ``Aliq`` [W/m], there is no ice;
    ``root`` as in :class:`stillpipe.physics.media.Medium`.
    """

    pieces: Array
    h0: float
    inv: float
    transform: Array
    t0: float
    tinv: float
    Tm: float
    ksol: float
    kliq: float
    fplug: float
    hclose: float
    liquid: int
    hliq: float
    Aliq: float
    root: Array


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def piece(h: float, m: Tables) -> int:
    """Return the row of ``m.pieces`` on which enthalpy ``h`` [J/m3] lies."""
    return int(min(max((h - m.h0) * m.inv, 0.0), m.pieces.shape[0] - 1.0))


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def transform(T: float, m: Tables) -> float:
    """Kirchhoff transform [W/m] at temperature ``T`` [K]."""
    x = min(max((T - m.t0) * m.tinv, 0.0), len(m.transform) - 1.001)
    i = int(x)
    return float(m.transform[i] + (x - i) * (m.transform[i + 1] - m.transform[i]))
