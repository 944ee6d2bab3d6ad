"""The freeze of a pipe with water moving through it, until it is shut.

The stated flow is held until the drop through the narrowing channel reaches the head that drives
it; from then on the flow is what the head can drive.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stillpipe.errors import Fault, SolverError, TooCostlyError
from stillpipe.physics.column import march as still
from stillpipe.physics.column.layout import Case
from stillpipe.physics.column.mesh import Grid
from stillpipe.physics.column.resume import Begun
from stillpipe.physics.column.work import Work
from stillpipe.physics.freeze import LONGEST_FREEZE
from stillpipe.physics.stream import limit, march, pipe, step
from stillpipe.physics.stream.liquid import Liquid

Array = NDArray[np.float64]

ROWS = 20000
"""Most steps of one freeze: more are given up as too costly long before."""
KEPT = 240
"""Most rows of the freeze's history that are kept."""


@dataclass(frozen=True, kw_only=True)
class Streamed:
    """A freeze with a stream, ended where it closed or was given up; arrays are read-only.

    ``closure`` [s], None where the pipe stays open for ``LONGEST_FREEZE``; ``ended`` [s] what was
    followed; ``place`` where it is narrowest, from the jacket's centre, downstream positive [m].
    ``heat_jacket`` drawn under the jacket, ``heat_ambient`` taken in from the room, ``heat_stream``
    left by the water and ``heat_friction`` made in it [J].

    The course: ``time`` [s], ``flow`` [kg/s], narrowest ``radius`` [m], ``drop`` [Pa].

    The end, from upstream to downstream: slices ``dz`` wide with centres ``z`` [m] from the
    jacket's centre, ``wall`` temperature [K], ``mixed`` temperature of the liquid [K], ``enthalpy``
    of everything in the bore [J/m3], shape (rings, slices), rings from the axis.
    """

    closure: float | None
    ended: float
    place: float
    heat_jacket: float
    heat_ambient: float
    heat_stream: float
    heat_friction: float
    time: Array
    flow: Array
    radius: Array
    drop: Array
    z: Array
    dz: Array
    wall: Array
    mixed: Array
    enthalpy: Array
    rows: Array

    def __post_init__(self) -> None:
        """Let nobody write into what runs share."""
        for value in vars(self).values():
            if isinstance(value, np.ndarray):
                value.setflags(write=False)

    @property
    def begun(self) -> Begun:
        """What a still freeze goes on from: the half upstream of where it closed."""
        j = int(np.argmin(np.abs(self.z - self.place)))
        upstream = slice(j, None, -1)
        return Begun(
            time=self.ended, closed=self.closure is not None, dz=self.dz[upstream],
            H=self.enthalpy[:, upstream], Tw=self.wall[upstream], rows=self.rows,
            heat_jacket=0.5 * self.heat_jacket, heat_ambient=0.5 * self.heat_ambient,
        )  # fmt: skip


def freeze(
    case: Case,
    q: Liquid,
    flow: float,
    head: float,
    *,
    work: Work | None = None,
    grid: Grid | None = None,
    longest: float = LONGEST_FREEZE,
) -> Streamed:
    """Freeze ``case`` with ``flow`` [kg/s] of ``q`` in it until it is shut.

    ``longest`` [s] at most. ``head`` [Pa] drives the flow once the channel is narrow; at least
    ``limit.LEAST_HEAD`` is taken.

    Raises
    ------
    CancelledError
        where nobody waits any more
    TooCostlyError
        where more work was taken than a freeze point is given, or more steps than are kept
    SolverError
        where the temperatures are not finite
    """
    spent, grid = work or Work(), pipe.GRID if grid is None else grid
    p, ice = pipe.laid(case, limit.HORIZON, grid), pipe.frozen(case, q)
    drive = march.Drive(flow, max(head, limit.LEAST_HEAD), case.start_temperature - q.freezing)
    x = _warm(p, ice, drive.warm)
    clock, filled = np.zeros(5), np.zeros(1, dtype=np.int64)
    history, s = np.empty((ROWS, march.ROW)), step.scratch(*x.H.shape)
    why = march.march(
        x, clock, drive, grid.eta * grid.early * FIRST, grid.eta, longest, ice, p, q, s, history,
        filled, spent.counts, spent.flag,
    )  # fmt: skip
    _check(why, clock, spent)
    return _result(why, clock, history[: filled[0]], x, s, p, q)


def _check(why: int, clock: Array, spent: Work) -> None:
    """Raise what ended a march before its time, if anything did, as :func:`freeze` says."""
    if why in (march.EXHAUSTED, march.CANCELLED):
        spent.check()
    if not np.isfinite(clock).all():
        raise SolverError(Fault((), "the freeze did not converge"))
    if why == march.FULL:
        detail = f"a stream that takes more than {ROWS:,} steps is not followed: state another flow"
        raise TooCostlyError(Fault((), detail))


def _warm(p: pipe.Pipe, ice: pipe.Ice, warm: float) -> step.State:
    """Return the state before the jacket is filled: everything ``warm`` [K] above freezing."""
    slices = len(p.dz)
    heat = np.pi * p.radius**2 * p.dz * ice.heat * warm
    T = np.full(slices, warm)
    return step.State(np.full((len(p.rings), slices), ice.liquid), heat, T, T.copy())


FIRST = 60.0
"""Of this time the first steps are a share, as for a still freeze of a small pipe [s]."""


def _result(
    why: int, clock: Array, rows: Array, x: step.State, s: step.Scratch, p: pipe.Pipe, q: Liquid,
) -> Streamed:  # fmt: skip
    """Return what the march came to."""
    thin = rows[np.unique(np.linspace(0, len(rows) - 1, KEPT).round().astype(int))]
    neck = int(np.argmin(s.radius))
    liquid = x.heat / (s.area * p.dz)
    course = np.zeros((len(thin), still.ROW))
    course[:, still.TIME], course[:, still.BONDED] = thin[:, 0], 0.5 * thin[:, 7]
    course[:, still.DRAWN], course[:, still.TAKEN] = 0.5 * thin[:, 3], 0.5 * thin[:, 4]
    course[:, still.WALL], course[:, still.LIQUID] = thin[:, 5], thin[:, 6]
    course[:, still.FROST], course[:, still.ICE] = thin[:, 9], thin[:, 10]
    return Streamed(
        closure=float(clock[march.NOW]) if why == march.CLOSED else None,
        ended=float(clock[march.NOW]), place=float(p.z[neck]),
        heat_jacket=float(clock[march.JACKET]), heat_ambient=float(clock[march.AMBIENT]),
        heat_stream=float(clock[march.DRAWN]), heat_friction=float(clock[march.GIVEN]),
        time=thin[:, 0].copy(), flow=thin[:, 1].copy(), radius=thin[:, 2].copy(),
        drop=thin[:, 8].copy(), z=p.z, dz=p.dz, wall=x.Tw + q.freezing, mixed=x.T + q.freezing,
        enthalpy=x.H + s.open * liquid, rows=course,
    )  # fmt: skip
