"""Changes of flow, room and what all points share by hand: cylinders, air, repair, hands, vents."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from estimates.jobs import ZERO_C
from estimates.test_changes import FLOW, judged_of, kind_of, made, only, to
from estimates.test_job_points import MAIN, RETURN, stated
from stillpipe.estimates.job import changes
from stillpipe.model.cylinder import Cylinder
from stillpipe.model.figures import Amount
from stillpipe.model.freeze_point import Ambient
from stillpipe.model.job import Cooling, CoolingMethod, Job, JobPoint, LineFluid
from stillpipe.model.site import Place, PlaceKind, Room


def limited(limit: float | None, *, slush: bool = False) -> Any:
    """A freeze that freezes shut against a flow of up to ``limit`` [kg/s], of all draws."""
    limits = np.full(4, 1.0 if limit is None else limit)
    return SimpleNamespace(
        stays_slush=slush, flow_limits=limits,
        at_least=lambda values: None if limit is None else float(np.min(values)),
    )  # fmt: skip


def test_the_flow_is_lowered_to_two_figures_of_what_freezes_shut() -> None:
    """12.34 g/s: 12 g/s; of 97, 94, 90 and 85 % of it 11, 11, 11 and 10."""
    fluid = LineFluid(temperature=ZERO_C + 20.0, flow=0.05)
    judged = judged_of(stated(points=1, fluid=fluid))
    kind = kind_of(judged.plan.request, limited(0.01234))
    found = list(changes.less_flow(judged, kind))
    assert [c.name for c in found] == ["fluid.flow"] * 5
    assert [1e3 * to(c) for c in found] == pytest.approx([12.0, 11.0, 11.0, 11.0, 10.0])
    assert found[0].was == Amount(0.05, "mass_flow")
    assert found[0].to == Amount(to(found[0]), "mass_flow")
    assert found[0].points == ()
    changed = made(judged, found[0]).each[0].request.fluid
    assert (changed.flow, changed.temperature) == (pytest.approx(0.012), ZERO_C + 20.0)


def test_a_line_that_freezes_shut_against_no_flow_is_to_stand() -> None:
    judged = judged_of(stated(points=1, fluid=LineFluid(temperature=ZERO_C + 20.0, flow=0.05)))
    for limit in (0.0, None):
        found = list(changes.less_flow(judged, kind_of(judged.plan.request, limited(limit))))
        assert [to(c) for c in found] == [0.0] * 5


def test_less_than_a_gram_a_second_is_a_flow_too() -> None:
    """0.5678 g/s: 0.56 g/s; and 4.5678 kg/s: 4.5 kg/s."""
    judged = judged_of(stated(points=1, fluid=LineFluid(temperature=ZERO_C + 20.0, flow=0.05)))
    for limit, expected in ((5.678e-4, 5.6e-4), (4.5678, 4.5)):
        found = changes.less_flow(judged, kind_of(judged.plan.request, limited(limit)))
        assert to(next(iter(found))) == pytest.approx(expected)


def test_less_flow_at_one_warm_point_leaves_it_as_warm_as_it_arrives() -> None:
    fast = replace(MAIN, fluid=LineFluid(temperature=ZERO_C + 60.0, flow=0.05))
    judged = judged_of(stated(RETURN, fast))
    kind = kind_of(judged.plan.request, limited(0.02), first=1)
    change = next(iter(changes.less_flow(judged, kind)))
    assert change.points == ("sprinkler main",)
    small, large = made(judged, change).each
    assert small.request.fluid.flow == 0.0
    assert (large.request.fluid.flow, large.request.arrival) == (0.02, ZERO_C + 60.0)
    assert (
        list(changes.less_flow(judged, kind_of(judged.plan.request, limited(1.0, slush=True))))
        == []
    )
    assert list(changes.less_flow(judged, None)) == []


def test_a_cold_room_is_warmed_to_the_next_whole_degree_above_freezing() -> None:
    """Water: 1 C. 25 % ethylene glycol freezes at some -11 C, and a tenth more is wanted."""
    cold = Ambient(temperature=ZERO_C - 15.0)
    glycol = LineFluid(type="ethylene_glycol", concentration=0.25, temperature=ZERO_C + 20.0)
    request = stated(RETURN, replace(FLOW, fluid=glycol), ambient=cold)
    judged = judged_of(request)
    for first, name in enumerate(("boiler return", "boiler flow")):
        kind = kind_of(request, first=first)
        change = only(changes.warmer_room(judged, kind))
        freezing = kind.request.fluid.freezing_point - ZERO_C
        assert change.name == "ambient.temperature"
        assert change.was == Amount(ZERO_C - 15.0, "temperature")
        assert isinstance(change.to, Amount)
        assert change.to.kind == "temperature"
        degrees = to(change) - ZERO_C
        assert degrees == round(degrees)
        assert freezing + 0.1 <= degrees < freezing + 1.1
        assert change.points == (name,)
        warm = [p.request.ambient.temperature for p in made(judged, change).each]
        assert warm[first] == to(change)
        assert warm[1 - first] == ZERO_C - 15.0
    assert list(changes.warmer_room(judged, None)) == []


def test_a_warm_cylinder_is_cooled_and_keeps_what_it_holds() -> None:
    bottle = Cylinder(net_mass=9.1, temperature=ZERO_C + 30.0)
    judged = judged_of(stated(points=1, cylinder=bottle))
    change = only(changes.cylinder_temperature(judged, None))
    assert change.name == "cylinder.temperature"
    assert change.was == Amount(ZERO_C + 30.0, "temperature")
    assert change.to == Amount(ZERO_C + 26.5, "temperature")
    assert change.points == ()
    cooled = made(judged, change).cylinder
    assert (cooled.temperature, cooled.net_mass) == (ZERO_C + 26.5, 9.1)


def test_a_cylinder_that_is_cool_enough_is_left_alone() -> None:
    bottle = Cylinder(net_mass=9.1, temperature=ZERO_C + 26.5)
    assert list(changes.cylinder_temperature(judged_of(stated(cylinder=bottle)), None)) == []


def aired(hourly: float | None) -> Any:
    """The air of a room that needs so many changes an hour."""
    needed = None if hourly is None else hourly / 3600.0
    return SimpleNamespace(figures=SimpleNamespace(air_changes_needed=needed))


def test_air_changes_are_rounded_up_to_a_tenth_an_hour() -> None:
    room = Room(volume=15.0, air_changes=0.5 / 3600.0)
    judged = judged_of(stated(points=1, room=room), air=aired(4.03))
    change = only(changes.more_air(judged, None))
    assert change.name == "room.air_changes"
    assert change.was == Amount(0.5 / 3600.0, "air_changes")
    assert isinstance(change.to, Amount)
    assert (3600.0 * to(change), change.to.kind) == (pytest.approx(4.1), "air_changes")
    assert change.points == ()
    found = made(judged, change).room
    assert found is not None
    assert (found.air_changes, found.volume) == (to(change), 15.0)
    for needed, told in ((4.0, 4.1), (4.099, 4.1)):
        judged.air = aired(needed)
        assert 3600.0 * to(only(changes.more_air(judged, None))) == pytest.approx(told)


def test_air_changes_are_told_only_where_a_room_needs_them() -> None:
    assert list(changes.more_air(judged_of(stated(points=1), air=None), None)) == []
    assert list(changes.more_air(judged_of(stated(points=1), air=aired(None)), None)) == []
    outdoors = judged_of(stated(points=1, room=None), air=aired(4.0))
    assert list(changes.more_air(outdoors, None)) == []


def test_no_more_air_is_told_than_can_be_stated() -> None:
    """A hundred changes an hour at most."""
    judged = judged_of(stated(points=1, room=Room(volume=2.0)), air=aired(99.95))
    assert 3600.0 * to(only(changes.more_air(judged, None))) == pytest.approx(100.0)
    judged.air = aired(100.05)
    assert list(changes.more_air(judged, None)) == []


def test_larger_cylinders_come_lightest_first_as_warm_as_the_one_used() -> None:
    for used in ("co2-12.6kg", "co2-34kg"):
        bottle = Cylinder(id=used, temperature=ZERO_C + 10.0)
        judged = judged_of(stated(points=1, cylinder=bottle))
        found = list(changes.larger_cylinder(judged, None))
        expected = ["co2-22.7kg", "co2-25kg", "co2-34kg"] if used == "co2-12.6kg" else []
        assert [c.to for c in found] == expected
        assert {(c.name, c.was) for c in found} <= {("cylinder.id", used)}
        for change in found:
            changed = made(judged, change).cylinder
            assert (changed.id, changed.temperature) == (change.to, ZERO_C + 10.0)


def test_only_cylinders_that_give_liquid_upright_are_offered(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rows = [
        SimpleNamespace(id="wide", net_mass=50.0, dip_tube=True),
        SimpleNamespace(id="gas", net_mass=30.0, dip_tube=False),
        SimpleNamespace(id="next", net_mass=20.0, dip_tube=True),
        SimpleNamespace(id="same", net_mass=9.1, dip_tube=True),
    ]
    monkeypatch.setattr(changes.cylinders, "catalogue", lambda: rows)
    found = changes.larger_cylinder(judged_of(stated(points=1)), None)
    assert [c.to for c in found] == ["next", "wide"]


def swapped(*survivals: float | None) -> Any:
    """Exchanges of a cylinder, which plugs outlive for so long."""
    each = tuple(SimpleNamespace(survival=s) for s in survivals)
    return SimpleNamespace(figures=SimpleNamespace(exchanges=each))


def test_a_quicker_exchange_is_outlived_twice_by_the_weakest_plug() -> None:
    """Of 900, 501 and never told: 49 % of 501 s, whole seconds: 245 s."""
    judged = judged_of(stated(points=1, exchange_duration=300.0))
    judged.needed = swapped(900.0, None, 501.0)
    change = only(changes.quick_exchange(judged, None))
    assert change.name == "exchange_duration"
    assert (change.was, change.to) == (Amount(300.0, "time"), Amount(245.0, "time"))
    assert made(judged, change).exchange_duration == 245.0


def test_an_exchange_is_not_quicker_than_at_once_nor_slower_than_it_is() -> None:
    judged = judged_of(stated(points=1, exchange_duration=245.0))
    for needed in (swapped(501.0), swapped(2.0), swapped(), swapped(None)):
        judged.needed = needed
        assert list(changes.quick_exchange(judged, None)) == []
    judged.needed = swapped(3.0)
    assert to(only(changes.quick_exchange(judged, None))) == 1.0


def test_a_cylinder_without_a_dip_tube_is_replaced_by_the_same_with_one() -> None:
    for bottle in (
        Cylinder(id="co2-12.6kg", dip_tube=False), Cylinder(net_mass=9.1, dip_tube=False),
    ):  # fmt: skip
        judged = judged_of(stated(points=1, cylinder=bottle))
        change = only(changes.dip_tube(judged, None))
        assert (change.name, change.was, change.to) == ("cylinder.dip_tube", "false", "true")
        changed, used = made(judged, change).cylinder, judged.plan.request.cylinder
        assert changed == replace(used, dip_tube=True)


def test_a_kind_of_cylinder_that_never_has_a_dip_tube_gets_none(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    judged = judged_of(stated(points=1, cylinder=Cylinder(id="co2-9.1kg")))
    row = SimpleNamespace(id="co2-9.1kg", dip_tube=False)
    monkeypatch.setattr(changes.cylinders, "catalogue", lambda: [row])
    assert list(changes.dip_tube(judged, None)) == []


def until(longest: float, request: Job) -> Any:
    """A job with a reason called "near" that is gone where its repair takes no longer [s]."""

    def again(changed: Job) -> Any:
        return SimpleNamespace(codes={"other"} | ({"near"} if changed.repair > longest else set()))

    return judged_of(request, again=again)


def test_the_longest_repair_is_looked_for_in_four_steps_and_told_in_whole_minutes() -> None:
    """2,700 s where 1,000 s would do: 1,380 is too long, 720 not, 1,050 is, 885 not: 14 min."""
    judged = until(1000.0, stated(points=1))
    change = only(changes.shorter_repair(judged, "near"))
    assert (change.name, change.was, change.to) == (
        "repair", Amount(2700.0, "time"), Amount(840.0, "time"),
    )  # fmt: skip
    assert made(judged, change).repair == 840.0


def test_a_repair_is_halved_between_a_minute_and_what_it_is() -> None:
    """Half of the way from 60 to 2,700 s would just do: 1,380 s, the first that is tried."""
    change = only(changes.shorter_repair(until(1380.0, stated(points=1)), "near"))
    assert change.to == Amount(1380.0, "time")


def test_a_repair_of_a_minute_is_the_shortest_and_none_is_not_shortened() -> None:
    change = only(changes.shorter_repair(until(60.0, stated(points=1)), "near"))
    assert change.to == Amount(60.0, "time")
    assert list(changes.shorter_repair(until(59.0, stated(points=1)), "near")) == []
    assert list(changes.shorter_repair(until(1e9, stated(points=1, repair=0.0)), "near")) == []
    assert list(changes.shorter_repair(until(1e9, stated(points=1)), "other")) == []


@pytest.mark.parametrize("repair", [1.0, 30.0, 60.0])
def test_a_repair_of_less_than_a_minute_is_not_made_longer(repair: float) -> None:
    judged = until(1e9, stated(points=1, repair=repair))
    assert list(changes.shorter_repair(judged, "near")) == []


def test_a_person_working_alone_is_given_a_second_one() -> None:
    judged = judged_of(stated(points=1, crew=1))
    change = only(changes.more_hands(judged, None))
    assert (change.name, change.was, change.to) == ("crew", "1", "2")
    changed = made(judged, change)
    assert (changed.crew, changed.jackets) == (2, 1)


def run_of(count: int, *others: JobPoint, **job: Any) -> Any:
    """So many freeze points on one run, and ``others`` elsewhere."""
    points = [replace(RETURN, name=f"p{i}", at=2.0 * i) for i in range(count)]
    return judged_of(stated(*points, *others, **job))


@pytest.mark.parametrize(
    ("crew", "name", "was", "told"), [(2, "crew", "2", "3"), (3, "jackets", "5", "7")]
)
def test_a_run_is_given_hands_for_all_of_its_points_and_a_jacket_for_each(
    crew: int, name: str, was: str, told: str
) -> None:
    """Seven on a run, three for each person: three persons, seven jackets; no eighth elsewhere."""
    judged = run_of(7, MAIN, crew=crew, points_each=3, jackets=5)
    change = only(changes.more_hands(judged, None))
    assert (change.name, change.was, change.to) == (name, was, told)
    changed = made(judged, change)
    assert (changed.crew, changed.jackets) == (3, 7)


def test_no_larger_crew_is_told_than_can_be_stated() -> None:
    """Twenty persons at most."""
    change = only(changes.more_hands(run_of(20, crew=2, points_each=1, jackets=20), None))
    assert change.to == "20"
    assert list(changes.more_hands(run_of(21, crew=2, points_each=1, jackets=21), None)) == []


def test_a_run_that_can_be_frozen_at_once_needs_neither_hands_nor_jackets() -> None:
    assert list(changes.more_hands(run_of(2, crew=2, jackets=2), None)) == []


def watered(*waters: tuple[str, tuple[str, str], bool]) -> Any:
    """Water between two freeze points of a run: vented or not."""
    return SimpleNamespace(
        trapped_water=tuple(
            SimpleNamespace(run=run, between=between, vented=vented)
            for run, between, vented in waters
        )
    )


def test_a_vent_is_opened_half_way_between_two_points_that_have_none() -> None:
    """At 1.0 and 3.0 m: 2.0 m; at 3.0 and 7.0 m a vent is open already."""
    third = replace(RETURN, name="third", at=7.0)
    other = replace(RETURN, name="other", run="cooling", at=0.5)
    cut = Place(name="valve", kind=PlaceKind.CUT, at=2.5, run="heating")
    request = stated(RETURN, FLOW, third, other, places=(cut,))
    run = watered(
        ("heating", ("boiler return", "boiler flow"), False),
        ("heating", ("boiler flow", "third"), True),
    )
    judged = judged_of(request, run=run)
    change = only(changes.vents(judged, None))
    assert (change.name, change.was) == ("places", None)
    assert change.to == "1 vent(s) between freeze points"
    kept, vent = made(judged, change).places
    assert kept == cut
    assert (vent.kind, vent.at, vent.run) == (PlaceKind.VENT, 2.0, "heating")
    assert vent.name == "vent to be opened"


def test_a_vent_beside_a_point_at_the_end_of_a_run_is_half_of_the_other_away() -> None:
    first = replace(RETURN, at=0.0)
    run = watered(("heating", ("boiler return", "boiler flow"), False))
    judged = judged_of(stated(first, FLOW), run=run)
    (vent,) = made(judged, only(changes.vents(judged, None))).places
    assert vent.at == 1.5


def test_no_vent_is_told_where_all_are_vented_or_nothing_is_placed() -> None:
    vented = watered(("heating", ("boiler return", "boiler flow"), True))
    assert list(changes.vents(judged_of(stated(RETURN, FLOW), run=vented), None)) == []
    assert list(changes.vents(judged_of(stated(RETURN, FLOW), run=None), None)) == []


def test_flushing_water_is_five_kelvin_colder_than_the_line_is_to_be() -> None:
    cooling = Cooling(method=CoolingMethod.FLUSH, water=ZERO_C + 28.0, time_constant=600.0)
    judged = judged_of(stated(points=1, cooling=cooling))
    change = only(changes.colder_flushing(judged, None))
    assert (change.name, change.was, change.to) == (
        "cooling.water", Amount(ZERO_C + 28.0, "temperature"),
        Amount(ZERO_C + 20.0, "temperature"),
    )  # fmt: skip
    found = made(judged, change).cooling
    assert found == Cooling(method=CoolingMethod.SOONER, water=ZERO_C + 20.0, time_constant=600.0)


@pytest.mark.parametrize(
    ("to_celsius", "water_celsius", "told"),
    [(25.0, 20.0, False), (25.0, 20.5, True), (6.0, 30.0, True), (5.9, 30.0, False)],
)
def test_flushing_water_is_no_colder_than_one_degree_and_colder_than_now(
    to_celsius: float, water_celsius: float, told: bool
) -> None:
    cooling = Cooling(to=ZERO_C + to_celsius, water=ZERO_C + water_celsius)
    judged = judged_of(stated(points=1, cooling=cooling))
    assert len(list(changes.colder_flushing(judged, None))) == told
