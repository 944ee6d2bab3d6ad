"""Changes of pressure, jacket and water by hand: on freezes laid down, the least is known."""

import math
from dataclasses import dataclass, field, replace
from types import SimpleNamespace
from typing import Any

import pytest
from scipy.stats import norm

from estimates.jobs import ZERO_C
from estimates.test_job_points import MAIN, RETURN, stated, two
from stillpipe.estimates.job import changes
from stillpipe.estimates.job.changes import Change
from stillpipe.estimates.job.plan import Kind, Plan
from stillpipe.model.figures import Amount
from stillpipe.model.freeze_point import Jacket
from stillpipe.model.job import Job, LineFluid
from stillpipe.model.options import JobEstimateRequest
from stillpipe.model.site import Place, PlaceKind

FLOW = replace(RETURN, name="boiler flow", at=3.0)
WANTED = 0.95
"""The chance that decides where nothing else is said."""


def judged_of(request: Job, **found: Any) -> Any:
    """A job planned but not solved, with what is ``found`` of it."""
    return SimpleNamespace(plan=Plan(request), **found)


def kind_of(request: Job, solution: Any = None, first: int = 0, count: int = 1) -> Kind:
    """The freeze points of a job from the ``first`` on, ``count`` of them, as one kind."""
    some = request.each[first : first + count]
    names = tuple(p.name for p in some)
    return Kind(group=1, names=names, request=some[0].request, solution=solution)


def only(found: Any) -> Change:
    (change,) = found
    return change  # type: ignore[no-any-return]


def made(judged: Any, change: Change) -> Job:
    """The job as it is with a change, worked out."""
    return change.apply(changes.stated(judged.plan.request)).completed()


def to(change: Change) -> float:
    assert isinstance(change.to, Amount)
    return change.to.value


def was(change: Change) -> float:
    assert isinstance(change.was, Amount)
    return change.was.value


def test_a_job_stated_again_is_worked_out_to_the_same_freeze_points() -> None:
    """By their number, by the places and one by one: names and requests are those of before."""
    places = tuple(
        Place(name=n, kind=PlaceKind.FREEZE_POINT, at=a) for n, a in (("a", 0.0), ("b", 2.0))
    )
    for request in (stated(points=3), stated(places=places), two()):
        again = changes.stated(request)
        assert again.each == ()
        known = again.completed()
        assert replace(known, each=()) == replace(request, each=())
        assert [p.name for p in known.each] == [p.name for p in request.each]
    assert changes.stated(stated(points=3)).points == 3
    assert changes.stated(stated(places=places)).points is None
    assert changes.stated(two()).points is None


def test_a_vent_among_the_places_leaves_the_number_of_freeze_points_stated() -> None:
    vent = Place(name="cock", kind=PlaceKind.VENT, at=1.0)
    assert changes.stated(stated(points=2, places=(vent,))).points == 2


