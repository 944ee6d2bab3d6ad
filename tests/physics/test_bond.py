"""When a bond is lost: the plug is then as long as was said to carry the pressure."""

import numpy as np
import pytest

from reference.cases_2d import of
from stillpipe.physics import freeze
from stillpipe.physics.column import march, step
from stillpipe.physics.column.layout import Column
from stillpipe.physics.column.work import Work
from stillpipe.tables import pipes


def left_after(moment: freeze.Moment, time: float) -> march.Extent:
    """What is left of the plug of ``moment`` a ``time`` [s] after the coolant's stop."""
    column, kept = moment._column, moment._state
    state = step.State(*(np.array(array) for array in kept))
    state.clock[march.SINCE] = 0.0
    rule = column.rule(moment.time + time, reach=column.grid.thaw_step)
    column.advance(state, freeze.NOTHING, column.empty, rule)
    return column.extent(state)


@pytest.mark.parametrize(
    ("standard", "size", "schedule"), [("ASTM B88", "1", "L"), ("ASME B36.10M", "2", "40")]
)
@pytest.mark.parametrize("share", [0.2, 0.5, 0.9])
def test_a_bond_is_lost_when_half_of_the_grip_is_left_on_each_side(
    standard: str, size: str, schedule: str, share: float
) -> None:
    """Of a plug kept for half an hour, a ``share`` is needed; 3 %, what one step takes of it."""
    case = of(pipes.find(standard, size, schedule))
    run = freeze.FreezeRun(case, needed_length=case.bore)
    assert run.ready is not None
    moment = run.fed_to(run.ready + 1800.0)
    lost = share * moment.grip
    survival = run.stop(moment, lost).survival
    assert survival is not None
    left = left_after(moment, survival)
    assert 2.0 * left.grip == pytest.approx(lost, abs=0.03 * moment.grip)


CASE = of(pipes.find("ASME B36.10M", "1", "40"))


def plug(celsius: float, closed: int, slices: int = 30) -> tuple[Column, step.State]:
    """A still line of ice in its first ``closed`` slices, all of it and the pipe at ``celsius``."""
    dz = np.full(slices, 0.005)
    column = Column(CASE, freeze.PRODUCTION, Work(), dz)
    H = np.full((freeze.PRODUCTION.radial, slices), CASE.medium.enthalpy(293.15))
    cold = np.searchsorted(CASE.medium.temperature, 273.15 + celsius)
    H[:, :closed] = CASE.medium.h0 + cold / CASE.medium.inv
    Tw = np.full(slices, 293.15)
    Tw[:closed] = 273.15 + celsius
    clock = np.zeros(march.CLOCK)
    return column, step.State(H, Tw, np.empty((0, slices)), np.zeros(slices), clock)


@pytest.mark.parametrize(
    ("celsius", "share"), [(-20.0, 1.0), (-10.0, 1.0), (-5.0, 0.5), (-1.0, 0.1)]
)
def test_the_bond_rises_in_a_straight_line_to_ten_kelvin_below_freezing(
    celsius: float, share: float
) -> None:
    """By hand: a cold plug of 20 slices of 5 mm, beside it the pipe is warm at once.

    Its end lies between two slices' centres; the bond of the last half slice falls to nothing.
    """
    column, state = plug(celsius, 20)
    found = column.extent(state)
    assert 0.0975 <= found.closed <= 0.1025
    assert found.grip == pytest.approx(share * found.closed, abs=0.003)


def test_a_plug_no_colder_than_freezing_has_no_grip() -> None:
    column, state = plug(-0.01, 20)
    state.Tw[:] = 273.16
    found = column.extent(state)
    assert found.closed > 0.09
    assert (found.bonded, found.grip) == (0.0, 0.0)


def test_the_plug_ends_where_the_open_share_of_two_slices_points_to_nothing() -> None:
    """Open shares of 0.2 and 0.6 half the way apart: the end is half a slice before the first."""
    column, state = plug(-20.0, 10)
    medium, rings = CASE.medium, freeze.PRODUCTION.radial
    liquid, ice = medium.enthalpy(273.15 + 1e-6), medium.closing(1.0)
    for j, share in ((10, 0.2), (11, 0.6)):
        state.H[:, j] = ice + share * (liquid - ice)
    assert rings > 1
    found = column.extent(state)
    assert found.closed == pytest.approx(0.005 * (10.5 - 0.5), abs=1e-4)
