"""Water between two plugs: its pressure from closure on, by hand and in its directions."""

import math
from typing import Any

import numpy as np
import pytest

from estimates.jobs import (
    HALF_INCH,
    HOUR,
    TWO_INCH,
    high,
    known,
    likely,
    request_of,
    solution_of,
)
from stillpipe.estimates.solution import Solution
from stillpipe.estimates.spacing import SpacingFigures, spacing
from stillpipe.estimates.trapped_water import PressureCourse, Squeezed, TrappedWater, growth
from stillpipe.model.figures import Amount, Answer, Verdict
from stillpipe.model.pipe import Pipe
from stillpipe.model.requests import SpacingRequest
from stillpipe.model.site import Place, PlaceKind
from stillpipe.physics import media
from stillpipe.tables import pipes

COPPER = pipes.find("ASTM B88", "2", "L")
STEEL = pipes.find("ASME B36.10M", "1", "40")


def answer_of(
    apart: float, tube: pipes.Pipe = TWO_INCH, bar: float = 3.0, *, vent: bool = False,
    hold: float = HOUR, **changes: Any,
) -> Answer[SpacingFigures]:  # fmt: skip
    """The answer for two freeze points whose middles are ``apart`` [m]."""
    kinds = [("a", "freeze-point", 0.0), ("b", "freeze-point", apart)]
    kinds += [("cock", "vent", 0.5 * apart)] if vent else []
    places = tuple(Place(name=n, kind=PlaceKind(k), at=x) for n, k, x in kinds)
    return spacing(
        request_of(SpacingRequest, tube, 20.0, 20.0, bar, places=places, hold=hold, **changes)
    )


def water(apart: float, pipe: pipes.Pipe = TWO_INCH, **changes: Any) -> TrappedWater:
    """The water between two freeze points ``apart`` [m]."""
    return answer_of(apart, pipe, **changes).figures.trapped_water[0]


def codes(answer: Answer[SpacingFigures]) -> set[str]:
    return {r.code for r in answer.reasons}


@pytest.mark.parametrize("pipe", [TWO_INCH, COPPER], ids=lambda p: p.id)
def test_what_has_frozen_by_the_hold_s_end_follows_from_the_heat(pipe: pipes.Pipe) -> None:
    """All heat drawn from closure on, less what the room gave, freezes and cools: an upper bound.

    Of the likely freeze, fed until the hold planned at the chance that decides ends. Most of it
    freezes. Pressure is 1.57 or 1.21 MPa for each percent (IAPWS-95 and Lame, 3 %) on top of 3 bar,
    as long as the plugs hold that.
    """
    apart = 6.0
    found = water(apart, pipe)
    solution = Solution(request_of(SpacingRequest, pipe, places=()), HOUR)
    run = solution.fine
    begin, end = known(run.at_closure), run.fed_to(solution.plan_end)
    heat = end.heat_jacket - begin.heat_jacket - (end.heat_ambient - begin.heat_ambient)
    bore = pipe.inside_diameter
    held = 0.25 * np.pi * bore**2 * apart * 999.84
    most = heat / media.LATENT / held
    frozen = (likely(found.at_end) - 3e5) / found.per_percent / 100.0
    assert 0.5 * most < frozen < 1.1 * most
    per_percent = 1.57e6 if pipe is TWO_INCH else 1.21e6
    assert found.per_percent == pytest.approx(per_percent, rel=0.03)


def test_the_time_to_the_rating_is_of_the_order_of_a_check_from_outside() -> None:
    """0.6 m apart, from closure: 2 in copper 16 s, 1 in steel 418 s, reckoned by closed lengths.

    An independent solution of the same freeze. By the ice that forms it is later: the closed length
    runs through what is ice but for its middle. The order only.
    """
    copper, steel = (water(0.6, pipe) for pipe in (COPPER, STEEL))
    assert known(copper.to_rating) < 180.0
    assert 300.0 < known(steel.to_rating) < 1000.0
    for found in (copper, steel):
        assert known(found.to_rating_at_earliest) <= known(found.to_rating)


