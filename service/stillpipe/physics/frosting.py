"""A freeze followed until frost is there beside the jacket, and no further."""

import math

import numpy as np
from numpy.typing import NDArray

from stillpipe.physics.column import step
from stillpipe.physics.column.layout import Case, Column
from stillpipe.physics.column.mesh import Grid
from stillpipe.physics.column.resume import Begun, state
from stillpipe.physics.column.work import Work
from stillpipe.physics.history import Course, Part, skin

Array = NDArray[np.float64]


class FrostRun:
    """A pipe fed until its outside beside the jacket has come to a temperature.

    Attributes
    ----------
    frost
        time [s] at which it is at ``at``; None where that does not come within ``longest``
    begun
        time [s] from which its states are kept: infinite where water moves to the end
    """

    def __init__(
        self, case: Case, *, at: float, until: float, longest: float, grid: Grid, work: Work,
        begun: Begun | None = None,
    ) -> None:  # fmt: skip
        """Feed ``case`` past ``until`` [s], and on to ``longest`` [s] if frost is not there.

        ``at`` [K] is where frost is seen; ``begun`` what it goes on from, where water moved until
        then: if it moves still, no further.

        Raises
        ------
        CancelledError, TooCostlyError, SolverError
            as for :meth:`Column.advance`
        """
        self._column = Column(case, grid, work)
        fed = self._column.warm() if begun is None else state(self._column, begun)
        self._part, self._fed = Part(self._column, fed), fed
        if begun is not None:
            self._part.write(begun.rows)
        open_ = begun is not None and not begun.closed
        self.begun = math.inf if open_ else self._part.begun
        self._course = Course([self._part])
        self.frost = self._course.until(math.inf).frosted(at)
        if not open_:
            self._feed(max(until, self.begun, SOON * longest), longest, at)
        self._history = self._course.until(math.inf)

    def _feed(self, end: float, longest: float, at: float) -> None:
        """Feed past ``end`` [s], and on to ``longest`` [s] if it is not at ``at`` [K] by then."""
        self.frost = self._fed_to(end, at)
        while self.frost is None and end < longest:
            end = min(STRETCH * end, longest)
            self.frost = self._fed_to(end, at)

    def _fed_to(self, end: float, at: float) -> float | None:
        """Feed past ``end`` [s]; return when the pipe was at ``at`` [K] [s], if it was."""
        part, column = self._part, self._column
        rule = column.rule(end, exactly=False)
        while column.advance(self._fed, part.record, column.fed, rule)[0] == step.FULL:
            part.grow()
        return self._course.until(end, 1).frosted(at)

    def skin(self, distance: float, time: float) -> float:
        """Temperature of the pipe's outside [K] at a ``distance`` [m] beside and a ``time`` [s]."""
        times, hot = skin([self._part], distance)
        return float(np.interp(time, times, hot))

    def beside(self, time: float) -> float:
        """Temperature of the pipe's outside [K] where frost is looked for, at a ``time`` [s]."""
        h = self._history
        return float(np.interp(time, h.time, h.frost_temperature))

    def heat(self, time: float) -> float:
        """Heat drawn under the jacket by ``time`` [s], of the whole pipe [J].

        Beyond the end of what was followed, as fast as at the end.
        """
        h = self._history
        found = float(np.interp(time, h.time, h.heat_jacket))
        if time <= h.time[-1] or len(h.time) < 2:
            return found
        rate = (h.heat_jacket[-1] - h.heat_jacket[-2]) / (h.time[-1] - h.time[-2])
        return found + float(rate) * (time - float(h.time[-1]))


STRETCH = 1.3
"""A pipe that has no frost yet is fed on until so many times as long [-]."""
SOON = 0.05
"""Share of the longest time that a pipe is fed for in any case [-]."""
