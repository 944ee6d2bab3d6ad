"""What is read from one freeze: its closure, and how its plug grows from then on.

Everything is kept as a logarithm, at common times since closure (knots), so that surfaces over the
uncertain inputs can be laid through it.
"""

from dataclasses import dataclass
from enum import IntEnum
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from stillpipe.physics import freeze

Array = NDArray[np.float64]

FLAT = 0.02
"""Least growth that counts as such, as a slope of logarithms [-]."""
SOON = 1e-3
"""Earliest time since closure that is told apart from closure [s]."""
LATEST = 30.0
"""Logarithm of the latest time that is told apart from never [log s]."""
TINY = 1e-9
"""What is kept of nothing, whose logarithm there is none of [as the figure]."""


class Of(IntEnum):
    """What is followed from closure on.

    ``SOUND`` length closed and bonded and ``GRIP`` [m]; ``HEAT`` drawn [J] and ``ICED`` volume [m3]
    frozen since closure; ``REACH`` the longer of closed and bonded length [m]; ``WALL`` temperature
    under the jacket's centre [K].
    """

    SOUND = 0
    GRIP = 1
    HEAT = 2
    ICED = 3
    REACH = 4
    WALL = 5


@dataclass(frozen=True)
class Knots:
    """Times since closure at which freezes are compared, rising [s]."""

    time: Array

    @cached_property
    def log(self) -> Array:
        """Their logarithms [log s]."""
        return np.log(self.time)


@dataclass(frozen=True)
class Curves:
    """What has grown at ``knots``, of the draws: ``value`` holds logarithms, (draws, knots).

    Straight in logarithms between knots and beyond them. Before them in proportion to the time
    since closure, or as at the first where it is there at closure already.
    """

    of: Of
    knots: Knots
    value: Array

    @cached_property
    def _slopes(self) -> Array:
        """Slopes before, between and beyond the knots, shape (draws, knots and one) [-]."""
        between = np.diff(self.value, axis=1) / np.diff(self.knots.log)
        found = np.empty((len(self.value), between.shape[1] + 2))
        found[:, 0] = 0.0 if self.of in (Of.REACH, Of.WALL) else 1.0
        found[:, 1:-1] = between
        np.minimum(between[:, -1], 1.0, out=found[:, -1])
        return found

    def among(self, chosen: NDArray[np.bool_]) -> "Curves":
        """Return those of the ``chosen`` draws."""
        return Curves(self.of, self.knots, self.value[chosen])

    def where(self, wanted: Array) -> Array:
        """Return when each comes to its logarithm ``wanted``, shape (draws,) [s since closure]."""
        value = np.maximum.accumulate(self.value, axis=1)
        k = np.sum(value < wanted[:, None], axis=1)
        rows, begun = np.arange(len(value)), np.maximum(k - 1, 0)
        slope = np.maximum(self._slopes[rows, k], FLAT)
        slope[k == 0] = 1.0
        time = self.knots.log[begun] + (wanted - value[rows, begun]) / slope
        return np.asarray(np.exp(np.minimum(time, LATEST)))

    def at(self, time: Array) -> Array:
        """Return what has grown at each draw's own ``time`` since closure [s], as :class:`Of`."""
        at = np.log(np.maximum(time, SOON))
        k = np.searchsorted(self.knots.log, at)
        rows, begun = np.arange(len(self.value)), np.maximum(k - 1, 0)
        rise = (at - self.knots.log[begun]) * self._slopes[rows, k]
        return np.asarray(np.exp(self.value[rows, begun] + rise))


def of_run(run: freeze.FreezeRun, knots: Knots) -> Array:
    """Return the logarithms of what is followed [as Of], shape (figures of :class:`Of`, knots).

    Not a number throughout where the freeze does not close.
    """
    if run.closure is None:
        return np.full((len(Of), len(knots.time)), np.nan)
    times = run.closure + knots.time
    h = run.history(float(times[-1]), beyond=True)
    heat, ice = (float(np.interp(run.closure, h.time, x)) for x in (h.heat_jacket, h.ice_volume))
    closed, bonded = (
        np.interp(times, h.time, h.plug_length),
        np.interp(times, h.time, h.bonded_length),
    )
    found = np.array([
        np.minimum(closed, bonded),
        np.interp(times, h.time, h.grip),
        np.interp(times, h.time, h.heat_jacket) - heat,
        np.interp(times, h.time, h.ice_volume) - ice,
        np.maximum(closed, bonded),
        np.interp(times, h.time, h.wall_temperature),
    ])  # fmt: skip
    return np.asarray(np.log(np.maximum(found, TINY)))
