"""What is told of each freeze point, on freezes that are laid down: whose figure is which."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from estimates.by_hand import Frozen, group_of, kind_of, plan_of, rising
from estimates.jobs import named
from estimates.test_job_points import MAIN, RETURN, TWO_INCH, replace, stated
from stillpipe.estimates.course import Of
from stillpipe.estimates.growth import Growth
from stillpipe.estimates.job import points
from stillpipe.estimates.job.plan import Plan
from stillpipe.estimates.job.points import PointFigures
from stillpipe.estimates.job.timeline import Event
from stillpipe.model.figures import Range, Reason, Severity, Verdict
from stillpipe.model.pipe import Pipe

FLOW = replace(RETURN, name="boiler flow", at=3.0)
RESIDUAL = Range(0.01, 0.02, 0.03)
GROWN = Growth(time=(1.0,), low=(0.1,), likely=(0.2,), high=(0.3,))
RETURNED = ("boiler return", "boiler flow")


def event(code: str, group: int | None = None, *names: str) -> Event:
    return Event(code=code, at=0.0, earliest=0.0, latest=0.0, group=group, points=names, text="")


EVENTS = (
    event("arrive"), event("feed", 1), event("exchange", 1, "boiler flow"), event("feed", 2),
)  # fmt: skip


def swap(cylinder: int, *names: str) -> Any:
    """An exchange of a cylinder on which these freeze points hang."""
    return SimpleNamespace(
        cylinder=cylinder, points=tuple(SimpleNamespace(name=n) for n in names)
    )  # fmt: skip


SWAPS = (swap(1, *RETURNED), swap(1, "sprinkler main"), swap(2, "boiler flow"))


def planned(**main: Any) -> Plan:
    """Two points of copper alike in the first group, one of steel in the second."""
    request = stated(RETURN, MAIN, FLOW, jackets=2, supply_length=7.0)
    small = Frozen("small", flow_limit=RESIDUAL, planned_ready=150.0, readies=rising(100.0, 1.0))
    large = Frozen("large", closures=rising(0.0, 2.0), **main)
    one = kind_of(request, small, *RETURNED)
    other = kind_of(request, large, "sprinkler main", group=2)
    return plan_of(
        request, group_of(one, feed=1800.0, ready=1950.0, stop=2550.0),
        group_of(other, feed=3450.0, ready=3645.0, stop=4245.0),
    )  # fmt: skip


def needed_by(plan: Plan) -> Any:
    """What the points hang on; of the steel alone it is known what it draws, 1 to 100 kg."""
    _, large = plan.kinds
    hung = (
        SimpleNamespace(name="boiler", points=RETURNED),
        SimpleNamespace(name="2", points=("sprinkler main",)),
    )
    return SimpleNamespace(
        figures=SimpleNamespace(manifolds=hung, exchanges=SWAPS),
        drawn={large: SimpleNamespace(total=list(rising(0.0, 1.0)))},
    )


@pytest.fixture(autouse=True)
def told(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, tuple[Any, ...], float]]:
    """What is told of a solution elsewhere is marked by its name; what letting go is asked."""
    asked: list[tuple[str, tuple[Any, ...], float]] = []

    def letting_go(solution: Frozen, swaps: tuple[Any, ...], length: float) -> str:
        asked.append((solution.name, swaps, length))
        return f"letting go of {solution.name}"

    stops = (Reason("no", "No.", Severity.STOP),)
    monkeypatch.setattr(points, "letting_go", letting_go)
    monkeypatch.setattr(points.hold_time, "reasons", lambda s: stops if s.name == "large" else ())
    monkeypatch.setattr(points.growth, "growth", lambda s: replace(GROWN, low=(s.planned_ready,)))
    monkeypatch.setattr(points.waits, "assisted_thaw", lambda _: 3060.0)
    monkeypatch.setattr(points.learned, "told", lambda s: f"learned of {s.name}")
    return asked


def found(plan: Plan) -> tuple[PointFigures, ...]:
    return points.figures(plan, needed_by(plan), EVENTS)


def test_points_are_told_in_the_order_of_the_caller_each_with_its_place_and_group() -> None:
    small, large, flow = found(planned())
    assert [p.name for p in (small, large, flow)] == [
        "boiler return", "sprinkler main", "boiler flow",
    ]  # fmt: skip
    assert [(p.run, p.at) for p in (small, large, flow)] == [
        ("heating", 1.0), ("sprinkler", 2.0), ("heating", 3.0),
    ]  # fmt: skip
    assert [(p.group, p.manifold) for p in (small, large, flow)] == [
        (1, "boiler"), (2, "2"), (1, "boiler"),
    ]  # fmt: skip
    assert [(p.feed_at, p.cut_at) for p in (small, large, flow)] == [
        (1800.0, 1950.0), (3450.0, 3645.0), (1800.0, 1950.0),
    ]  # fmt: skip


def test_each_point_has_the_moments_of_the_job_of_its_group_and_of_its_own() -> None:
    small, large, flow = found(planned())
    assert [e.code for e in small.timeline] == ["arrive", "feed"]
    assert [e.code for e in flow.timeline] == ["arrive", "feed", "exchange"]
    assert [e.group for e in large.timeline] == [None, 2]


def test_figures_are_those_of_its_own_freeze() -> None:
    """The 5th, 50th and 95th of a hundred draws; half of the copper is ready at 150 s."""
    small, large, flow = found(planned())
    assert small.closure == flow.closure == Range(5.0, 50.0, 95.0)
    assert large.closure == Range(10.0, 100.0, 190.0)
    assert small.ready == Range(105.0, 150.0, 195.0)
    assert (small.planned_ready, small.chance) == (150.0, 0.5)
    assert (large.planned_ready, large.chance) == (195.0, 0.95)
    assert small.survival == Range(1005.0, 1050.0, 1095.0)
    assert small.thaw == Range(3005.0, 3050.0, 3095.0)
    assert small.plug_length is not None
    assert small.plug_length.likely == pytest.approx(0.1)
    assert (small.verdict, large.verdict) == (Verdict.GO, Verdict.NO_GO)
    assert (small.residual_flow_limit, large.residual_flow_limit) == (RESIDUAL, None)
    assert (small.learned, large.learned) == ("learned of small", "learned of large")
    assert (small.growth.low, large.growth.low) == ((150.0,), (195.0,))
    assert (small.co2, large.co2) == (None, Range(5.0, 50.0, 95.0))


def test_the_thaw_as_planned_is_helped_where_that_is_sooner() -> None:
    """Helped after 3,060 s: the sixty draws that thaw sooner by themselves stay as they are."""
    assert found(planned())[0].planned_thaw == Range(3005.0, 3050.0, 3060.0)


def test_of_a_point_without_a_plug_only_its_freeze_is_told_and_of_its_group_no_cut() -> None:
    """The steel is never ready as planned: neither chance nor what comes after; the copper has."""
    small, large, _ = found(planned(planned_ready=None))
    assert (large.chance, large.cut_at, large.planned_ready) == (0.0, None, None)
    assert (large.plug_length, large.survival, large.thaw, large.planned_thaw) == (None,) * 4
    assert large.growth == Growth()
    assert large.letting_go is None
    assert large.closure == Range(10.0, 100.0, 190.0)
    assert (small.cut_at, small.letting_go) == (1950.0, "letting go of small")


def test_of_a_line_that_never_cools_nothing_is_planned_though_it_would_freeze(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(
        points.waits, "cooling", lambda _, s: None if s.name == "large" else Range(0.0, 0.0, 0.0)
    )
    small, large, _ = found(planned())
    assert large.closure == Range(10.0, 100.0, 190.0)
    assert (large.planned_ready, large.chance, large.cut_at) == (None, 0.0, None)
    assert (large.survival, large.thaw, large.planned_thaw) == (None, None, None)
    assert (large.growth, large.letting_go) == (Growth(), None)
    assert small.planned_ready == 150.0


def test_a_plug_lets_go_at_the_exchanges_of_the_first_point_that_is_alike(
    told: list[tuple[str, tuple[Any, ...], float]],
) -> None:
    """The copper's first and the steel's own, but not that of the second copper alone."""
    small, large, flow = found(planned())
    assert small.letting_go == flow.letting_go == "letting go of small"
    assert large.letting_go == "letting go of large"
    assert told == [("small", SWAPS[:1], 7.0), ("large", SWAPS[1:2], 7.0)]


def test_a_pipe_is_called_as_in_the_catalogue_or_by_its_measures() -> None:
    own = Pipe(outside_diameter=0.0603, wall=0.00365, material="carbon_steel", rating=20e5)
    request = stated(
        replace(RETURN, pipe=named(TWO_INCH)), replace(FLOW, pipe=own)
    )  # fmt: skip
    kinds = [kind_of(request, Frozen(), p.name) for p in request.each]
    told = [points._named(kind) for kind in kinds]
    assert told == [TWO_INCH.id, "60.3 x 3.6 mm carbon_steel"]


def test_the_length_of_a_plug_is_that_of_what_is_sound_when_its_hold_ends() -> None:
    asked: list[tuple[Of, float]] = []

    def grown(of: Of, time: float) -> np.ndarray:
        asked.append((of, time))
        return np.array([0.1, 0.2])

    solution: Any = SimpleNamespace(grown=grown, plan_end=4500.0)
    assert points.lengths(solution).tolist() == [0.1, 0.2]
    assert asked == [(Of.SOUND, 4500.0)]
