"""Ice in balance with the heat that the water of one slice gives it."""

import math
from typing import NamedTuple

from stillpipe.physics.column.mesh import FAST
from stillpipe.physics.column.tables import transform
from stillpipe.physics.compiling import njit
from stillpipe.physics.stream import regime
from stillpipe.physics.stream.liquid import Liquid
from stillpipe.physics.stream.pipe import Ice
from stillpipe.physics.stream.regime import Here

STRIDE = 0.1
"""Step of the search where circulation may hold a wide channel open [-]."""
MOST_STEPS = 40
"""Most steps of the search for one slice's channel."""


class Place(NamedTuple):
    """A slice of a channel in which the ice's balance is sought.

    ``T`` of the liquid and ``wall`` of the wall without the slice's heat [K], above freezing; each
    W/m of it warms the bore's wall by ``yields`` [m K/W]. ``front`` Kirchhoff transform at the
    ice's edge [W/m]; ``most`` that ln(bore radius / channel radius) is taken for [-].
    """

    T: float
    wall: float
    yields: float
    front: float
    most: float


@njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST, inline="always")
def _iced(film: float, x: Place, ice: Ice) -> float:
    """Logarithm of bore radius over channel radius [-] for a conductance ``film`` [W/(m K)].

    0 without ice, ``x.most`` at most.
    """
    surface = x.wall + film * x.T * x.yields + ice.freezing
    passed = x.front - transform(surface, ice.tables)
    return min(max(2.0 * math.pi * passed / max(film * x.T, 1e-30), 0.0), x.most)


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def _circulating(x: Place, here: Here, radius: float, ice: Ice, q: Liquid) -> float:
    """Widest channel that circulation alone holds open, as :func:`balanced`; above ``most`` none.

    The wider the more heat circulation gives: whatever is wider than what follows from a channel is
    out of balance too, so that the search may go on from there.
    """
    at_bore = regime.circulation(radius, here, q.grows)
    if at_bore <= 1.0:
        return 2.0 * x.most
    narrow, before, f_before = 0.0, 0.0, 0.0
    ends = min(math.log(at_bore) / q.grows, x.most)
    while narrow < ends:
        adds = q.strength * (at_bore * math.exp(-q.grows * narrow) - 1.0)
        f = _iced(here.k * regime.DECAY * (1.0 + adds), x, ice) - narrow
        if f <= 0.0:
            if narrow <= 0.0:
                return 0.0
            return before + (narrow - before) * f_before / (f_before - f)
        before, f_before = narrow, f
        narrow += max(f, STRIDE)
    return 2.0 * x.most


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def balanced(
    narrow: float, x: Place, here: Here, near: float, radius: float, ice: Ice, q: Liquid
) -> float:
    """Logarithm of bore radius over channel radius [-] in balance, sought from ``narrow``.

    To ``near`` [-], in a bore of ``radius`` [m]. The narrower, the less heat the ice passes and the
    more a stream gives: one channel is balanced with the stream's own heat. Circulation, the less
    the narrower, may hold a wider one open.
    """
    least = here.k * max(regime.DECAY, here.laminar)
    found = _iced(least, x, ice)
    reynolds = here.reynolds / radius
    if reynolds * math.exp(found) > regime.LAMINAR:
        low, high = 0.0, found
        at = min(max(narrow, low), high)
        last, f_last = found, 0.0
        for _ in range(MOST_STEPS):
            grown = math.exp(at)
            nusselt = here.laminar
            if reynolds * grown > regime.LAMINAR:
                along = here.place * grown / (2.0 * radius)
                nusselt = regime.moving(reynolds * grown, here.prandtl, along)
            f = _iced(here.k * max(regime.DECAY, nusselt), x, ice) - at
            if f > 0.0:
                low = at
            else:
                high = at
            slope = -1.0 - at
            if f_last != 0.0 and at != last:
                slope = min((f - f_last) / (at - last), -1.0)
            last, f_last = at, f
            at -= f / slope
            if abs(f) < -slope * near or high - low < near:
                break
            if not low < at < high:
                at = 0.5 * (low + high)
        found = min(max(at, low), high)
    return min(found, _circulating(x, here, radius, ice, q))