def around(time: float, course: PressureCourse, series: tuple[float, ...]) -> tuple[float, float]:
    """What a series has before and after ``time`` [s]."""
    i = int(np.searchsorted(course.time, time))
    return series[i - 1], series[i]


def test_the_time_to_the_rating_is_when_the_course_passes_it() -> None:
    found = water(0.6, STEEL)
    for time, series in (
        (known(found.to_rating), found.course.pressure),
        (known(found.to_rating_at_earliest), found.course.pressure_high),
    ):
        before, after = around(time, found.course, series)
        assert before <= found.rating * 1.0001
        assert after >= found.rating * 0.9999


@pytest.mark.parametrize("pipe", [HALF_INCH, COPPER, TWO_INCH], ids=lambda p: p.id)
def test_the_course_runs_from_line_pressure_at_closure_to_the_hold_s_end(pipe: pipes.Pipe) -> None:
    found = water(1.5, pipe)
    course = found.course
    assert len(course.time) == len(course.pressure) == len(course.pressure_high)
    assert (course.time[0], course.pressure[0]) == (0.0, 3e5)
    for series in (course.time, course.pressure, course.pressure_high):
        assert list(series) == sorted(series)
    assert all(a <= b for a, b in zip(course.pressure, course.pressure_high, strict=True))
    solution = Solution(request_of(SpacingRequest, pipe, places=()), HOUR)
    closures = solution.closures[solution.holds]
    after = solution.plan_end - float(np.median(closures))
    assert course.time[-1] == pytest.approx(after, rel=1e-3)
    end = likely(found.at_end)  # those that close early are held for longer than the course
    assert 3e5 + 0.97 * (end - 3e5) < course.pressure[-1] < end * 1.001
    assert course.pressure_high[-1] <= found.pressure
    assert found.pressure == known(found.at_end).high
    since = np.quantile(solution.readies[solution.holds] - closures, (0.25, 0.75))
    before, after_it = np.interp(since, course.time, course.pressure)
    assert before <= likely(found.at_ready) <= after_it


@pytest.mark.parametrize("pipe", [HALF_INCH, COPPER, TWO_INCH], ids=lambda p: p.id)
def test_what_has_frozen_at_ready_in_the_likely_freeze_by_hand(pipe: pipes.Pipe) -> None:
    """Ice that the likely freeze makes between closure and ready, over the water left at closure.

    1 kg of ice is 1 kg of water, 916.7 over 999.8 kg/m3; each percent raises the pressure. In the
    seconds after closure the steps of the coarse freezes make the median differ by up to a fifth.
    """
    found, run = water(1.5, pipe), Solution(request_of(SpacingRequest, pipe, places=())).fine
    history = run.history(known(run.ready), beyond=True)
    times = (known(run.closure), known(run.ready))
    closed, ready = np.interp(times, history.time, history.ice_volume)
    bore = 0.25 * np.pi * pipe.inside_diameter**2
    share = (ready - closed) / bore * 916.7 / 999.8 / (1.5 - closed / bore)
    expected = 100.0 * share * found.per_percent
    assert likely(found.at_ready) - 3e5 == pytest.approx(expected, rel=0.2)


def test_the_vent_is_open_before_the_first_moment_at_which_both_can_be_closed() -> None:
    solution = Solution(request_of(SpacingRequest, TWO_INCH, places=()))
    found = water(1.5, vent=True)
    assert found.vent_open_from == pytest.approx(known(solution.closure).low, rel=1e-3)
    assert f"{int(known(found.vent_open_from) / 60.0)} min after the first feed" in found.advice
    assert "until both have thawed" in found.advice
    assert (found.vented, found.verdict) == (True, Verdict.GO)


def test_the_farther_apart_the_lower_and_the_later() -> None:
    found = [water(apart, COPPER) for apart in (0.7, 1.0, 2.0, 5.0, 20.0, 100.0)]
    pressures = [w.pressure for w in found]
    assert pressures == sorted(pressures, reverse=True)
    assert [w.frozen for w in found] == sorted((w.frozen for w in found), reverse=True)
    times = [np.inf if w.to_rating is None else w.to_rating for w in found]
    assert times == sorted(times)
    assert times[0] < times[-1] == np.inf


