"""A freeze run: fed once, equal answers whatever was asked before, bounded, ended, immutable."""

import gc
import threading
import time
import weakref
from dataclasses import FrozenInstanceError, replace

import numpy as np
import pytest

from reference import closing
from reference.cases_2d import CASES, Named, of
from stillpipe.errors import CancelledError, TooCostlyError
from stillpipe.physics import constants, fading, freeze
from stillpipe.physics.column import work
from stillpipe.tables import pipes

HALF_INCH = next(n.case for n in CASES if n.name == "ASTM B88 1/2 L 20 C")
STEEL = next(n.case for n in CASES if n.name == "ASME B36.10M 1 40 5 C")
GLYCOL = next(n.case for n in CASES if n.name == "glycol 6 % steel 1")
SOME = [HALF_INCH, STEEL, GLYCOL]
ZERO_C = 273.15
PLUG = 0.03
"""Length that makes a plug ready here [m]."""


def run_of(case: freeze.Case) -> freeze.FreezeRun:
    return freeze.FreezeRun(case, needed_length=PLUG)


@pytest.mark.parametrize("case", SOME)
def test_the_plug_at_a_time_does_not_depend_on_what_was_asked_before(case: freeze.Case) -> None:
    straight, wandering = run_of(case), run_of(case)
    assert straight.ready is not None
    times = [0.0, 0.37 * straight.ready, straight.ready, straight.ready + 61.0, 3000.0]
    asked = [straight.fed_to(t) for t in times]
    wandering.history(2500.0)
    wandering.stop(wandering.fed_to(1000.0), 0.01)
    again = [wandering.fed_to(t) for t in reversed(times)][::-1]
    assert asked == again
    assert straight.stop(asked[3], 0.01).survival == wandering.stop(again[3], 0.01).survival
    assert straight.stop(asked[3], 0.01).thaw == wandering.stop(again[3], 0.01).thaw


@pytest.mark.parametrize("case", SOME)
def test_places_and_skin_do_not_depend_on_how_far_it_was_fed_before(case: freeze.Case) -> None:
    """Both lie between two states kept: the later one is fed to where it is not there yet."""
    patient, hasty = run_of(case), run_of(case)
    patient.fed_to(hasty.last.time + 5000.0)
    for since in (0.0, 1e-7, 40.0, 1300.0):
        until = hasty.last.time + since
        times, at = np.array([0.5 * until, until]), np.array([0.02, 0.06, 0.09])
        assert np.array_equal(hasty.open_share(times, at), patient.open_share(times, at))
        here, there = (np.interp(until, *run.skin(0.03, until)) for run in (hasty, patient))
        assert here == there


@pytest.mark.parametrize("case", SOME)
def test_a_pipe_is_frozen_once_and_asked_often(case: freeze.Case) -> None:
    run = run_of(case)
    fed = run.work.taken
    assert run.solves == 1
    assert run.at_closure is not None
    assert run.at_ready is not None
    assert run.history().time[-1] == run.last.time
    assert run.work.taken < 1.2 * fed
    held = run.fed_to(3600.0)
    stop = run.stop(held, 0.01)
    taken = run.work.taken
    assert run.fed_to(3600.0) is held
    assert run.stop(held, 0.01) is stop
    assert run.work.taken == taken
    assert stop.thaw is not None
    thawed = run.work.taken
    assert stop.thaw == run.stop(held, 0.01).thaw
    assert run.work.taken == thawed > taken
    assert (run.solves, run.stops) == (1, 1)


def test_a_plug_grows_and_takes_heat_while_it_is_fed() -> None:
    run = run_of(HALF_INCH)
    moments = [run.fed_to(t) for t in np.linspace(300.0, 3600.0, 12)]
    for name in ("bonded_length", "heat_jacket", "heat_ambient"):
        assert np.all(np.diff([getattr(m, name) for m in moments]) > 0.0), name
    assert np.all(np.diff(run.history(3600.0).plug_length) >= 0.0)
    for m in moments:
        assert m.sound_length == min(m.plug_length, m.bonded_length)


