"""Water that moves through a freeze point: what the solver is asked, and what is made of it."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from estimates.jobs import HALF_INCH, point_of, solution_of, water
from stillpipe.errors import Fault, TooCostlyError
from stillpipe.estimates import moving
from stillpipe.estimates.cases import Cases
from stillpipe.model.freeze_point import Orientation
from stillpipe.physics import freeze
from stillpipe.physics.column.work import Work
from stillpipe.physics.stream import liquid
from stillpipe.tables import pipes
from stillpipe.uncertainty.scenarios import Scenario

X = Scenario(convection=1.3)
PLASTIC = pipes.find("ASTM D1785", "1", "80")
LIMIT = 0.1
"""Greatest flow of which the steady channel is made out to be shut [kg/s]."""


class Solver:
    """Keeps what it is asked, and says the same every time."""

    def __init__(self, said: Any) -> None:
        self.said = said
        self.asked: list[tuple[Any, ...]] = []

    def __call__(self, *given: Any, **named: Any) -> Any:
        self.asked.append((*given, *([named] if named else [])))
        return self.said


@pytest.fixture
def limit(monkeypatch: pytest.MonkeyPatch) -> Solver:
    """The steady channel."""
    found = Solver(LIMIT)
    monkeypatch.setattr(moving, "limit", SimpleNamespace(of=found))
    return found


@pytest.fixture
def stream(monkeypatch: pytest.MonkeyPatch) -> Solver:
    """The freeze with a stream."""
    found = Solver("a freeze")
    monkeypatch.setattr(moving, "stream", SimpleNamespace(freeze=found))
    return found


def same(found: Any, expected: Any) -> bool:
    """Tell whether two liquids are the same."""
    return all(np.array_equal(a, b) for a, b in zip(found, expected, strict=True))


@pytest.mark.parametrize(
    ("pipe", "share"), [(HALF_INCH, 1.0), (PLASTIC, 0.4)], ids=["copper", "plastic"]
)
def test_in_a_wall_that_insulates_less_flow_freezes_shut(
    limit: Solver, pipe: pipes.Pipe, share: float
) -> None:
    point = point_of(pipe)
    case = Cases(point).case(X)
    assert moving.greatest(point, case, X) == pytest.approx(share * LIMIT)
    ((asked, flowing, head, sought),) = limit.asked
    assert asked is case
    assert head == point.fluid.head == 3e5
    assert sought == {"near": 0.0}
    length = point.jacket.length
    assert same(flowing, liquid.liquid("water", 0.0, length, False, 1.3))


def test_the_steady_limit_is_sought_from_that_of_a_case_it_is_near(limit: Solver) -> None:
    """Of plastic the known one was told as 0.4 of it."""
    case = Cases(point_of(PLASTIC)).case(X)
    moving.greatest(point_of(PLASTIC), case, X, near=0.02)
    assert limit.asked[-1][-1] == {"near": pytest.approx(0.05)}


def test_what_flows_is_the_fluid_of_the_point(limit: Solver) -> None:
    """A glycol in a pipe that stands."""
    point = point_of(
        fluid=solution_of("propylene_glycol", 0.1), orientation=Orientation.VERTICAL
    )  # fmt: skip
    moving.greatest(point, Cases(point).case(X), X)
    expected = liquid.liquid("propylene_glycol", 0.1, point.jacket.length, True, 1.3)
    assert same(limit.asked[0][1], expected)
    assert not same(
        expected, liquid.liquid("propylene_glycol", 0.1, point.jacket.length, False, 1.3)
    )


@pytest.mark.parametrize(
    ("flow", "likely", "surely"),
    [(0.1, False, False), (0.101, True, False), (0.12, True, False), (0.121, True, True)],
)
@pytest.mark.parametrize("pipe", [HALF_INCH, PLASTIC], ids=["copper", "plastic"])
def test_more_than_the_steady_limit_keeps_it_open_and_a_fifth_more_does_surely(
    limit: Solver, pipe: pipes.Pipe, flow: float, likely: bool, surely: bool
) -> None:
    point = point_of(pipe, fluid=water(flow=flow))
    case = Cases(point).case(X)
    assert moving.prevents(point, case, X, surely=False) == likely
    assert moving.prevents(point, case, X, surely=True) == surely
    assert all(asked[0] is case and asked[2] == 3e5 for asked in limit.asked)
    assert all(asked[3] == {"near": 0.0} for asked in limit.asked), "sought from nothing known"
    expected = liquid.liquid("water", 0.0, point.jacket.length, False, 1.3)
    assert all(same(asked[1], expected) for asked in limit.asked)


@pytest.mark.parametrize(("fine", "grid"), [(True, None), (False, moving.COARSE)])
@pytest.mark.parametrize("longest", [None, 600.0])
def test_a_freeze_has_the_stated_flow_and_head(
    stream: Solver, fine: bool, grid: object, longest: float | None
) -> None:
    """For as long as a freeze is followed where nothing else is said."""
    point, spent = point_of(fluid=water(flow=0.02)), Work()
    case = Cases(point).case(X)
    more = {} if longest is None else {"longest": longest}
    found: Any = moving.frozen(point, case, X, spent, fine=fine, **more)
    assert found == "a freeze"
    ((asked, flowing, flow, head, named),) = stream.asked
    assert asked is case
    assert same(flowing, liquid.liquid("water", 0.0, point.jacket.length, False, 1.3))
    assert (flow, head) == (0.02, 3e5)
    assert named["work"] is spent
    assert named["grid"] is grid
    assert named["longest"] == (longest or freeze.LONGEST_FREEZE)


def test_what_is_too_costly_near_the_limit_names_the_flow(monkeypatch: pytest.MonkeyPatch) -> None:
    def failing(*_given: Any, **_named: Any) -> None:
        raise TooCostlyError(Fault((), "too much"))

    monkeypatch.setattr(moving, "stream", SimpleNamespace(freeze=failing))
    point = point_of(fluid=water(flow=0.02))
    with pytest.raises(TooCostlyError) as caught:
        moving.frozen(point, Cases(point).case(X), X, Work(), fine=True)
    assert [fault.path for fault in caught.value.faults] == [("fluid", "flow")]