def test_a_longer_hold_squeezes_more() -> None:
    found = [likely(water(3.0, hold=h).at_end) for h in (0.0, 600.0, HOUR, 4 * HOUR)]
    assert found == sorted(found)


def test_without_a_hold_the_last_to_get_ready_are_not_held_beyond_that() -> None:
    """All are fed until the planned ready; those ready by then are squeezed on until then."""
    solution = Solution(request_of(SpacingRequest, TWO_INCH, places=()))
    growing = known(growth(solution))
    squeezed = Squeezed(growth=growing, apart=3.0)
    at_ready, at_end = squeezed.at(growing.ready), squeezed.at(growing.end)
    late = solution.readies >= known(solution.planned_ready)
    assert np.mean(late) == pytest.approx(0.05, abs=0.001)
    last = late[solution.holds]
    assert at_end[last] == pytest.approx(at_ready[last])
    assert np.all(at_end[~last] > at_ready[~last])


def test_long_water_under_half_a_megapascal_is_no_stop() -> None:
    """200 m apart at 0.51 MPa: 1 in 500 of it freezes, a rise of 0.2 MPa, the pipe takes 3.4."""
    tube = next(
        p for p in pipes.catalogue()
        if p.standard == "ASTM B88" and p.rating is not None and 3.2e6 < p.rating < 3.6e6
    )  # fmt: skip
    answer = answer_of(200.0, tube, 5.1)
    found = answer.figures.trapped_water[0]
    assert (answer.verdict, found.verdict) == (Verdict.CONDITIONAL, Verdict.CONDITIONAL)
    assert "unvented-water" in codes(answer)
    assert found.pressure < 1.0e6
    (reason,) = [r for r in answer.reasons if r.code == "unvented-water"]
    assert (reason.value, reason.at) == (Amount(found.pressure, "pressure"), found.vent_open_from)
    assert reason.limit == Amount(known(found.weakest_holds), "pressure")
    assert f"to {math.ceil(found.pressure / 1e4) / 100:.2f} MPa by the hold's end" in reason.text
    holds = math.floor(known(found.weakest_holds) / 1e5) / 10
    assert f"the weakest plug holds {holds:.1f} MPa" in reason.text
    assert found.to_rating is found.to_rating_at_earliest is None


def test_a_pipe_that_comes_to_its_rating_within_a_second_does_so_as_soon_as_both_plugs_close() -> (
    None
):
    """4 in grey iron, good for 1.0 MPa, under 10.3 bar."""
    iron = pipes.find("AWWA C106", "4", "Class 150")
    found = answer_of(1.0, iron, 10.3).figures.trapped_water[0]
    assert known(found.to_rating_at_earliest) < 1.0
    assert "may come to that as soon as both plugs close" in found.advice


def test_what_holds_less_than_a_megapascal_is_told_to_a_hundredth() -> None:
    """0.8 MPa and a little, which is rounded down, is told to a hundredth."""
    found = answer_of(200.0, pipes.find("ASME B36.10M", "4", "40")).figures.trapped_water[0]
    holds = known(found.weakest_holds)
    assert 0.75e6 < holds < 0.85e6
    assert f"the weakest plug holds {math.floor(holds / 1e4) / 100:.2f} MPa" in found.advice


def test_a_strong_pipe_whose_plug_is_pushed_out_is_a_stop() -> None:
    """1 in steel is good for 22 MPa and the water comes to half of that, but the plugs slip."""
    answer = answer_of(3.0, STEEL)
    found = answer.figures.trapped_water[0]
    assert found.pressure < found.rating
    assert found.pressure > known(found.plugs_hold).low
    assert (answer.verdict, "trapped-water" in codes(answer)) == (Verdict.NO_GO, True)
    assert "pushed out" in found.advice
    assert "a failure, never a relief" in found.advice