def test_a_moment_is_a_point_of_the_history() -> None:
    run = run_of(HALF_INCH)
    history = run.history(2000.0)
    for time_ in (100.0, 333.0, 1999.0):
        m = run.fed_to(time_)
        for name in ("bonded_length", "heat_jacket", "heat_ambient"):
            expected = np.interp(time_, history.time, getattr(history, name))
            assert getattr(m, name) == pytest.approx(expected, rel=0.02), name


def test_a_plug_held_longer_and_asked_to_carry_less_survives_longer() -> None:
    run = run_of(STEEL)
    early, late = run.fed_to(600.0), run.fed_to(3600.0)
    some, most = run.stop(early, 0.01).survival, run.stop(late, 0.01).survival
    weak = run.stop(late, 0.8 * late.grip).survival
    assert some is not None
    assert most is not None
    assert weak is not None
    assert some < most
    assert weak < most
    thaw = run.stop(late, 0.01).thaw
    assert thaw is not None
    assert thaw > most


def test_a_plug_shorter_than_its_load_needs_does_not_survive() -> None:
    run = run_of(STEEL)
    assert run.at_ready is not None
    assert run.stop(run.at_ready, 2.0 * run.at_ready.grip).survival == 0.0


def test_closure_ready_and_their_moments_agree() -> None:
    run = run_of(STEEL)
    assert run.closure is not None
    assert run.ready is not None
    assert run.at_closure is not None
    assert run.at_ready is not None
    assert (run.at_closure.time, run.at_ready.time) == (run.closure, run.ready)
    assert run.closure < run.ready <= run.last.time
    assert run.at_ready.sound_length == pytest.approx(PLUG, rel=0.02)
    assert closing.closure_only(STEEL, freeze.PRODUCTION) == pytest.approx(run.closure, rel=1e-9)


def test_a_pipe_that_stays_open_has_a_last_moment_and_a_history() -> None:
    wide = of(pipes.find("ASME B36.10M", "4", "40"), 35.0, jacket=0.02)
    run = run_of(wide)
    assert (run.closure, run.ready, run.at_closure, run.at_ready) == (None, None, None, None)
    assert run.last.plug_length == 0.0
    assert run.last.time >= freeze.LONGEST_FREEZE
    assert run.history().time[-1] == run.last.time
    assert closing.closure_only(wide) is None


def test_results_cannot_be_changed() -> None:
    run = run_of(HALF_INCH)
    m = run.fed_to(100.0)
    with pytest.raises(FrozenInstanceError):
        m.time = 3.0  # type: ignore[misc]
    with pytest.raises(FrozenInstanceError):
        run.stop(m, 0.0).survival = 3.0  # type: ignore[misc]
    with pytest.raises(ValueError, match="read-only"):
        run.history().time[0] = 3.0
    for array in m._state:
        with pytest.raises(ValueError, match="read-only"):
            array[...] = 0.0


