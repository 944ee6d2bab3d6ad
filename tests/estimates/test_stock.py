"""What is taken of the cylinders at hand, and what is said where they are too few."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from estimates.jobs import TWO_INCH, ZERO_C, high, known, request_of
from stillpipe.estimates import co2_mass
from stillpipe.estimates.cylinder_count import alike
from stillpipe.estimates.manifold import Manifold
from stillpipe.estimates.solution import Solution
from stillpipe.estimates.stock_mix import (
    Mix,
    MixEntry,
    _without,
    best_mix,
    drawn_slowly,
    mix,
    taken,
)
from stillpipe.model.cylinder import Cylinder, Stock
from stillpipe.model.figures import Amount, Range, Severity
from stillpipe.model.requests import CylinderCountRequest
from stillpipe.uncertainty import draws

T = ZERO_C + 20.0
HOLD = 3600.0
SMALL, MIDDLE, LARGE = "co2-6.3kg", "co2-9.1kg", "co2-34kg"


def stated(*stock: Stock, **changes: Any) -> CylinderCountRequest:
    """Two points on 2 in steel, each on cylinders of its own."""
    given: dict[str, Any] = {"points": 2, "hold": HOLD, "stock": stock}
    return request_of(CylinderCountRequest, TWO_INCH, **(given | changes))


@pytest.fixture(scope="module")
def manifolds() -> list[Manifold]:
    request = stated()
    solution = Solution(request, HOLD)
    return alike(request, solution, co2_mass.needed(request, solution))


@pytest.fixture
def need(manifolds: list[Manifold]) -> float:
    """What each manifold needs at the chance that decides, were nothing kept back [kg]."""
    return known(drawn_slowly(manifolds[0], (Stock(id=MIDDLE, count=1),), T))


def delivered(kind: str) -> float:
    """Liquid of a cylinder drawn slowly [kg]: 71.44 % of what is in it, at 20 C (CoolProp 8)."""
    return {SMALL: 6.3, MIDDLE: 9.1, LARGE: 34.0}[kind] * (1.0 - 0.2856)


def test_a_stock_that_is_enough_is_taken_for_each_manifold_by_itself(
    manifolds: list[Manifold], need: float
) -> None:
    """A tenth is kept back: each takes as many as give that, and none is shared."""
    each = int(np.ceil(need / 0.9 / delivered(SMALL)))
    found, reasons = taken(stated(Stock(id=SMALL, count=20)), manifolds)
    assert reasons == ()
    chosen = known(found)
    assert chosen.cylinders == (MixEntry(id=SMALL, count=2 * each),)
    assert chosen.usable == pytest.approx(2 * each * delivered(SMALL), rel=2e-3)
    assert chosen.net_mass == pytest.approx(2 * each * 6.3)
    assert (chosen.enough, chosen.shortfall) == (True, 0.0)


def test_a_stock_that_is_too_small_is_told_with_what_is_lacking(
    manifolds: list[Manifold], need: float
) -> None:
    """One of 6.3 kg for both: all of it is taken, and the rest is lacking."""
    for hung, told in ((manifolds, True), (manifolds[:1], False)):
        kept = 0.5 * need
        request = stated(Stock(id=SMALL, count=1), reserve=1.0 - need / (10.0 * kept))
        found, (reason,) = taken(request, hung)
        wanted = len(hung) * 10.0 * kept
        short = known(found)
        assert not short.enough
        assert short.shortfall == pytest.approx(wanted - delivered(SMALL), rel=2e-3)
        assert (reason.code, reason.severity) == ("stock-too-small", Severity.STOP)
        assert reason.figure == "mix.usable"
        assert reason.value == Amount(short.usable, "mass")
        assert known(reason.limit).kind == "mass"
        assert known(reason.limit).value == pytest.approx(wanted)
        assert f"{wanted:.1f} kg are needed" in reason.text
        assert f"{short.shortfall:.1f} kg are lacking" in reason.text
        assert ("Each of 2 manifolds" in reason.text) is told
        assert ("needs cylinders of its own" in reason.text) is told
        assert f"{short.shortfall:.1f} kg more" in reason.action


def test_there_is_no_mix_without_stock_plug_or_dip_tube(manifolds: list[Manifold]) -> None:
    stock = (Stock(id=SMALL, count=20),)
    assert taken(stated(), manifolds) == (None, ())
    assert taken(stated(*stock), []) == (None, ())
    gas = Cylinder(net_mass=9.1, dip_tube=False)
    assert taken(stated(*stock, cylinder=gas), manifolds) == (None, ())


def test_where_it_is_never_enough_nothing_is_taken(manifolds: list[Manifold]) -> None:
    """A manifold that needs without end in a tenth of its draws."""
    endless = replace(manifolds[0])
    endless.__dict__["total"] = np.where(
        np.arange(len(manifolds[0].total)) % 10 == 0, np.inf, manifolds[0].total
    )
    stock = (Stock(id=SMALL, count=20),)
    assert drawn_slowly(endless, stock, T) is None
    assert taken(stated(*stock), [manifolds[1], endless]) == (None, ())


def test_of_several_kinds_the_one_that_needs_most_decides(manifolds: list[Manifold]) -> None:
    """All kinds of the catalogue leave the same share when drawn slowly; none leaves no need."""
    kinds = [Stock(id=kind, count=1) for kind in (SMALL, MIDDLE, LARGE)]
    alone = [known(drawn_slowly(manifolds[0], [kind], T)) for kind in kinds]
    assert known(drawn_slowly(manifolds[0], kinds, T)) == max(alone)
    assert drawn_slowly(manifolds[0], [], T) == 0.0
    usable = kinds[0].cylinder(T).usable
    share = draws.uniform()[manifolds[0].holds, draws.NAMES.index("usable")]
    fast = manifolds[0].total / (1.0 + share * (high(usable) - usable.low) / usable.low)
    expected = np.quantile(fast, 0.95, method="inverted_cdf")
    assert alone[0] == pytest.approx(expected)


def test_the_greatest_need_is_served_first() -> None:
    """One large and one small cylinder: the small need would take either, so it takes the small."""
    stock = (Stock(id=LARGE, count=1), Stock(id=SMALL, count=1))
    for needs in ((20.0, 4.0), (4.0, 20.0)):
        found = mix(needs, stock, T)
        assert found.enough
        assert {c.id: c.count for c in found.cylinders} == {LARGE: 1, SMALL: 1}
        assert found.net_mass == pytest.approx(40.3)
    short = mix((20.0, 10.0), stock, T)
    assert not short.enough
    assert short.shortfall == pytest.approx(10.0 - delivered(SMALL), rel=2e-3)


def test_fewest_cylinders_come_before_least_mass() -> None:
    """For 10 kg one of 34 kg and not two of 9.1; for 12 kg of small ones two of the lighter."""
    both = (Stock(id=MIDDLE, count=4), Stock(id=LARGE, count=1))
    assert best_mix(10.0, both, T) == Mix(
        cylinders=(MixEntry(id=LARGE, count=1),),
        usable=pytest.approx(delivered(LARGE), rel=2e-3), net_mass=34.0, enough=True,
    )  # fmt: skip
    light = best_mix(8.9, (Stock(id=MIDDLE, count=4), Stock(id=SMALL, count=4)), T)
    assert {c.id: c.count for c in light.cylinders} == {SMALL: 2}
    assert light.net_mass == pytest.approx(12.6)


def test_a_need_that_a_cylinder_meets_to_the_last_gram_is_met() -> None:
    """As floats have it, either way."""
    each = Stock(id=SMALL, count=1).cylinder(T).usable.low
    stock = (Stock(id=SMALL, count=3),)
    for need in (each, each * (1.0 + 5e-10)):
        found = mix([need, need], stock, T)
        assert (found.enough, sum(c.count for c in found.cylinders)) == (True, 2)
    assert sum(c.count for c in mix([each * 1.001], stock, T).cylinders) == 2
    assert mix([3.0 * each], stock, T).enough
    assert not mix([3.001 * each], stock, T).enough


def test_a_kind_that_is_listed_twice_is_there_as_often_as_both_say() -> None:
    """One and one of 6.3 kg are two: of 8.9 kg and 4 kg, which need three, one is lacking."""
    twice = (Stock(id=SMALL, count=1), Stock(id=SMALL, count=1))
    once = (Stock(id=SMALL, count=2),)
    for needs in ([8.9, 4.0], [4.0, 4.0], [8.9], [4.0, 4.0, 4.0]):
        assert mix(needs, twice, T) == mix(needs, once, T)
    assert not mix([8.9, 4.0], twice, T).enough
    three = mix([8.9, 4.0], (*twice, Stock(id=SMALL, count=1)), T)
    assert (three.enough, three.cylinders) == (True, (MixEntry(id=SMALL, count=3),))


def test_no_more_of_a_kind_is_taken_than_there_is() -> None:
    """For 8.9 kg two of 6.3 kg would be the lightest, but there is one; for 30 kg one of 34 kg."""
    light = best_mix(8.9, (Stock(id=MIDDLE, count=4), Stock(id=SMALL, count=1)), T)
    assert {c.id: c.count for c in light.cylinders} == {MIDDLE: 1, SMALL: 1}
    heavy = best_mix(30.0, (Stock(id=LARGE, count=1), Stock(id=SMALL, count=10)), T)
    assert {c.id: c.count for c in heavy.cylinders} == {LARGE: 1, SMALL: 2}


@pytest.mark.parametrize(
    ("usable", "needed"),
    [
        (Range(0.0, 0.5, 1.0), 100.0), (Range(-0.1, 0.5, 1.0), 100.0),
        (Range(0.5, 0.75, 1.0), 100.0 / 1.5), (Range(0.5, 0.75, None), 100.0 / 1.25),
    ],
)  # fmt: skip
def test_a_cylinder_that_gives_more_drawn_fast_is_needed_the_less_of(
    usable: Range, needed: float
) -> None:
    """Half of the way from its slow end to its fast one; of what gives nothing slowly as it is."""
    lead = SimpleNamespace(
        sample=SimpleNamespace(shares=lambda _: np.full(3, 0.5)), at_most=lambda x: float(x[0])
    )  # fmt: skip
    manifold: Any = SimpleNamespace(
        lead=lead, holds=np.array([True, True, False]), total=np.full(2, 100.0)
    )
    kind: Any = SimpleNamespace(cylinder=lambda _: SimpleNamespace(usable=usable))
    assert drawn_slowly(manifold, [kind], T) == pytest.approx(needed)


def test_a_kind_of_which_none_are_gone_stays_as_it_is() -> None:
    stock = (Stock(id=SMALL, count=2), Stock(id=MIDDLE, count=1), Stock(id=SMALL, count=3))
    assert tuple(_without(stock, {})) == stock
    left = tuple(_without(stock, {SMALL: 4}))
    assert [s.count for s in left] == [0, 1, 1]
