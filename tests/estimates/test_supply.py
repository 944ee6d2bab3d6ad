"""CO2 and cylinders of a job's freeze points: what belongs to one, to all, and to none."""

from dataclasses import replace

import numpy as np
import pytest

from estimates.jobs import known, water
from estimates.test_job_points import MAIN, RETURN, stated, two
from stillpipe.estimates.job.plan import Plan
from stillpipe.estimates.job.supply import supply
from stillpipe.model.cylinder import Cylinder, Stock
from stillpipe.model.job import JobPoint

FLOW = replace(RETURN, name="boiler flow", at=3.0)


def named(point: JobPoint, manifold: str) -> JobPoint:
    """The same freeze point on a manifold of that name."""
    return replace(point, manifold=manifold)


def test_points_alike_have_the_co2_of_one_beside_that_of_all() -> None:
    plan = Plan(stated(RETURN, FLOW, jackets=2, crew=2))
    found = supply(plan)
    one = known(found.co2.total)
    assert known(found.co2.job_total).likely == pytest.approx(2.0 * one.likely, rel=1e-3)
    assert known(found.co2.jacket_heat) > 0.0
    assert found.co2.cooling is not None
    (drawn,) = found.drawn.values()
    assert found.total == pytest.approx(2.0 * drawn.total[plan.holds])
    assert found.enough.dtype == bool
    assert found.survived.mean() > 0.9


def test_points_that_differ_have_that_of_all_alone() -> None:
    plan = Plan(two(jackets=2, crew=2))
    found = supply(plan)
    assert found.co2.total is None
    assert found.co2.jacket_heat is None
    assert found.co2.cooling is not None
    assert len(found.drawn) == 2
    parts = [c.total[plan.holds[k.solution.holds]] for k, c in found.drawn.items()]
    assert found.total == pytest.approx(parts[0] + parts[1])


def test_without_a_plug_nothing_is_drawn_and_nothing_is_enough() -> None:
    """Neither total nor mix, though the other freeze point has one; the cooling is that of CO2."""
    stuck = replace(MAIN, fluid=water(flow=5.0))
    stock = (Stock(id="co2-9.1kg", count=9),)
    for points in ((stuck,), (RETURN, stuck)):
        found = supply(Plan(stated(*points, jackets=2, crew=2, stock=stock)))
        assert (found.drawn, found.mix, len(found.total)) == ({}, None, 0)
        assert not found.enough.any()
        assert not found.survived.any()
        assert found.co2.job_total is None
        assert found.co2.cooling is not None
        assert found.figures.planned_count is None
        assert (found.co2.jacket_heat is None) is (len(points) > 1)


def test_a_stock_is_mixed_for_what_is_drawn() -> None:
    stock = (Stock(id="co2-9.1kg", count=9),)
    found = supply(Plan(stated(RETURN, FLOW, jackets=2, crew=2, stock=stock)))
    assert found.mix is not None
    assert supply(Plan(stated(RETURN, FLOW, jackets=2, crew=2))).mix is None


def test_manifolds_without_a_name_are_numbered_past_those_that_have_it() -> None:
    """The third hangs on one that the caller calls 2; the numbers go round it."""
    points = (RETURN, named(FLOW, "2"), replace(RETURN, name="third", at=5.0),
              replace(RETURN, name="fourth", at=7.0))  # fmt: skip
    found = supply(Plan(stated(*points, jackets=4, crew=4, jackets_per_cylinder=1)))
    told = {m.points: m.name for m in found.figures.manifolds}
    assert told[("boiler flow",)] == "2"
    assert told == {
        ("boiler flow",): "2", ("boiler return",): "3", ("third",): "4", ("fourth",): "5",
    }  # fmt: skip


def test_manifolds_share_as_many_as_are_said() -> None:
    points = [replace(RETURN, name=f"p{i}", at=1.0 + 2 * i) for i in range(3)]
    plan = Plan(stated(*points, jackets=3, crew=3, jackets_per_cylinder=2))
    found = supply(plan).figures
    assert [m.points for m in found.manifolds] == [("p0", "p1"), ("p2",)]
    assert found.planned_count == sum(known(m.planned_count) for m in found.manifolds)
    assert np.all([m.group == 1 for m in found.manifolds])


def test_manifolds_alike_are_exchanged_alike_each_under_its_own_names() -> None:
    """Small cylinders: what was worked out for the first is told of the second's freeze point."""
    plan = Plan(
        stated(RETURN, FLOW, jackets=2, crew=2, jackets_per_cylinder=1, repair=14400.0,
               cylinder=Cylinder(net_mass=2.0))
    )  # fmt: skip
    swaps = supply(plan).figures.exchanges
    by_manifold = {m: [s for s in swaps if s.manifold == m] for m in ("1", "2")}
    assert len(by_manifold["1"]) == len(by_manifold["2"]) > 0
    for name, of in (("1", "boiler return"), ("2", "boiler flow")):
        assert {p.name for s in by_manifold[name] for p in s.points} == {of}
    assert [s.at for s in by_manifold["1"]] == [s.at for s in by_manifold["2"]]


def test_of_a_cylinder_without_liquid_the_mass_is_told_and_no_count() -> None:
    plan = Plan(stated(RETURN, cylinder=Cylinder(net_mass=9.1, dip_tube=False)))
    found = supply(plan)
    assert len(found.drawn) == 1
    assert known(found.co2.job_total).likely > 0.0
    assert found.figures.planned_count is None
    assert not found.enough.any()
    assert [r.code for r in found.reasons] == ["no-dip-tube"]
