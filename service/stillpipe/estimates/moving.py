"""A freeze point with water moving through it: the greatest flow and the stated one."""

from stillpipe.model.freeze_point import FreezePoint, Orientation
from stillpipe.physics import freeze
from stillpipe.physics.column import work
from stillpipe.physics.column.layout import wall_insulates
from stillpipe.physics.column.mesh import Grid
from stillpipe.physics.stream import limit, liquid
from stillpipe.physics.stream import run as stream
from stillpipe.uncertainty.scenarios import Scenario

NEAR_LIMIT = (
    ("fluid", "flow"),
    "state a flow further from the greatest that still freezes shut: so slow a freeze",
)
"""What is too costly near the greatest flow: the member, and what to change."""
INSULATED = 0.4
"""Of the steady limit that a pipe whose wall insulates is taken to freeze shut [-]: PEX 3/4 and PVC
2 close up to 0.4 to 0.5 of it from 20 degC on; of colder water less is said, the safe side."""
BEYOND = 1.2
"""A flow of so many times the steady limit keeps the pipe open for hours, as the transient shows
(tests/physics/test_stream.py): it need not be followed [-]."""
COARSE = Grid(axial=5, radial=6, eta=0.08, stretch=1.5, early=0.3)
"""How finely a freeze with a stream is cut up of which only the ratio to another is asked."""


def _liquid(point: FreezePoint, scenario: Scenario) -> liquid.Liquid:
    """Return what flows, its circulation scaled; in pipes that lie it is the same in all."""
    stands = point.orientation is Orientation.VERTICAL
    return liquid.liquid(
        point.fluid.type, point.fluid.concentration, point.jacket.length if stands else 0.0,
        stands, scenario.convection,
    )  # fmt: skip


def greatest(
    point: FreezePoint, case: freeze.Case, scenario: Scenario, *, near: float = 0.0
) -> float:  # fmt: skip
    """Greatest flow that still freezes shut [kg/s], ``case`` being ``point`` under ``scenario``.

    It is sought from that of a case it is ``near``, if one is known.

    In a wall that insulates a wide bore is held open by its own circulation, and a freeze from the
    start closes only up to 0.4 of the steady channel's limit.
    """
    share = INSULATED if wall_insulates(case) else 1.0
    return share * _steady(point, case, scenario, near / share)


def _steady(
    point: FreezePoint, case: freeze.Case, scenario: Scenario, near: float = 0.0
) -> float:  # fmt: skip
    """Greatest flow of which the steady channel is shut [kg/s]."""
    return limit.of(case, _liquid(point, scenario), point.fluid.head, near=near)


def prevents(
    point: FreezePoint, case: freeze.Case, scenario: Scenario, *, surely: bool
) -> bool:  # fmt: skip
    """Tell whether the stated flow keeps ``case``, ``point`` under ``scenario``, open.

    Not ``surely``: more than the steady limit is taken to do so, since a freeze that neither
    closes nor settles would take hours to tell.
    """
    times = BEYOND if surely else 1.0
    return point.fluid.flow > times * _steady(point, case, scenario)


def frozen(
    point: FreezePoint, case: freeze.Case, scenario: Scenario, spent: work.Work, *, fine: bool,
    longest: float = freeze.LONGEST_FREEZE,
) -> stream.Streamed:  # fmt: skip
    """Return the freeze of ``case``, ``point`` under ``scenario``, with the stated flow.

    On the ``fine`` grid, or on a coarse one; for ``longest`` [s] at most.

    Raises
    ------
    CancelledError, TooCostlyError, SolverError
        as for :func:`stream.freeze`
    """
    fluid = point.fluid
    with work.blamed(*NEAR_LIMIT):
        return stream.freeze(
            case, _liquid(point, scenario), fluid.flow, fluid.head, work=spent,
            grid=None if fine else COARSE, longest=longest,
        )  # fmt: skip
