"""Cylinders: the bracket of what they deliver, exchanges on a clock, an exact mix."""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from estimates.jobs import HALF_INCH, TWO_INCH, ZERO_C
from stillpipe.estimates import cylinder_count as cylinders
from stillpipe.estimates.co2_mass import Feeding
from stillpipe.estimates.cylinder_count import Bottle, Plan

T = ZERO_C + 20.0
SMALL, LARGE = Bottle("small", 6.3, 680.0), Bottle("large", 22.7, 680.0)


def test_usable_liquid_is_the_published_bracket() -> None:
    """28.56 % stays isothermal, 14.9 % adiabatic, at 20 C and 68 % fill (CoolProp 8)."""
    found = cylinders.usable(Bottle("any", 10.0, 680.0), T)
    assert found.low == pytest.approx(10.0 * (1.0 - 0.2856), abs=0.01)
    assert found.high == pytest.approx(10.0 * (1.0 - 0.149), abs=0.02)


def test_count_by_hand() -> None:
    """Need over what a cylinder gives after the reserve, rounded up."""
    found = cylinders.cylinder_count(TWO_INCH, Feeding(), SMALL, Plan())
    assert found.need.total is not None
    assert found.usable is not None
    assert found.count is not None
    kept = 0.9 * found.usable.low
    assert found.count.likely == -(-found.need.total.likely // kept)
    assert len(found.exchanges) == found.count.likely - 1


def test_exchanges_come_in_order_when_the_cylinder_is_drawn() -> None:
    found = cylinders.cylinder_count(TWO_INCH, Feeding(5400.0, 2), SMALL, Plan(jackets=2))
    times = [e.at for e in found.exchanges]
    assert times == sorted(times)
    draw = found.need.draws[0]
    assert found.usable is not None
    per = 0.45 * found.usable.low
    for e in found.exchanges:
        drawn = min(e.at / draw.ready, 1.0) * draw.freeze + max(e.at - draw.ready, 0.0) * draw.rate
        assert drawn == pytest.approx(per * e.number, rel=1e-6)


def test_an_exchange_before_ready_is_conditional_and_a_long_one_a_no_go() -> None:
    tiny = Bottle("tiny", 2.0, 680.0)
    early = cylinders.cylinder_count(TWO_INCH, Feeding(), tiny, Plan())
    assert early.verdict == "conditional"
    assert early.exchanges[0].verdict == "early-exchange"
    slow = cylinders.cylinder_count(TWO_INCH, Feeding(), SMALL, Plan(exchange=3600.0))
    assert slow.verdict == "no-go"
    assert "exchange-not-survived" in {n.code for n in slow.reasons}


def test_a_later_exchange_is_survived_for_longer() -> None:
    found = cylinders.cylinder_count(TWO_INCH, Feeding(7200.0, 2), SMALL, Plan(jackets=2))
    survivals = [e.survival for e in found.exchanges if e.survival is not None]
    assert len(survivals) >= 2
    assert survivals == sorted(survivals)


def test_no_dip_tube_is_a_no_go() -> None:
    gas = Bottle("gas", 22.7, 680.0, dip_tube=False)
    found = cylinders.cylinder_count(HALF_INCH, Feeding(), gas, Plan())
    assert found.verdict == "no-go"
    assert "no-dip-tube" in {n.code for n in found.reasons}


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    st.lists(st.tuples(st.floats(2.0, 40.0), st.integers(0, 4)), min_size=1, max_size=3),
    st.floats(1.0, 60.0),
)
def test_the_mix_is_that_of_a_search_through_all(
    stock: list[tuple[float, int]], need: float
) -> None:
    bottles = tuple(Bottle(str(i), round(m, 1), 680.0) for i, (m, _) in enumerate(stock))
    counts = tuple(n for _, n in stock)
    each = [cylinders.usable(b, T).low for b in bottles]
    every = [
        (sum(c), sum(n * b.net_mass for n, b in zip(c, bottles, strict=True)))
        for c in itertools.product(*(range(n + 1) for n in counts))
        if sum(n * e for n, e in zip(c, each, strict=True)) >= need - 1e-7
    ]
    found = cylinders.best_mix(need, bottles, counts, T)
    assert found.enough == bool(every)
    if every:
        fewest, least = min(every)
        assert sum(found.counts) == fewest
        assert found.net_mass == pytest.approx(least, abs=1e-6)
    else:
        assert found.shortfall > 0.0
