"""What a job is judged by, on freezes that are laid down: every reason, whose it is, in order."""

from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any

import pytest

from estimates.by_hand import Frozen, group_of, kind_of, plan_of
from estimates.jobs import ZERO_C
from estimates.test_job_points import MAIN, RETURN, replace, stated
from stillpipe.estimates.job import judged
from stillpipe.estimates.job.judged import Judged, judge
from stillpipe.estimates.job.plan import Plan
from stillpipe.model.figures import Amount, Range, Reason, Severity, Verdict
from stillpipe.model.job import Cooling, JobPoint, LineFluid
from stillpipe.model.site import Place, PlaceKind

FLOW = replace(RETURN, name="boiler flow", at=3.0)
VENT = Place(name="cock", kind=PlaceKind.VENT, at=2.0, run="heating")
RETURNED = ("boiler return", "boiler flow")


def reason(code: str, figure: str | None = "figure") -> Reason:
    return Reason(code, "So it is.", figure=figure)


def alike(*points: JobPoint, **changes: Any) -> Plan:
    """A plan of one group and one kind, its freeze laid down."""
    request = stated(*points, **changes)
    kind = kind_of(request, Frozen("small"), *(p.name for p in request.each))
    return plan_of(request, group_of(kind, feed=1800.0, ready=2000.0, stop=4700.0))


def different(**changes: Any) -> Plan:
    """A plan of one group: the main, and two of copper that are alike, in this order of kinds."""
    request = stated(RETURN, MAIN, FLOW, **changes)
    kinds = (
        kind_of(request, Frozen("large"), "sprinkler main"),
        kind_of(request, Frozen("small"), *RETURNED),
    )
    return plan_of(request, group_of(*kinds, feed=1800.0, ready=2000.0, stop=4700.0))


