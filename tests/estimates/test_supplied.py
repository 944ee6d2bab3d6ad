"""What a job draws and takes of cylinders, by hand: on freezes and manifolds that are laid down.

The copper draws 1, 2, ..., 100 kg and the steel twice that, one draw after the other; the copper is
not closed in the first ten draws, the steel not in the last ten.
"""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from estimates.by_hand import DRAWS, Frozen, every, group_of, kind_of, plan_of, rising
from estimates.test_job_points import MAIN, RETURN, stated
from stillpipe.estimates import assess, co2_mass, cylinder_count, manifold, stock_mix
from stillpipe.estimates.co2_mass import Co2Figures, Consumption
from stillpipe.estimates.job import supply, waits
from stillpipe.estimates.job.plan import Plan
from stillpipe.estimates.manifold import Exchange, ExchangedPoint, Supplied
from stillpipe.model.figures import Amount, Range

USABLE = Range(6.0, 6.5, 7.0)
NAMES = ("boiler return", "sprinkler main")
FIGURES = Co2Figures(jacket_heat=5.0, cooling=3e5)
EMPTY = (assess.stop("no-liquid-co2", "Empty."),)


def planned(*, apart: bool = False, **main: Any) -> Plan:
    """Copper and steel, each on cylinders of its own; in two groups where they are ``apart``."""
    request = stated(
        RETURN, MAIN, jackets=2, crew=2, jackets_per_cylinder=1, exchange_duration=90.0
    )  # fmt: skip
    small = Frozen("small", planned_ready=500.0, holds=rising(0.0, 1.0) > 10.0)
    large = Frozen("large", holds=rising(0.0, 1.0) <= 90.0, **({"planned_ready": 500.0} | main))
    one = kind_of(request, small, NAMES[0])
    other = kind_of(request, large, NAMES[1], group=2 if apart else 1)
    times = {"feed": 1800.0, "ready": 2000.0, "stop": 4700.0}
    if apart:
        return plan_of(request, group_of(one, **times), group_of(other, **times))
    return plan_of(request, group_of(one, other, **times))


def drawn_by(solution: Any) -> Consumption:
    """What is drawn until it is ready, of the draws that close; nothing in the hold."""
    each = {"small": rising(0.0, 1.0), "large": rising(0.0, 2.0)}[solution.name][solution.holds]
    zero = np.zeros(len(each))
    return Consumption(ready=100.0, hold_duration=600.0, freeze=each, hold=zero, rate=zero)


def taking(name: str, take: int | None) -> Supplied:
    """What a manifold takes: of copper enough up to the 90th draw, of steel from the 21st on.

    Each exchanges one cylinder fewer; the copper's plugs do not survive in the 50th draw.
    """
    draws = rising(0.0, 1.0)
    swaps = tuple(
        Exchange(
            manifold="?", cylinder=n, at=100.0 * n, verdict="survived", advice="",
            points=(ExchangedPoint(name=NAMES[name == "large"], verdict="survived"),),
        )
        for n in range(1, min(take or 1, 4))
    )  # fmt: skip
    return Supplied(
        count=draws if name == "small" else 3.0 * draws, take=take, exchanges=swaps,
        enough=draws <= 90.0 if name == "small" else draws > 20.0,
        survived=draws != 50.0 if name == "small" else every(),
    )  # fmt: skip


