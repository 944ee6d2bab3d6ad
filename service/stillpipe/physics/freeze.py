"""A freeze from filling the jacket to the last ice: laid out once, fed once, asked often.

:class:`FreezeRun` feeds a :class:`Case` to closure and on to ready. Every later question (the
state at a time, what comes when the coolant stops then) branches from states kept on the way, so
that nothing is solved twice and an answer never depends on what was asked before.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from stillpipe.lazy import cached_property
from stillpipe.physics import fading
from stillpipe.physics.column import march, resume, step
from stillpipe.physics.column.grids import COARSE, COARSE_SOLUTION, PRODUCTION
from stillpipe.physics.column.layout import FROST_DISTANCE, Case, Column
from stillpipe.physics.column.mesh import Grid
from stillpipe.physics.column.resume import Begun
from stillpipe.physics.column.work import Work
from stillpipe.physics.constants import ZERO_C
from stillpipe.physics.fading import LONGEST_THAW, Fading
from stillpipe.physics.history import NOTHING, Course, History, Part, copy, open_share, skin

__all__ = [
    "COARSE",
    "COARSE_SOLUTION",
    "FROST_DISTANCE",
    "LONGEST_FREEZE",
    "LONGEST_THAW",
    "PRODUCTION",
    "Begun",
    "Case",
    "FreezeRun",
    "Grid",
    "History",
    "Moment",
    "Stop",
]

Array = NDArray[np.float64]

LONGEST_FREEZE = 4.0 * 3600.0
"""A freeze that takes longer is given up [s]."""
LATEST_FROST = 2.0 * 3600.0
"""Frost that comes later than this after the first feed is not waited for [s]."""
TO_READY = 1.0
"""Longest step from closure to ready over the limit of explicit axial conduction [-]: the plug's
end, on which ready hangs, is biased by longer ones."""


@dataclass(frozen=True, kw_only=True)
class Moment:
    """The fed plug at a ``time`` [s] after the first feed.

    Lengths [m] as in :class:`History`, ``sound_length`` the smaller of the first two;
    ``heat_jacket`` and ``heat_ambient`` [J] of the whole pipe.
    """

    time: float
    plug_length: float
    bonded_length: float
    grip: float
    heat_jacket: float
    heat_ambient: float
    _state: step.State = field(repr=False, compare=False)
    _column: Column = field(repr=False, compare=False)

    @property
    def sound_length(self) -> float:
        """Length over which the plug is closed and bonded [m]."""
        return min(self.plug_length, self.bonded_length)


STRETCH = 150.0
"""Frost that comes after ready is looked for within so long at first, then twice as long and so on
[s]."""


@dataclass(frozen=True, kw_only=True)
class Stop:
    """What comes when the coolant stops at a moment; times [s] from the stop.

    ``survival`` until the bond is lost, None where it holds for ``LONGEST_THAW``; ``thaw`` until no
    ice is left, None where some is left then.
    """

    moment: Moment
    lost_grip: float
    survival: float | None
    _melts: Callable[[], float] = field(repr=False, compare=False)

    @cached_property
    def thaw(self) -> float | None:
        """Time [s] until no ice is left."""
        found = self._melts()
        return found if found <= LONGEST_THAW else None


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
        needed_grip: float = 0.0,
        work: Work | None = None,
        grid: Grid = PRODUCTION,
        begun: Begun | None = None,
    ) -> None:
        """Feed ``case`` to closure and on until it is ready.

        It is once ``needed_length`` [m] is closed and bonded and it has ``needed_grip`` [m].
        ``work`` is its budget; ``begun`` what it goes on from, where water moved until then.

        Raises
        ------
        CancelledError, TooCostlyError, SolverError
            as for :meth:`Column.advance`
        """
        self.case, self.work = case, work or Work()
        self.solves, self.stops = 1, 0
        column, self._begun = Column(case, grid, self.work), begun
        self._fed = column.warm() if begun is None else resume.state(column, begun)
        self._parts = [Part(column, self._fed)]
        self._course = Course(self._parts)
        self.closure = self._to_closure()
        self.ready = (
            None if self.closure is None else self._to_ready(0.5 * needed_length, 0.5 * needed_grip)
        )
        self._turn = float(self._fed.clock[march.NOW])
        self._held = math.inf
        self._moments: dict[float, Moment] = {}
        self._stops: dict[tuple[float, float], Stop] = {}
        self._fadings: dict[tuple[float, float | None], Fading] = {}

    @property
    def _column(self) -> Column:
        """The column on which it is fed on."""
        return self._parts[-1].column

    def _to_closure(self) -> float | None:
        """Feed to closure, or take it from what the freeze has begun with [s]."""
        if self._begun is None:
            return self._feed(stop=step.CLOSED)
        self._parts[0].write(self._begun.rows)
        return self._begun.time if self._begun.closed else None

    def _feed(
        self, end: float = LONGEST_FREEZE, *, stop: int = step.RUN, need: float = 0.0,
        grip: float = 0.0, reach: float | None = None,
    ) -> float | None:  # fmt: skip
        """Feed to the event or past ``end`` [s]; return the event's time [s] if it came."""
        while True:
            part = self._parts[-1]
            rule = part.column.rule(
                end, exactly=False, stop=stop, need=need, grip=grip, reach=reach,
                cut=stop != step.CLOSED,
            )  # fmt: skip
            why, event = part.column.advance(self._fed, part.record, part.column.fed, rule)
            if why == step.FULL:
                part.grow()
            elif why == step.GROWN:
                self._go_on(*part.column.finer(self._fed))
            else:
                return event if why == stop and event <= end else None

    def _go_on(self, column: Column, state: step.State) -> None:
        """Feed on from ``state`` on another ``column``."""
        self._fed = state
        self._parts.append(Part(column, state))

    def _feed_on(self, time: float) -> None:
        """Feed past ``time`` [s], by the same steps whatever was asked before."""
        if time > self._fed.clock[march.NOW] and math.isinf(self._held):
            self._hold()
        if time > self._fed.clock[march.NOW]:
            self._feed(time, reach=self._column.hold_step)

    def _keep_past(self, time: float) -> None:
        """Feed past ``time`` [s] and on until a state from then or later is kept."""
        self._feed_on(time)
        if self._parts[-1].last < time and math.isinf(self._held):
            self._hold()
        while self._parts[-1].last < time:
            self._feed_on(float(self._fed.clock[march.NOW]) + 2.0 * march.INSTANT)

    def _hold(self) -> None:
        """Feed until the plug is long enough to be read on wider slices, and go on to these."""
        need, row = self._column.grid.readable * self._column.finest, self._parts[-1].rows[-1]
        if self.ready is not None and min(row[march.CLOSED], row[march.BONDED]) < need:
            self._feed(stop=step.READY, need=need, reach=TO_READY)
        self._held = float(self._fed.clock[march.NOW])
        self._go_on(*self._column.held(self._fed))

    def _to_ready(self, need: float, grip: float) -> float | None:
        """Feed from closure until half the length and the grip are there [m]; return when [s]."""
        row = self._parts[-1].rows[-1]
        length, since = min(row[march.CLOSED], row[march.BONDED]), row[march.TIME] - self.closure
        if length >= need and row[march.GRIP] >= grip:
            parts = ((need, length), (grip, row[march.GRIP]))
            part = max(wanted / there if wanted > 0.0 else 0.0 for wanted, there in parts)
            return float(self.closure + since * part)
        self._go_on(*self._column.plug(self._fed))
        return self._feed(stop=step.READY, need=need, grip=grip, reach=TO_READY)

    @cached_property
    def frost(self) -> float | None:
        """Time [s] at which the pipe beside the jacket is at 0 degC; None after LATEST_FROST."""
        until, stretch = min(self._turn, LATEST_FROST), STRETCH
        found = self.history(until).frosted(ZERO_C)
        if found is None and self._column.grid.evenly:
            return self._even_frost()
        while found is None and until < LATEST_FROST:
            until, stretch = min(until + stretch, LATEST_FROST), 2.0 * stretch
            found = self.history(until).frosted(ZERO_C)
        return found

    def _even_frost(self) -> float | None:
        """Time of frost after ready [s], on the slices that the pipe began with."""
        last = next(p for p in reversed(self._parts) if p.begun <= self._turn)
        column, state = last.column.even(last.last_before(self._turn))
        part, until, found = Part(column, state), self._turn, None
        course, stretch = Course([part]), STRETCH
        while found is None and until < LATEST_FROST:
            until, stretch = min(until + stretch, LATEST_FROST), 2.0 * stretch
            rule = column.rule(until, exactly=False, reach=column.hold_step)
            while column.advance(state, part.record, column.fed, rule)[0] == step.FULL:
                part.grow()
            found = course.until(LATEST_FROST).frosted(ZERO_C)
        return found

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
            early = self._begun is not None and time < self._begun.time
            self._moments[time] = self._before(time) if early else self._branch(time)
        return self._moments[time]

    def _before(self, time: float) -> Moment:
        """Return the open pipe at ``time`` [s], before the state that the freeze has begun with."""
        rows = self._parts[0].rows
        heat, ambient, bonded = (
            2.0 * float(np.interp(time, rows[:, march.TIME], rows[:, i]))
            for i in (march.DRAWN, march.TAKEN, march.BONDED)
        )
        return Moment(
            time=time, plug_length=0.0, bonded_length=bonded, grip=0.0, heat_jacket=heat,
            heat_ambient=ambient, _state=self._fed, _column=self._column,
        )  # fmt: skip

    def _branch(self, time: float) -> Moment:
        """Step to ``time`` [s] from the last state kept before it."""
        self._feed_on(time)
        part = next((p for p in reversed(self._parts) if p.begun < time), self._parts[0])
        column, state = part.column, part.last_before(time)
        reach = self._reach(float(state.clock[march.NOW]))
        state.clock[march.CAP] = march.NO_CAP
        column.advance(state, NOTHING, column.fed, column.rule(time, reach=reach))
        now = column.extent(state)
        for array in state:
            array.setflags(write=False)
        return Moment(
            time=time, plug_length=2.0 * now.closed, bonded_length=2.0 * now.bonded,
            grip=2.0 * now.grip, heat_jacket=2.0 * float(state.clock[march.JACKET]),
            heat_ambient=2.0 * float(state.clock[march.AMBIENT]), _state=state, _column=column,
        )  # fmt: skip

    def _reach(self, time: float) -> float:
        """Longest step over the axial limit [-] with which the pipe was fed from ``time`` [s]."""
        if time >= self._held:
            return self._column.hold_step
        closed = self.closure is not None and time >= self.closure
        return TO_READY if closed else self._column.grid.freeze_step

    def history(self, until: float | None = None, *, beyond: bool = False) -> History:
        """Return the freeze up to ``until`` [s], or to the end of the first feeding.

        With the step ``beyond`` that, where that is asked for.
        """
        until = self._turn if until is None else until
        self._feed_on(until)
        return self._course.until(until, 1 if beyond else 0)

    def at(self, times: Array) -> History:
        """Return the freeze at rising ``times`` [s], fed."""
        self._feed_on(float(times[-1]))
        return self._course.at(times)

    def skin(self, distance: float, until: float) -> tuple[Array, Array]:
        """Return times past ``until`` [s] and the outside's [K] ``distance`` [m] beside."""
        self._keep_past(until)
        return skin(self._parts, distance)

    def open_share(self, times: Array, at: Array) -> Array:
        """Return the liquid's share of the bore at ``times`` [s], fed, and places ``at`` [m]."""
        self._keep_past(float(times[-1]))
        return open_share(self._parts, self._fed, times, at)

    def stop(self, moment: Moment, lost_grip: float) -> Stop:
        """Return what comes when the coolant stops at ``moment``.

        The bond is lost when the grip is less than ``lost_grip`` [m]; with 0, when the bore's
        surface is nowhere below freezing.

        Raises
        ------
        CancelledError, TooCostlyError, SolverError
            as for :meth:`Column.advance`
        """
        key = (moment.time, lost_grip)
        if key not in self._stops:
            self._stops[key] = self._stopped(moment, lost_grip)
        return self._stops[key]

    def _stopped(self, moment: Moment, lost_grip: float) -> Stop:
        self.stops += 1
        column, state = self._left(moment)
        begun, reach, filled = moment.time, column.unfed_step, state.H.copy()
        survival: float | None = 0.0
        if (moment.grip if lost_grip > 0.0 else moment.bonded_length) > lost_grip:
            rule = column.rule(
                begun + LONGEST_THAW, stop=step.UNBONDED, grip=0.5 * lost_grip, reach=reach,
                first=column.grid.fading_first, eta=column.grid.fading_eta,
            )  # fmt: skip
            event = fading.unfed(column, state, rule)
            survival = None if event is None else event - begun
        # it knows the column but not this run, which keeps it: a ring would not be freed at once
        return Stop(
            moment=moment, lost_grip=lost_grip, survival=survival,
            _melts=lambda: fading.melted(column, state, begun, filled),
        )  # fmt: skip

    def fading(self, moment: Moment, convection: float | None = None) -> Fading:
        """Return what becomes of the plug of ``moment`` when the coolant stops then, kept once.

        With another ``convection`` from then on than its case has [-], if one is given.

        Raises
        ------
        CancelledError, TooCostlyError, SolverError
            as for :meth:`Column.advance`
        """
        key = (moment.time, convection)
        found = self._fadings.get(key)
        if found is None:
            self.stops += 1
            column, state = self._left(moment)
            if convection is not None:
                column = column.stirred(convection)
            found = self._fadings[key] = fading.fade(column, state)
        return found

    def _left(self, moment: Moment) -> tuple[Column, step.State]:
        """Return the column and a copy of the state of ``moment`` as the coolant stops."""
        column, state = moment._column, copy(moment._state)
        state.clock[march.SINCE] = 0.0
        if self.ready is None or moment.time <= self.ready:
            return column.skin(state)
        return column.fading(state)
