"""What is read of one freeze, and curves through what has grown, by hand."""

import math

import numpy as np
import pytest

from estimates.jobs import HALF_INCH, point_of
from stillpipe.estimates import course
from stillpipe.estimates.cases import Cases
from stillpipe.estimates.course import BEFORE, Curves, Knots, Of
from stillpipe.physics import freeze
from stillpipe.physics.constants import DRY_ICE

KNOTS = Knots(np.array([10.0, 100.0, 1000.0, 10000.0]))


def curves(*lines: list[float], of: Of = Of.GRIP) -> Curves:
    """Curves of these values at ``KNOTS``."""
    return Curves(of, KNOTS, np.log(np.array(lines)).astype(np.float32))


@pytest.fixture(scope="module")
def run() -> freeze.FreezeRun:
    """The likely freeze of a half-inch pipe, followed far beyond its ready."""
    cases = Cases(point_of(HALF_INCH))
    return freeze.FreezeRun(
        cases.case(cases.likely), needed_length=HALF_INCH.inside_diameter, needed_grip=0.02
    )


def test_between_knots_a_curve_is_straight_in_logarithms() -> None:
    """2 at 10 s and 8 at 100 s: 4 half way between them in logarithms, 10 sqrt(10) s."""
    found = curves([2.0, 8.0, 8.0, 16.0])
    at = [10.0, 10.0 * math.sqrt(10.0), 100.0, 500.0, 1000.0 * math.sqrt(10.0), 10000.0]
    expected = [2.0, 4.0, 8.0, 8.0, 8.0 * math.sqrt(2.0), 16.0]
    many = Curves(found.of, KNOTS, np.repeat(found.value, len(at), axis=0))
    assert many.at(np.array(at)) == pytest.approx(expected, rel=1e-6)
    assert many.at_log(np.log(at)) == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(
    ("of", "early"), [(Of.GRIP, 0.5), (Of.HEAT, 0.5), (Of.REACH, 1.0), (Of.WALL, 1.0)]
)
def test_before_the_knots_it_grows_with_time_or_is_there_already(of: Of, early: float) -> None:
    found = curves([2.0, 8.0, 8.0, 16.0], of=of)
    assert found.at(np.array([5.0])) == pytest.approx([2.0 * early], rel=1e-6)
    soon = 2.0 * course.SOON / 10.0 if early < 1.0 else 2.0
    assert found.at(np.array([0.0])) == pytest.approx([soon], rel=1e-6)


def test_beyond_the_knots_it_goes_on_but_no_faster_than_time() -> None:
    """From 8 at 1,000 s to 16 at 10,000 s: 32 at 100,000 s; what grows faster, tenfold."""
    assert curves([2.0, 8.0, 8.0, 16.0]).at(np.array([1e5])) == pytest.approx([32.0], rel=1e-6)
    steep = curves([1.0, 1.0, 1.0, 50.0])
    assert steep.at(np.array([1e5])) == pytest.approx([500.0], rel=1e-6)


def test_where_a_curve_comes_to_what_is_wanted() -> None:
    line = [2.0, 8.0, 8.0, 16.0]
    wanted = [1.0, 2.0, 4.0, 8.0, 11.313708, 16.0]
    expected = [5.0, 10.0, 10.0 * math.sqrt(10.0), 100.0, 1000.0 * math.sqrt(10.0), 10000.0]
    many = Curves(Of.GRIP, KNOTS, np.repeat(curves(line).value, len(wanted), axis=0))
    assert many.where(np.log(wanted)) == pytest.approx(expected, rel=1e-5)