def test_the_pressure_is_lowered_to_the_rating_in_whole_kilopascals_at_the_point_alone() -> None:
    request = stated(RETURN, replace(MAIN, line_pressure=9e6))
    judged, kind = judged_of(request), kind_of(request, first=1)
    rating = kind.request.pressure_rating
    change = only(changes.rated_pressure(judged, kind))
    assert change.name == "line_pressure"
    assert change.was == Amount(9e6, "pressure")
    assert change.to == Amount(1e3 * (rating // 1e3), "pressure")
    assert change.points == ("sprinkler main",)
    small, large = made(judged, change).each
    assert small.request.line_pressure == request.each[0].request.line_pressure
    assert large.request.line_pressure == to(change)
    assert list(changes.rated_pressure(judged, None)) == []


def test_the_pressure_of_a_flowing_line_takes_its_head_with_it() -> None:
    """The line's own head was its pressure; one stated lower stays, one stated higher stays."""
    for head, expected in ((None, 2e5), (1e5, 1e5), (5e5, 5e5)):
        fluid = LineFluid(temperature=ZERO_C + 20.0, flow=0.01, head=head)
        judged = judged_of(stated(points=1, fluid=fluid))
        change = changes._pressure(judged, kind_of(judged.plan.request), 2e5 + 700.0)
        assert to(change) == 2e5
        changed = made(judged, change).each[0].request
        assert (changed.line_pressure, changed.fluid.head) == (2e5, expected)
        assert changed.fluid.temperature == ZERO_C + 20.0


def test_the_pressure_of_a_warm_flowing_line_leaves_it_as_warm_as_it_arrives() -> None:
    fluid = LineFluid(temperature=ZERO_C + 60.0, flow=0.01)
    judged = judged_of(stated(points=1, fluid=fluid))
    change = changes._pressure(judged, kind_of(judged.plan.request), 2e5)
    assert made(judged, change).each[0].request.arrival == ZERO_C + 60.0


def test_a_still_line_is_not_told_another_fluid() -> None:
    judged = judged_of(stated(points=1))
    change = changes._pressure(judged, kind_of(judged.plan.request), 2e5)
    assert change.points == ()
    job = changes.stated(judged.plan.request)
    assert change.apply(job) == replace(job, line_pressure=2e5)


def carrying(pressure: float) -> Any:
    """A plug that is ready at up to a line pressure [Pa], and never beyond it."""
    return SimpleNamespace(
        hopeless=False,
        is_sure=lambda chance: chance >= WANTED,
        under=lambda p: SimpleNamespace(ready_chance=1.0 if p <= pressure else 0.0),
    )


def test_the_greatest_pressure_that_a_plug_carries_comes_first_then_safer_ones() -> None:
    """123.9 kPa of 300 kPa, found to 1/4096 of them, told in whole kPa: 123; 97 % of it 120."""
    request = stated(points=1)
    found = list(changes.held_pressure(judged_of(request), kind_of(request, carrying(123.9e3))))
    assert [c.name for c in found] == ["line_pressure"] * 5
    assert [to(c) / 1e3 for c in found] == [123.0, 120.0, 116.0, 111.0, 105.0]
    assert {was(c) for c in found} == {3e5}


def test_a_plug_that_carries_no_pressure_at_all_is_not_told_a_lower_one() -> None:
    """Neither one that is not ready at 1 kPa, nor one without figures, nor none."""
    request = stated(points=1)
    judged = judged_of(request)
    for solution in (carrying(900.0), SimpleNamespace(hopeless=True)):
        assert list(changes.held_pressure(judged, kind_of(request, solution))) == []
    assert list(changes.held_pressure(judged, None)) == []
    low = stated(points=1, line_pressure=2e3)
    assert list(changes.held_pressure(judged_of(low), kind_of(low, carrying(1000.0)))) == []


def test_the_pressure_is_halved_between_none_and_that_of_the_line() -> None:
    """Of 300 kPa just half is carried: the first that is tried."""
    request = stated(points=1)
    found = changes.held_pressure(judged_of(request), kind_of(request, carrying(150e3)))
    assert to(next(found)) == 150e3


@dataclass
class Straight:
    """Plans of freezes whose chance rises straight, as a deviate, from 0 by ``slope`` a metre.

    With the jacket beyond 60 mm, and a tenth for each kelvin below 20 degC, from ``begin`` on. It
    closes so surely; to be ready is always half as sure.
    """

    request: Job
    pool: dict[Any, Any] = field(default_factory=dict)
    before: "Straight | None" = None
    slope: float = 50.0
    begin: float = 0.0

    def __post_init__(self) -> None:
        if self.before is not None:
            self.slope, self.begin = self.before.slope, self.before.begin
        self.asked: list[str] = []

    @property
    def is_one(self) -> bool:
        return not self.request.freeze_points

    def solution_of(self, name: str) -> Any:
        self.asked.append(name)
        point = next(p.request for p in self.request.each if p.name == name)
        sure = self.begin + self.slope * (point.jacket.length - 0.06)
        sure += 0.1 * (ZERO_C + 20.0 - point.fluid.temperature)
        return SimpleNamespace(
            closing_chance=float(norm.cdf(sure)), ready_chance=float(norm.cdf(0.5 * sure))
        )


def straight(
    request: JobEstimateRequest, slope: float = 50.0, first: int = 0, begin: float = 0.0
) -> tuple[Any, Kind]:
    """A job of such freezes, and the kind of one of its freeze points."""
    plan = Straight(request, slope=slope, begin=begin)
    name = request.each[first].name
    return SimpleNamespace(plan=plan), kind_of(request, plan.solution_of(name), first)


SIXTY = Jacket(length=0.06)


def test_the_shortest_jacket_that_closes_is_found_where_the_chance_comes_to_what_decides() -> None:
    """1.645 / 50 per metre beyond 60 mm: 92.9 mm, in steps of 5 mm 95.

    Then half of the way to twice the jacket, 120 mm, and that itself.
    """
    judged, kind = straight(stated(points=1, jacket=SIXTY))
    found = list(changes.jacket_length(judged, kind, "may-not-close"))
    assert [c.name for c in found] == ["jacket.length"] * 3
    assert [to(c) for c in found] == pytest.approx([0.095, 0.110, 0.120])
    assert all(c.to == Amount(to(c), "length") for c in found)
    assert [was(c) for c in found] == [0.06] * 3
    assert found[0].was == Amount(0.06, "length")
    assert made(judged, found[0]).each[0].request.jacket.length == pytest.approx(0.095)


def test_a_reason_that_it_may_not_be_ready_is_judged_by_ready() -> None:
    """Half as sure: 1.645 / 25 per metre, beyond twice the jacket: between 120 and 500 mm.

    At 120 mm the deviate is 1.5, at 500 mm as sure as chances are told apart, 3.719: taken
    straight, 1.645 is there at 145 mm.
    """
    judged, kind = straight(stated(points=1, jacket=SIXTY))
    found = list(changes.jacket_length(judged, kind, "may-not-be-ready"))
    most = float(norm.ppf(1.0 - 1e-4))
    place = 0.12 + (norm.ppf(WANTED) - 1.5) / (most - 1.5) * 0.38
    assert to(found[0]) == pytest.approx(0.005 * math.ceil(place / 0.005))
    assert to(found[0]) == pytest.approx(0.145)
    assert to(found[1]) == pytest.approx(0.005 * math.ceil(0.5 * (place + 0.5) / 0.005))
    assert to(found[2]) == 0.5


@pytest.mark.parametrize(
    ("slope", "begin", "lengths"), [(1000.0, -50.0, (105, 115, 120)), (15.0, 1.0, (105, 115, 120))]
)
def test_a_jacket_is_found_from_no_chance_at_all_and_from_a_good_one(
    slope: float, begin: float, lengths: tuple[int, ...]
) -> None:
    """From -3.719, as near to none as is told apart, to 3.719 at 120 mm: 1.645 is at 103.3 mm.

    From 1.0 to 1.9 there: 0.645 / 0.9 of the way, at 103.0 mm. Half of the rest: 111.6 mm.
    """
    judged, kind = straight(stated(points=1, jacket=SIXTY), slope=slope, begin=begin)
    found = changes.jacket_length(judged, kind, "may-not-close")
    assert [1e3 * to(c) for c in found] == pytest.approx(lengths)


def test_a_jacket_that_closes_just_so_surely_as_decides_is_long_enough() -> None:
    """One in two is wanted, and comes at twice the jacket."""
    request = stated(points=1, jacket=SIXTY, decision_probability=0.5)
    judged, kind = straight(request, slope=1.0 / 0.06, begin=-1.0)
    found = changes.jacket_length(judged, kind, "may-not-close")
    assert [to(c) for c in found] == [0.12] * 3


def test_no_jacket_is_told_where_the_longest_does_not_help() -> None:
    judged, kind = straight(stated(points=1, jacket=SIXTY), slope=3.0)
    assert list(changes.jacket_length(judged, kind, "never-closes")) == []


def test_a_jacket_as_long_as_any_is_not_made_longer() -> None:
    for length in (0.5, 0.3):
        judged, kind = straight(stated(points=1, jacket=Jacket(length=length)), slope=1.0)
        assert list(changes.jacket_length(judged, kind, "may-not-close")) == []
    assert list(changes.jacket_length(judged, None, "may-not-close")) == []
    judged, kind = straight(stated(points=1, jacket=Jacket(length=0.5)), slope=50.0)
    assert list(changes.jacket_length(judged, kind, "may-not-close")) == []


def test_a_jacket_is_changed_at_its_own_freeze_point_and_nothing_else_of_it() -> None:
    request = stated(RETURN, replace(FLOW, jacket=replace(SIXTY, conductance=120.0)))
    judged, kind = straight(request, first=1)
    change = next(iter(changes.jacket_length(judged, kind, "may-not-close")))
    assert change.points == ("boiler flow",)
    one, other = made(judged, change).each
    assert one.request.jacket == request.each[0].request.jacket
    assert (other.request.jacket.length, other.request.jacket.conductance) == (
        pytest.approx(0.095), 120.0,
    )  # fmt: skip


def test_what_is_changed_is_planned_on_what_is_solved_already() -> None:
    """The changed plan has the pool of the job's, and its work; its own freeze point is asked."""
    made_of: list[Straight] = []

    class Known(Straight):
        def __post_init__(self) -> None:
            super().__post_init__()
            made_of.append(self)

    request = stated(RETURN, replace(FLOW, jacket=SIXTY))
    plan = Known(request, pool={"known": 1})
    kind = kind_of(request, plan.solution_of("boiler flow"), first=1)
    judged: Any = SimpleNamespace(plan=plan)
    list(changes.jacket_length(judged, kind, "may-not-close"))
    first, changed = made_of
    assert changed.pool is first.pool
    assert changed.before is first
    assert changed.asked == ["boiler flow"]


def test_the_warmest_water_that_closes_is_found_on_the_safe_side() -> None:
    """At 38 C, cooled to 25: a tenth for each kelvin, -0.5 at 25 C, 1.4 at 6 C.

    9 in 10 are wanted, 1.2816: 1.7816 / 0.1 below 25 C is 7.18 C, in half degrees downward 7.0;
    half of the way to 6 C is 6.59, 6.5.
    """
    fluid = LineFluid(temperature=ZERO_C + 38.0)
    request = stated(points=1, jacket=SIXTY, fluid=fluid, decision_probability=0.9)
    judged, kind = straight(request)
    assert kind.request.fluid.temperature == ZERO_C + 25.0
    found = list(changes.colder_water(judged, kind, "may-not-close"))
    assert [c.name for c in found] == ["cooling.to"] * 3
    assert [to(c) - ZERO_C for c in found] == pytest.approx([7.0, 6.5, 6.0])
    assert {was(c) for c in found} == {ZERO_C + 25.0}
    assert found[0].was == Amount(ZERO_C + 25.0, "temperature")
    assert isinstance(found[0].to, Amount)
    assert found[0].to.kind == "temperature"
    assert found[0].points == ()
    changed = made(judged, found[0])
    assert changed.cooling.to == pytest.approx(ZERO_C + 7.0)
    assert changed.cooling.water == pytest.approx(ZERO_C + 2.0)
    assert changed.cooling.time_constant == request.cooling.time_constant
    assert changed.each[0].request.fluid.temperature == pytest.approx(ZERO_C + 7.0)


def test_colder_water_for_one_of_two_points_is_told_with_its_name() -> None:
    request = stated(RETURN, replace(FLOW, jacket=SIXTY), decision_probability=0.9)
    judged, kind = straight(request, first=1)
    found = next(iter(changes.colder_water(judged, kind, "may-not-close")))
    assert found.points == ("boiler flow",)
    assert to(found) == pytest.approx(ZERO_C + 7.0)


def test_water_as_cold_as_any_is_not_made_colder() -> None:
    for celsius in (6.0, 3.0):
        fluid = LineFluid(temperature=ZERO_C + celsius)
        request = stated(points=1, jacket=SIXTY, fluid=fluid, decision_probability=0.9)
        judged, kind = straight(request)
        assert list(changes.colder_water(judged, kind, "may-not-close")) == []
    judged, _ = straight(stated(points=1, jacket=SIXTY, decision_probability=0.9))
    assert list(changes.colder_water(judged, None, "may-not-close")) == []


def test_colder_water_is_not_told_where_even_the_coldest_does_not_help() -> None:
    """At 6 C the deviate is 1.4, and 1.645 is wanted."""
    judged, kind = straight(stated(points=1, jacket=SIXTY))
    assert list(changes.colder_water(judged, kind, "may-not-close")) == []
