"""Hold time: a plug kept longer lasts longer, and what is never reached is said."""

import math

import numpy as np
import pytest
from hypothesis import given, settings

from estimates.jobs import HALF_INCH, TWO_INCH, any_request, known, likely, request_of, solution_of
from estimates.test_plug_time import PERCENTILES, check_percentiles, ranges
from stillpipe.estimates.hold_time import HoldTimeFigures, hold_time
from stillpipe.estimates.solution import Solution
from stillpipe.model.figures import Answer, Verdict
from stillpipe.model.requests import HoldTimeRequest
from stillpipe.tables import pipes


def answer_of(
    pipe: pipes.Pipe, hold: float, celsius: float = 20.0, room: float = 20.0, bar: float = 3.0
) -> Answer[HoldTimeFigures]:
    """The answer for water in ``pipe``; ``hold`` [s], temperatures [C], pressure [bar]."""
    return hold_time(request_of(HoldTimeRequest, pipe, celsius, room, bar, hold=hold))


@settings(max_examples=20, deadline=None, derandomize=True)
@given(any_request(HoldTimeRequest, hold=1800.0, percentiles=PERCENTILES))
def test_every_range_is_ordered_and_finite(request: HoldTimeRequest) -> None:
    for found in ranges(hold_time(request).figures):
        check_percentiles(found)


@pytest.mark.parametrize("pipe", [HALF_INCH, TWO_INCH], ids=lambda p: p.id)
def test_a_plug_held_longer_is_longer_and_lasts_longer(pipe: pipes.Pipe) -> None:
    found = [answer_of(pipe, minutes * 60.0).figures for minutes in (0, 10, 30, 120)]
    survivals = [likely(f.survival) for f in found]
    lengths = [likely(f.plug_length) for f in found]
    assert survivals == sorted(survivals)
    assert lengths == sorted(lengths)


def test_a_plug_lets_go_before_it_is_gone() -> None:
    found = answer_of(TWO_INCH, 1800.0).figures
    assert likely(found.survival) < likely(found.thaw)


def test_a_higher_pressure_is_ready_later() -> None:
    """The plug must be longer before it may be cut; the hold begins then, on a longer plug."""
    low, high = (answer_of(TWO_INCH, 1800.0, bar=bar).figures for bar in (1.0, 8.0))
    assert likely(high.ready) > likely(low.ready)
    assert likely(high.plug_length) > likely(low.plug_length)


def test_a_cold_room_keeps_the_plug() -> None:
    cool, warm = (answer_of(TWO_INCH, 1800.0, room=room).figures for room in (8.0, 30.0))
    assert likely(cool.thaw) > 1.5 * likely(warm.thaw)


def test_below_freezing_the_plug_does_not_thaw_and_this_is_said() -> None:
    answer = answer_of(HALF_INCH, 600.0, room=-5.0)
    assert answer.figures.thaw is None
    assert "does-not-thaw" in {r.code for r in answer.reasons}
    assert "freezing-room" in {c.code for c in answer.cautions}


def test_slush_is_refused_before_anything_is_solved() -> None:
    fluid = solution_of("ethylene_glycol", 0.40)
    answer = hold_time(request_of(HoldTimeRequest, fluid=fluid, hold=600.0))
    assert answer.verdict is Verdict.NO_GO
    assert ranges(answer.figures) == []
    assert (answer.effort.freezes, answer.effort.units) == (0, 0)


def test_thaw_takes_at_least_the_latent_heat_over_the_greatest_film() -> None:
    """By hand: a plug of length L cannot thaw faster than its latent heat through its surface.

    Heat in is at most the empty jacket's 14 W/m2K (10 x 1.4) and the film beside on the pipe's own
    surface plus conduction along the wall; ten times that film is a safe bound from below.
    """
    request = request_of(HoldTimeRequest, TWO_INCH, hold=1800.0)
    found = hold_time(request).figures
    length = likely(found.plug_length)
    latent = math.pi / 4.0 * request.bore**2 * length * 917.0 * 333.43e3
    power = 10.0 * 14.0 * math.pi * request.pipe.outside_diameter * length * 20.0
    assert likely(found.thaw) > latent / power


def pressed(bar: float, safety_factor: float) -> Solution:
    """A plug without a hold whose bond is so weak, 0.28 MPa, that ready hangs on its grip."""
    return Solution(
        request_of(
            HoldTimeRequest, TWO_INCH, 20.0, 20.0, bar, hold=0.0, adhesion=0.28e6,
            safety_factor=safety_factor,
        )
    )  # fmt: skip


@pytest.mark.parametrize("bar", [30.0, 40.0])
def test_a_plug_lets_go_at_the_pressure_that_its_bond_carries(bar: float) -> None:
    """A plug just ready with a safety factor of 1 carries the line pressure and nothing more.

    4 tau L = p D holds at ready and at loss: fed by a hundredth less than that, it lasts no time
    unfed. With a safety factor of 1.05 it is 5 % longer than that, which is lost, but not at once.
    """
    bare, spare = (pressed(bar, factor) for factor in (1.0, 1.05))
    needed = bare.likely_need
    assert needed == pytest.approx(bar * 1e5 * bare.point.bore / (4.0 * 0.28e6))
    assert needed > bare.point.bore
    lost = bare.lost(np.array([bare.likely_strength]))[0]
    fed = [0.99 * known(bare.likely_ready), known(spare.likely_ready)]
    moments = [s.fine.fed_to(time) for s, time in zip((bare, spare), fed, strict=True)]
    assert moments[0].grip == pytest.approx(lost, rel=0.015)
    unfed = [
        known(s.fine.stop(m, lost).survival) for s, m in zip((bare, spare), moments, strict=True)
    ]
    assert unfed[0] == 0.0
    assert unfed[1] > 0.0
    assert likely(bare.survival) < likely(spare.survival)


@pytest.mark.parametrize("bar", [30.0, 40.0])
def test_a_plug_that_gets_ready_as_planned_lasts_no_time_in_its_own_draw(bar: float) -> None:
    """Those ready within a thousandth of the planned time carry the line pressure and no more."""
    solution = pressed(bar, 1.0)
    planned = known(solution.planned_ready)
    just = np.abs(solution.readies / planned - 1.0) < 5e-3
    assert np.sum(just) >= 5
    assert np.max(solution.survivals[just]) < 0.02 * planned
    late = np.isfinite(solution.readies) & (solution.readies > 1.005 * planned)
    assert np.sum(late) >= 5
    assert np.all(solution.survivals[late] == 0.0)


def test_a_plug_that_does_not_hold_is_not_told_to_hold_for_a_day() -> None:
    """1 in L with a tenth of glycol under 16 bar: one in twenty holds nothing, soon after ready."""
    request = request_of(
        HoldTimeRequest, pipes.find("ASTM B88", "1", "L"), hold=0.1, line_pressure=16e5,
        fluid=solution_of("propylene_glycol", 0.10, 12.0),
    )  # fmt: skip
    figures = hold_time(request).figures
    assert known(figures.survival).low == 0.0
    assert set(figures.course.low) == {0.0}