def test_a_weak_bond_is_no_relief() -> None:
    """The adhesion that is stated moves what the plugs hold, and makes no verdict better."""
    weak, strong = (answer_of(0.6, STEEL, adhesion=x) for x in (0.05e6, 2.0e6))
    assert weak.figures.trapped_water[0].pressure <= strong.figures.trapped_water[0].pressure
    assert weak.verdict is strong.verdict is Verdict.NO_GO


def test_the_pressure_is_bounded_by_what_pushes_a_plug_out_by_hand() -> None:
    """Two plugs 0.4 m apart freeze most of their water: beyond 100 MPa, were it held.

    The bond holds at the most 4 tau L / D over the wall below freezing, at the 95th percentile of
    adhesion, 1.25 MPa: 4 x 1.25 MPa x 0.3 m / 52.5 mm = 29 MPa, and line pressure beyond.
    """
    found = water(0.4, hold=4 * HOUR)
    solution = Solution(request_of(SpacingRequest, TWO_INCH, places=()), 4 * HOUR)
    moment = solution.fine.fed_to(solution.plan_end)
    most = 4.0 * 1.25e6 * max(moment.bonded_length, moment.plug_length) / TWO_INCH.inside_diameter
    assert found.frozen > 0.8
    assert likely(found.at_end) == pytest.approx(3e5 + most, rel=0.02)
    assert 3e5 + most < found.pressure < 3e5 + 1.2 * most
    assert high(found.plugs_hold) < most


def test_no_draw_comes_under_more_than_pushes_out_the_strongest_plug() -> None:
    solution = Solution(request_of(SpacingRequest, TWO_INCH, places=()), 4 * HOUR)
    growing = known(growth(solution))
    held = Squeezed(growth=growing, apart=0.4).at(growing.end) - 3e5
    assert np.all(held <= growing.most(growing.end) * (1.0 + 1e-12))
    strongest = np.percentile(solution.strength, 95.0)
    assert growing.strongest == pytest.approx(4.0 * strongest / solution.point.bore, rel=1e-3)


def test_the_weakest_and_the_likely_plug_by_hand() -> None:
    """What hold-time tells with its safety factor of 2 taken off, put back."""
    solution = Solution(request_of(SpacingRequest, TWO_INCH, places=()), HOUR)
    held, found = known(solution.held_pressure), known(water(1.0).plugs_hold)
    assert (found.low, found.likely) == pytest.approx((2.0 * held.low, 2.0 * held.likely), rel=1e-3)


def test_a_line_already_above_the_rating_is_there_at_once() -> None:
    """A steel tube of 60 mm with a wall of 0.2 mm: 0.735 MPa by Barlow, the line at 0.8 MPa."""
    thin = Pipe(outside_diameter=0.060, wall=0.0002, material="carbon_steel")
    found = answer_of(5.0, TWO_INCH, 8.0, pipe=thin).figures.trapped_water[0]
    assert found.rating == pytest.approx(0.735e6, rel=1e-3)
    assert (found.to_rating, found.to_rating_at_earliest) == (0.0, 0.0)
    assert found.verdict is Verdict.NO_GO


def test_where_no_plug_closes_no_water_is_trapped() -> None:
    answer = answer_of(1.0, fluid=solution_of("propylene_glycol", 0.30))
    found = answer.figures.trapped_water[0]
    assert found.verdict is Verdict.GO
    assert (found.pressure, found.frozen, found.vent_open_from) == (3e5, 0.0, None)
    assert found.course.time == ()
    assert "No plug closes" in found.advice
    assert answer.verdict is Verdict.NO_GO


def test_figures_in_words_are_rounded_to_the_unsafe_side() -> None:
    """Pressure up, what holds and the time left down."""
    found = water(3.0, COPPER)
    told = float(found.advice.split("come to ")[1].split(" MPa")[0])
    assert told - 0.1 <= found.pressure / 1e6 <= told
    pipe = float(found.advice.split("good for ")[1].split(" MPa")[0])
    assert pipe <= found.rating / 1e6 < pipe + 0.1
    amount, unit = found.advice.split("within ")[1].split(" of both")[0].split()
    seconds = float(amount) * {"s": 1.0, "min": 60.0}[unit]
    assert seconds <= known(found.to_rating_at_earliest)