def test_runs_side_by_side_give_what_one_gives() -> None:
    alone = [run_of(c).fed_to(2000.0) for c in SOME]
    found: dict[int, freeze.Moment] = {}

    def solve(i: int) -> None:
        for _ in range(10):
            found[i] = run_of(SOME[i]).fed_to(2000.0)

    threads = [threading.Thread(target=solve, args=(i,)) for i in range(3)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert [found[i] for i in range(3)] == alone


@pytest.mark.parametrize("most", [100, 2500, 5000])
def test_a_budget_ends_a_run(most: int) -> None:
    budget = work.Work(most)

    def long() -> None:
        freeze.FreezeRun(STEEL, needed_length=PLUG, work=budget).fed_to(8 * 3600.0)

    with pytest.raises(TooCostlyError, match="units of solver work"):
        long()
    assert most < budget.taken < most + 200


def test_a_long_day_stays_far_below_the_budget() -> None:
    """Eight hours of hold, ten exchanges and the thaw take less than a quarter of what is given."""
    for case in SOME:
        run = freeze.FreezeRun(case, needed_length=PLUG)
        assert run.ready is not None
        for n in range(10):
            assert run.stop(run.fed_to(run.ready + 2880.0 * (n + 1)), 0.01).survival
        assert run.stop(run.fed_to(run.ready + 28800.0), 0.01).thaw
        assert run.work.taken < 0.25 * work.MOST


@pytest.mark.parametrize("celsius", [-1.0, -19.0])
@pytest.mark.parametrize("named", CASES[::3], ids=lambda n: n.name)
def test_a_plug_in_a_room_below_freezing_is_followed_no_longer_than_it_may_thaw(
    monkeypatch: pytest.MonkeyPatch, named: Named, celsius: float
) -> None:
    """To the last digit what following it for the whole day gives, for less work."""
    case = replace(named.case, ambient_temperature=ZERO_C + celsius)
    found, taken = [], []
    for look in (fading.LOOK, fading.LONGEST_THAW + 1.0):
        monkeypatch.setattr(fading, "LOOK", look)
        run = freeze.FreezeRun(case, needed_length=2.0 * case.bore, work=work.Work(10**9))
        moment = run.at_ready or run.last
        fed = run.work.taken
        stops = [run.stop(moment, length) for length in (0.0, 0.5 * moment.grip)]
        found.append([(s.survival, s.thaw) for s in stops])
        taken.append(run.work.taken - fed)
    assert found[0] == found[1]
    assert taken[0] <= taken[1]
    if celsius < -10.0:
        assert taken[0] < 0.95 * taken[1]


@pytest.mark.parametrize("case", SOME)
def test_a_run_is_freed_with_the_last_that_names_it(case: freeze.Case) -> None:
    """A quarter of a MiB that only the collector found would lie about by the hundred."""
    gc.disable()
    try:
        run = run_of(case)
        assert run.stop(run.fed_to(3600.0), 0.01).thaw is not None
        left = weakref.ref(run)
        del run
        assert left() is None
    finally:
        gc.enable()


def test_a_flag_set_by_another_thread_ends_a_running_kernel() -> None:
    flag = np.zeros(1, dtype=np.int64)
    endless = freeze.Grid(axial=6, radial=6, eta=1e-9, stretch=1.35, early=1e-3)
    raised: list[BaseException] = []

    def solve() -> None:
        with work.cancellable(flag):
            try:
                closing.closure_only(STEEL, endless, work.Work(10**15))
            except CancelledError as error:
                raised.append(error)

    thread = threading.Thread(target=solve)
    thread.start()
    time.sleep(0.5)
    assert thread.is_alive()
    flag[0] = 1
    thread.join(60.0)
    assert not thread.is_alive()
    assert len(raised) == 1


@pytest.mark.parametrize("wall", [0.0003, 0.02])
@pytest.mark.parametrize("outer", [0.006, 0.12])
@pytest.mark.parametrize("material", ["copper_c12200", "pvc"])
def test_the_shortest_jacket_costs_a_tenth_of_the_budget(
    material: str, outer: float, wall: float
) -> None:
    """Slices of 1.4 mm do not hold the steps of a four hours' freeze down to parts of a second."""
    pipe = replace(
        pipes.catalogue()[0], outside_diameter=outer, wall=min(wall, 0.3 * outer), material=material
    )
    for conductance in (50.0, 400.0):
        case = of(pipe, 38.0, room=40.0, jacket=0.02, conductance=conductance)
        run = freeze.FreezeRun(case, needed_length=case.bore)
        assert run.work.taken < 0.1 * work.MOST
        if run.ready is not None:
            assert run.stop(run.last, 0.0).thaw
            assert run.work.taken < 0.15 * work.MOST


def test_a_thick_wall_that_insulates_stays_steady_over_a_day() -> None:
    """Its inner nodes conduct along the pipe explicitly, whatever the step is.

    Water just above freezing under the shortest jacket: the plug grows for nine hours, in slices of
    2 mm.
    """
    pipe = replace(pipes.find("ASME B36.10M", "1-1/4", "XXS"), material="pex")
    case = of(pipe, 0.01, room=0.01, jacket=0.02)
    run = freeze.FreezeRun(case, needed_length=case.bore)
    assert run.ready is not None
    lengths = [run.fed_to(run.ready + hours * 3600.0).plug_length for hours in (1.0, 4.0, 8.0)]
    assert lengths == sorted(lengths)
    history = run.history(run.ready + 8 * 3600.0)
    assert np.all(np.isfinite(history.frost_temperature))
    # a step gone wrong swings by kelvins; laying slices anew as it is held moves it by 28 mK
    assert np.all(np.diff(history.wall_temperature[10:]) < 0.05)


def test_steps_beyond_the_axial_limit_leave_the_answer() -> None:
    """A short jacket on a wide steel pipe: closure, ready and heat as with every step inside it."""
    pipe = replace(pipes.catalogue()[0], outside_diameter=0.08, wall=0.004, material="carbon_steel")
    case = of(pipe, 15.0, jacket=0.03, conductance=200.0)
    inside = freeze.FreezeRun(
        case, needed_length=case.bore, grid=replace(freeze.PRODUCTION, least=0.0)
    )
    beyond = freeze.FreezeRun(case, needed_length=case.bore)
    assert beyond.work.taken < 0.9 * inside.work.taken
    assert beyond.closure == pytest.approx(inside.closure, rel=0.001)
    assert beyond.ready == pytest.approx(inside.ready, rel=0.001)
    assert beyond.last.heat_jacket == pytest.approx(inside.last.heat_jacket, rel=0.002)


@pytest.mark.parametrize("case", SOME)
def test_a_freeze_at_times_is_its_history_between_rows(case: freeze.Case) -> None:
    """As numpy reads every series, also before its first row and where feeding goes on."""
    run = run_of(case)
    assert run.ready is not None
    times = np.concatenate(([0.0], np.geomspace(1.0, 1.3 * run.ready, 40)))
    found = run.at(times)
    history = run.history(float(times[-1]), beyond=True)
    for name in history._fields:
        expected = np.interp(times, history.time, getattr(history, name))
        np.testing.assert_allclose(getattr(found, name), expected, rtol=1e-12, atol=1e-15)


@pytest.mark.parametrize("case", SOME)
def test_slices_put_together_hold_the_heat_and_reach_as_far(case: freeze.Case) -> None:
    run = run_of(case)
    assert run.ready is not None
    moment = run.fed_to(run.ready + 1800.0)
    column, state = moment._column, moment._state
    fewer, moved = column.fading(state)
    assert len(fewer.mesh.dz) < len(column.mesh.dz)
    assert (
        fewer.jacket == np.argmin(np.abs(np.cumsum(fewer.mesh.dz) - 0.5 * case.jacket_length)) + 1
    )
    assert fewer.heat_content(moved) == pytest.approx(column.heat_content(state), rel=1e-12)
    before, after = column.extent(state), fewer.extent(moved)
    assert after.grip == pytest.approx(before.grip, rel=0.03)
    assert after.closed == pytest.approx(before.closed, rel=0.05)


def test_what_melts_for_more_than_a_day_is_told_by_how_it_melted_until_then(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """In a room of half a degree: within an eighth of what following it for a fortnight gives."""
    case = replace(STEEL, ambient_temperature=constants.ZERO_C + 0.5)
    run = run_of(case)
    assert run.ready is not None
    moment = run.fed_to(run.ready + 1800.0)
    found = run.fading(moment)
    assert found.thaw is None
    assert found.melts > fading.LONGEST_THAW
    monkeypatch.setattr(fading, "LONGEST_THAW", 14.0 * 24.0 * 3600.0)
    followed = run_of(case)
    again = followed.fading(followed.fed_to(moment.time))
    assert again.thaw == again.melts
    assert found.melts == pytest.approx(again.melts, rel=0.125)


def test_in_a_room_below_freezing_nothing_melts_for_ever() -> None:
    run = run_of(replace(STEEL, ambient_temperature=constants.ZERO_C - 5.0))
    assert run.ready is not None
    found = run.fading(run.fed_to(run.ready + 3600.0))
    assert found.melts == np.inf
    assert found.thaw is None
