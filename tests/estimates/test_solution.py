"""One freeze point is solved once: how many freezes each estimate feeds, and in any order."""

import math
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from ht.conv_free_immersed import Nu_horizontal_cylinder_Churchill_Chu
from hypothesis import given, settings
from hypothesis import strategies as st

from estimates.jobs import (
    HALF_INCH,
    HOUR,
    TWO_INCH,
    ZERO_C,
    known,
    point_of,
    request_of,
    solution_of,
    water,
)
from stillpipe.errors import TooCostlyError
from stillpipe.estimates import (
    co2_mass,
    cylinder_count,
    drivers,
    hold_time,
    manifold,
    moving,
    spacing,
)
from stillpipe.estimates.course import Of
from stillpipe.estimates.cylinder_count import Exchange
from stillpipe.estimates.frost_check import frost_check
from stillpipe.estimates.job import waits
from stillpipe.estimates.job.job_estimate import job_estimate
from stillpipe.estimates.plug_time import plug_time
from stillpipe.estimates.solution import Solution
from stillpipe.model.cylinder import Cylinder
from stillpipe.model.figures import Effort
from stillpipe.model.freeze_point import Ambient, Insulation, Orientation
from stillpipe.model.money import DrainDown, Rates
from stillpipe.model.options import JobEstimateRequest
from stillpipe.model.requests import (
    Co2MassRequest,
    CylinderCountRequest,
    FrostCheckRequest,
    HoldTimeRequest,
    PlugTimeRequest,
    SpacingRequest,
)
from stillpipe.model.site import Place, PlaceKind, Room
from stillpipe.physics.column import work
from stillpipe.tables import pipes

PLACES = (
    Place(name="one", kind=PlaceKind.FREEZE_POINT, at=0.0),
    Place(name="cock", kind=PlaceKind.VENT, at=1.0),
    Place(name="two", kind=PlaceKind.FREEZE_POINT, at=2.0),
)
RATES = Rates(currency="EUR", labour_per_hour=Decimal(62), co2_per_kg=Decimal("3.40"))
SMALL = Cylinder(net_mass=6.3)


def whole_job(pipe: pipes.Pipe = TWO_INCH, hours: float = 4.0) -> JobEstimateRequest:
    """A job with everything in it: exchanges, a room, a run, a quote and its alternative."""
    return request_of(
        JobEstimateRequest, pipe, 30.0, points=2, cylinder=SMALL, repair=hours * HOUR,
        room=Room(volume=60.0, air_changes=2.0 / HOUR), places=PLACES, rates=RATES,
        drain_down=DrainDown(volume=0.9),
    )  # fmt: skip


def overdue() -> FrostCheckRequest:
    return request_of(FrostCheckRequest, elapsed=HOUR, frost_seen=False)


ESTIMATES: dict[str, Callable[[], Effort]] = {
    "plug-time": lambda: plug_time(request_of(PlugTimeRequest)).effort,
    "hold-time": lambda: hold_time.hold_time(request_of(HoldTimeRequest)).effort,
    "co2-mass": lambda: co2_mass.co2_mass(request_of(Co2MassRequest)).effort,
    "cylinder-count": lambda: (
        cylinder_count.cylinder_count(
            request_of(CylinderCountRequest, TWO_INCH, cylinder=SMALL)
        ).effort
    ),
    "spacing-validation": lambda: spacing.spacing(request_of(SpacingRequest, places=PLACES)).effort,
    "frost-check": lambda: (
        frost_check(request_of(FrostCheckRequest, elapsed=0.0, frost_seen=False)).effort
    ),
    "job-estimate": lambda: job_estimate(whole_job()).effort,
}


@pytest.mark.parametrize("name", ESTIMATES)
def test_every_estimate_feeds_twenty_freezes_at_most(name: str) -> None:
    """One on the fine grid, the others at the points of the star, each once."""
    effort = ESTIMATES[name]()
    assert 3 < effort.freezes <= 20
    assert effort.units > 0


FLUIDS: dict[str, dict[str, Any]] = {
    "glycol": {"fluid": solution_of("propylene_glycol", 0.05)},
    "seawater": {"fluid": solution_of("seawater", 0.035)},
    "a flow": {"fluid": water(flow=4.0 / 60e3)},
    "a cold room": {"ambient": Ambient(temperature=ZERO_C - 5.0)},
}


