"""What is kept of a fed freeze: its course, and the states from which questions branch."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stillpipe.physics.column import exposure, march, step
from stillpipe.physics.column.layout import Column
from stillpipe.physics.compiling import njit

Array = NDArray[np.float64]

ROWS = 256
"""Rows of history that a run has room for before it asks for more."""


class History(NamedTuple):
    """The fed freeze step by step, equal-length read-only series; both halves of the pipe.

    ``time`` [s]; ``plug_length`` over which no liquid path is left and ``bonded_length`` over which
    the bore's surface is below freezing, also before the plug closes [m]; ``grip`` the length that
    would hold as much as the plug does, all of it bonded to its full strength [m]; ``heat_jacket``
    drawn under the jacket and ``heat_ambient`` taken in from the room so far [J]; ``ice_volume``
    [m3]; ``wall_temperature`` under the jacket's centre [K]; ``liquid_fraction`` there [-];
    ``frost_temperature`` of the pipe's outside where frost is looked for [K]. In the order of
    :mod:`march`.
    """

    time: Array
    plug_length: Array
    bonded_length: Array
    grip: Array
    heat_jacket: Array
    heat_ambient: Array
    ice_volume: Array
    wall_temperature: Array
    liquid_fraction: Array
    frost_temperature: Array

    def frosted(self, T: float) -> float | None:
        """Return when the pipe beside the jacket is first at ``T`` [K], time [s], if it is."""
        below = np.flatnonzero(self.frost_temperature <= T)
        if len(below) == 0:
            return None
        i = int(below[0])
        if i == 0:
            return float(self.time[0])
        warm, cold = self.frost_temperature[i - 1 : i + 1]
        part = (warm - T) / (warm - cold)
        return float(self.time[i - 1] + part * (self.time[i] - self.time[i - 1]))


def copy(state: step.State) -> step.State:
    """Return a copy to change."""
    return step.State(*(array.copy() for array in state))


def record(rows: int, state: step.State | None = None) -> march.Record:
    """Return room for ``rows`` of history and the states, like ``state``, that go with them."""
    kept = rows // march.EVERY + 2 if rows else 0
    H, Tw, Ti = ((1, 1), (1,), (0, 1)) if state is None else (a.shape for a in state[:3])
    return march.Record(
        np.empty((rows, march.ROW)), np.empty((kept, *H)), np.empty((kept, *Tw)),
        np.empty((kept, *Ti)), np.empty((kept, *Tw)), np.empty((kept, march.CLOCK)),
        np.zeros(2, dtype=np.int64),
    )  # fmt: skip


NOTHING = record(0)
"""A record that keeps nothing."""


class Part:
    """A stretch of a freeze on one column: what is kept of it, beginning with ``state``."""

    def __init__(self, column: Column, state: step.State) -> None:
        self.column = column
        self.record = record(ROWS, state)
        for kept, array in zip(self.record[1:-1], state, strict=True):
            kept[0] = array
        self.record.filled[1] = 1

    @property
    def begun(self) -> float:
        """Time [s] of the first state kept."""
        return float(self.record.clock[0, march.NOW])

    @property
    def last(self) -> float:
        """Time [s] of the last state kept."""
        return float(self.record.clock[self.record.filled[1] - 1, march.NOW])

    @property
    def rows(self) -> Array:
        """The history so far, columns with their units as :mod:`march` names them [several]."""
        return self.record.history[: self.record.filled[0]]

    def last_before(self, time: float) -> step.State:
        """Return a copy of the last state kept before ``time`` [s]."""
        kept = self.record
        times = kept.clock[: kept.filled[1], march.NOW]
        n = max(int(np.searchsorted(times, time, side="right")) - 1, 0)
        return copy(step.State(kept.H[n], kept.Tw[n], kept.Ti[n], kept.link[n], kept.clock[n]))

    def write(self, rows: Array) -> None:
        """Let the history begin with ``rows``, columns as :mod:`march` names them [several]."""
        while len(self.record.history) <= len(rows):
            self.grow()
        self.record.history[: len(rows)] = rows
        self.record.filled[0] = len(rows)

    def grow(self) -> None:
        """Make room for as much again."""
        old = self.record
        rows, states = (int(n) for n in old.filled)
        new = record(2 * len(old.history), self.last_before(0.0))
        new.history[:rows] = old.history[:rows]
        for to, of in zip(new[1:-1], old[1:-1], strict=True):
            to[:states] = of[:states]
        new.filled[:] = old.filled
        self.record = new


def skin(parts: Sequence[Part], distance: float) -> tuple[Array, Array]:
    """Return times [s] and the pipe's temperature [K] on its outside in the states kept in order.

    At a ``distance`` [m] beside the jacket; of parts that begin at one time the first tells.
    """
    found, last = [], -np.inf
    for part in parts:
        column, kept = part.column, part.record
        at = 0.5 * column.case.jacket_length + distance
        times = kept.clock[: kept.filled[1], march.NOW].copy()
        mine = times > last
        hot = exposure.surfaces(kept.Tw, times, march.INSTANT, at, column.mesh, column.fed)
        found.append((times[mine], hot[mine]))
        last = part.last
    time, hot = (np.concatenate(each) for each in zip(*found, strict=True))
    return time, hot


LEVELS = np.concatenate((np.array([0.0, 1e-6]), np.linspace(0.05, 1.0, 39) ** 2))
"""Shares of the bore of which it is followed how far along the pipe each moves [-]."""


def open_share(parts: Sequence[Part], now: step.State, times: Array, at: Array) -> Array:
    """Return which share of the bore is liquid, shape (times, places) [-].

    At ``times`` [s], rising, and places ``at`` [m] from the centre of the jacket; ``now`` is where
    the last of ``parts`` has come to. Between two states kept each place closes evenly, and once
    the centre is closed each share moves along the pipe evenly.
    """
    found = np.empty((len(times), len(at)))
    begun = [part.begun for part in parts]
    for n, time in enumerate(times):
        k = max(int(np.searchsorted(begun, time, side="left")) - 1, 0)
        column, kept, later = parts[k].column, parts[k].record, parts[k + 1 :]
        clock = kept.clock[: kept.filled[1], march.NOW]
        i = max(int(np.searchsorted(clock, time, side="right")) - 1, 0)
        if i + 1 < len(clock):
            other, H, end = column, kept.H[i + 1], float(clock[i + 1])
        elif later:
            other, H, end = later[0].column, later[0].record.H[0], later[0].begun
        else:
            other, H, end = column, now.H, float(now.clock[march.NOW])
        part = min(max((time - clock[i]) / max(end - clock[i], march.INSTANT), 0.0), 1.0)
        found[n] = _moved(_open(column, kept.H[i]), _open(other, H), part, at)
    return found


def _open(column: Column, H: Array) -> tuple[Array, Array]:
    """Return slices [m] and the liquid's share of the bore in each, for enthalpies ``H`` [J/m3].

    What rises and falls again by less than the grid can tell is taken to rise outwards.
    """
    area = column.mesh.area
    share = np.clip(1.0 - area @ column.solid(H) / area.sum(), 0.0, 1.0)
    return column.mesh.z, np.maximum.accumulate(share)


def _moved(
    before: tuple[Array, Array], after: tuple[Array, Array], part: float, at: Array
) -> Array:
    """Return shares of the bore at places ``at`` [m] after a ``part`` of the time between two."""
    if before[1][0] > 0.0:
        first, last = (np.interp(at, *each) for each in (before, after))
        return np.asarray(first + part * (last - first))
    places = [np.interp(LEVELS, x + 1e-9 * np.arange(len(x)), z) for z, x in (before, after)]
    return np.asarray(np.interp(at, places[0] + part * (places[1] - places[0]), LEVELS))


@njit(nogil=True, cache=True, error_model="numpy")
def _between(rows: Array, times: Array) -> Array:
    """Return all ``rows``, a line of each, at rising ``times`` [s], straight between [its]."""
    count, last = len(rows), rows.shape[1] - 1
    found, k = np.empty((count, len(times))), 0
    for n in range(len(times)):
        while k < last - 1 and rows[march.TIME, k + 1] <= times[n]:
            k += 1
        j = min(k + 1, last)
        span = rows[march.TIME, j] - rows[march.TIME, k]
        part = min(max((times[n] - rows[march.TIME, k]) / span, 0.0), 1.0) if span > 0.0 else 0.0
        for i in range(count):
            found[i, n] = rows[i, k] + part * (rows[i, j] - rows[i, k])
    return found


class Course:
    """The course of a freeze kept in ``parts``, put together once for the rows that there are."""

    def __init__(self, parts: Sequence[Part]) -> None:
        self._parts, self._rows, self._known = parts, np.empty((march.ROW, 0)), (0, 0)

    def _table(self) -> Array:
        """Return all rows, a line of each, as :mod:`march` names them, of the whole pipe [its]."""
        known = len(self._parts), len(self._parts[-1].rows)
        if known != self._known:
            self._known = known
            self._rows = np.concatenate([part.rows for part in self._parts]).T.copy()
            # ice at the axis never melts while fed: a shorter reading is the interpolation's
            closed = self._rows[march.CLOSED]
            np.maximum.accumulate(closed, out=closed)
            self._rows[march.CLOSED : march.ICE + 1] *= 2.0
            self._rows.setflags(write=False)
        return self._rows

    def at(self, times: Array) -> History:
        """Return the course at rising ``times`` [s], level before and beyond its rows."""
        return History(*_between(self._table(), times))

    def until(self, time: float, more: int = 0) -> History:
        """Return the course up to a ``time`` [s], and ``more`` rows."""
        known = self._table()
        end = int(np.searchsorted(known[march.TIME], time, side="right")) + more
        return History(*known[:, :end])
