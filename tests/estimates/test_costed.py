"""What a job takes that costs something, by hand: on freezes, cylinders and promises laid down."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from estimates.by_hand import Frozen, group_of, kind_of, plan_of, rising
from estimates.jobs import known
from estimates.test_job_points import MAIN, RETURN, stated
from stillpipe.estimates.job import quote_costed, waits
from stillpipe.estimates.job.plan import Plan
from stillpipe.estimates.job.quote_costed import Spent, Taken
from stillpipe.model.cylinder import Cylinder
from stillpipe.model.figures import Range

MASS = Range(5.0, 7.0, 9.0)
FIRST, LAST = 4000.0, 6000.0
"""When feeding of either group stops [s] after arrival."""


@pytest.fixture(autouse=True)
def _helped(monkeypatch: pytest.MonkeyPatch) -> None:
    """A plug that is helped is gone as long after the stop as its hold takes; no line cools."""
    monkeypatch.setattr(waits, "assisted_thaw", lambda solution: solution.hold)
    cooled = {"small": Range(0.0, 0.0, 0.0), "large": Range(0.0, 0.0, 0.0)}
    monkeypatch.setattr(waits, "cooling", lambda _, solution: cooled[solution.name])


def cooling_in(monkeypatch: pytest.MonkeyPatch, **times: Range | None) -> None:
    """Lines that take so long to cool, by the name of their freeze."""
    monkeypatch.setattr(waits, "cooling", lambda r, s: times[s.name] if r.points else None)


def plug(name: str, thaw: float, helped: float = 86400.0) -> Frozen:
    """A plug that thaws in so long, 1 % of it to either side, or is ``helped`` by then [s]."""
    return Frozen(name, thaws=thaw * rising(0.99, 0.0002), hold=helped)


def planned(one: Frozen | None = None, other: Frozen | None = None, **job: Any) -> Plan:
    """Two of copper in the first group, fed from 1,800 s on, and a main in the second."""
    request = stated(RETURN, replace(RETURN, name="flow"), MAIN, **job)
    small = kind_of(request, one or plug("small", 3000.0), "boiler return", "flow")
    large = kind_of(request, other or plug("large", 3000.0), "sprinkler main", group=2)
    return plan_of(
        request, group_of(small, feed=1800.0, ready=2000.0, stop=FIRST),
        group_of(large, feed=4900.0, ready=5000.0, stop=LAST),
    )  # fmt: skip


def needed(**changes: Any) -> Any:
    """1 to 100 kg in all, two manifolds, five cylinders and three exchanges."""
    figures = SimpleNamespace(exchanges=("x",) * 3, manifolds=("m",) * 2, planned_count=5)
    given = {
        "co2": SimpleNamespace(job_total=MASS), "drawn": {"some": 1}, "mix": None,
        "total": rising(0.0, 1.0), "figures": figures,
    }  # fmt: skip
    return SimpleNamespace(**(given | changes))


def mixed(*counts: tuple[str, int], enough: bool = True) -> Any:
    """A mix of a stock: so many cylinders of a kind."""
    taken = tuple(SimpleNamespace(id=i, count=n) for i, n in counts)
    return SimpleNamespace(cylinders=taken, enough=enough)


def test_a_job_takes_what_it_promises_at_either_chance() -> None:
    """At 50 % 10,000 s and its likely 7 kg, at 90 % 12,000 s and the 90 kg of the 90th draw."""
    found = known(quote_costed.costed(planned(), needed(), {0.5: 10000.0, 0.9: 12000.0}))
    late = known(found.seldom)
    assert (found.likely.labour, found.likely.co2) == (10000.0, 7.0)
    assert (late.labour, late.co2) == (12000.0, 90.0)
    assert found.promised is True


def test_a_job_without_a_promise_takes_what_its_timeline_has() -> None:
    """The main's likely thaw ends last: 6,000 and 3,000 s."""
    found = known(quote_costed.costed(planned(), needed(), {}))
    assert found.likely.labour == pytest.approx(LAST + 3000.0)
    assert (found.promised, found.seldom) == (False, None)
    likely = known(quote_costed.costed(planned(), needed(), {0.5: 10000.0}))
    assert (likely.promised, likely.seldom) == (True, None)


