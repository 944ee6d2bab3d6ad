"""The signs of what is wrong, by hand: stand-ins for freezes whose frost and cold are known."""

import math
from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest

from estimates.jobs import ZERO_C, point_of, water
from estimates.test_faulty import fault, told
from stillpipe.errors import Fault, TooCostlyError
from stillpipe.estimates import faulty, feeding, moving
from stillpipe.estimates.cases import Cases
from stillpipe.estimates.faulty import Signs
from stillpipe.model.freeze_point import FreezePoint
from stillpipe.model.observations import Seen, SurfaceTemperature, WeightDrawn
from stillpipe.physics import freeze
from stillpipe.physics.constants import DRY_ICE

COLD = SurfaceTemperature(
    kind=Seen.SURFACE_TEMPERATURE, elapsed=100.0, distance=0.03, value=270.0
)  # fmt: skip
DRAWN = WeightDrawn(kind=Seen.WEIGHT_DRAWN, elapsed=200.0, value=0.4)
SOUND_FROST = 100.0


class Followed:
    """A freeze that is made up: twice as late with half of the conductance.

    So much warmer than dry ice beside the jacket [K], so much heat drawn at a time [J].
    """

    made: list["Followed"]
    frost: float | None
    begun = 0.0
    warm, near, rate = 50.0, 60.0, 20.0

    def __init__(self, case: freeze.Case, **asked: Any) -> None:
        self.case, self.asked = case, asked
        self.share = case.h_jacket / SOUND_H
        self.frost = SOUND_FROST / self.share
        self.told: list[tuple[float, float]] = []
        self.made.append(self)

    def skin(self, distance: float, time: float) -> float:
        self.told.append((distance, time))
        return DRY_ICE + self.warm / self.share

    def beside(self, time: float) -> float:
        self.told.append((0.01, time))
        return DRY_ICE + self.near / self.share

    def heat(self, time: float) -> float:
        return self.rate * self.share * time


SOUND_H = Cases(point_of()).case(Cases(point_of()).likely).h_jacket


@pytest.fixture
def made(monkeypatch: pytest.MonkeyPatch) -> list[Followed]:
    """The freezes that are asked for, in order."""
    found: list[Followed] = []
    monkeypatch.setattr(Followed, "made", found, raising=False)
    monkeypatch.setattr(faulty, "FrostRun", Followed)
    return found


def test_frost_is_told_over_that_of_the_sound_freeze_and_solved_once(made: list[Followed]) -> None:
    of = told(point_of())
    signs = Signs(of, (), 60.0)
    assert made == []
    found = signs.of(fault("jacket"), 0.5)
    assert found == pytest.approx([math.log(2.0)])
    assert signs.of(fault("jacket"), 0.5) is found
    assert signs.of(fault("jacket"), 0.25) == pytest.approx([math.log(4.0)])
    assert len(made) == 3
    assert sorted(run.share for run in made) == pytest.approx([0.25, 0.5, 1.0])
    assert of.solves == made
    for run in made:
        asked = run.asked
        assert (asked["at"], asked["begun"], asked["work"]) == (ZERO_C, None, of.work)
        assert asked["grid"] is freeze.PRODUCTION


def test_frost_that_never_comes_is_infinitely_late(
    made: list[Followed], monkeypatch: pytest.MonkeyPatch
) -> None:
    signs = Signs(told(point_of()), (), 60.0)
    signs.of(fault("jacket"), 0.5)
    monkeypatch.setattr(Followed, "frost", property(lambda _self: None, lambda _s, _v: None),
                        raising=False)  # fmt: skip
    assert signs.of(fault("jacket"), 0.3).tolist() == [math.inf]
    assert len(made) == 3


@pytest.mark.parametrize(
    ("seen", "latest", "usual", "until", "longest"),
    [
        ((), 60.0, SOUND_FROST, 1.0, 180.0),
        ((), 10.0, SOUND_FROST, 1.0, 150.0),
        ((COLD, DRAWN), 10.0, SOUND_FROST, 200.0, 200.0),
        ((replace(COLD, elapsed=9000.0),), 10.0, SOUND_FROST, 7200.0, 7200.0),
        ((), 3000.0, SOUND_FROST, 1.0, 7200.0),
        ((), 10.0, None, 1.0, 7200.0),
    ],
)
def test_how_long_a_freeze_is_followed(
    made: list[Followed], seen: Any, latest: float, usual: float | None, until: float,
    longest: float,
) -> None:  # fmt: skip
    """Three times what has passed, half as long again as frost takes, until all was seen; 2 h."""
    signs = Signs(told(point_of()), seen, latest)
    signs._sound.frost = usual
    signs.of(fault("jacket"), 0.5)
    first, second = made
    assert (first.asked["until"], first.asked["longest"]) == (until, 7200.0)
    assert (second.asked["until"], second.asked["longest"]) == (until, longest)


