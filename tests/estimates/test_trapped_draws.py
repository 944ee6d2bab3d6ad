"""Water between two plugs, draw by draw: what its figures are made of, and what is said of it."""

from dataclasses import replace

import numpy as np
import pytest

from estimates.jobs import HOUR, TWO_INCH, known, request_of, solution_of
from stillpipe.estimates.course import Of
from stillpipe.estimates.solution import Solution
from stillpipe.estimates.spacing import spacing
from stillpipe.estimates.trapped_water import (
    Growth,
    PressureCourse,
    Squeezed,
    TrappedWater,
    danger,
    growth,
    judge,
)
from stillpipe.model.figures import Verdict
from stillpipe.model.requests import SpacingRequest
from stillpipe.model.site import Place, PlaceKind
from stillpipe.tables import materials, pipes

COPPER = pipes.find("ASTM B88", "2", "L")
PAIR = ("a", "b")


@pytest.fixture(scope="module")
def solution() -> Solution:
    """2 in copper, an hour's hold."""
    return Solution(request_of(SpacingRequest, COPPER, places=()), HOUR)


def judged(solution: Solution, apart: float, *, vented: bool = False) -> TrappedWater:
    """Water between two such plugs so far ``apart`` [m]."""
    since = solution.at_least(solution.closures)
    return judge(solution, growth(solution), PAIR, apart, vented, since)


@pytest.fixture
def growing(solution: Solution) -> Growth:
    return known(growth(solution))


@pytest.fixture
def found(solution: Solution) -> TrappedWater:
    """2 m apart, not vented."""
    return judged(solution, 2.0)


def ranked(values: np.ndarray, p: float) -> float:
    """The draw that is not exceeded with the probability ``p``."""
    return float(np.quantile(values, p, method="inverted_cdf"))


def test_times_are_counted_from_closure_as_solved(solution: Solution, growing: Growth) -> None:
    """Of the draws that are closed by the planned end; none is fed beyond that."""
    holds = solution.holds
    model, closed = solution.model[holds], solution.closures[holds]
    end = (solution.plan_end - closed) / model
    ready = (solution.readies[holds] - closed) / model
    assert growing.end == pytest.approx(end)
    assert growing.ready == pytest.approx(np.minimum(ready, end))
    assert growing.model == pytest.approx(model)


def test_what_pushes_each_plug_out_by_hand(solution: Solution, growing: Growth) -> None:
    """4 tau L / D with each draw's own bond, at its own ready and at the hold's end; no factor."""
    bore, tau = COPPER.inside_diameter, solution.strength
    at_ready = np.minimum(solution.readies, solution.plan_end)
    for held, time in ((growing.holds_ready, at_ready), (growing.holds_end, solution.plan_end)):
        expected = 4.0 * tau * solution.grown(Of.GRIP, time) / bore
        assert held == pytest.approx(expected[solution.holds])
    firm = solution.readies[solution.holds] <= solution.plan_end
    # one draw in a thousand gets ready after the times at which young plugs are compared
    least = ranked(growing.holds_ready[firm], 0.002)
    assert least >= 2.0 * 3e5 * 0.999, "at ready twice the line pressure"


def test_ice_that_freezes_is_water_that_is_squeezed(solution: Solution, growing: Growth) -> None:
    """Over what is left between the plugs: the rest of the pipe is ice already at closure."""
    squeezed = Squeezed(growth=growing, apart=2.0)
    half = 0.5 * growing.end
    iced, water = growing.iced(half), 2.0 - growing.first
    assert squeezed.water == pytest.approx(water)
    assert squeezed.frozen(half) == pytest.approx(iced * 916.7 / 999.84 / water, rel=1e-3)
    assert growing.reaches(iced) == pytest.approx(half, rel=1e-5)
    assert np.all(growing.iced(np.zeros(len(half))) == 0.0)
    assert np.all(growing.reaches(np.zeros(len(half))) == 0.0)
    section = 0.25 * np.pi * COPPER.inside_diameter**2
    closing = np.exp(solution.at_closure[solution.holds, 2])
    assert growing.first == pytest.approx(closing / section, rel=1e-6)
    nearest = Squeezed(growth=growing, apart=0.01)
    assert np.all(nearest.water == 1e-6)
    assert np.all(nearest.frozen(growing.end) == 1.0)


def test_the_pressure_of_each_draw_by_hand(solution: Solution, growing: Growth) -> None:
    """1.21 MPa for each percent in 2 in copper on 3 bar (IAPWS-95 and Lame, 3 %), then the bond."""
    squeezed = Squeezed(growth=growing, apart=2.0)
    share = squeezed.frozen(growing.end)
    free, most = 3e5 + 121e6 * share, 3e5 + growing.most(growing.end)
    told = squeezed.at(growing.end)
    bound = told > 0.999 * most
    assert told[bound] == pytest.approx(most[bound], rel=1e-9)
    assert told[~bound] == pytest.approx(free[~bound], rel=0.03)
    reach = solution.curves(Of.REACH).among(solution.holds).at(growing.end)
    tau = ranked(solution.strength, 0.95)
    assert growing.most(growing.end) == pytest.approx(4.0 * tau * reach / COPPER.inside_diameter)