@pytest.mark.parametrize("name", FLUIDS)
def test_another_fluid_or_room_takes_no_more_freezes(name: str) -> None:
    effort = job_estimate(request_of(JobEstimateRequest, **FLUIDS[name])).effort
    assert 3 < effort.freezes <= 20


def test_causes_of_a_late_frost_take_a_freeze_for_each_severity() -> None:
    """Followed until frost and no further: 36 beside the twenty, less than eight times the work."""
    known = ESTIMATES["frost-check"]()
    found = frost_check(overdue()).effort
    assert found.freezes == known.freezes + 1 + 10 * 3 + 5
    assert found.units < 8 * known.units


def test_what_stays_slush_is_not_solved() -> None:
    fluid = solution_of("propylene_glycol", 0.45)
    for answer in (
        plug_time(request_of(PlugTimeRequest, fluid=fluid)),
        hold_time.hold_time(request_of(HoldTimeRequest, fluid=fluid)),
        co2_mass.co2_mass(request_of(Co2MassRequest, fluid=fluid)),
        cylinder_count.cylinder_count(request_of(CylinderCountRequest, fluid=fluid)),
        spacing.spacing(request_of(SpacingRequest, fluid=fluid, places=PLACES)),
        job_estimate(request_of(JobEstimateRequest, fluid=fluid, places=PLACES, rates=RATES)),
    ):
        assert answer.effort == Effort()


def test_no_carbon_dioxide_is_reckoned_without_liquid_in_the_cylinder() -> None:
    hot = Cylinder(temperature=ZERO_C + 35.0)
    request = request_of(CylinderCountRequest, cylinder=hot)
    assert cylinder_count.cylinder_count(request).effort == Effort()


def ready_of(solution: Solution) -> float:
    return known(solution.planned_ready)


QUESTIONS: dict[str, Callable[[Solution], object]] = {
    "closure": lambda s: s.closure,
    "ready": lambda s: s.ready,
    "frost": lambda s: s.frost_by,
    "flow": lambda s: s.flow_limit,
    "length": lambda s: s.plug_length,
    "held": hold_time.figures,
    "early exchange": lambda s: s.lasting(1.2 * ready_of(s)).tolist(),
    "late exchange": lambda s: s.lasting(ready_of(s) + 0.7 * s.hold).tolist(),
    "heat": lambda s: s.heat_removed,
    "drawn": lambda s: s.drawn(ready_of(s) + 0.5 * s.hold).tolist(),
    "fed": lambda s: s.fine.fed_to(ready_of(s) + 0.5 * s.hold).heat_jacket,
    "history": lambda s: [v.tolist() for v in s.fine.history()],
    "drivers": drivers.of_closure,
    "run": lambda s: spacing.along(spacing.sited_alike(s, PLACES)),
}


@pytest.fixture(scope="module")
def in_order() -> dict[str, object]:
    """The answers of one solution that is asked in the order above."""
    solution = Solution(point_of(TWO_INCH), HOUR)
    return {name: question(solution) for name, question in QUESTIONS.items()}


@settings(max_examples=12, deadline=None, derandomize=True)
@given(st.permutations(list(QUESTIONS)))
def test_an_answer_never_depends_on_what_was_asked_before(
    in_order: dict[str, object], names: list[str]
) -> None:
    """To the last digit."""
    solution = Solution(point_of(TWO_INCH), HOUR)
    for name in names:
        assert QUESTIONS[name](solution) == in_order[name]


@pytest.mark.parametrize("name", QUESTIONS)
def test_an_answer_is_the_same_where_nothing_else_is_asked(
    in_order: dict[str, object], name: str
) -> None:
    assert QUESTIONS[name](Solution(point_of(TWO_INCH), HOUR)) == in_order[name]
    assert QUESTIONS[name](Solution(point_of(TWO_INCH), HOUR)) == in_order[name]


def test_asking_again_takes_nothing() -> None:
    solution = Solution(point_of(HALF_INCH), HOUR)
    for question in QUESTIONS.values():
        question(solution)
    spent = solution.effort
    for name in ("closure", "ready", "frost", "length", "held", "heat", "history", "run"):
        QUESTIONS[name](solution)
    assert solution.effort == spent