def test_beyond_the_knots_it_comes_there_by_the_mean_slope_of_all_stretches() -> None:
    """Eightfold over a thousandfold of time: twice 16 is there after ten times as long."""
    found = curves([2.0, 8.0, 8.0, 16.0]).where(np.log([32.0]))
    assert found == pytest.approx([1e4 * 10.0 ** (3.0 / math.log2(8.0))], rel=1e-5)
    level = curves([2.0, 2.0, 2.0, 2.0]).where(np.log([2.0 * math.exp(course.FLAT)]))
    assert level == pytest.approx([1e4 * math.e], rel=1e-4)
    never = curves([2.0, 2.0, 2.0, 2.0]).where(np.log([1e6]))
    assert never == pytest.approx([math.exp(course.LATEST)], rel=1e-5)


def test_some_of_the_draws_and_all_of_them() -> None:
    found = curves([1.0, 2.0, 3.0, 4.0], [2.0, 3.0, 4.0, 5.0])
    some = found.among(np.array([False, True]))
    assert (some.of, some.knots) == (found.of, found.knots)
    assert np.array_equal(some.value, found.value[1:])
    assert found.among(np.array([True, True])) is found


def test_curves_that_fall_are_kept_level() -> None:
    value = np.array([[1.0, 3.0, 2.0, 4.0], [4.0, 1.0, 2.0, 3.0]], dtype=np.float32)
    course.keep_rising(value)
    assert value.tolist() == [[1.0, 3.0, 3.0, 4.0], [4.0, 4.0, 4.0, 4.0]]


def test_how_long_a_share_of_the_grip_is_kept() -> None:
    """All of it is lost after 100 s, half after 60, nine tenths after 10, and none at once."""
    shares = np.array([0.0, 0.5, 0.9])
    logs = np.log(np.tile([100.0, 60.0, 10.0], (6, 1))).astype(np.float32)
    found = course.kept(shares, logs, np.array([0.0, 0.25, 0.5, 0.7, 0.95, 1.0]))
    assert found == pytest.approx([100.0, 80.0, 60.0, 35.0, 5.0, 0.0], rel=1e-5, abs=1e-5)


def test_what_is_read_of_a_freeze_is_its_history(run: freeze.FreezeRun) -> None:
    assert run.closure is not None
    knots = Knots(np.array([5.0, 60.0, 900.0]))
    found = np.exp(course.of_run(run, knots))
    times = run.closure + knots.time
    h = run.history(float(times[-1]), beyond=True)

    def then(series: np.ndarray) -> np.ndarray:
        return np.asarray(np.interp(times, h.time, series))

    def at_closure(series: np.ndarray) -> float:
        return float(np.interp(run.closure or 0.0, h.time, series))

    closed, bonded = then(h.plug_length), then(h.bonded_length)
    expected = {
        Of.SOUND: np.minimum(closed, bonded),
        Of.GRIP: then(h.grip),
        Of.HEAT: then(h.heat_jacket) - at_closure(h.heat_jacket),
        Of.ICED: then(h.ice_volume) - at_closure(h.ice_volume),
        Of.REACH: np.maximum(closed, bonded),
        Of.WALL: then(h.wall_temperature),
    }
    assert found.shape == (len(Of), 3)
    for of, value in expected.items():
        assert found[of] == pytest.approx(value, rel=1e-9), of
    time, heat, ice = np.exp(course.closing(run))
    assert time == pytest.approx(run.closure)
    assert heat == pytest.approx(at_closure(h.heat_jacket))
    assert ice == pytest.approx(at_closure(h.ice_volume))
    drawing = np.exp(course.drawing(run))
    shares = np.interp(BEFORE.time * run.closure, h.time, h.heat_jacket) / heat
    assert drawing == pytest.approx(shares, rel=1e-9)
    assert drawing[-1] == 1.0
    assert math.exp(course.frost(run)[0]) == pytest.approx(run.frost)