def test_when_the_rating_is_reached_the_water_is_under_it(
    growing: Growth, found: TrappedWater
) -> None:
    """In each draw in which it comes to that; the median is told, and the earliest twentieth."""
    squeezed = Squeezed(growth=growing, apart=2.0)
    when = squeezed.reaches(found.rating)
    comes = np.isfinite(when)
    under = squeezed.at(np.where(comes, when / growing.model, 0.0))
    assert under[comes] == pytest.approx(found.rating, rel=1e-3)
    late = squeezed.at(growing.end)
    assert np.all(late[~comes] < found.rating)
    assert np.all(when[comes] <= (growing.end * growing.model)[comes] * (1.0 + 1e-9))
    assert known(found.to_rating) == ranked(when, 0.5)
    assert known(found.to_rating_at_earliest) == ranked(when, 0.05)
    assert np.all(squeezed.reaches(2e5) == 0.0), "the line stands at 3 bar already"
    assert np.all(np.isinf(squeezed.reaches(1e12)))


def test_a_pressure_that_pushes_the_plug_out_is_never_reached(growing: Growth) -> None:
    """0.3 m apart, of the draws whose plugs slip at less."""
    squeezed = Squeezed(growth=growing, apart=0.3)
    bound = 3e5 + growing.most(growing.end)
    pressure = ranked(squeezed.at(growing.end), 0.6)
    assert np.mean(bound < pressure) > 0.05
    when = squeezed.reaches(pressure)
    assert np.all(np.isinf(when[bound < pressure]))


def test_every_figure_is_a_percentile_of_the_draws(
    solution: Solution, growing: Growth, found: TrappedWater
) -> None:
    squeezed = Squeezed(growth=growing, apart=2.0)
    at_ready, at_end = squeezed.at(growing.ready), squeezed.at(growing.end)
    assert found.pressure == ranked(at_end, 0.95)
    assert found.frozen == ranked(squeezed.frozen(growing.end), 0.95)
    assert found.vent_open_from == ranked(solution.closures, 0.05)
    for told, values in (
        (found.at_ready, at_ready), (found.at_end, at_end), (found.plugs_hold, growing.holds_end),
    ):  # fmt: skip
        span = known(told)
        assert (span.low, span.likely, span.high) == tuple(
            ranked(values, p) for p in (0.05, 0.5, 0.95)
        )
    weakest = min(ranked(h, 0.05) for h in (growing.holds_ready, growing.holds_end))
    assert found.weakest_holds == weakest
    firm = (at_ready <= growing.holds_ready) & (at_end <= growing.holds_end)
    assert found.chance == np.mean(firm & (at_end <= found.rating))
    assert (found.between, found.vented, found.run) == (PAIR, False, None)
    assert found.rating == solution.point.pressure_rating


def test_the_course_by_hand(growing: Growth, found: TrappedWater) -> None:
    """41 moments, dense at first: the median and the 95th percentile at each, 12 %.

    The draws are worked out at eleven of them, 0.1 %, and the last is that of the median plug.
    """
    course, squeezed = found.course, Squeezed(growth=growing, apart=2.0)
    last = ranked(growing.end * growing.model, 0.5)
    assert course.time == pytest.approx(last * np.linspace(0.0, 1.0, 41) ** 2)
    for i in range(1, 41):
        values = squeezed.at(np.minimum(course.time[i] / growing.model, growing.end))
        for told, p in ((course.pressure, 0.5), (course.pressure_high, 0.95)):
            off = 1e-3 if i in (1, 2, 4, 7, 11, 16, 21, 27, 34, 40) else 0.12
            assert told[i] - 3e5 == pytest.approx(ranked(values, p) - 3e5, rel=off), i


def test_the_pipe_or_the_plug_decides(solution: Solution) -> None:
    """Far apart both hold; a vent is good whatever they do."""
    near, far = (judged(solution, x) for x in (0.7, 900.0))
    assert (near.verdict, far.verdict) == (Verdict.NO_GO, Verdict.CONDITIONAL)
    assert far.pressure < far.rating
    assert far.chance > 0.95 > near.chance
    vented = judged(solution, 0.7, vented=True)
    assert (vented.verdict, vented.vented) == (Verdict.GO, True)
    assert replace(vented, verdict=near.verdict, vented=False, advice=near.advice) == near
    assert "Vented" in vented.advice
    assert "vent the section by then" in near.advice
    since = int(known(near.vent_open_from) / 60.0)
    for said in (near.advice, vented.advice):
        assert f"{since} min after the first feed" in said
    assert near.per_percent == pytest.approx(1.21e6, rel=0.03)