def test_nothing_is_told_at_ninety_percent_where_so_much_co2_has_no_end() -> None:
    endless = rising(0.0, 1.0)
    endless[80:] = np.inf
    promised = {0.5: 10000.0, 0.9: 12000.0}
    found = known(quote_costed.costed(planned(), needed(total=endless), promised))
    assert found.seldom is None
    assert found.likely.co2 == 7.0


def test_what_a_job_takes_is_counted() -> None:
    """Three freeze points under two jackets; of nine jackets three are used."""
    plan = planned(jackets=2, crew=3, setup=1200.0, repair=5400.0)
    found = known(quote_costed.costed(plan, needed(), {}))
    assert (found.points, found.jackets, found.crew) == (3, 2, 3)
    assert (found.setup, found.repair) == (1200.0, 5400.0)
    assert (found.exchanges, found.enough) == (3, True)
    assert found.cylinders == (Taken(net_mass=9.1, count=5),)
    many = known(quote_costed.costed(planned(jackets=9), needed(), {}))
    assert many.jackets == 3


def test_a_job_without_a_plug_costs_nothing_that_can_be_told() -> None:
    never = Frozen("large", planned_ready=None)
    assert quote_costed.costed(planned(other=never), needed(), {0.5: 1.0}) is None
    assert quote_costed.costed(planned(), needed(drawn={}), {0.5: 1.0}) is None
    massless = needed(co2=SimpleNamespace(job_total=None))
    assert quote_costed.costed(planned(), massless, {0.5: 1.0}) is None


def test_a_stock_is_taken_by_its_kinds_and_exchanged_but_for_the_first_of_each_manifold() -> None:
    mix = mixed(("co2-6.3kg", 2), ("co2-22.7kg", 3))
    found = known(quote_costed.costed(planned(), needed(mix=mix), {}))
    assert found.cylinders == (Taken(net_mass=6.3, count=2), Taken(net_mass=22.7, count=3))
    assert (found.exchanges, found.enough) == (3, True)
    few = needed(mix=mixed(("co2-6.3kg", 1), enough=False))
    found = known(quote_costed.costed(planned(), few, {}))
    assert (found.exchanges, found.enough) == (0, False)


