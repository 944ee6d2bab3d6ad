"""A freeze from filling the jacket to the last ice: laid out once, fed once, asked often.

:class:`FreezeRun` feeds a :class:`Case` to closure and on to ready. Every later question (the
state at a time, what comes when the coolant stops then) branches from states kept on the way, so
that nothing is solved twice and an answer never depends on what was asked before.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from stillpipe.physics.column import march, step
from stillpipe.physics.column.layout import Case, Column
from stillpipe.physics.column.mesh import Grid
from stillpipe.physics.column.work import Work

__all__ = [
    "COARSE",
    "LONGEST_FREEZE",
    "LONGEST_THAW",
    "PRODUCTION",
    "Case",
    "FreezeRun",
    "Grid",
    "History",
    "Moment",
    "Stop",
    "closure_only",
]

Array = NDArray[np.float64]

LONGEST_FREEZE = 4.0 * 3600.0
"""A freeze that takes longer is given up [s]."""
LONGEST_THAW = 24.0 * 3600.0
"""A plug is followed for this long after the coolant's stop [s]."""
LOOK = 1800.0
"""How often it is looked whether an unfed plug can thaw at all [s]."""

PRODUCTION = Grid(
    axial=6, radial=6, eta=0.04, stretch=1.35, early=0.3, freeze_step=2.0, hold_step=10.0,
    thaw_step=2.0, melt_step=2.0, least=0.025, tolerance=2.0,
)  # fmt: skip
COARSE = Grid(axial=4, radial=4, eta=0.08, stretch=1.5, early=0.3, freeze_step=2.0, tolerance=2.0)

TO_READY = 1.0
"""Longest step from closure to ready over the limit of explicit axial conduction [-]: the plug's
end, on which ready hangs, is biased by longer ones."""


@dataclass(frozen=True, kw_only=True)
class History:
    """The fed freeze step by step, equal-length read-only series; both halves of the pipe.

    ``time`` [s]; ``plug_length`` over which no liquid path is left and ``bonded_length`` over which
    the wall is below freezing, also before the plug closes [m]; ``heat_jacket`` drawn under the
    jacket and ``heat_ambient`` taken in from the room so far [J]; ``wall_temperature`` under the
    jacket's centre [K]; ``liquid_fraction`` there [-].
    """

    time: Array
    plug_length: Array
    bonded_length: Array
    heat_jacket: Array
    heat_ambient: Array
    wall_temperature: Array
    liquid_fraction: Array

    def time_bonded(self, length: float) -> float | None:
        """Time [s] at which the wall is first below freezing over ``length`` [m], if it is."""
        beyond = np.flatnonzero(self.bonded_length >= length)
        if len(beyond) == 0:
            return None
        i = int(beyond[0])
        if i == 0:
            return float(self.time[0])
        return float(np.interp(length, self.bonded_length[i - 1 : i + 1], self.time[i - 1 : i + 1]))


@dataclass(frozen=True, kw_only=True)
class Moment:
    """The fed plug at a ``time`` [s] after the first feed.

    Lengths [m] as in :class:`History`, ``sound_length`` the smaller of them; ``heat_jacket`` and
    ``heat_ambient`` [J] of the whole pipe.
    """

    time: float
    plug_length: float
    bonded_length: float
    heat_jacket: float
    heat_ambient: float
    _state: step.State = field(repr=False, compare=False)

    @property
    def sound_length(self) -> float:
        """Length over which the plug is closed and bonded [m]."""
        return min(self.plug_length, self.bonded_length)


def _copy(state: step.State) -> step.State:
    return step.State(*(array.copy() for array in state))


def _record(rows: int, shape: tuple[int, int]) -> march.Record:
    """Return room for ``rows`` of history and the states that go with them."""
    kept = rows // march.EVERY + 2 if rows else 0
    return march.Record(
        np.empty((rows, march.ROW)),
        np.empty((kept, *shape)),
        np.empty((kept, shape[1])),
        np.empty((kept, shape[1])),
        np.empty((kept, march.CLOCK)),
        np.zeros(2, dtype=np.int64),
    )


NOTHING = _record(0, (1, 1))
"""A record that keeps nothing."""
STRETCH = 1200.0
"""A freeze is fed on beyond ready in stretches of this length [s]."""
ROWS = 512
"""Rows of history that a run has room for before it asks for more."""


@dataclass(frozen=True, kw_only=True)
class Stop:
    """What comes when the coolant stops at a moment; times [s] from the stop.

    ``survival`` until the bond is lost, None where it holds for ``LONGEST_THAW``; ``thaw`` until no
    ice is left, None where some is left then.
    """

    moment: Moment
    lost_length: float
    survival: float | None
    _thaw: Callable[[], float | None] = field(repr=False, compare=False)

    @cached_property
    def thaw(self) -> float | None:
        """Time [s] until no ice is left."""
        return None if self.survival is None else self._thaw()


