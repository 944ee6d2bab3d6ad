"""Figures of one freeze point over the draws: what is kept, what is shared, what lies between."""

import math
from dataclasses import replace

import numpy as np
import pytest

from estimates.jobs import HALF_INCH, TWO_INCH, point_of
from stillpipe.estimates.course import Of
from stillpipe.estimates.solution import Solution
from stillpipe.model.observations import Frost, Seen
from stillpipe.physics.fading import LONGEST_THAW
from stillpipe.physics.freeze import COARSE, FreezeRun
from stillpipe.tables import pipes
from stillpipe.uncertainty import draws

HOLD = 1800.0


@pytest.fixture(scope="module")
def drawn() -> Solution:
    """A half-inch pipe, held for half an hour."""
    return Solution(point_of(HALF_INCH), HOLD)


def test_held_for_longer_it_is_the_same_freeze(drawn: Solution) -> None:
    ready = drawn.planned_ready
    assert ready is not None
    found, fresh = drawn.held_for(3600.0), Solution(point_of(HALF_INCH), 3600.0)
    assert type(found) is Solution
    assert (found.point, found.hold) == (drawn.point, 3600.0)
    assert (found.before, found.evidence) == (drawn.before, drawn.evidence)
    assert found.ensemble is drawn.ensemble
    assert found.work is drawn.work
    assert found._member == drawn._member
    assert found.plan_end == ready + 3600.0 == fresh.plan_end
    assert np.array_equal(found.survivals, fresh.survivals)
    assert np.array_equal(found.thaws, fresh.thaws)
    assert len(found.solves) == len(fresh.solves) == 17


def test_what_was_seen_goes_with_it_when_it_is_held_for_longer() -> None:
    seen = (Frost(kind=Seen.FROST, elapsed=190.0, standard_uncertainty=20.0),)
    drawn = Solution(point_of(HALF_INCH, observations=seen), HOLD, member="repair")
    found = drawn.held_for(60.0)
    assert found.sample is drawn.sample
    assert found.evidence is drawn.evidence is not None
    assert found._member == "repair"


def test_under_another_pressure_the_freezes_are_the_same(drawn: Solution) -> None:
    found = drawn.under(1e6)
    assert found.point == replace(drawn.point, line_pressure=1e6)
    assert found.hold == drawn.hold
    assert found.ensemble is drawn.ensemble
    assert found.sample is drawn.sample
    assert found.evidence is None
    assert found.work is drawn.work
    assert found._member == drawn._member
    assert np.array_equal(found.closures, drawn.closures)
    fresh = Solution(point_of(HALF_INCH, line_pressure=1e6), HOLD)
    late = np.isfinite(fresh.readies)
    assert np.all(found.readies[late] >= drawn.readies[late])
    np.testing.assert_allclose(
        np.quantile(found.readies[late], [0.05, 0.5, 0.95]),
        np.quantile(fresh.readies[late], [0.05, 0.5, 0.95]), rtol=0.06,
    )  # fmt: skip


def test_what_has_grown_at_a_time_is_kept_and_nothing_before_closure(drawn: Solution) -> None:
    ready = drawn.planned_ready
    assert ready is not None
    found = drawn.grown(Of.SOUND, ready)
    assert drawn.grown(Of.SOUND, ready) is found
    each = drawn.grown(Of.SOUND, np.full(len(drawn.sample), ready))
    np.testing.assert_allclose(each, found, rtol=1e-12)
    assert np.array_equal(found > 0.0, drawn.closures < ready)
    assert np.all(drawn.grown(Of.SOUND, 1.0) == 0.0)


def test_stops_are_told_in_any_order_and_once_for_a_tenth_of_a_second(drawn: Solution) -> None:
    end = drawn.plan_end
    soon = round(end - 900.0)
    late, early, again, beside = drawn.lasting_at([end, soon, end, soon + 0.04])
    assert late is again
    assert early is beside
    assert np.array_equal(late, drawn.lasting(end))
    assert np.array_equal(early, drawn.lasting(soon))
    apart = drawn.lasting_at([soon, soon - 0.2])
    assert apart[0] is not apart[1]
    assert np.mean(late > early) > 0.9


def test_of_many_stops_a_few_are_solved_and_the_others_lie_between(drawn: Solution) -> None:
    end = drawn.plan_end
    times = list(np.linspace(end - 1500.0, end, 9))
    found = drawn.lasting_at(times)
    assert np.allclose(found[0], drawn.lasting(times[0]), rtol=1e-6)
    assert np.allclose(found[-1], drawn.lasting(times[-1]), rtol=1e-6)
    medians = [float(np.median(x)) for x in found]
    assert medians == sorted(medians)
    own = drawn.lasting(times[4])
    assert float(np.median(found[4])) == pytest.approx(float(np.median(own)), rel=0.03)
    known = [key for key in drawn.ensemble._surfaces if isinstance(key, tuple)]
    moments = [time for what, time in known if what == "stopped"]
    assert not {round(t) for t in times[1:3]} <= {round(m) for m in moments}