def test_cylinders_of_a_stock_are_as_warm_as_the_one_used(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[tuple[str, int, float]] = []

    def cylinder(stock: Any, temperature: float) -> Any:
        asked.append((stock.id, stock.count, temperature))
        return SimpleNamespace(net_mass=1.0)

    monkeypatch.setattr(quote_costed.Stock, "cylinder", cylinder)
    request = stated(cylinder=Cylinder(net_mass=9.1, temperature=280.0))
    quote_costed._taken(request, needed(mix=mixed(("co2-6.3kg", 2))))
    assert asked == [("co2-6.3kg", 2, 280.0)]


def test_where_no_number_is_planned_no_cylinder_is_counted() -> None:
    none = needed()
    none.figures.planned_count = None
    assert quote_costed._taken(stated(), none) == ()


def test_all_is_done_when_the_last_thaw_is_likely_over() -> None:
    """4,000 + 5,000 s against 6,000 + 2,000; a thaw that never comes counts from its stop on."""
    plan = planned(plug("small", 5000.0), plug("large", 2000.0))
    assert quote_costed.as_planned(plan) == pytest.approx(FIRST + 5000.0)
    plan = planned(plug("small", 1000.0), plug("large", 2000.0))
    assert quote_costed.as_planned(plan) == pytest.approx(LAST + 2000.0)
    never = Frozen("large", planned_ready=None)
    assert quote_costed.as_planned(planned(plug("small", 1000.0), never)) == LAST


def test_those_on_site_wait_while_the_last_plug_thaws_by_itself() -> None:
    """Done 9,500 s after arrival, fed from 1,800 s on: 3,500 s after the last stop."""
    found = quote_costed.spent(planned(), 9500.0, 7.0)
    assert found == Spent(labour=9500.0, waiting=3500.0, shut=7700.0, co2=7.0, assisted=False)
    early = quote_costed.spent(planned(), 5500.0, 7.0)
    assert (early.waiting, early.shut) == (0.0, 3700.0)


def test_in_a_job_of_one_group_the_first_is_the_last() -> None:
    request = stated(RETURN)
    kind = kind_of(request, plug("small", 3000.0), "boiler return")
    plan = plan_of(request, group_of(kind, feed=1800.0, ready=2000.0, stop=FIRST))
    found = quote_costed.spent(plan, 7500.0, 7.0)
    assert (found.waiting, found.shut) == (3500.0, 5700.0)


def test_a_plug_that_is_helped_is_waited_for_until_the_help_begins() -> None:
    """Two hours; or less, where it is gone before."""
    plan = planned(other=plug("large", 9000.0, 8000.0))
    found = quote_costed.spent(plan, LAST + 8000.0, 7.0)
    assert (found.assisted, found.waiting) == (True, 7200.0)
    short = quote_costed.spent(plan, LAST + 7000.0, 7.0)
    assert (short.assisted, short.waiting) == (True, 7000.0)


def test_help_for_a_plug_of_the_first_group_is_help_too() -> None:
    plan = planned(one=plug("small", 9000.0, 8000.0))
    assert quote_costed.spent(plan, LAST + 3000.0, 7.0).assisted is True


@pytest.mark.parametrize(("after", "assisted"), [(7999.0, False), (8000.0, True), (9000.0, True)])
def test_a_thaw_that_is_promised_no_sooner_than_help_would_be_done_is_helped(
    after: float, assisted: bool
) -> None:
    """The likely thaw takes 7,500 s, with help 8,000 s."""
    plan = planned(other=plug("large", 7500.0, 8000.0))
    found = quote_costed.spent(plan, LAST + after, 7.0)
    assert found.assisted is assisted
    assert found.waiting == (7200.0 if assisted else after)


def test_help_takes_as_long_as_for_the_slowest_of_the_last_group() -> None:
    """Of 8,000 and 9,000 s; that of the first group, which is sooner, does not count."""
    request = stated(RETURN, replace(RETURN, name="flow", pipe=MAIN.pipe), MAIN)
    first = kind_of(request, plug("small", 100.0, 200.0), "boiler return")
    last = [
        kind_of(request, plug("large", 7500.0, h), n, group=2)
        for h, n in ((8000.0, "flow"), (9000.0, "sprinkler main"))
    ]
    plan = plan_of(
        request, group_of(first, feed=1800.0, ready=2000.0, stop=FIRST),
        group_of(*last, feed=4900.0, ready=5000.0, stop=LAST),
    )  # fmt: skip
    assert quote_costed.spent(plan, LAST + 8500.0, 7.0).assisted is False
    assert quote_costed.spent(plan, LAST + 9000.0, 7.0).assisted is True


def test_a_line_is_shut_while_the_slowest_cools(monkeypatch: pytest.MonkeyPatch) -> None:
    """From 1,800 s to 9,500 s, and the likely 600 s of the second line, which cools longer."""
    for first in (Range(1.0, 300.0, 2.0), None):
        cooling_in(monkeypatch, small=first, large=Range(100.0, 600.0, 900.0))
        assert quote_costed.spent(planned(), 9500.0, 7.0).shut == 7700.0 + 600.0
    cooling_in(monkeypatch, small=None, large=None)
    assert quote_costed.spent(planned(), 9500.0, 7.0).shut == 7700.0
