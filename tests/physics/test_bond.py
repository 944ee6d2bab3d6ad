"""When a bond is lost: the plug is then as long as was said to carry the pressure."""

import numpy as np
import pytest

from reference.cases_2d import PLUG, of
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


def ramp(end: float, width: float) -> float:
    """Half-length [m] told of a plug that ends at ``end``, and is all open a ``width`` [m] on.

    Every slice holds what its part of that straight line holds.
    """
    column, state = plug(-20.0, 28)
    liquid, ice = CASE.medium.enthalpy(273.15 + 1e-6), CASE.medium.closing(1.0)
    fine = (np.arange(200) + 0.5) / 200.0
    for j in range(9, 30):
        share = float(np.mean(np.clip((0.005 * (j + fine) - end) / width, 0.0, 1.0)))
        if share > 0.0:
            state.H[:, j] = ice + share * (liquid - ice)
    return column.extent(state).closed


@pytest.mark.parametrize("width", [0.01, 0.02, 0.05])
@pytest.mark.parametrize("end", [0.0502, 0.0525, 0.0545])
def test_a_plug_that_ends_in_a_straight_line_is_told_as_long_as_it_is(
    end: float, width: float
) -> None:
    """To a hundredth of a slice, from a line over two slices on."""
    assert ramp(end, width) == pytest.approx(end, abs=5e-5)


def test_a_blunt_plug_grows_without_steps() -> None:
    """All open within half a slice, the end told lies within that half; it never goes back."""
    ends = np.linspace(0.045, 0.062, 69)
    told = np.array([ramp(float(end), 0.0025) for end in ends])
    assert np.all(np.abs(told - ends - 0.00125) <= 0.00126)
    assert np.all(np.diff(told) >= -1e-6)
    assert np.max(np.diff(told)) <= 0.0016


@pytest.mark.parametrize("part", [0.1, 0.5, 0.9])
def test_a_plug_of_a_solution_ends_where_its_warmest_ring_holds_the_ice_of_a_plug(
    part: float,
) -> None:
    """Straight between the centres of two slices: its ice gets less along the pipe, never gone."""
    case = of(pipes.find("ASME B36.10M", "1", "40"), fluid="propylene_glycol", concentration=0.1)
    column = Column(case, freeze.PRODUCTION, Work(), np.full(30, 0.005))
    state = column.warm()
    closing = case.medium.closing(PLUG)
    state.H[:, :10] = closing - part * 2e6
    state.H[:, 10:] = closing + (1.0 - part) * 2e6
    state.H[1:, 9:11] = closing - 2e6
    assert column.extent(state).closed == pytest.approx(0.005 * (9.5 + part), abs=1e-6)


@pytest.mark.parametrize("share", [0.2, 0.6, 0.98])
def test_a_blunt_plug_is_bonded_at_least_as_far_as_it_is_closed(share: float) -> None:
    """Frozen from the slice before, its surface at freezing, and in the next all open.

    The wall beside it is a little warmer.
    """
    column, state = plug(-5.0, 10)
    liquid, ice = CASE.medium.enthalpy(273.15 + 1e-6), CASE.medium.closing(1.0)
    state.H[:, 10] = ice + share * (liquid - ice)
    state.Tw[10:] = 273.25
    found = column.extent(state)
    assert found.closed == pytest.approx(0.005 * (11.0 - share), abs=1e-6)
    assert found.closed <= found.bonded <= 0.0575
    state.H[:, 10] = ice - 1e5
    through = column.extent(state)
    assert through.closed == pytest.approx(0.055, abs=1e-6)
    assert through.bonded >= through.closed


def test_an_open_path_along_the_wall_is_no_plug() -> None:
    """The innermost rings are frozen further than the outermost."""
    column, state = plug(-5.0, 14)
    state.H[-1, 10:] = CASE.medium.enthalpy(293.15)
    assert 0.05 <= column.extent(state).closed < 0.055