def test_where_the_sound_freeze_has_no_frost_it_is_taken_at_four_hours(
    made: list[Followed],
) -> None:
    signs = Signs(told(point_of()), (), 60.0)
    signs._sound.frost = None
    assert signs.of(fault("jacket"), 0.5) == pytest.approx([math.log(200.0 / 14400.0)])
    assert len(made) == 2


def test_frost_that_settles_below_freezing_is_looked_for_there(made: list[Followed]) -> None:
    Signs(told(point_of()), (), 60.0).of(fault("dry-air"), 0.1)
    assert [run.asked["at"] for run in made] == pytest.approx([ZERO_C, ZERO_C - 11.2], abs=0.02)


def test_of_what_hides_frost_only_what_else_is_seen_is_solved(made: list[Followed]) -> None:
    assert Signs(told(point_of()), (), 60.0).of(fault("insulated"), 0.0).tolist() == [math.inf]
    assert made == []
    found = Signs(told(point_of()), (COLD,), 60.0).of(fault("insulated"), 0.0)
    assert found.tolist() == [math.inf, 0.0]
    assert {run.asked["at"] for run in made} == {ZERO_C}


@pytest.fixture
def streams(monkeypatch: pytest.MonkeyPatch) -> list[tuple[Any, ...]]:
    """What is asked of freezes with a flow, in order."""
    asked: list[tuple[Any, ...]] = []

    def frozen(*given: Any, **named: Any) -> SimpleNamespace:
        asked.append((*given, named))
        return SimpleNamespace(begun="as the stream leaves it")

    monkeypatch.setattr(moving, "frozen", frozen)
    return asked


def test_a_freeze_with_a_flow_goes_on_from_the_stream(
    made: list[Followed], streams: list[tuple[Any, ...]]
) -> None:
    of = told(point_of())
    found = Signs(of, (), 60.0).of(fault("flow"), 36.0)
    assert found == pytest.approx([0.0])
    ((point, case, scenario, work, named),) = streams
    assert point == replace(of.point, fluid=replace(of.point.fluid, flow=0.01))
    assert (case, scenario, work) == (of.cases.case(of.cases.likely), of.cases.likely, of.work)
    assert named == {"fine": False, "longest": 180.0}
    assert sorted(str(run.asked["begun"]) for run in made) == ["None", "as the stream leaves it"]


@pytest.mark.parametrize(
    ("cause", "centre", "late", "usual"),
    [
        ("flow", SimpleNamespace(frost=50.0), 100.0, 50.0), ("flow", None, 100.0, 100.0),
        ("flow", SimpleNamespace(frost=None), 100.0, 14400.0),
        ("jacket", SimpleNamespace(frost=50.0), 200.0, 100.0),
    ],
)  # fmt: skip
@pytest.mark.usefixtures("made", "streams")
def test_more_flow_is_held_against_the_freeze_with_the_stated_one(
    cause: str, centre: SimpleNamespace | None, late: float, usual: float
) -> None:
    """Of a line that flows; in one that does not, and of a cause without, against the sound one."""
    ensemble = SimpleNamespace(centre=centre)
    of = told(point_of(fluid=water(flow=0.001)), ensemble=ensemble)
    found = Signs(of, (), 60.0).of(fault(cause), 0.5)
    assert found == pytest.approx([math.log(late / usual)])
    still = told(point_of(), ensemble=ensemble)
    assert Signs(still, (), 60.0).of(fault(cause), 0.5) == pytest.approx([math.log(late / 100.0)])


def test_a_temperature_is_told_over_dry_ice_and_over_that_of_the_sound_pipe(
    made: list[Followed],
) -> None:
    found = Signs(told(point_of()), (COLD,), 60.0).of(fault("jacket"), 0.5)
    assert found == pytest.approx([math.log(2.0), math.log(2.0)])
    assert all(run.told == [(0.03, 100.0)] for run in made)


@pytest.mark.parametrize(("warm", "expected"), [(0.6, math.log(1.2)), (0.3, 0.0)])
@pytest.mark.usefixtures("made")
def test_what_is_as_cold_as_dry_ice_is_taken_a_kelvin_warmer(
    warm: float, expected: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Followed, "warm", warm)
    found = Signs(told(point_of()), (COLD,), 60.0).of(fault("jacket"), 0.5)
    assert found[1] == pytest.approx(expected)


