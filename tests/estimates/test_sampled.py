"""One freeze point in a few draws, by hand: stand-ins for the surfaces, whose figures are known."""

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from estimates.jobs import HALF_INCH, point_of, solution_of, water
from estimates.laid import KNOTS, Frozen, Laid
from stillpipe.errors import Fault, TooCostlyError
from stillpipe.estimates import course, moving, sampled
from stillpipe.estimates.course import BEFORE, Knots, Of
from stillpipe.estimates.sampled import FARTHEST, MISS, Sampled
from stillpipe.physics import freeze
from stillpipe.physics.constants import DRY_ICE
from stillpipe.uncertainty import draws

GLYCOL = solution_of("propylene_glycol", 0.1)


def drawn(
    count: int = 1, grown: dict[Of, Any] | None = None, point: dict[str, Any] | None = None,
    freezes: dict[str, Any] | None = None, **known: Any,
) -> Sampled:  # fmt: skip
    """A half-inch pipe in so many draws: what ``freezes`` are like, and what else is ``known``."""
    found = Sampled(point_of(**(point or {})))
    found.__dict__["ensemble"] = Frozen(count, grown, **(freezes or {}))
    found.__dict__["sample"] = draws.Sample(np.zeros((count, len(draws.NAMES))))
    found.__dict__["model"] = np.ones(count)
    found.__dict__.update(known)
    return found


def closing_at(closures: list[float], heat: float = 1.0) -> np.ndarray:
    """What is read of closure: its logarithm [s], and those of heat [J] and ice [m3] until then."""
    return np.stack([np.log(closures), *np.log([[heat, 1.0]] * len(closures)).T], axis=1)


# what is shared


def test_alone_it_counts_its_own_work() -> None:
    one, other = Sampled(point_of()), Sampled(point_of())
    assert one.work is not other.work
    assert one.solves == []
    assert one.solves is not other.solves
    assert one.cases.point is one.point
    assert one.effort.freezes == one.effort.units == 0


def test_what_it_takes_is_added_to_that_of_another() -> None:
    """Cases are those of the other where the freeze point is the same."""
    first = Sampled(point_of())
    same, other = Sampled(first.point, first), Sampled(point_of(), first)
    assert same.cases is first.cases
    assert other.cases is not first.cases
    assert other.cases.point is other.point
    for found in (same, other):
        assert found.work is first.work
        assert found.solves is first.solves


class Asked:
    """An ensemble that keeps what it is made of."""

    def __init__(self, *given: Any) -> None:
        self.given = given


@pytest.mark.parametrize(("fluid", "bond"), [(water(), 1.0), (GLYCOL, 0.5)])
def test_freezes_are_followed_until_a_bond_two_and_a_half_times_weaker_is_ready(
    monkeypatch: pytest.MonkeyPatch, fluid: Any, bond: float
) -> None:
    """The likely bond of a solution is half that of pure ice: a quarter of pressure x bore."""
    monkeypatch.setattr(sampled, "Ensemble", Asked)
    found = Sampled(point_of(fluid=fluid))
    point = found.point
    need = point.safety_factor * point.line_pressure * point.bore / (4.0 * bond * point.adhesion)
    z = np.ones(3)
    for each, star in (
        (found.ensemble, ()),
        (found.about(None), (None, ("jacket_conductance", "jacket_filling"), found.ensemble)),
        (found.about(z, ("convection",)), (z, ("convection",), None)),
    ):
        cases, closely, work, solves, *rest = each.given  # type: ignore[attr-defined]
        assert closely == pytest.approx(2.5 * need)
        assert (cases, work, solves) == (found.cases, found.work, found.solves)
        assert solves is found.solves
        assert tuple(rest) == star


def test_in_other_draws_it_is_the_same_freezes_or_others() -> None:
    found, others = drawn(3), drawn().ensemble
    found._member = "repair"
    sample = draws.Sample(np.ones((2, len(draws.NAMES))))
    same, other = found.among(sample), found.among(sample, others)
    assert same.ensemble is found.ensemble
    assert other.ensemble is others
    for each in (same, other):
        assert each.sample is sample
        assert each.point is found.point
        assert each.work is found.work
        assert each._member == "repair"