class FreezeRun:
    """One freeze point, laid out and fed once.

    Attributes
    ----------
    case
        the problem
    closure, ready
        times [s] at which the plug closes, and carries its load; None where that does not come
        within ``LONGEST_FREEZE``
    work
        what it has cost so far
    solves, stops
        how often the pipe was frozen from the start, and how many coolant stops were solved
    """

    def __init__(
        self,
        case: Case,
        *,
        needed_length: float,
        horizon: float = 3600.0,
        work: Work | None = None,
        grid: Grid = PRODUCTION,
    ) -> None:
        """Feed ``case`` to closure and on until ``needed_length`` [m] is closed and bonded.

        ``horizon`` [s] is how long the freeze may be followed; ``work`` its budget.

        Raises
        ------
        CancelledError, TooCostlyError, SolverError
            as for :meth:`Column.advance`
        """
        self.case, self.work = case, work or Work()
        self.solves, self.stops = 1, 0
        self._column = Column(case, grid, horizon, self.work)
        self._fed = self._column.warm()
        self._record = _record(ROWS, self._fed.H.shape)
        march.keep(self._fed, self._record)
        self.closure = self._feed(stop=step.CLOSED)
        self.ready = None if self.closure is None else self._to_ready(0.5 * needed_length)
        self._turn = float(self._fed.clock[march.NOW])
        self._stretches = 0
        self._moments: dict[float, Moment] = {}
        self._stops: dict[tuple[float, float], Stop] = {}

    def _feed(
        self, end: float = LONGEST_FREEZE, *, stop: int = step.RUN, need: float = 0.0,
        reach: float | None = None,
    ) -> float | None:  # fmt: skip
        """Feed to the event or past ``end`` [s]; return the event's time [s] if it came."""
        rule = self._column.rule(end, exactly=False, stop=stop, need=need, reach=reach)
        while True:
            why, event = self._column.advance(self._fed, self._record, self._column.fed, rule)
            if why != step.FULL:
                return event if why == stop and event <= end else None
            self._record = _larger(self._record)

    def _feed_on(self, time: float) -> None:
        """Feed past ``time`` [s], in the same stretches whatever was asked before."""
        while time > self._fed.clock[march.NOW]:
            self._stretches += 1
            end = self._turn + self._stretches * STRETCH
            self._feed(end, reach=self._column.grid.hold_step)

    def _to_ready(self, need: float) -> float | None:
        """Feed from closure until the half-length is ``need`` [m]; return that time [s]."""
        row = self._record.history[self._record.filled[0] - 1]
        length, since = min(row[1], row[2]), row[0] - self.closure
        if length >= need:
            return float(self.closure + since * need / length)
        return self._feed(stop=step.READY, need=need, reach=TO_READY)

    @cached_property
    def at_closure(self) -> Moment | None:
        """The plug as it closes."""
        return None if self.closure is None else self.fed_to(self.closure)

    @cached_property
    def at_ready(self) -> Moment | None:
        """The plug as it gets ready."""
        return None if self.ready is None else self.fed_to(self.ready)

    @cached_property
    def last(self) -> Moment:
        """The plug where feeding ended at first: at ready, or when it was given up."""
        return self.fed_to(self._turn)

    def fed_to(self, time: float) -> Moment:
        """Return the plug fed up to ``time`` [s], whatever was asked before.

        Raises
        ------
        CancelledError, TooCostlyError, SolverError
            as for :meth:`Column.advance`
        """
        if time not in self._moments:
            self._moments[time] = self._branch(time)
        return self._moments[time]

    def _branch(self, time: float) -> Moment:
        """Step to ``time`` [s] from the last state kept before it."""
        self._feed_on(time)
        kept = self._record
        times = kept.clock[: kept.filled[1], march.NOW]
        n = int(np.searchsorted(times, time, side="right")) - 1
        state = _copy(step.State(kept.H[n], kept.Tw[n], kept.link[n], kept.clock[n]))
        state.clock[march.CAP] = march.NO_CAP
        rule = self._column.rule(time, reach=self._reach(float(times[n])))
        self._column.advance(state, NOTHING, self._column.fed, rule)
        now = march.extent(state, self._column.tables, self._column.mesh)
        for array in state:
            array.setflags(write=False)
        return Moment(
            time=time, plug_length=2.0 * now.closed, bonded_length=2.0 * now.bonded,
            heat_jacket=2.0 * float(state.clock[march.JACKET]),
            heat_ambient=2.0 * float(state.clock[march.AMBIENT]), _state=state,
        )  # fmt: skip

    def _reach(self, time: float) -> float:
        """Longest step over the axial limit [-] with which the pipe was fed from ``time`` [s]."""
        if time >= self._turn:
            return self._column.grid.hold_step
        closed = self.closure is not None and time >= self.closure
        return TO_READY if closed else self._column.grid.freeze_step

    def history(self, until: float | None = None) -> History:
        """Return the freeze up to ``until`` [s], or to the end of the first feeding."""
        if until is None:
            return self._first_history
        self._feed_on(until)
        rows = self._record.history[: self._record.filled[0]]
        table = rows[: int(np.searchsorted(rows[:, 0], until, side="right"))].T.copy()
        # ice at the axis never melts while fed: a shorter reading is the interpolation's
        table[1] = np.maximum.accumulate(table[1])
        table[1:5] *= 2.0
        table.setflags(write=False)
        return History(
            time=table[0], plug_length=table[1], bonded_length=table[2], heat_jacket=table[3],
            heat_ambient=table[4], wall_temperature=table[5], liquid_fraction=table[6],
        )  # fmt: skip

    @cached_property
    def _first_history(self) -> History:
        """The freeze up to the end of the first feeding."""
        return self.history(self._turn)

    def stop(self, moment: Moment, lost_length: float) -> Stop:
        """Return what comes when the coolant stops at ``moment``.

        The bond is lost when less than ``lost_length`` [m] is closed and bonded; with 0, when the
        wall is nowhere below freezing.

        Raises
        ------
        CancelledError, TooCostlyError, SolverError
            as for :meth:`Column.advance`
        """
        key = (moment.time, lost_length)
        if key not in self._stops:
            self._stops[key] = self._stopped(moment, lost_length)
        return self._stops[key]

    def _stopped(self, moment: Moment, lost_length: float) -> Stop:
        self.stops += 1
        column, state, begun = self._column, _copy(moment._state), moment.time
        state.clock[march.SINCE] = 0.0
        end, reach = begun + LONGEST_THAW, column.grid.thaw_step
        survival: float | None = 0.0
        length = moment.sound_length if lost_length > 0.0 else moment.bonded_length
        if length > lost_length:
            rule = column.rule(end, stop=step.UNBONDED, need=0.5 * lost_length, reach=reach)
            event = _unfed(column, state, rule)
            survival = None if event is None else event - begun

        # it knows the column but not this run, which keeps it: a ring would not be freed at once
        def thaw() -> float | None:
            melting = column.rule(end, stop=step.THAWED, reach=column.grid.melt_step)
            event = _unfed(column, _copy(state), melting)
            return None if event is None else event - begun

        return Stop(moment=moment, lost_length=lost_length, survival=survival, _thaw=thaw)


