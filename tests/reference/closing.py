"""Closure alone, without a history: what checks of the solver ask for."""

from stillpipe.physics import freeze
from stillpipe.physics.column import step
from stillpipe.physics.column.layout import Case, Column
from stillpipe.physics.column.mesh import Grid
from stillpipe.physics.column.work import Work
from stillpipe.physics.history import NOTHING


def closure_only(
    case: Case, grid: Grid = freeze.COARSE, work: Work | None = None
) -> float | None:  # fmt: skip
    """Time to closure [s] of ``case``, None where the bore stays open for ``LONGEST_FREEZE``.

    Raises
    ------
    CancelledError, TooCostlyError, SolverError
        as for :meth:`Column.advance`
    """
    column = Column(case, grid, work or Work())
    rule = column.rule(freeze.LONGEST_FREEZE, stop=step.CLOSED)
    why, event = column.advance(column.warm(), NOTHING, column.fed, rule)
    return event if why == step.CLOSED else None