# what is read of the surfaces


def test_what_is_read_is_told_of_every_draw_in_either_precision() -> None:
    found = drawn(2)
    assert found.single(lambda _: np.array([1.0, 2.0])).dtype == np.float32
    logs = found.logs(lambda _: np.array([1.0, 2.0]))
    assert logs.dtype == np.float64
    assert logs.tolist() == [[1.0, 2.0]] * 2


def test_what_is_read_is_told_apart_by_its_key_or_by_itself() -> None:
    """Of what has one key only the first is read."""
    found = drawn()
    first, second = (lambda _: np.array([1.0])), (lambda _: np.array([2.0]))
    assert found.logs(first)[0, 0] == 1.0
    assert found.logs(second)[0, 0] == 2.0
    assert found.single(second)[0, 0] == 2.0
    assert found.logs(first, "one")[0, 0] == 1.0
    assert found.logs(second, "one")[0, 0] == 1.0
    assert found.logs(second, "two")[0, 0] == 2.0


@pytest.mark.parametrize(
    ("read", "kept"),
    [
        ([49.0, -49.0], [49.0, -49.0]), ([1.0, -70.0], [1.0, -FARTHEST]),
        ([70.0, 1.0], [FARTHEST, 1.0]), ([70.0, -70.0], [FARTHEST, -FARTHEST]),
        ([60.0, 55.0], [FARTHEST, FARTHEST]),
    ],
)  # fmt: skip
def test_a_surface_that_leaves_all_bounds_is_held_at_them(
    read: list[float], kept: list[float]
) -> None:
    assert drawn().logs(lambda _: np.array(read)).tolist() == [kept]


# what a plug carries


@pytest.mark.parametrize("strength", [0.5e6, 2e6])
def test_a_plug_is_lost_where_its_bond_carries_less_than_the_thrust(strength: float) -> None:
    """Shear over the bore's surface against the pressure over its area."""
    found = drawn(point={"line_pressure": 7e5})
    (grip,) = found.lost(np.array([strength])).tolist()
    bore = found.point.bore
    assert strength * math.pi * bore * grip == pytest.approx(7e5 * 0.25 * math.pi * bore**2)


def test_what_it_carries_is_that_with_its_safety_factor_off() -> None:
    found = drawn(point={"line_pressure": 7e5, "safety_factor": 3.0})
    strength = np.array([0.5e6, 2e6])
    grip = found.lost(strength)
    assert found.carries(grip, strength) == pytest.approx([7e5 / 3.0] * 2)
    assert found.carries(3.0 * grip[:1], 0.5e6) == pytest.approx([7e5])


# until it is closed and ready


def test_freezes_are_compared_up_to_the_time_that_is_asked_about() -> None:
    """From half the likely closure of 100 s on; up to a fifth beyond the last knot as they are."""
    found = drawn()
    for time in (10.0, 170.0):
        assert found.knots_until(time) is KNOTS
    late = found.knots_until(170.1)
    assert late.time[:4].tolist() == KNOTS.time.tolist()
    assert len(late.time) == 4 + 4
    assert found.knots_until(1650.0).time[3:] == pytest.approx([100.0, 200.0, 400.0, 800.0, 1600.0])


def test_a_solution_is_compared_at_more_times() -> None:
    """Six to the end of a hold where water has four: from 100 s to 6.4 x that."""
    late = drawn(point={"fluid": GLYCOL}).knots_until(690.0)
    step = 6.4 ** (1.0 / 6.0)
    assert late.time[4:] == pytest.approx([100.0 * step**n for n in range(1, 7)])


def test_where_the_likely_freeze_does_not_close_they_are_compared_from_the_first_feed() -> None:
    found = drawn(freezes={"fine": SimpleNamespace(closure=None)})
    assert found.knots_until(120.0) is KNOTS
    assert found.knots_until(120.2).time[-1] == pytest.approx(120.2)


