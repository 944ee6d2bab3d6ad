"""What becomes of a plug once the coolant has stopped: how long it holds what, and its thaw."""

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from stillpipe.lazy import cached_property
from stillpipe.physics.column import march, step
from stillpipe.physics.column.layout import Column
from stillpipe.physics.history import NOTHING, Part

Array = NDArray[np.float64]

LONGEST_THAW = 24.0 * 3600.0
"""A plug is followed for this long after the coolant's stop [s]."""
LOOK = 1800.0
"""How often it is looked whether an unfed plug can thaw at all [s]."""


@dataclass(frozen=True, kw_only=True)
class Fading:
    """A plug from the coolant's stop on: ``time`` since then [s] and its whole ``grip`` [m].

    ``end`` [s] when nothing of the bore's surface is below freezing any more, None where that does
    not come within ``LONGEST_THAW``.
    """

    time: Array
    grip: Array
    end: float | None
    _melts: Callable[[], float] = field(repr=False, compare=False)

    def lasts(self, share: Array) -> Array:
        """Return until when [s] it keeps each ``share`` [-] of its first grip for good.

        With a share of 0 until the bond is lost altogether; infinite where it never falls so low.
        """
        keeps = np.maximum.accumulate(self.grip[::-1])[::-1]
        found = np.interp(-np.asarray(share) * keeps[0], -keeps, self.time)
        lost = np.asarray(share) * keeps[0] >= keeps[-1]
        end = np.inf if self.end is None else self.end
        return np.where(np.asarray(share) <= 0.0, end, np.where(lost, found, end))

    @cached_property
    def melts(self) -> float:
        """Time [s] until no ice is left, whether or not it is followed for so long.

        What is left after ``LONGEST_THAW`` goes on melting as it did on the whole; infinite where
        nothing melts.
        """
        return self._melts()

    @property
    def thaw(self) -> float | None:
        """Time [s] until no ice is left, None where some is left after ``LONGEST_THAW``."""
        return self.melts if self.melts <= LONGEST_THAW else None


def fade(column: Column, state: step.State) -> Fading:
    """Follow ``state`` without coolant, in place, until its bond is gone.

    Raises
    ------
    CancelledError, TooCostlyError, SolverError
        as for :meth:`Column.advance`
    """
    begun, filled = float(state.clock[march.NOW]), state.H.copy()
    now = column.extent(state)
    part = Part(column, state)
    end: float | None = 0.0
    if now.bonded > 0.0:
        rule = column.rule(
            begun + LONGEST_THAW,
            stop=step.UNBONDED,
            reach=column.unfed_step,
            first=column.grid.fading_first,
            eta=column.grid.fading_eta,
        )
        event = unfed(column, state, rule, part)
        end = None if event is None else event - begun
    rows = part.rows
    return Fading(
        time=np.append(0.0, rows[:, march.TIME] - begun),
        grip=2.0 * np.append(now.grip, rows[:, march.GRIP]),
        end=end,
        # it knows the column but not the run, which keeps it: a ring would not be freed at once
        _melts=lambda: melted(column, state, begun, filled),
    )


def melted(column: Column, state: step.State, begun: float, filled: Array) -> float:
    """Return from when on no ice is left, since the coolant's stop at ``begun`` [s].

    ``filled`` are the enthalpies then [J/m3], by whose ice what is left after ``LONGEST_THAW`` is
    judged.
    """
    even, melting = column.even(state)
    end = begun + LONGEST_THAW
    rule = even.rule(end, stop=step.THAWED, reach=even.grid.melt_step, eta=even.grid.melt_eta)
    event = unfed(even, melting, rule) if state.clock[march.NOW] < end - march.INSTANT else None
    if event is not None:
        return event - begun
    ice = column.ice(filled)
    gone = ice - even.ice(melting.H)
    stays = melting.clock[march.NOW] < end - march.INSTANT
    return math.inf if stays or gone <= 0.0 else LONGEST_THAW * max(ice / gone, 1.0)


def unfed(
    column: Column, state: step.State, rule: march.Rule, part: Part | None = None
) -> float | None:
    """Advance ``state`` in place without coolant; return the event's time [s], if it comes.

    What happens on the way is kept in ``part``. In a room below freezing a plug is followed no
    longer than until nothing in the pipe is above freezing: no heat that could melt it is left
    then, nor comes in.
    """
    why, event = step.ENDED, 0.0
    cold = column.case.ambient_temperature < column.tables.Tm
    while why in (step.ENDED, step.FULL) and state.clock[march.NOW] < rule.end - march.INSTANT:
        if why == step.FULL and part is not None:
            part.grow()
        if cold and column.warmest(state) <= column.tables.Tm:
            return None
        end = float(state.clock[march.NOW]) + LOOK if cold else rule.end
        until = rule._replace(end=min(end, rule.end), exactly=end >= rule.end)
        record = NOTHING if part is None else part.record
        why, event = column.advance(state, record, column.empty, until)
    return event if why == rule.stop else None