@pytest.fixture
def laid(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """What is asked of a job's parts, and what they come to, which a test may change."""
    told: dict[str, Any] = {
        "usable": (USABLE, ()), "takes": {"small": 2, "large": 4}, "mix": ("mix", ("too small",)),
        "supplied": [], "swaps": [],
    }  # fmt: skip

    def needed(request: Any, solution: Any) -> Any:
        assert request.line_pressure == (3e5 if solution.name == "small" else 8e5)
        drawn = drawn_by(solution) if solution.planned_ready or told.get("forms") else None
        return SimpleNamespace(drawn=drawn, figures=FIGURES)

    def supplied(request: Any, each: Any, usable: Any) -> Supplied:
        told["supplied"].append((request, each.names, usable))
        return taking(each.lead.name, told["takes"][each.lead.name])

    def mixed(request: Any, hung: Any) -> Any:
        told["mixed"] = (request, [m.names for m in hung])
        return told["mix"]

    def of_exchanges(swaps: Any, readies: dict[str, float], duration: float) -> Any:
        told["swaps"].append((len(swaps), readies, duration))
        return iter(("swaps",))

    monkeypatch.setattr(co2_mass, "needed", needed)
    monkeypatch.setattr(cylinder_count, "delivered", lambda _: told["usable"])
    monkeypatch.setattr(cylinder_count, "of_exchanges", of_exchanges)
    monkeypatch.setattr(manifold, "supplied", supplied)
    monkeypatch.setattr(stock_mix, "taken", mixed)
    return told


def draws_of(true: Any) -> list[int]:
    """Which draws something is true of, the first and the last of each stretch."""
    known = np.flatnonzero(np.diff(np.concatenate(([0], true.astype(int), [0]))))
    return [int(k) + 1 - i % 2 for i, k in enumerate(known)]


def test_a_job_draws_what_its_points_do_and_takes_what_its_manifolds_do(
    laid: dict[str, Any],
) -> None:
    """Of the draws that close at both, the 11th to the 90th: three times as much as their number.

    Their 5th, 50th and 95th percentile are the 14th, the 50th and the 86th draw.
    """
    plan = planned()
    found = supply.supply(plan)
    assert found.total.tolist() == (3.0 * np.arange(11.0, 91.0)).tolist()
    assert found.co2 == Co2Figures(cooling=3e5, job_total=Range(42.0, 150.0, 258.0))
    assert [k.names[0] for k in found.drawn] == list(NAMES)
    assert (found.mix, found.reasons) == ("mix", ("swaps", "too small"))
    assert found.figures.usable == USABLE
    assert found.figures.count == Range(56.0, 200.0, 344.0)
    assert found.figures.planned_count == 6
    assert draws_of(found.enough) == [21, 90]
    assert draws_of(found.survived) == [1, 49, 51, 100]
    assert laid["supplied"] == [(plan.request, (name,), USABLE) for name in NAMES]
    assert laid["mixed"] == (plan.request, [(name,) for name in NAMES])


def test_exchanges_are_told_of_each_manifold(laid: dict[str, Any]) -> None:
    """And judged together, each point by when it is planned to be ready."""
    found = supply.supply(planned()).figures
    assert [(s.manifold, s.cylinder, s.points[0].name) for s in found.exchanges] == [
        ("1", 1, NAMES[0]), ("2", 1, NAMES[1]), ("2", 2, NAMES[1]), ("2", 3, NAMES[1]),
    ]  # fmt: skip
    assert [(m.name, m.points, m.planned_count, m.exchanges) for m in found.manifolds] == [
        ("1", NAMES[:1], 2, 1), ("2", NAMES[1:], 4, 3),
    ]  # fmt: skip
    assert laid["swaps"] == [(4, dict.fromkeys(NAMES, 500.0), 90.0)]


@pytest.mark.parametrize(
    ("takes", "told"),
    [((None, 4), None), ((None, 300), None), ((150, 51), 201.0), ((150, 50), 200.0)],
)  # fmt: skip
def test_more_than_two_hundred_cylinders_are_not_planned(
    laid: dict[str, Any], takes: tuple[int | None, int], told: float | None
) -> None:
    """Nor where nobody knows how many one manifold takes: then nothing is enough."""
    laid["takes"] = dict(zip(("small", "large"), takes, strict=True))
    found = supply.supply(planned())
    assert (found.figures.usable, found.figures.count) == (USABLE, Range(56.0, 200.0, 344.0))
    assert [m.points for m in found.figures.manifolds] == [NAMES[:1], NAMES[1:]]
    if told == 200.0:
        assert (found.figures.planned_count, found.reasons) == (200, ("swaps", "too small"))
        assert found.enough.any()
        return
    reason: Any = found.reasons[0]
    assert (reason.code, found.reasons[1:]) == ("too-many-cylinders", ("too small",))
    assert reason.value == (None if told is None else Amount(told, "factor"))
    assert (found.figures.planned_count, found.figures.exchanges) == (None, ())
    for nothing in (found.enough, found.survived):
        assert (nothing.dtype, len(nothing), nothing.any()) == (bool, DRAWS, False)


@pytest.mark.parametrize("usable", [(None, EMPTY), (USABLE, EMPTY), (None, ())])
def test_of_cylinders_that_deliver_nothing_only_what_is_drawn_is_told(
    laid: dict[str, Any], usable: Any
) -> None:
    laid["usable"], laid["mix"] = usable, ("mix", ())
    found = supply.supply(planned())
    assert (found.figures.usable, found.reasons) == usable
    assert found.figures.planned_count is None
    assert [m.points for m in found.figures.manifolds] == [NAMES[:1], NAMES[1:]]
    assert (len(found.drawn), len(found.total), found.mix) == (2, 80, "mix")
    assert found.co2.job_total == Range(42.0, 150.0, 258.0)
    for nothing in (found.enough, found.survived):
        assert (nothing.dtype, len(nothing), nothing.any()) == (bool, DRAWS, False)
    assert laid["supplied"] == []


@pytest.mark.parametrize("cools", [True, False])
def test_where_one_point_has_no_plug_nothing_is_drawn_of_any(
    monkeypatch: pytest.MonkeyPatch, laid: dict[str, Any], cools: bool
) -> None:
    """It is never ready, or its line never cools, though cold it would freeze."""
    never = None if not cools else Range(0.0, 0.0, 0.0)
    steel = {} if not cools else {"planned_ready": None}
    usual = Range(0.0, 0.0, 0.0)
    monkeypatch.setattr(waits, "cooling", lambda _, s: never if s.name == "large" else usual)
    found = supply.supply(planned(**steel))
    assert (found.drawn, len(found.total), found.mix, found.reasons) == ({}, 0, None, ())
    assert found.co2 == Co2Figures(cooling=3e5)
    assert [m.points for m in found.figures.manifolds] == [NAMES[:1], NAMES[1:]]
    assert (found.figures.usable, found.figures.planned_count) == (USABLE, None)
    assert not found.enough.any()
    assert "mixed" not in laid


def test_manifolds_of_every_group_are_told_each_under_its_name(laid: dict[str, Any]) -> None:
    """Those that the caller names, too; without one they are numbered through."""
    plan = planned(apart=True)
    first, second = plan.request.each
    named = (
        replace(first, point=replace(first.point, manifold="east")),
        replace(second, point=replace(second.point, manifold="west")),
    )
    for each, names in (((first, second), ["1", "2"]), (named, ["east", "west"]),
                        ((first, named[1]), ["1", "west"])):  # fmt: skip
        plan.request = replace(plan.request, each=each)
        found = supply._manifolds(plan)
        assert [(name, group) for name, group, _ in found] == [(names[0], 1), (names[1], 2)]
        assert [[n for _, n in points] for *_, points in found] == [[NAMES[0]], [NAMES[1]]]
    assert laid["supplied"] == []