def test_curves_are_laid_once_for_each_figure_and_each_end() -> None:
    found = drawn(grown={Of.HEAT: 2.0, Of.ICED: 3.0})
    other = Knots(np.array([10.0, 20.0, 50.0, 200.0]))
    first = found.curves_of(Of.HEAT, KNOTS)
    assert found.curves_of(Of.HEAT, KNOTS) is first
    assert first.of is Of.HEAT
    assert first.knots is KNOTS
    more, late = found.curves_of(Of.ICED, KNOTS), found.curves_of(Of.HEAT, other)
    assert np.exp(more.value[0, -1]) == pytest.approx(300.0, rel=1e-6)
    assert np.exp(late.value[0, -1]) == pytest.approx(400.0, rel=1e-6)
    assert found.ensemble.asked == [  # type: ignore[attr-defined]
        (Of.HEAT, KNOTS), (Of.ICED, KNOTS), (Of.HEAT, other)
    ]  # fmt: skip


FALLING = [[1.0, 3.0, 2.0, 4.0]]


@pytest.mark.parametrize("of", list(Of))
def test_nothing_that_has_grown_falls_but_the_cold_of_the_wall(of: Of) -> None:
    value = drawn(grown={of: FALLING}).curves_of(of, KNOTS).value
    assert value.tolist() == (FALLING if of is Of.WALL else [[1.0, 3.0, 3.0, 4.0]])


@pytest.mark.parametrize("of", [Of.SOUND, Of.GRIP, Of.HEAT])
@pytest.mark.parametrize("fluid", [water(), GLYCOL])
def test_a_plug_of_a_solution_grips_over_no_more_than_its_reach(of: Of, fluid: Any) -> None:
    """And what surfaces may miss; what is less stays as it is."""
    grown = {of: [[1.0, 2.0, 5.0, 6.0]], Of.REACH: [[0.5, 2.5, 3.0, 3.5]]}
    value = drawn(grown=grown, point={"fluid": fluid}).curves_of(of, KNOTS).value
    held = fluid is GLYCOL and of is not Of.HEAT
    expected = [0.5 + MISS, 2.0, 3.0 + MISS, 3.5 + MISS] if held else [1.0, 2.0, 5.0, 6.0]
    assert value[0] == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("member", ["hold", "repair"])
def test_following_a_plug_for_too_long_names_who_says_how_long(member: str) -> None:
    found = drawn() if member == "hold" else Sampled(point_of(), drawn(), member)

    def curves(*_: Any) -> Laid:
        raise TooCostlyError(Fault((), "too much"))

    found.__dict__["ensemble"] = SimpleNamespace(curves=curves)
    with pytest.raises(TooCostlyError) as raised:
        found.curves_of(Of.GRIP, KNOTS)
    (fault,) = raised.value.faults
    assert fault.path == (member,)
    assert fault.detail.startswith(sampled.LONG_HOLD)


def test_a_plug_closes_within_four_hours_and_against_its_flow_or_never() -> None:
    """Draws closed after 100 s and 5 h, one without enough ice; then a limit below the flow."""
    closing = closing_at([100.0, 18000.0, 200.0, 300.0])
    possible = {"possible": lambda _: np.array([True, True, False, True])}
    still = drawn(4, freezes=possible, at_closure=closing, model=np.array([2.0, 1.0, 1.0, 1.0]))
    assert still.closed == pytest.approx([100.0, np.inf, np.inf, 300.0])
    assert still.closures == pytest.approx([200.0, np.inf, np.inf, 300.0])
    assert still.closing_chance == 0.5
    assert freeze.LONGEST_FREEZE == 14400.0
    against = drawn(
        4, point={"fluid": water(20.0, 0.002)}, freezes=possible, at_closure=closing,
        prevented=False, flow_limits=np.array([0.003, 1.0, 1.0, 0.001]),
    )  # fmt: skip
    assert against.closed == pytest.approx([100.0, np.inf, np.inf, np.inf])
    assert against.closing_chance == 0.25


