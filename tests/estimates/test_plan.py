"""The plan of a job by hand: who is frozen when, held how long, solved once, by whose work."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from estimates.by_hand import Frozen
from estimates.jobs import ZERO_C, known, water
from estimates.test_job_points import MAIN, REPAIR, RETURN, SETUP, stated, two
from stillpipe.estimates.job import waits
from stillpipe.estimates.job.plan import Plan
from stillpipe.model.cylinder import Cylinder
from stillpipe.model.job import LineFluid


def test_both_are_fed_at_once_and_each_is_held_until_the_repair_of_the_last_is_done() -> None:
    plan = Plan(two(jackets=2, crew=2))
    (group,) = plan.groups
    small, large = (kind.solution for kind in group.kinds)
    first, last = known(small.planned_ready), known(large.planned_ready)
    assert (group.number, group.feed) == (1, SETUP)
    assert group.ready == pytest.approx(SETUP + last)
    assert group.stop == pytest.approx(SETUP + last + REPAIR)
    assert large.hold == REPAIR
    assert large is plan.solution_of("sprinkler main")
    assert small.hold == pytest.approx(last - first + REPAIR)
    assert small.plan_end == pytest.approx(large.plan_end)
    assert small.ensemble is plan.solution_of("boiler return").ensemble
    assert (group.apart, plan.is_one, plan.closes) == (True, False, True)
    assert [kind.names for kind in plan.kinds] == [("boiler return",), ("sprinkler main",)]
    assert all(plan.group_of(kind) is group for kind in plan.kinds)
    assert plan.lead is small
    assert np.array_equal(plan.holds, small.holds & large.holds)
    assert np.array_equal(plan.last("closures"), np.maximum(small.closures, large.closures))


def test_one_jacket_freezes_one_run_after_the_other() -> None:
    """The second is fed when the jacket has been moved; neither is held for the other."""
    plan = Plan(two(jackets=1))
    first, second = plan.groups
    assert second.feed == pytest.approx(first.stop + plan.request.move)
    assert second.stop == pytest.approx(second.ready + REPAIR)
    assert [k.solution.hold for k in plan.kinds] == [REPAIR, REPAIR]
    assert plan.too_many == 0
    assert plan.most == 1
    assert [plan.group_of(kind) for kind in plan.kinds] == [first, second]
    names = [kind.names[0] for kind in plan.kinds]
    assert [plan.solution_of(n)._member for n in names] == ["repair", "repair"], "what is too long"


def test_a_run_with_more_points_than_jackets_is_told() -> None:
    pair = (RETURN, replace(RETURN, name="boiler flow", at=3.0))
    plan = Plan(stated(*pair, jackets=1))
    assert plan.too_many == 2
    assert Plan(stated(*pair, jackets=2, crew=2)).too_many == 0


def test_points_alike_are_one_kind_solved_once() -> None:
    plan = Plan(stated(RETURN, replace(RETURN, name="boiler flow", at=3.0), jackets=2, crew=2))
    (kind,) = plan.kinds
    assert kind.names == ("boiler return", "boiler flow")
    assert plan.is_one
    assert not plan.groups[0].apart
    assert len(plan.pool) == 1


def test_no_plug_no_repair() -> None:
    """A flow that prevents it: nothing is ready, and feeding ends as it begins."""
    plan = Plan(stated(replace(RETURN, fluid=water(flow=0.5))))
    (group,) = plan.groups
    (kind,) = group.kinds
    assert not kind.closes
    assert not group.closes
    assert not plan.closes
    assert group.feed == group.ready == group.stop == SETUP
    assert kind.solution is plan.solution_of("boiler return")


def test_a_hot_line_is_fed_when_it_has_cooled() -> None:
    plan = Plan(stated(RETURN, fluid=LineFluid(temperature=ZERO_C + 60.0)))
    (group,) = plan.groups
    (kind,) = group.kinds
    cooled = known(waits.cooling(kind.request, kind.solution))
    assert cooled.likely > SETUP
    assert group.feed == pytest.approx(cooled.likely)
    assert kind.cools


def test_variants_share_what_freezes_alike_and_the_work_of_the_first() -> None:
    """Another hold freezes alike; another pressure does not, but is paid from the same budget."""
    plan = Plan(two(jackets=2, crew=2))
    longer = Plan(two(jackets=2, crew=2, repair=2 * REPAIR), plan.pool, plan)
    assert longer.pool is plan.pool
    names = ("boiler return", "sprinkler main")
    assert [longer.solution_of(n) is plan.solution_of(n) for n in names] == [True, True]
    other = Plan(stated(RETURN, replace(MAIN, line_pressure=6e5)), plan.pool, plan)
    assert other.solution_of(names[0]) is plan.solution_of(names[0])
    assert other.solution_of(names[1]) is not plan.solution_of(names[1])
    assert other.solution_of(names[1]).work is not plan.solution_of(names[1]).work
    weaker = Plan(stated(RETURN, replace(MAIN, line_pressure=5e5)), plan.pool, plan)
    assert weaker.solution_of(names[1]).work is other.solution_of(names[1]).work


def test_a_cylinder_of_another_temperature_is_another_freeze() -> None:
    """One of another size at the same temperature is not."""
    plan = Plan(stated(RETURN))
    for bottle, same in (
        (Cylinder(net_mass=34.0), True), (Cylinder(net_mass=9.1, temperature=ZERO_C + 10.0), False),
    ):  # fmt: skip
        other = Plan(stated(RETURN, cylinder=bottle), plan.pool, plan)
        found = other.solution_of("boiler return") is plan.solution_of("boiler return")
        assert found is same


@pytest.mark.parametrize("hopeless", [True, False])
def test_a_line_that_never_cools_or_freezes_is_planned_as_if_it_were_cool(
    monkeypatch: pytest.MonkeyPatch, hopeless: bool
) -> None:
    """From arrival on, where nothing is set up first: no freeze is held for it."""
    monkeypatch.setattr(waits, "cooling", lambda *_: None)
    plan = Plan(stated(RETURN, setup=0.0))
    solution: Any = Frozen(planned_ready=None, hopeless=hopeless)
    plan.solutions = dict.fromkeys(plan.solutions, solution)
    (group,) = plan.groups
    assert (group.feed, group.ready, group.stop) == (0.0, 0.0, 0.0)
    assert group.kinds[0].solution is solution
