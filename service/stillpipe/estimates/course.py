"""What is read from one freeze: its closure, and how its plug grows from then on.

Everything is kept as a logarithm, at common times since closure (knots), so that surfaces over the
uncertain inputs can be laid through it.
"""

import math
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from stillpipe.physics import freeze

Array = NDArray[np.float64]

FLAT = 0.02
"""Least growth that counts as such, as a slope of logarithms [-]."""
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

    @property
    def log(self) -> Array:
        """Their logarithms."""
        return np.log(self.time)

    def where(self, value: Array, wanted: Array) -> Array:
        """Return when a rising figure reaches ``wanted``, shape (draws,) [s since closure].

        ``value`` and ``wanted`` are logarithms, shapes (draws, knots) and (draws,). Straight in
        logarithms between knots and beyond them, in proportion to the time before them.
        """
        value = np.maximum.accumulate(value, axis=1)
        k = np.sum(value < wanted[:, None], axis=1)
        slope, rows = self._slopes(value), np.arange(len(value))
        begun = np.maximum(k - 1, 0)
        time = self.log[begun] + (wanted - value[rows, begun]) / slope[rows, k]
        return np.asarray(np.exp(np.minimum(time, LATEST)))

    def at(self, of: Of, value: Array, time: Array) -> Array:
        """Return the logarithm of what ``of`` says at each draw's own ``time`` since closure [s].

        ``value`` holds logarithms, shape (draws, knots); the rest as for :meth:`where`, but that
        what is there at closure already is the same until the first knot.
        """
        at = np.log(np.maximum(time, 1e-3))
        k = np.searchsorted(self.log, at)
        slope, rows = self._slopes(value, -math.inf), np.arange(len(value))
        slope[:, 0] = 0.0 if of in (Of.REACH, Of.WALL) else 1.0
        begun = np.maximum(k - 1, 0)
        return np.asarray(value[rows, begun] + (at - self.log[begun]) * slope[rows, k])

    def _slopes(self, value: Array, least: float = FLAT) -> Array:
        """Return slopes before, between and beyond the knots, shape (draws, knots and one) [-]."""
        between = np.maximum(np.diff(value, axis=1) / np.diff(self.log), least)
        before = np.ones((len(value), 1))
        return np.hstack((before, between, np.minimum(between[:, -1:], 1.0)))


def of_run(run: freeze.FreezeRun, knots: Knots) -> Array:
    """Return the logarithms of what is followed, shape (figures of :class:`Of`, knots).

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
