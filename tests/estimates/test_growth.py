"""The ice's shape and the plug's length along a freeze: what was solved, and no more."""

import numpy as np
import pytest

from estimates.jobs import HALF_INCH, TWO_INCH, known, request_of, solution_of, water
from stillpipe.estimates import growth
from stillpipe.estimates.course import Of
from stillpipe.estimates.growth import Growth, Profile
from stillpipe.estimates.hold_time import hold_time
from stillpipe.estimates.plug_time import plug_time
from stillpipe.estimates.solution import Solution
from stillpipe.model.requests import HoldTimeRequest, PlugTimeRequest
from stillpipe.tables import pipes

PIPES = [HALF_INCH, TWO_INCH, pipes.find("ASTM D1785", "1 1/2", "40")]


def solved(pipe: pipes.Pipe) -> Solution:
    return Solution(request_of(PlugTimeRequest, pipe))


def ended(solution: Solution) -> float:
    assert solution.planned_ready is not None
    return solution.planned_ready


@pytest.mark.parametrize("pipe", PIPES, ids=lambda p: p.id)
def test_ice_never_recedes_while_fed_nor_thickens_away_from_the_jacket(pipe: pipes.Pipe) -> None:
    solution = solved(pipe)
    found = growth.profile(solution, ended(solution))
    radius = np.array([moment.liquid_radius for moment in found.moments])
    assert radius.shape == (6, growth.PLACES)
    assert (np.diff(radius, axis=0) <= 0.0).all()
    assert (np.diff(radius, axis=1) >= 0.0).all()
    assert radius[:, -1] == pytest.approx(0.5 * solution.point.bore, rel=1e-3)
    assert radius[0, 0] > 0.5 * radius[0, -1], "the first is soon after first ice"
    assert radius[-1, 0] == 0.0


@pytest.mark.parametrize("pipe", PIPES, ids=lambda p: p.id)
def test_the_shape_holds_the_ice_that_was_frozen(pipe: pipes.Pipe) -> None:
    """Its volume, a solid of revolution, beside what the solver counts cell by cell."""
    solution = solved(pipe)
    found, run = growth.profile(solution, ended(solution)), solution.fine
    history, whole = run.history(ended(solution), beyond=True), 0.5 * solution.point.bore
    for moment in found.moments[1:]:
        area = np.pi * (whole**2 - np.array(moment.liquid_radius) ** 2)
        volume = 2.0 * np.trapezoid(area, found.position)
        counted = np.interp(moment.time, history.time, history.ice_volume)
        assert volume == pytest.approx(counted, rel=0.04)


@pytest.mark.parametrize("pipe", PIPES, ids=lambda p: p.id)
def test_a_plug_is_as_long_as_its_history_says(pipe: pipes.Pipe) -> None:
    solution = solved(pipe)
    found = growth.profile(solution, ended(solution))
    history = solution.fine.history(ended(solution), beyond=True)
    closed = 0.5 * np.interp(ended(solution), history.time, history.plug_length)
    last = np.array(found.moments[-1].liquid_radius)
    shut = max(place for place, liquid in zip(found.position, last, strict=True) if liquid == 0.0)
    assert shut <= closed < shut + 1.01 * found.position[1]


def test_nothing_is_solved_for_either() -> None:
    solution = Solution(request_of(HoldTimeRequest, HALF_INCH, hold=1800.0), 1800.0)
    assert solution.plug_length is not None
    before = solution.effort
    growth.profile(solution, ended(solution))
    growth.growth(solution)
    assert solution.effort == before


def test_moments_are_told_at_the_pace_of_what_was_seen() -> None:
    solution = solved(HALF_INCH)
    usual, late = (growth.profile(solution, ended(solution), pace) for pace in (1.0, 1.3))
    assert usual.position == late.position
    for one, other in zip(usual.moments, late.moments, strict=True):
        assert other.time == pytest.approx(1.3 * one.time)
        assert other.liquid_radius == one.liquid_radius


def test_the_last_moment_is_the_planned_ready() -> None:
    figures = plug_time(request_of(PlugTimeRequest, HALF_INCH)).figures
    assert figures.profile.moments[-1].time == pytest.approx(figures.planned_ready)


def test_with_flow_the_shape_is_told_from_closure_on() -> None:
    figures = plug_time(request_of(PlugTimeRequest, HALF_INCH, fluid=water(flow=1e-5))).figures
    assert len(figures.profile.moments) == 3
    assert (
        figures.profile.moments[0].liquid_radius[0]
        < 0.2 * figures.profile.moments[0].liquid_radius[-1]
    )


