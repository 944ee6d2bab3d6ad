"""What is read from one freeze: its closure, and how its plug grows from then on.

Everything is kept as a logarithm, at common times since closure (knots), so that surfaces over the
uncertain inputs can be laid through it.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from stillpipe.lazy import cached_property
from stillpipe.physics import freeze
from stillpipe.physics.compiling import njit
from stillpipe.physics.constants import DRY_ICE
from stillpipe.uncertainty.surface import Single

Array = NDArray[np.float64]

FLAT = 0.02
"""Least growth that counts as such, as a slope of logarithms [-]."""
BEYOND = 3
"""Stretches between knots by whose mean slope a curve comes to what is wanted beyond them: the last
alone may be flat where surfaces step."""
SOON = 1e-3
"""Earliest time since closure that is told apart from closure [s]."""
LATEST = 30.0
"""Logarithm of the latest time that is told apart from never [log s]."""
UNCLOSED = math.log(2.0 * freeze.LONGEST_FREEZE)
"""What is taken for the logarithm of the closure of a freeze that does not close [log s]."""
BESIDE = 1024
"""So many draws are looked up side by side."""
TINY = 1e-9
"""What is kept of nothing, whose logarithm there is none of [as the figure]."""


Read = Callable[[freeze.FreezeRun | None], Array]
"""Reads figures of one freeze [logarithms]."""


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


STEPPING = (Of.SOUND, Of.GRIP, Of.REACH)
"""What steps as a plug's end goes from slice to slice."""
ROUGH = 0.01
"""By how much it does in water on the coarse grid, as a standard deviation of its logarithm [-]:
0.005 to 0.015 on fifteen pipes. Surfaces of solutions bend by more, for what they are."""


@dataclass(frozen=True)
class Knots:
    """Times since closure at which freezes are compared, rising [s]."""

    time: Array

    @cached_property
    def log(self) -> Array:
        """Their logarithms [log s]."""
        return np.log(self.time)


BEFORE = Knots(np.array([0.005, 0.015, 0.035, 0.07, 0.13, 0.21, 0.32, 0.46, 0.62, 0.8, 1.0]))
"""Shares of closure at which freezes are compared until then [-], the last closure itself."""


@dataclass(frozen=True)
class Curves:
    """What has grown at ``knots``, of the draws: ``value`` holds logarithms, (draws, knots).

    Draw beside draw in memory, as surfaces give them, or they are laid so for every look.
    Straight in logarithms between knots and beyond them. Before them in proportion to the time
    since closure, or as at the first where it is there at closure already.
    """

    of: Of
    knots: Knots
    value: Single

    def among(self, chosen: NDArray[np.bool_]) -> "Curves":
        """Return those of the ``chosen`` draws."""
        if chosen.all():
            return self
        return Curves(self.of, self.knots, np.compress(chosen, self._rows, axis=1).T)

    @property
    def _rows(self) -> Single:
        """The logarithms, shape (knots, draws)."""
        return np.ascontiguousarray(self.value.T)

    def where(self, wanted: Array) -> Array:
        """Return when each comes to its logarithm ``wanted``, shape (draws,) [s since closure].

        Of what never falls.
        """
        return np.exp(_where(self.knots.log, self._rows, wanted))

    def at(self, time: Array) -> Array:
        """Return what has grown at each draw's own ``time`` since closure [s], as :class:`Of`."""
        return self.at_log(np.log(np.maximum(time, SOON)))

    def at_log(self, time: Array) -> Array:
        """Return what has grown, as :meth:`at`, of the logarithms of times [log s]."""
        early = 0.0 if self.of in (Of.REACH, Of.WALL) else 1.0
        return np.exp(_at(self.knots.log, self._rows, time, early)).astype(float)


@njit(nogil=True, cache=True, error_model="numpy")
def _where(log: Array, value: Single, wanted: Array) -> Array:
    """Return when rising curves reach what is ``wanted``: logarithms of :meth:`Curves.where`.

    ``value`` has shape (knots, draws).
    """
    count, last = len(wanted), len(log) - 1
    found, past = np.empty(count), np.zeros(count, dtype=np.int32)
    for knot in value:
        for n in range(count):  # side by side over the draws
            past[n] += knot[n] < wanted[n]
    for n in range(count):
        k = past[n]
        if k == 0:
            time = log[0] + wanted[n] - value[0, n]
        else:
            j, i = min(k, last), (k - 1 if k <= last else max(last - BEYOND, 0))
            slope = (value[j, n] - value[i, n]) / (log[j] - log[i])
            slope = max(min(slope, 1.0) if k > last else slope, FLAT)
            time = log[k - 1] + (wanted[n] - value[k - 1, n]) / slope
        found[n] = min(time, LATEST)
    return found