def test_a_job_says_of_its_parts_what_each_says_alone() -> None:
    """Cylinders, holds and runs of a job are those of the estimates for the same plugs.

    The line is at 30 C on arrival, and fed at 25 C. Both points have a cylinder of their own.
    """
    job = whole_job()
    found = job_estimate(job).figures
    same: dict[str, Any] = {"hold": job.repair, "points": 2, "cylinder": SMALL}
    alone = cylinder_count.cylinder_count(
        request_of(CylinderCountRequest, TWO_INCH, 25.0, **same)
    ).figures
    held = hold_time.hold_time(request_of(HoldTimeRequest, TWO_INCH, 25.0, hold=job.repair)).figures
    run = spacing.spacing(
        request_of(SpacingRequest, TWO_INCH, 25.0, hold=job.repair, places=PLACES)
    ).figures
    assert found.co2 == alone.co2
    for each in found.cylinders.manifolds:
        swaps = [e for e in found.cylinders.exchanges if e.manifold == each.name]
        assert [(e.at, e.survival) for e in swaps] == [(e.at, e.survival) for e in alone.exchanges]
    assert found.cylinders.count == alone.count
    assert (found.ready, found.survival, found.thaw) == (held.ready, held.survival, held.thaw)
    assert found.spacing is not None
    assert (found.spacing.rules, found.spacing.trapped_water) == (run.rules, run.trapped_water)


def test_every_exchange_of_a_job_stands_on_its_timeline() -> None:
    job = whole_job()
    found = job_estimate(job).figures
    swaps: tuple[Exchange, ...] = found.cylinders.exchanges
    moments = [e.at for e in found.timeline if e.code == "exchange"]
    assert moments
    (begun,) = [e.at for e in found.timeline if e.code == "feed"]
    assert moments == sorted(begun + swap.at for swap in swaps)


@pytest.mark.parametrize(("hours", "units"), [(0.75, 400_000), (8.0, 1_200_000)])
def test_a_whole_job_takes_no_more_work_than_stated(hours: float, units: int) -> None:
    """Units of work [-]: one Newton pass over one slice, the same on every machine.

    Of twenty freezes, 20,000 and 60,000 each.
    """
    assert job_estimate(whole_job(hours=hours)).effort.units <= units


@pytest.mark.parametrize("share", [0.5, 1.0])
def test_a_flow_too_near_its_limit_is_what_is_named(share: float) -> None:
    """Also where it is the still freeze after the stream that ends the budget."""
    point = point_of(pipes.find("ASTM B88", "1/2", "L"), fluid=water(20.0, 0.6 / 3600.0))
    solution, whole = Solution(point), work.Work()
    case = solution.cases.case(solution.cases.likely)
    assert moving.frozen(point, case, solution.cases.likely, whole, fine=True).closure is not None
    solution.work.counts[0] = work.MOST - round(share * whole.taken)
    with pytest.raises(TooCostlyError) as raised:
        assert solution.fine.ready
    assert [fault.path for fault in raised.value.faults] == [("fluid", "flow")]


def test_moments_in_any_order_and_more_than_once_are_told_as_each_alone() -> None:
    """Five moments are one more than are solved: the cubic goes through the first and the last."""
    solution = Solution(point_of(HALF_INCH), HOUR)
    ready, end = known(solution.planned_ready), solution.plan_end
    times = [end, ready, *np.linspace(ready, end, 5).tolist(), end]
    found = solution.lasting_at(times)
    for first, again in ((0, 6), (0, 7), (1, 2)):
        np.testing.assert_array_equal(found[first], found[again])
    np.testing.assert_allclose(found[0], solution.lasting(end), rtol=1e-9)
    np.testing.assert_array_equal(solution.lasting_at([ready] * 6), [solution.lasting(ready)] * 6)


COSTLY = [("jacket", "length"), ("hold",), ("ambient", "temperature")]


@pytest.mark.parametrize("path", COSTLY)
def test_what_is_too_costly_names_the_member_to_change(path: tuple[str, ...]) -> None:
    """The budget is spent, and the next thing that is solved belongs to that member."""
    solution = Solution(point_of(HALF_INCH), HOUR)
    if path == ("jacket", "length"):
        assert solution.fine.ready
    else:
        assert solution.planned_ready
    if path == ("ambient", "temperature"):
        for run in solution.ensemble.runs:
            known(run).fed_to(solution.plan_end)
    solution.work.counts[0] = solution.work.counts[1] + 1
    ask: dict[tuple[str, ...], Callable[[], object]] = {
        ("jacket", "length"): lambda: solution.ensemble.runs,
        ("hold",): lambda: solution.curves(Of.GRIP),
        ("ambient", "temperature"): lambda: solution.stopped(solution.plan_end),
    }
    with pytest.raises(TooCostlyError) as raised:
        ask[path]()
    (fault,) = raised.value.faults
    assert fault.path == path
    assert f"{work.MOST:,} units" in fault.detail