def test_the_plug_grows_to_the_length_that_is_told_after_the_hold() -> None:
    figures = hold_time(request_of(HoldTimeRequest, TWO_INCH, hold=3600.0)).figures
    found, length = figures.growth, figures.plug_length
    assert length is not None
    assert (found.low[-1], found.likely[-1], found.high[-1]) == pytest.approx(
        (length.low, length.likely, length.high)
    )  # fmt: skip
    assert figures.planned_ready in found.time
    assert found.time[-1] == pytest.approx((figures.planned_ready or 0.0) + 3600.0)
    for series in (found.time, found.low, found.likely, found.high):
        assert list(series) == sorted(series)
    assert all(a <= b <= c for a, b, c in zip(found.low, found.likely, found.high, strict=True))


def test_what_stays_slush_has_neither() -> None:
    fluid = solution_of("propylene_glycol", 0.3)
    figures = hold_time(request_of(HoldTimeRequest, HALF_INCH, hold=600.0, fluid=fluid)).figures
    assert figures.growth == Growth()
    assert (
        plug_time(request_of(PlugTimeRequest, HALF_INCH, fluid=fluid)).figures.profile == Profile()
    )


def test_the_moments_of_the_shape_by_hand() -> None:
    """Four quarters from first ice to closure, then half and all of the way to the end."""
    solution = solved(HALF_INCH)
    run, until = solution.fine, ended(solution)
    closure = known(run.closure)
    history = run.history(until, beyond=True)
    ice = np.flatnonzero(history.ice_volume > 0.0)[0]
    first, times = history.time[ice - 1], [
        moment.time for moment in growth.profile(solution, until).moments
    ]  # fmt: skip
    begun = (4.0 * times[0] - times[3]) / 3.0
    assert first <= begun <= history.time[ice]
    expected = [begun + share * (closure - begun) for share in (0.25, 0.5, 0.75, 1.0)]
    expected += [closure + share * (until - closure) for share in (0.5, 1.0)]
    assert times == pytest.approx(expected)


def test_there_is_no_shape_before_closure() -> None:
    solution = solved(HALF_INCH)
    closure = known(solution.fine.closure)
    assert growth.profile(solution, closure) == Profile()
    assert growth.profile(solution, 0.5 * closure) == Profile()
    assert len(growth.profile(solution, 1.01 * closure).moments) == 6


@pytest.mark.parametrize("pipe", PIPES, ids=lambda p: p.id)
def test_seventeen_places_reach_to_where_the_ice_ends(pipe: pipes.Pipe) -> None:
    """Even steps; at the last hardly any ice at any time, one step before it some at the end."""
    solution = solved(pipe)
    run, until = solution.fine, ended(solution)
    found = growth.profile(solution, until)
    assert len(found.position) == 17
    assert np.diff(found.position) == pytest.approx(found.position[1])
    assert found.position[0] == 0.0
    times = np.array([moment.time for moment in found.moments])
    far = run.open_share(times, np.array([found.position[-1], found.position[-2]]))
    assert far[:, 0].min() >= 0.999
    assert far[:, 1].min() < 0.999
    half = 0.5 * solution.point.jacket.length
    assert found.position[-1] > half


def test_the_growth_of_the_plug_by_hand() -> None:
    """From the 5th percentile of closure on, and at five moments of the hold: of the same draws."""
    solution = Solution(request_of(HoldTimeRequest, TWO_INCH, hold=3600.0), 3600.0)
    found = growth.growth(solution)
    closure, planned = known(solution.closure), ended(solution)
    times = [closure.low, closure.likely, 0.5 * (closure.likely + planned)]
    times += [planned + share * 3600.0 for share in (0.0, 0.25, 0.5, 0.75, 1.0)]
    assert found.time == pytest.approx(sorted(times))
    for index, time in enumerate(found.time):
        lengths = solution.grown(Of.SOUND, time)[solution.holds]
        for told, p in ((found.low, 0.05), (found.likely, 0.5), (found.high, 0.95)):
            expected = np.quantile(lengths, p, method="inverted_cdf")
            assert told[index] == pytest.approx(expected, rel=1e-9)


def test_what_is_not_to_be_ready_has_no_growth() -> None:
    """2 in steel under 80 bar closes, and two of three are never ready."""
    request = request_of(HoldTimeRequest, TWO_INCH, hold=600.0, line_pressure=8e6)
    assert growth.growth(Solution(request, 600.0)) == Growth()