def _unfed(column: Column, state: step.State, rule: march.Rule) -> float | None:
    """Advance ``state`` in place without coolant; return the event's time [s], if it comes.

    In a room below freezing a plug is followed no longer than until nothing in the pipe is
    above freezing: no heat that could melt it is left then, nor comes in.
    """
    why, event = step.ENDED, 0.0
    cold = column.case.ambient_temperature < column.tables.Tm
    while why == step.ENDED and state.clock[march.NOW] < rule.end - march.INSTANT:
        if cold and column.warmest(state) <= column.tables.Tm:
            return None
        end = float(state.clock[march.NOW]) + LOOK if cold else rule.end
        part = rule._replace(end=min(end, rule.end), exactly=end >= rule.end)
        why, event = column.advance(state, NOTHING, column.empty, part)
    return event if why == rule.stop else None


def _larger(record: march.Record) -> march.Record:
    """Return a record with what ``record`` holds and room for as much again."""
    rows, states = (int(n) for n in record.filled)
    grown = _record(2 * len(record.history), record.H.shape[1:])
    grown.history[:rows] = record.history[:rows]
    for new, old in zip(grown[1:-1], record[1:-1], strict=True):
        new[:states] = old[:states]
    grown.filled[:] = record.filled
    return grown


def closure_only(case: Case, grid: Grid = COARSE, work: Work | None = None) -> float | None:
    """Time to closure [s] of ``case``, None where the bore stays open for ``LONGEST_FREEZE``.

    Raises
    ------
    CancelledError, TooCostlyError, SolverError
        as for :meth:`Column.advance`
    """
    column = Column(case, grid, 1800.0, work or Work())
    rule = column.rule(LONGEST_FREEZE, stop=step.CLOSED)
    why, event = column.advance(column.warm(), NOTHING, column.fed, rule)
    return event if why == step.CLOSED else None