@pytest.fixture(autouse=True)
def _unsolved(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each freeze has one reason of its own, which names it."""
    monkeypatch.setattr(judged.hold_time, "reasons", lambda s: (reason(f"of-{s.name}"),))


@pytest.fixture
def parts(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """What the cylinders, the air and the runs come to, laid down, and what each was asked."""
    asked: dict[str, Any] = {}
    needed = SimpleNamespace(drawn="drawn", reasons=(reason("cylinders", "count"),))
    aired, run = SimpleNamespace(name="air"), SimpleNamespace(name="run")

    def laid(name: str, found: Any) -> Any:
        def answer(*told: Any) -> Any:
            asked[name] = told
            return found

        return answer

    monkeypatch.setattr(judged.supply, "supply", laid("supply", needed))
    monkeypatch.setattr(judged.air, "air", laid("air", aired))
    monkeypatch.setattr(judged.air, "reasons", laid("of air", (reason("air", "air.peak"),)))
    monkeypatch.setattr(judged.spacing, "along", laid("along", run))
    apart = (reason("spacing", "rules.0"), reason("placed", "inputs.places"))
    monkeypatch.setattr(judged.spacing, "reasons", laid("of run", apart))
    return asked | {"needed": needed, "aired": aired, "run": run, "asked": asked}


def test_reasons_are_those_of_points_cylinders_air_runs_and_hands_in_this_order(
    parts: dict[str, Any],
) -> None:
    plan = alike(RETURN, FLOW, crew=1)
    found = judge(plan)
    assert [(r.code, r.figure) for r in found.reasons] == [
        ("of-small", "figure"), ("cylinders", "cylinders.count"), ("air", "air.peak"),
        ("spacing", "spacing.rules.0"), ("placed", "inputs.places"), ("alone", "inputs.crew"),
    ]  # fmt: skip
    assert found.codes == {"of-small", "cylinders", "air", "spacing", "placed", "alone"}
    assert found.verdict is Verdict.NO_GO
    assert found.plan is plan
    assert (found.needed, found.air, found.run) == (
        parts["needed"], parts["aired"], parts["run"],
    )  # fmt: skip


def test_each_part_is_judged_on_what_was_found_before(parts: dict[str, Any]) -> None:
    """The air on what is drawn, the runs on what lies along them."""
    plan = alike(RETURN, FLOW)
    judge(plan)
    asked = parts["asked"]
    (sited,) = asked["along"]
    assert [s.place.name for s in sited] == list(RETURNED)
    assert asked["supply"] == (plan,)
    assert asked["air"] == (plan, "drawn")
    assert asked["of air"] == (plan, parts["aired"])
    assert asked["of run"] == (sited, parts["run"])


def test_a_job_without_places_has_no_runs_to_judge(parts: dict[str, Any]) -> None:
    found = judge(alike(points=1))
    assert found.run is None
    assert "along" not in parts["asked"]
    assert [r.code for r in found.reasons] == ["of-small", "cylinders", "air"]


def test_a_reason_that_is_found_twice_is_told_once(
    parts: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    again = (reason("air"), reason("air"))
    monkeypatch.setattr(judged.air, "reasons", lambda *_: again)
    found = judge(alike(points=1))
    assert [r.code for r in found.reasons] == ["of-small", "cylinders", "air"]
    assert parts["asked"]


def test_a_changed_job_is_judged_on_what_is_solved_already(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(judged, "judge", lambda plan: plan)
    plan = alike(points=1)
    found = Judged(plan=plan, needed=None, air=None, run=None, reasons=())  # type: ignore[arg-type]
    changed = stated(points=1, repair=60.0)
    again: Any = found.again(changed)
    assert again.request is changed
    assert again.pool is plan.pool
    assert again._before is plan


def test_places_lie_along_the_runs_with_what_is_frozen_there() -> None:
    """First what the caller places, then the freeze points that have a place, on their runs."""
    plan = different(places=(VENT,))
    sited = judged._sited(plan)
    assert sited[0].place == VENT
    assert sited[0].solution is None
    points = {s.place.name: s for s in sited[1:]}
    assert list(points) == ["boiler return", "sprinkler main", "boiler flow"]
    assert {s.place.kind for s in sited[1:]} == {PlaceKind.FREEZE_POINT}
    assert [(s.place.run, s.place.at) for s in sited[1:]] == [
        ("heating", 1.0), ("sprinkler", 2.0), ("heating", 3.0),
    ]  # fmt: skip
    large, small = (k.solution for k in plan.kinds)
    assert [s.solution for s in sited[1:]] == [small, large, small]


def test_a_freeze_point_among_the_places_lies_there_once_and_one_without_a_place_nowhere() -> None:
    placed = (Place(name="a", kind=PlaceKind.FREEZE_POINT, at=0.0), VENT)
    assert [s.place.name for s in judged._sited(alike(places=placed))] == ["cock", "a"]
    loose = replace(FLOW, run=None, at=None)
    assert [s.place.name for s in judged._sited(alike(RETURN, loose))] == ["boiler return"]


def test_reasons_of_points_that_differ_name_them_and_the_first_of_them() -> None:
    """The copper is the first and third of the caller's points, the main the second."""
    found = {r.code: r for r in judged._of_points(different())}
    assert list(found) == ["of-large", "of-small"]
    assert found["of-large"].text == "sprinkler main: So it is."
    assert found["of-large"].figure == "freeze_points.1.figure"
    assert found["of-small"].text == "boiler return, boiler flow: So it is."
    assert found["of-small"].figure == "freeze_points.0.figure"


def test_reasons_of_points_that_are_alike_name_none() -> None:
    assert list(judged._of_points(alike(RETURN, FLOW))) == [reason("of-small")]


def waiting(monkeypatch: pytest.MonkeyPatch, time: Range | None, *, flushed: bool) -> None:
    monkeypatch.setattr(judged.waits, "cooling", lambda *_: time)
    monkeypatch.setattr(judged.waits, "is_flushed", lambda *_: flushed)


HOT = LineFluid(temperature=ZERO_C + 60.0)


@pytest.mark.parametrize(
    ("flushed", "how"), [(True, "Flush it with cold water"), (False, "Let it stand")]
)
def test_a_warm_line_is_cooled_first_and_how_and_how_long_is_said(
    monkeypatch: pytest.MonkeyPatch, flushed: bool, how: str
) -> None:
    """At 60 C, fed at 30: in 40 min as likely as not, in 80 min at the latest."""
    waiting(monkeypatch, Range(1200.0, 2400.0, 4800.0), flushed=flushed)
    plan = alike(RETURN, FLOW, fluid=HOT, cooling=Cooling(to=ZERO_C + 30.0))
    own, warm = judged._of_points(plan)
    assert own.code == "of-small"
    assert (warm.code, warm.severity) == ("cool-first", Severity.WARN)
    assert warm.figure == "inputs.fluid.temperature"
    assert (warm.value, warm.limit) == (
        Amount(ZERO_C + 60.0, "temperature"), Amount(ZERO_C + 30.0, "temperature"),
    )  # fmt: skip
    assert warm.text.startswith("The line is at 60 degC; it comes to 30 degC in 40 min (up to 80")
    assert warm.action == f"{how} until it is at 30 degC, and measure it."


def test_a_line_that_never_cools_stops_the_job(monkeypatch: pytest.MonkeyPatch) -> None:
    waiting(monkeypatch, None, flushed=True)
    _, never = judged._of_points(alike(RETURN, FLOW, fluid=HOT))
    assert (never.code, never.severity) == ("never-cools", Severity.STOP)
    assert never.figure == "inputs.fluid.temperature"
    assert (never.value, never.limit) == (
        Amount(ZERO_C + 60.0, "temperature"), Amount(ZERO_C + 25.0, "temperature"),
    )  # fmt: skip
    assert never.text.startswith("The line, at 60 degC, does not come to 25 degC:")
    assert never.action.startswith("State colder water")


def test_the_line_that_is_warm_is_named_where_others_are_not(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    waiting(monkeypatch, Range(0.0, 60.0, 120.0), flushed=True)
    request = stated(RETURN, replace(MAIN, fluid=HOT))
    kinds = [kind_of(request, Frozen(p.name), p.name) for p in request.each]
    found = list(judged._of_points(plan_of(request, group_of(*kinds, feed=0, ready=0, stop=0))))
    assert [r.code for r in found] == ["of-boiler return", "of-sprinkler main", "cool-first"]
    assert found[-1].text.startswith("sprinkler main: The line is at 60 degC")
    assert found[-1].figure == "inputs.fluid.temperature"


def test_the_way_a_line_cools_is_asked_of_that_line(monkeypatch: pytest.MonkeyPatch) -> None:
    """By its own request and freeze."""
    asked: list[tuple[Any, Any]] = []

    def cooling(request: Any, solution: Any) -> Range:
        asked.append((request, solution))
        return Range(1.0, 2.0, 3.0)

    monkeypatch.setattr(judged.waits, "cooling", cooling)
    monkeypatch.setattr(judged.waits, "is_flushed", lambda r, s: asked.append((r, s)) or False)
    plan = alike(points=1, fluid=HOT)
    (kind,) = plan.kinds
    judged._cool_first(kind)
    assert asked == [(kind.request, kind.solution)] * 2


def of_plan(plan: Plan, placed: int | None = None) -> Iterator[Reason]:
    """The reasons of a plan of which so many points are placed, by default all."""
    count = len(plan.request.each) if placed is None else placed
    points = [SimpleNamespace(solution=Frozen())] * count
    sited: Any = (SimpleNamespace(solution=None), *points)
    return judged._of_plan(plan, sited)


def test_one_person_is_too_few() -> None:
    (alone,) = of_plan(alike(points=1, crew=1))
    assert (alone.code, alone.severity, alone.figure) == ("alone", Severity.STOP, "inputs.crew")
    assert (alone.value, alone.limit) == (Amount(1, "factor"), Amount(2.0, "factor"))
    assert alone.text.startswith("A crew of 1:")
    assert alone.action == "Send two."
    assert list(of_plan(alike(points=1, crew=2))) == []


def test_a_run_of_more_points_than_jackets_stops_the_job() -> None:
    third = replace(RETURN, name="third", at=5.0)
    (few,) = of_plan(alike(RETURN, FLOW, third, jackets=2))
    assert (few.code, few.severity) == ("too-few-hands", Severity.STOP)
    assert few.figure == "inputs.jackets"
    assert (few.value, few.limit) == (Amount(2, "factor"), Amount(3, "factor"))
    assert "has 3 freeze points" in few.text
    assert "there for 2." in few.text
    assert few.action.startswith("Take more jackets")


@pytest.mark.parametrize("placed", [0, 1, 2])
def test_points_without_a_place_are_counted(placed: int) -> None:
    (loose,) = of_plan(alike(points=3), placed)
    assert (loose.code, loose.severity) == ("places-not-judged", Severity.WARN)
    assert loose.figure == "inputs.places"
    assert (loose.value, loose.limit) == (Amount(placed, "factor"), Amount(3, "factor"))
    assert loose.text.startswith(f"{3 - placed} of 3 freeze points have no place")
    assert "vents open" in loose.action


def test_two_points_are_judged_by_their_places_and_one_needs_none() -> None:
    assert list(of_plan(alike(points=2))) == []
    assert [r.code for r in of_plan(alike(points=2), 0)] == ["places-not-judged"]
    assert list(of_plan(alike(points=1), 0)) == []


def test_cautions_of_all_points_are_told_once_of_the_line_as_it_arrives() -> None:
    """It arrives at 60 C, and is fed at 25: it is cautioned as a warm one."""
    hot = replace(FLOW, name="hot", fluid=HOT)
    cool = [c.code for c in judged.cautions_of(Plan(stated(RETURN, FLOW)))]
    assert "warm-fluid" not in cool
    for points in ((RETURN, hot, FLOW), (hot, RETURN)):
        found = [c.code for c in judged.cautions_of(Plan(stated(*points)))]
        assert sorted(found) == sorted([*cool, "warm-fluid"])