def test_a_strong_pipe_does_not_save_a_plug_that_slips() -> None:
    """1 in steel is good for more than the water comes to, its plugs are not."""
    steel = Solution(
        request_of(SpacingRequest, pipes.find("ASME B36.10M", "1", "40"), places=()), HOUR
    )
    found = judged(steel, 3.0)
    assert (found.verdict, found.pressure < found.rating) == (Verdict.NO_GO, True)
    assert found.chance < 0.95


def test_without_a_plug_nothing_is_trapped() -> None:
    slush = Solution(
        request_of(SpacingRequest, TWO_INCH, places=(), fluid=solution_of("propylene_glycol", 0.30))
    )
    assert growth(slush) is None
    found = judged(slush, 1.0, vented=True)
    assert (found.between, found.vented, found.verdict) == (PAIR, True, Verdict.GO)
    assert (found.chance, found.frozen, found.pressure) == (1.0, 0.0, 3e5)
    nothing = (found.vent_open_from, found.at_ready, found.at_end, found.plugs_hold,
               found.to_rating, found.to_rating_at_earliest, found.weakest_holds)  # fmt: skip
    assert nothing == (None,) * 7
    assert found.course == PressureCourse()
    assert found.rating == slush.point.pressure_rating
    assert found.per_percent == pytest.approx(1.57e6, rel=0.03)
    assert materials.find(TWO_INCH.material).youngs_modulus > 1e11


def test_danger_is_the_verdict_first_and_then_the_pressure_over_the_rating(
    found: TrappedWater,
) -> None:
    ordered = [
        replace(found, verdict=Verdict.GO, pressure=9e9),
        replace(found, verdict=Verdict.CONDITIONAL, pressure=2e6, rating=4e6),
        replace(found, verdict=Verdict.CONDITIONAL, pressure=1e6, rating=1.5e6),
        replace(found, verdict=Verdict.NO_GO, pressure=1e5),
    ]
    mixed = [ordered[i] for i in (2, 0, 3, 1)]
    assert sorted(mixed, key=danger) == ordered
    assert danger(replace(found, rating=0.0, pressure=5.0))[1] == 5.0


@pytest.mark.parametrize(
    ("seconds", "told"), [(1.9, "1 s"), (119.9, "119 s"), (120.0, "2 min"), (179.9, "2 min")]
)
def test_a_time_left_is_told_rounded_down(found: TrappedWater, seconds: float, told: str) -> None:
    text = replace(found, vent_open_from=seconds, to_rating_at_earliest=seconds).found
    assert f"between a and b from {told} after the first feed" in text
    assert f"within {told} of both plugs closing" in text


def test_pressures_are_told_up_and_what_holds_down(found: TrappedWater) -> None:
    """To a tenth of a megapascal, to a hundredth below one; 1.2 to the last digit stays so."""
    slips = replace(
        found, pressure=1.21e6, rating=2.99e6, weakest_holds=0.897e6, to_rating_at_earliest=None,
        verdict=Verdict.NO_GO,
    )  # fmt: skip
    assert "come to 1.3 MPa" in slips.found
    assert "good for 2.9 MPa" in slips.found
    assert "holds 0.89 MPa, so it may be pushed out." in slips.found
    holds = replace(slips, pressure=1.2e6, verdict=Verdict.CONDITIONAL).found
    assert "come to 1.2 MPa" in holds
    assert holds.endswith("holds 0.89 MPa.")


@pytest.mark.parametrize("vented", [True, False])
def test_a_plug_that_closes_and_is_not_to_be_ready_traps_water(vented: bool) -> None:
    """2 in steel under 80 bar: all close, one in three is ever ready. A vent is needed as ever."""
    steel = Solution(request_of(SpacingRequest, TWO_INCH, places=(), line_pressure=8e6))
    assert steel.planned_ready is None
    assert steel.closing_chance > 0.99
    found = judged(steel, 2.0, vented=vented)
    assert found.verdict is (Verdict.GO if vented else Verdict.CONDITIONAL)
    assert found.vent_open_from == ranked(steel.closures, 0.05)
    assert found.chance == pytest.approx(1.0 - steel.closing_chance)
    assert "from the first feed until both have thawed" in found.advice
    assert found.found.startswith("The water between a and b is not judged. No plug is expected")
    assert "No plug closes" not in found.advice
    places = tuple(
        Place(name=n, kind=PlaceKind.FREEZE_POINT, at=x) for n, x in (("a", 0), ("b", 2))
    )
    answer = spacing(request_of(SpacingRequest, TWO_INCH, places=places, line_pressure=8e6))
    (reason,) = [r for r in answer.reasons if r.code == "unvented-water"]
    assert (reason.text, reason.at) == (answer.figures.trapped_water[0].found, found.vent_open_from)