def test_what_its_flow_keeps_open_never_closes_and_is_unlikely_to(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(moving, "prevents", lambda *_, surely: surely)
    limits, flowing = np.array([0.001, 0.002, 0.003, 0.0005]), {"fluid": water(20.0, 0.002)}
    found = drawn(4, point=flowing, flow_limits=limits)
    assert found.prevented
    assert found.hopeless
    assert np.all(np.isinf(found.readies))
    assert found.closing_chance == 0.49
    assert drawn(4, point=flowing, flow_limits=limits / 1.2).closing_chance == 0.25


def test_a_plug_is_ready_once_it_grips_with_its_safety_factor_and_is_a_bore_long() -> None:
    """Grip and length in proportion to time: the longer of both after 100 s, by its times."""
    found = drawn(
        2, {Of.GRIP: 1e-4, Of.SOUND: 2e-4}, strength=np.array([1e6, 0.1e6]),
        at_closure=closing_at([100.0, 100.0]), model=np.array([1.0, 1.5]),
    )  # fmt: skip
    point = found.point
    grip = point.safety_factor * point.line_pressure * point.bore / (4.0 * found.strength)
    since = np.maximum(grip / 1e-4, point.bore / 2e-4)
    assert since[0] == pytest.approx(point.bore / 2e-4)
    assert since[1] == pytest.approx(grip[1] / 1e-4)
    assert found.readies == pytest.approx((100.0 + since) * found.model, rel=1e-5)


def test_frost_comes_by_its_own_time_or_never() -> None:
    late = 1.1 * freeze.LATEST_FROST
    found = drawn(model=np.array([2.0]), freezes={"fine": SimpleNamespace(frost=50.0)})
    assert found.frosts == pytest.approx([100.0], rel=1e-6)
    found = drawn(freezes={"fine": SimpleNamespace(frost=late)})
    assert found.frosts.tolist() == [np.inf]


# what has grown at a time


def test_how_long_a_draw_is_closed_is_told_as_solved() -> None:
    """300 s of a draw whose times are twice as long, closed after 100 s as solved: 50 s."""
    found = drawn(
        3, closed=np.array([100.0, 100.0, np.inf]), model=np.array([1.0, 2.0, 1.0])
    )  # fmt: skip
    assert found.since(300.0).tolist() == [200.0, 50.0, course.SOON]
    own = np.array([150.0, 180.0, 1e9])
    assert found.since(own).tolist() == [50.0, course.SOON, course.SOON]
    assert np.exp(found._since_log(own)) == pytest.approx([50.0, course.SOON, course.SOON])
    common = found._since_log(300.0)
    assert np.exp(common) == pytest.approx([200.0, 50.0, course.SOON])
    assert found._since_log(300.0) is common
    assert np.exp(found._since_log(400.0)) == pytest.approx([300.0, 100.0, course.SOON])


def heated(closures: list[float], model: list[float]) -> Sampled:
    """Draws of which 5000 J are drawn evenly until closure and 2 J/s from then on."""
    found = drawn(
        len(closures), {Of.HEAT: 2.0}, at_closure=closing_at(closures, 5000.0),
        model=np.array(model),
    )  # fmt: skip
    value = np.tile(np.log(BEFORE.time), (len(closures), 1)).astype(np.float32)
    found.__dict__["_heating"] = course.Curves(Of.HEAT, BEFORE, value)
    return found


def test_heat_is_drawn_until_closure_and_since() -> None:
    """At 300 s: 200 s after closure as solved, 50 s after it, and half way to it."""
    found = heated([100.0, 100.0, 600.0], [1.0, 2.0, 1.0])
    assert found.drawn(300.0) == pytest.approx([5400.0, 5100.0, 2500.0], rel=1e-6)
    assert found.drawn(150.0) == pytest.approx([5100.0, 3750.0, 1250.0], rel=1e-6)


def test_at_closure_itself_nothing_is_drawn_since() -> None:
    found = heated([1.0], [1.0])
    past, share, since = found._moment(1.0)
    assert (past.tolist(), share.tolist(), since.tolist()) == ([False], [1.0], [course.SOON])
    assert found.drawn(1.0) == pytest.approx([5000.0], rel=1e-9)
    past, share, since = found._moment(3.0)
    assert (past.tolist(), share.tolist(), since.tolist()) == ([True], [1.0], [2.0])


class Skins(Frozen):
    """An ensemble beside whose jacket it is as warm as given [K above dry ice].

    In proportion to the time until closure, times ten since, and so much the more the farther off.
    """

    def skin(self, run: Any, knots: Knots, distance: float) -> np.ndarray:
        assert run is self.fine
        self.asked.append((distance, knots))
        found = np.append(BEFORE.time, 10.0 * knots.time / knots.time[-1])
        return np.asarray(np.log(1000.0 * distance * found))


def test_the_skin_beside_the_jacket_is_told_until_closure_and_since() -> None:
    """Closed after 100 and 400 s, at a tenth of a metre, 100 K above dry ice at closure.

    At 180 s, 80 s after closure: 1000 K x 80 / 100; 45 % of the time to it: 45 K.
    """
    found = drawn(2, at_closure=closing_at([100.0, 400.0]))
    found.__dict__["ensemble"] = ensemble = Skins(2)
    ensemble.knots = Knots(np.array([10.0, 20.0, 50.0, 100.0]))
    assert found.skin(0.1, 160.0) - DRY_ICE == pytest.approx([600.0, 40.0], rel=1e-5)
    assert found.skin(0.2, 160.0) - DRY_ICE == pytest.approx([1200.0, 80.0], rel=1e-5)
    late = found.knots_until(600.0)
    assert float(late.time[-1]) == 550.0
    told = found.skin(0.1, 600.0) - DRY_ICE
    assert told == pytest.approx([1000.0 * 500.0 / 550.0, 1000.0 * 200.0 / 550.0], rel=1e-5)
    assert [d for d, _ in ensemble.asked] == [0.1, 0.2, 0.1]
    assert found.skin(0.1, 160.0) - DRY_ICE == pytest.approx([600.0, 40.0], rel=1e-5)
    assert len(ensemble.asked) == 3


def test_before_the_first_moments_the_skin_is_as_it_is_then() -> None:
    """At 2/1000 of closure as at 5/1000; 5 s after it as after 10 s, the first knot."""
    found = drawn(2, at_closure=closing_at([100.0, 52500.0]))
    found.__dict__["ensemble"] = Skins(2)
    assert found.skin(0.1, 105.0) - DRY_ICE == pytest.approx([100.0, 0.5], rel=1e-4)


def test_what_grips_at_a_time_is_of_the_draws_that_are_closed() -> None:
    """0.1 mm/s from closure on; nothing of a draw that closes just then, or later, or never."""
    closed = np.array([100.0, 100.0, 300.0, np.inf])
    found = drawn(4, {Of.GRIP: 1e-4}, closed=closed, model=np.array([1.0, 2.0, 1.0, 1.0]))
    assert found.gripping(300.0) == pytest.approx([0.02, 0.005, 0.0, 0.0], rel=1e-5, abs=1e-12)
    assert found.gripping(400.0) == pytest.approx([0.03, 0.01, 0.01, 0.0], rel=1e-5, abs=1e-12)


def test_the_greatest_flow_is_told_of_every_draw() -> None:
    flow = {"flow_logs": lambda sample: np.log(np.full((len(sample), 1), 0.25))}
    assert drawn(2, freezes=flow).flow_limits == pytest.approx([0.25, 0.25])


def test_the_table_is_drawn_where_no_draws_are_given() -> None:
    found = Sampled(point_of(HALF_INCH))
    assert found.sample is draws.prior()
    assert len(found.model) == len(found.strength) == draws.COUNT
    assert float(np.median(found.strength)) == pytest.approx(found.point.adhesion, rel=0.01)
    assert float(np.median(found.model)) == pytest.approx(1.0, rel=0.05)