@pytest.fixture
def _fed(monkeypatch: pytest.MonkeyPatch) -> None:
    """A jacket that takes up 1000 J, and 10 W from the room."""

    def jacket(point: FreezePoint) -> SimpleNamespace:
        assert point == point_of()
        return SimpleNamespace(jacket_heat=1000.0, leak_power=10.0)

    monkeypatch.setattr(feeding, "feeding", jacket)


@pytest.mark.parametrize(
    ("cause", "value", "share"),
    [
        ("jacket", 0.5, 1.0), ("cylinder-empty", 0.5, 0.5 * 5000.0 / 7000.0),
        ("warm-water", 5.0, 1.0),
    ],
)  # fmt: skip
@pytest.mark.usefixtures("made", "_fed")
def test_a_weight_is_told_with_what_the_jacket_takes(
    cause: str, value: float, share: float
) -> None:
    """4000 J from the sound pipe in 200 s, 3000 J by the jacket; half from an empty cylinder.

    A bad jacket draws what a sound one does.
    """
    found = Signs(told(point_of()), (DRAWN,), 60.0).of(fault(cause), value)
    assert found[1] == pytest.approx(math.log(share))


def test_a_temperature_of_later_than_what_is_followed_is_that_of_the_end(
    made: list[Followed],
) -> None:
    """Freezes are followed for two hours at most."""
    Signs(told(point_of()), (replace(COLD, elapsed=9000.0),), 60.0).of(fault("jacket"), 0.5)
    assert [run.told for run in made] == [[(0.03, 7200.0)]] * 2


@pytest.mark.parametrize(
    ("begun", "near", "over"),
    [
        (100.0, 60.0, 100.0), (100.1, 60.0, None), (math.inf, 60.0, None), (math.inf, 97.0, None),
        (math.inf, 97.6, 195.2),
    ],
)  # fmt: skip
def test_while_water_moves_it_falls_off_as_on_the_sound_pipe(
    made: list[Followed], monkeypatch: pytest.MonkeyPatch, begun: float, near: float,
    over: float | None,
) -> None:  # fmt: skip
    """From where frost is looked for on; where that is as warm as the line, as there."""
    monkeypatch.setattr(Followed, "begun", begun)
    monkeypatch.setattr(Followed, "near", near)
    found = Signs(told(point_of()), (COLD,), 60.0).of(fault("jacket"), 0.5)
    start = ZERO_C + 20.0 - DRY_ICE
    if over is None:
        over = start - (start - 50.0) / (start - near) * (start - 2.0 * near)
    assert found[1] == pytest.approx(math.log(over / 50.0))
    assert {place for run in made for place in run.told} <= {(0.03, 100.0), (0.01, 100.0)}


def too_costly(*_given: Any, **_named: Any) -> None:
    raise TooCostlyError(Fault((), "too much"))


@pytest.mark.parametrize(
    ("cause", "seen", "path"),
    [("flow", (), ("fluid", "flow")), ("jacket", (), ("elapsed",)),
     ("jacket", (COLD,), ("observations",))],
)  # fmt: skip
def test_what_is_too_costly_names_what_makes_it_so(
    monkeypatch: pytest.MonkeyPatch, cause: str, seen: Any, path: tuple[str, ...],
    made: list[Followed],
) -> None:  # fmt: skip
    signs = Signs(told(point_of()), seen, 60.0)
    sound: Any = signs._sound
    assert sound is made[0]
    failing: Callable[..., None] = too_costly
    monkeypatch.setattr(moving, "frozen", failing)
    if cause != "flow":
        monkeypatch.setattr(faulty, "FrostRun", failing)
    with pytest.raises(TooCostlyError) as caught:
        signs.of(fault(cause), 0.5)
    (named,) = caught.value.faults
    assert named.path == path
    assert named.detail.endswith("units of solver work")


@pytest.mark.usefixtures("made", "_fed")
def test_a_weight_of_after_two_hours_has_pipe_and_jacket_drawing_as_long() -> None:
    late = replace(DRAWN, elapsed=9000.0)
    found = Signs(told(point_of()), (late,), 60.0).of(fault("cylinder-empty"), 0.5)
    more, pipe = 1000.0 + 10.0 * 9000.0, 20.0 * 9000.0
    assert found[1] == pytest.approx(math.log(0.5 * (0.5 * pipe + more) / (pipe + more)))