@njit(nogil=True, cache=True, error_model="numpy", fastmath={"contract", "arcp"})
def _at(log: Array, value: Single, time: Array, early: float) -> Single:
    """Return curves at the logarithms of times, as logarithms: see :meth:`Curves.at`.

    ``value`` has shape (knots, draws); ``early`` is the slope before the knots [-]. In single
    precision, stretch by stretch, so that the draws go side by side.
    """
    last, zero, one, slope = len(log) - 1, np.float32(0.0), np.float32(1.0), np.float32(early)
    found, part = np.empty(len(time), dtype=np.float32), np.empty(BESIDE, dtype=np.float32)
    for begin in range(0, len(time), BESIDE):
        end = min(begin + BESIDE, len(time))
        at, some, first = part[: end - begin], found[begin:end], value[0, begin:end]
        given, knot = time[begin:end], np.float32(log[0])
        for n in range(len(at)):
            at[n] = np.float32(given[n])
        for n in range(len(at)):
            some[n] = first[n] + slope * min(at[n] - knot, zero)
        per = one
        for k in range(1, last + 1):
            low, high = value[k - 1, begin:end], value[k, begin:end]
            knot, per = np.float32(log[k - 1]), np.float32(1.0 / (log[k] - log[k - 1]))
            for n in range(len(at)):
                some[n] += (high[n] - low[n]) * min(max((at[n] - knot) * per, zero), one)
        low, high, knot = value[last - 1, begin:end], value[last, begin:end], np.float32(log[last])
        for n in range(len(at)):
            some[n] += min((high[n] - low[n]) * per, one) * max(at[n] - knot, zero)
    return found


@njit(nogil=True, cache=True, error_model="numpy")
def _rise(value: Single) -> None:
    """Let no curve of ``value``, shape (knots, draws), fall, in place."""
    for k in range(1, len(value)):
        before, here = value[k - 1], value[k]
        for n in range(len(here)):
            here[n] = max(here[n], before[n])


def keep_rising(value: Single) -> None:
    """Let no curve of ``value``, shape (draws, knots), fall, in place."""
    _rise(value.T)


def kept(shares: Array, logs: Single, share: Array) -> Array:
    """Return how long each draw keeps a ``share`` of its own of its grip [s].

    ``logs``, shape (draws, shares), are logarithms of how long the ``shares``, rising, are kept
    [log s]: straight between, in seconds, and nothing at the whole grip.
    """
    found: Array = _kept(shares, np.ascontiguousarray(logs.T), share)
    return found


@njit(nogil=True, cache=True, error_model="numpy")
def _kept(shares: Array, logs: Single, share: Array) -> Array:
    """Return :func:`kept`, ``logs`` having the shape (shares, draws)."""
    count, last = len(share), len(shares) - 1
    found, past = np.empty(count), np.zeros(count, dtype=np.int32)
    for k in range(1, last + 1):
        for n in range(count):  # side by side over the draws
            past[n] += shares[k] < share[n]
    for n in range(count):
        k = past[n]
        if k < last:
            end, after = shares[k + 1], math.exp(logs[k + 1, n])
        else:
            end, after = 1.0, 0.0
        before = math.exp(logs[k, n])
        found[n] = before + (share[n] - shares[k]) / (end - shares[k]) * (after - before)
    return found


def of_run(run: freeze.FreezeRun, knots: Knots) -> Array:
    """Return the logarithms of what is followed, shape (figures of :class:`Of`, knots) [its own].

    Not a number throughout where the freeze does not close.
    """
    if run.closure is None:
        return np.full((len(Of), len(knots.time)), np.nan)
    h = run.at(np.append(run.closure, run.closure + knots.time))
    closed, bonded = h.plug_length[1:], h.bonded_length[1:]
    found = np.array([
        np.minimum(closed, bonded),
        h.grip[1:],
        h.heat_jacket[1:] - h.heat_jacket[0],
        h.ice_volume[1:] - h.ice_volume[0],
        np.maximum(closed, bonded),
        h.wall_temperature[1:],
    ])  # fmt: skip
    return np.asarray(np.log(np.maximum(found, TINY)))


def closing(run: freeze.FreezeRun | None) -> Array:
    """Return the logarithms of closure [s], and of heat drawn [J] and ice [m3] until then."""
    if run is None or run.closure is None:
        return np.array([UNCLOSED, np.nan, np.nan])
    h = run.at(np.array([run.closure]))
    return np.log(np.maximum([run.closure, h.heat_jacket[0], h.ice_volume[0]], TINY))


def frost(run: freeze.FreezeRun | None) -> Array:
    """Return the logarithm of when frost comes beside the jacket [s]."""
    late = 2.0 * freeze.LATEST_FROST
    return np.array([np.nan if run is None else math.log(run.frost or late)])


def drawing(run: freeze.FreezeRun | None) -> Array:
    """Return the logarithms of the heat drawn by ``BEFORE`` over that until closure [-]."""
    if run is None or run.closure is None:
        return np.full(len(BEFORE.time), np.nan)
    found = run.at(BEFORE.time * run.closure).heat_jacket
    return np.asarray(np.log(np.maximum(found / found[-1], TINY)))


def skin(run: freeze.FreezeRun | None, knots: Knots, distance: float, brief: bool) -> Array:
    """Return the logarithms of how much warmer than dry ice the pipe's outside is [K].

    At a ``distance`` [m] beside the jacket, by ``BEFORE`` and then at ``knots`` since closure, of
    which those of a ``brief`` freeze are not known.
    """
    if run is None or run.closure is None:
        return np.full(len(BEFORE.time) + len(knots.time), np.nan)
    time, hot = run.skin(distance, 0.0 if brief else run.closure + float(knots.time[-1]))
    at = np.append(BEFORE.time * run.closure, run.closure + knots.time)
    found = np.log(np.maximum(np.interp(at, time, hot) - DRY_ICE, 1.0))
    return np.asarray(np.where(at <= time[-1], found, np.nan) if brief else found)
