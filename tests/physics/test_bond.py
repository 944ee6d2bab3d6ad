"""When a bond is lost: the plug is then as long as was said to carry the pressure."""

import numpy as np
import pytest

from reference.cases_2d import of
from stillpipe.physics import freeze
from stillpipe.physics.column import march, step
from stillpipe.tables import pipes


def left_after(run: freeze.FreezeRun, moment: freeze.Moment, time: float) -> march.Extent:
    """What is left of the plug of ``moment`` a ``time`` [s] after the coolant's stop."""
    column, kept = run._column, moment._state
    state = step.State(*(np.array(array) for array in kept))
    state.clock[march.SINCE] = 0.0
    rule = column.rule(moment.time + time, reach=column.grid.thaw_step)
    column.advance(state, freeze.NOTHING, column.empty, rule)
    return march.extent(state, column.tables, column.mesh)


@pytest.mark.parametrize(
    ("standard", "size", "schedule"), [("ASTM B88", "1", "L"), ("ASME B36.10M", "2", "40")]
)
@pytest.mark.parametrize("share", [0.2, 0.5, 0.9])
def test_a_bond_is_lost_when_half_of_the_length_is_left_on_each_side(
    standard: str, size: str, schedule: str, share: float
) -> None:
    """Of a plug kept for half an hour, a ``share`` is needed; 3 %, what one step takes of it."""
    case = of(pipes.find(standard, size, schedule))
    run = freeze.FreezeRun(case, needed_length=case.bore, horizon=7200.0)
    assert run.ready is not None
    moment = run.fed_to(run.ready + 1800.0)
    lost_length = share * moment.sound_length
    survival = run.stop(moment, lost_length).survival
    assert survival is not None
    left = left_after(run, moment, survival)
    assert 2.0 * min(left.closed, left.bonded) == pytest.approx(
        lost_length, abs=0.03 * moment.sound_length
    )