def test_a_weak_plug_of_a_solution_names_the_solution_not_the_room() -> None:
    """Ice that melts over a range of temperatures takes the steps; a warmer room changes none."""
    solution = Solution(point_of(HALF_INCH, fluid=solution_of("seawater", 0.05, 15.0)), HOUR)
    for run in solution.ensemble.runs:
        if run is not None and run.closure is not None:
            run.fed_to(solution.plan_end)
    solution.work.counts[0] = solution.work.counts[1] + 1
    with pytest.raises(TooCostlyError) as raised:
        solution.stopped(solution.plan_end)
    (fault,) = raised.value.faults
    assert fault.path == ("fluid", "concentration")
    assert "weaker solution or a lower line pressure" in fault.detail


def test_only_where_cylinders_are_exchanged_a_larger_one_is_asked_for() -> None:
    request = request_of(CylinderCountRequest, TWO_INCH, cylinder=SMALL, hold=4.0 * HOUR)
    solution = Solution(request, request.hold)
    needed = co2_mass.needed(request, solution)
    (hung,) = cylinder_count.alike(request, solution, needed)
    usable, _ = cylinder_count.delivered(request)
    solution.work.counts[0] = solution.work.counts[1] + 1
    paths = []
    for ask in (
        lambda: manifold.supplied(request, hung, known(usable)),
        lambda: hold_time.course(solution),
    ):
        with pytest.raises(TooCostlyError) as raised:
            ask()
        paths += [f.path for f in raised.value.faults]
    assert paths == [("cylinder",), ("hold",)]


def test_a_job_says_that_its_repair_is_too_long() -> None:
    job = whole_job()
    solution = Solution(job, job.repair, member="repair")
    assert solution.planned_ready
    solution.work.counts[0] = solution.work.counts[1] + 1
    with pytest.raises(TooCostlyError) as raised:
        assert solution.plug_length
    assert [f.path for f in raised.value.faults] == [("repair",)]


@pytest.mark.parametrize("humidity", [0.0, 0.5])
def test_a_warm_line_cools_by_the_film_of_its_mean_temperature(humidity: float) -> None:
    """2 in steel pipe from 35 to 25 C at 20 C: Churchill and Chu by ht, radiation by hand; 2 %.

    Mean surface 30 C, emissivity 0.8; air at 25 C: k 0.0262 W/(m K), nu 1.57e-5 m2/s, Pr 0.71
    (tables of dry air, from memory). The line is warmer than the air: humidity is of no account.
    """
    request = request_of(JobEstimateRequest, TWO_INCH, 35.0, relative_humidity=humidity)
    (placed,) = request.each
    point = placed.request
    grashof = 9.80665 / 298.15 * 10.0 * 0.0603**3 / 1.57e-5**2
    film = Nu_horizontal_cylinder_Churchill_Chu(0.71, grashof) * 0.0262 / 0.0603
    film += point.material.emissivity * 5.670374e-8 * 4.0 * 298.15**3
    inner = 0.0603 - 2.0 * TWO_INCH.wall
    heat = 4.18e6 * inner**2 + point.material.heat_capacity * (0.0603**2 - inner**2)
    expected = 0.25 * heat / (film * 0.0603) * math.log(15.0 / 5.0)
    assert waits.standing(point, Solution(point)) == pytest.approx(expected, rel=0.02)


def standing_of(request: JobEstimateRequest) -> float:
    """How long a line takes to cool by itself [s]."""
    (placed,) = request.each
    return waits.standing(placed.request, Solution(placed.request))


def test_an_insulated_line_cools_more_slowly_and_a_thin_upright_one_too() -> None:
    """A thin pipe sheds more heat lying than standing, as Nu of both correlations has it."""
    wrapped = Insulation(material="elastomeric_foam", thickness=0.013)
    plain, covered, upright = (
        standing_of(request_of(JobEstimateRequest, HALF_INCH, 35.0, **changes))
        for changes in ({}, {"insulation": wrapped}, {"orientation": Orientation.VERTICAL})
    )
    assert 1.3 * plain < covered < 5.0 * plain
    assert plain < upright < 1.2 * plain