def test_the_skin_is_read_until_closure_and_at_knots(run: freeze.FreezeRun) -> None:
    assert run.closure is not None
    knots = Knots(np.array([30.0, 600.0]))
    count = len(BEFORE.time)
    found = course.skin(run, knots, 0.02, brief=False)
    time, hot = run.skin(0.02, run.closure + 600.0)
    at = np.append(BEFORE.time * run.closure, run.closure + knots.time)
    assert np.exp(found) + DRY_ICE == pytest.approx(np.interp(at, time, hot), rel=1e-12)
    brief = course.skin(run, knots, 0.02, brief=True)
    assert np.array_equal(np.isnan(brief), at > run.skin(0.02, run.closure)[0][-1])
    assert np.all(np.isfinite(brief[: count - 1]))


def test_of_what_does_not_close_nothing_is_told_but_that() -> None:
    for none in (None, open_run()):
        assert course.closing(none)[0] == course.UNCLOSED
        assert np.all(np.isnan(course.closing(none)[1:]))
        assert np.all(np.isnan(course.drawing(none)))
        assert len(course.drawing(none)) == len(BEFORE.time)
        assert np.all(np.isnan(course.skin(none, KNOTS, 0.02, brief=False)))
        assert len(course.skin(none, KNOTS, 0.02, brief=False)) == len(BEFORE.time) + 4
    assert math.exp(course.UNCLOSED) == pytest.approx(8.0 * 3600.0)
    unclosed = course.of_run(open_run(), KNOTS)
    assert unclosed.shape == (len(Of), 4)
    assert np.all(np.isnan(unclosed))
    assert np.isnan(course.frost(None)[0])


def open_run() -> freeze.FreezeRun:
    """A freeze of a jacket that hardly cools."""
    cases = Cases(point_of(HALF_INCH))
    case = cases.case(cases.likely.varied("jacket_conductance", 0.02))
    run = freeze.FreezeRun(case, needed_length=0.0, grid=freeze.COARSE)
    assert run.closure is None
    return run


def test_frost_that_does_not_come_is_late() -> None:
    run = open_run()
    assert run.frost is None
    assert course.frost(run)[0] == pytest.approx(math.log(4.0 * 3600.0))


class Told:
    """What a freeze of 100 s says of its skin: states at these times [s], so warm [K]."""

    closure = 100.0

    def __init__(self, times: list[float], warm: list[float]) -> None:
        self.states = (np.array(times), DRY_ICE + np.array(warm))
        self.asked: list[tuple[float, float]] = []

    def skin(self, distance: float, until: float) -> tuple[np.ndarray, np.ndarray]:
        """Keep what it is asked for."""
        self.asked.append((distance, until))
        return self.states


@pytest.mark.parametrize(("brief", "until"), [(True, 0.0), (False, 200.0)])
def test_a_brief_freeze_is_not_fed_on_to_be_asked(brief: bool, until: float) -> None:
    """What lies beyond its last state is not known then; else it stays as it was there."""
    told = Told([0.0, 50.0, 90.0, 120.0], [90.0, 60.0, 40.0, 20.0])
    found = course.skin(told, Knots(np.array([15.0, 100.0])), 0.02, brief)  # type: ignore[arg-type]
    assert told.asked == [(0.02, until)]
    expected = np.interp(100.0 * BEFORE.time, *told.states) - DRY_ICE
    assert np.exp(found[: len(BEFORE.time)]) == pytest.approx(expected, rel=1e-12)
    assert math.exp(found[-2]) == pytest.approx(40.0 - 20.0 * 25.0 / 30.0, rel=1e-12)
    assert np.isnan(found[-1]) == brief
    assert brief or math.exp(found[-1]) == pytest.approx(20.0)


def test_a_skin_as_cold_as_dry_ice_has_a_logarithm() -> None:
    told = Told([0.0, 200.0], [1.5, 0.2])
    found = course.skin(told, Knots(np.array([50.0])), 0.02, brief=False)  # type: ignore[arg-type]
    assert math.exp(found[0]) == pytest.approx(1.5 - 1.3 * 0.5 / 200.0, rel=1e-9)
    assert found[-1] == 0.0