def test_what_holds_for_ever_does_so_at_a_fifth_moment_too() -> None:
    """In a room below freezing: as many draws as where each moment is solved."""
    cold = Solution(
        point_of(TWO_INCH, ambient=replace(point_of().ambient, temperature=272.15)), 3600.0
    )
    times = list(np.linspace(cold.plan_end - 3000.0, cold.plan_end, 5))
    for last in cold.lasting_at(times):
        assert 0.5 < np.mean(np.isinf(last[cold.holds])) < 0.99


def test_beside_what_is_solved_it_goes_with_the_grip(drawn: Solution) -> None:
    ready, end = drawn.planned_ready, drawn.plan_end
    assert ready is not None
    solved = (ready, end)
    for time in solved:
        beside, there = drawn.lasting_beside(time, solved), drawn.lasting(time)
        assert np.mean(np.isclose(beside, there, rtol=2e-5)) > 0.999, "but one that just closes"
    middle = drawn.lasting_beside(0.5 * (ready + end), solved)
    assert np.median(drawn.lasting(ready)) < np.median(middle) < np.median(drawn.lasting(end))
    own = float(np.median(drawn.lasting(0.5 * (ready + end))))
    assert float(np.median(middle)) == pytest.approx(own, rel=0.06)
    early = drawn.lasting_beside(0.9 * ready, solved)
    assert np.mean(early[early > 0.0] <= drawn.lasting(ready)[early > 0.0]) > 0.97


@pytest.mark.parametrize("pipe", [HALF_INCH, TWO_INCH], ids=["half-inch", "two-inch"])
def test_a_plug_whose_times_are_longer_has_come_less_far_when_the_coolant_stops(
    pipe: pipes.Pipe,
) -> None:
    """Against the likely freeze itself, stopped as much sooner or later as solved."""
    end = Solution(point_of(pipe), HOLD).plan_end
    z = np.zeros((5, len(draws.NAMES)))
    z[:, draws.NAMES.index("model")] = (-2.0, -1.0, 0.0, 1.0, 2.0)
    found = Solution(point_of(pipe), HOLD)
    found.__dict__["sample"] = draws.Sample(z)
    lost = float(found.lost(np.array([found.likely_strength]))[0])
    direct = []
    for model in found.model.tolist():
        moment = found.fine.fed_to(end / model)
        lasts = found.fine.fading(moment)
        assert lasts.thaw is not None
        direct.append((float(lasts.lasts(np.array([lost / moment.grip]))[0]), lasts.thaw))
    survival, thaw = np.array(direct).T
    np.testing.assert_allclose(found.lasting(end), survival * found.model, rtol=0.03)
    np.testing.assert_allclose(found.melted(end), thaw, rtol=0.02)
    assert survival[0] > 1.08 * survival[-1], "what fed for as long would be as much for all"


@pytest.mark.parametrize("pipe", [TWO_INCH, pipes.find("AWWA C106", "3", "Class 150")])
def test_a_thaw_is_told_of_how_the_liquid_circulates_without_a_freeze_of_its_own(
    pipe: pipes.Pipe,
) -> None:
    """Against the whole freeze under that convection: what it does is done after the stop."""
    found = Solution(point_of(pipe), HOLD)
    ensemble, time = found.ensemble, found.plan_end
    run = next(
        run for run in ensemble.runs
        if run is not None and run.case.convection != ensemble.fine.case.convection
    )  # fmt: skip
    assert ensemble.is_brief(run)
    assert found._unfed(run, time) is None
    assert found._stirred(ensemble.centre, time) is None, "it is the likely one"
    told = math.exp(float(found._thawing(run, time)[0] - found._thawing(ensemble.centre, time)[0]))
    melts = []
    for convection in (run.case.convection, 1.0):
        whole = FreezeRun(
            replace(ensemble.fine.case, convection=convection), needed_length=0.0, grid=COARSE
        )
        assert whole.closure is not None
        melts.append(whole.fading(whole.fed_to(time)).melts)
    assert told == pytest.approx(melts[0] / melts[1], abs=0.006)
    assert told < 0.97, "what circulates more melts sooner"


def test_a_plug_stopped_as_it_closes_is_not_told_for_how_long_it_was_fed(drawn: Solution) -> None:
    closure = drawn.fine.closure
    assert closure is not None
    for time in (0.5 * closure, closure):
        assert np.all(drawn._fed_for(drawn._fading, time) == 0.0)


def test_what_lasts_for_more_than_a_day_lasts_for_ever() -> None:
    cold = Solution(
        point_of(TWO_INCH, ambient=replace(point_of().ambient, temperature=263.0)), HOLD
    )
    assert np.all(np.isinf(cold.thaws[cold.holds]))
    assert np.all((cold.survivals <= LONGEST_THAW * cold.model) | np.isinf(cold.survivals))
    assert np.mean(np.isinf(cold.survivals)) > 0.5


def test_an_open_plug_lasts_for_no_time(drawn: Solution) -> None:
    soon = float(np.median(drawn.closures))
    lasts = drawn.lasting(soon)
    assert np.all(lasts[drawn.closures >= soon] == 0.0)
    assert drawn._unfed(None, 1000.0) is None
    assert drawn._unfed(drawn.fine, 1.0) is not None, "the likely plug is stopped as it closes"
    other = drawn.ensemble.runs[1]
    assert drawn._unfed(other, 1.0) is None
