"""Cylinders: the bracket of what they deliver, exchanges on a clock, an exact mix."""

import itertools
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from estimates.jobs import HALF_INCH, TWO_INCH, ZERO_C, high, known, request_of
from stillpipe.estimates import chances, co2_mass
from stillpipe.estimates.cylinder_count import (
    CylinderCountFigures,
    cylinder_count,
)
from stillpipe.estimates.job.job_estimate import job_estimate
from stillpipe.estimates.solution import Solution
from stillpipe.estimates.stock_mix import best_mix, mix
from stillpipe.model.cylinder import Cylinder, Stock
from stillpipe.model.figures import Answer, Range, Verdict
from stillpipe.model.options import JobEstimateRequest
from stillpipe.model.requests import Co2MassRequest, CylinderCountRequest
from stillpipe.tables import pipes
from stillpipe.uncertainty import draws

T = ZERO_C + 20.0
SMALL = Cylinder(net_mass=6.3)
HOLD = 1800.0


def answer_of(
    pipe: pipes.Pipe = TWO_INCH, cylinder: Cylinder = SMALL, **changes: Any
) -> Answer[CylinderCountFigures]:
    """The answer for water of 20 C and 3 bar in ``pipe``."""
    return cylinder_count(request_of(CylinderCountRequest, pipe, cylinder=cylinder, **changes))


def codes(answer: Answer[CylinderCountFigures]) -> set[str]:
    return {r.code for r in answer.reasons}


def ends(found: Range | None) -> tuple[float, float, float]:
    """The low, likely and high figure of a range that must have all."""
    return known(found).low, known(found).likely, high(found)


def delivered(net_mass: float) -> Range:
    """Liquid that a cylinder of ``net_mass`` [kg] delivers, filled as usual, at 20 C."""
    return Cylinder(net_mass=net_mass, temperature=T).completed().usable


def test_usable_liquid_is_the_published_bracket() -> None:
    """28.56 % stays isothermal, 14.9 % adiabatic, at 20 C and 68 % fill (CoolProp 8).

    68 % (49 CFR 173.304a) is the fill of a cylinder given by its net mass alone.
    """
    found = delivered(10.0)
    assert found.low == pytest.approx(10.0 * (1.0 - 0.2856), abs=0.01)
    assert found.high == pytest.approx(10.0 * (1.0 - 0.149), abs=0.02)


def test_a_cylinder_of_the_catalogue_is_one_by_its_net_mass() -> None:
    row = Cylinder(id="co2-9.1kg").completed()
    own = Cylinder(net_mass=9.1).completed()
    assert row.usable.low == pytest.approx(own.usable.low)


def test_count_by_hand() -> None:
    """Need over what a cylinder gives after the reserve, rounded up, in every draw.

    What it gives lies anywhere between slow and fast drawing; one more than 5 % of the draws need
    is not taken.
    """
    request = request_of(CylinderCountRequest, TWO_INCH, cylinder=SMALL, hold=HOLD)
    solution = Solution(request, HOLD)
    found, usable = cylinder_count(request).figures, SMALL.completed().usable
    total = known(co2_mass.needed(request, solution).drawn).total
    share = draws.uniform()[solution.holds, draws.NAMES.index("usable")]
    count = np.ceil(total / (0.9 * (usable.low + share * (high(usable) - usable.low))))
    for p, told in zip((0.05, 0.5, 0.95), ends(found.count), strict=True):
        assert np.mean(count <= told) >= p > np.mean(count < told)
    assert found.planned_count == high(found.count)
    assert len(found.exchanges) == found.planned_count - 1


def test_exchanges_come_in_order_when_the_cylinder_is_drawn() -> None:
    request = request_of(
        CylinderCountRequest, TWO_INCH, cylinder=SMALL, hold=5400.0, points=2,
        jackets_per_cylinder=2,
    )  # fmt: skip
    found = cylinder_count(request).figures
    times = [e.at for e in found.exchanges]
    assert times == sorted(times)
    solution = Solution(request, 5400.0)
    drawn, usable = known(co2_mass.needed(request, solution).drawn), known(found.usable)
    share = draws.uniform()[solution.holds, draws.NAMES.index("usable")]
    each = 0.45 * (usable.low + share * (high(usable) - usable.low))
    for e in found.exchanges:
        mass = (
            min(e.at / drawn.ready, 1.0) * drawn.freeze + max(e.at - drawn.ready, 0.0) * drawn.rate
        )
        emptied = np.mean(mass >= each * e.cylinder)
        assert emptied == pytest.approx(0.05, abs=0.002)


def test_an_exchange_before_ready_is_conditional_and_a_long_one_a_no_go() -> None:
    early = answer_of(cylinder=Cylinder(net_mass=2.0))
    assert early.verdict is Verdict.CONDITIONAL
    assert early.figures.exchanges[0].verdict == "early-exchange"
    slow = answer_of(exchange_duration=3600.0)
    assert slow.verdict is Verdict.NO_GO
    assert "exchange-not-survived" in codes(slow)


def test_a_survival_and_an_exchange_that_differ_are_not_told_alike() -> None:
    """141 s and 120 s are both 2 min, when rounded."""
    changes: dict[str, Any] = {"hold": 4.0 * 3600.0, "points": 4, "jackets_per_cylinder": 4}
    answer = answer_of(HALF_INCH, Cylinder(id="co2-6.3kg"), **changes)
    (reason,) = (r for r in answer.reasons if r.code == "early-exchange")
    survival = known(answer.figures.exchanges[0].survival)
    assert 120.0 < survival < 150.0
    assert f"no more than {survival:.0f} s unfed, the exchange takes 120 s" in reason.text


@pytest.mark.parametrize(
    ("share", "verdict"),
    [(1.05, "exchange-not-survived"), (0.95, "early-exchange"), (0.55, "early-exchange"),
     (0.45, "survived")],
)  # fmt: skip
def test_a_plug_should_outlive_an_exchange_twice(share: float, verdict: str) -> None:
    """An exchange of a ``share`` of the survival: beyond all of it fatal, beyond half too near.

    The survival is the 5th percentile, so that the chance passes 95 % as the share passes 1.
    """
    changes: dict[str, Any] = {"hold": 7200.0, "cylinder": Cylinder(net_mass=9.1)}
    first = answer_of(**changes).figures.exchanges[0]
    survival = known(first.survival)
    again = answer_of(exchange_duration=share * survival, **changes).figures.exchanges[0]
    assert again.survival == survival
    assert again.verdict == verdict
    assert (known(again.chance) >= 0.95) is (share < 1.0)
    assert known(again.margin) == pytest.approx((1.0 - share) * survival)


def test_an_exchange_finds_the_bond_that_carries_the_line_pressure() -> None:
    """With a safety factor of 1 a plug just ready carries the pressure and nothing more.

    The cylinder is as large as what is drawn until the planned ready, at which that of the draw
    that decides is just ready: it lasts no time, and no more than 5 % do so.
    """
    request = request_of(
        CylinderCountRequest, TWO_INCH, 20.0, 20.0, 40.0, safety_factor=1.0, hold=HOLD,
        adhesion=0.28e6,
    )  # fmt: skip
    solution = Solution(request, HOLD)
    ready = known(solution.planned_ready)
    assert solution.likely_need > request.bore
    lasts = solution.lasting(ready)
    assert known(chances.percentile(lasts, 0.05)) < 0.02 * ready
    assert np.mean(lasts > 0.0) == pytest.approx(0.95, abs=1e-3)


def test_a_later_exchange_is_survived_for_longer() -> None:
    found = answer_of(hold=7200.0, points=2, jackets_per_cylinder=2).figures
    survivals = [e.survival for e in found.exchanges if e.survival is not None]
    assert len(survivals) >= 2
    assert survivals == sorted(survivals)


def test_no_dip_tube_is_a_no_go() -> None:
    answer = answer_of(HALF_INCH, Cylinder(net_mass=22.7, dip_tube=False))
    assert answer.verdict is Verdict.NO_GO
    assert "no-dip-tube" in codes(answer)


@pytest.mark.parametrize("celsius", [29.0, 30.9])
def test_a_cylinder_without_liquid_at_its_fill_is_a_no_go(celsius: float) -> None:
    """At 300 kg/m3 and 29 C or more all of it is gas: 300 kg/m3 saturated at 28.6 C (CoolProp)."""
    cylinder = Cylinder(net_mass=9.1, fill_ratio=300.0, temperature=ZERO_C + celsius)
    answer = answer_of(cylinder=cylinder)
    assert answer.verdict is Verdict.NO_GO
    assert "no-liquid-co2" in codes(answer)
    assert answer.figures.count is None


def test_too_many_exchanges_are_judged_before_anything_is_simulated() -> None:
    """A plan that is refused takes no more solving than the CO2 it would need."""
    changes: dict[str, Any] = {"hold": 8 * 3600.0, "capture_efficiency": 0.2}
    refused = answer_of(cylinder=Cylinder(net_mass=0.5), reserve=0.9, **changes)
    assert "too-many-cylinders" in codes(refused)
    assert refused.verdict is Verdict.NO_GO
    assert refused.figures.exchanges == ()
    mass_alone = co2_mass.co2_mass(request_of(Co2MassRequest, TWO_INCH, **changes))
    assert refused.effort == mass_alone.effort
    planned = answer_of(**changes)
    assert planned.figures.exchanges
    assert planned.effort.units > refused.effort.units


@dataclass(frozen=True, kw_only=True)
class Own(Stock):
    """Cylinders of any ``net_mass`` [kg], where the catalogue has six."""

    net_mass: float

    def cylinder(self, temperature: float) -> Cylinder:
        return Cylinder(net_mass=self.net_mass, temperature=temperature).completed()


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    st.lists(st.tuples(st.floats(2.0, 40.0), st.integers(0, 4)), min_size=1, max_size=3),
    st.floats(1.0, 60.0),
)
def test_the_mix_is_that_of_a_search_through_all(
    kinds: list[tuple[float, int]], needed: float
) -> None:
    stock = tuple(Own(id=str(i), net_mass=round(m, 1), count=n) for i, (m, n) in enumerate(kinds))
    each = [delivered(s.net_mass).low for s in stock]
    every = [
        (sum(taken), sum(n * s.net_mass for n, s in zip(taken, stock, strict=True)))
        for taken in itertools.product(*(range(s.count + 1) for s in stock))
        if sum(n * e for n, e in zip(taken, each, strict=True)) >= needed - 1e-7
    ]
    found = best_mix(needed, stock, T)
    assert found.enough == bool(every)
    if every:
        fewest, least = min(every)
        assert sum(c.count for c in found.cylinders) == fewest
        assert found.net_mass == pytest.approx(least, abs=1e-6)
    else:
        assert found.shortfall > 0.0


def test_a_stock_that_is_too_small_is_a_no_go() -> None:
    answer = answer_of(stock=(Stock(id="co2-6.3kg", count=1),), points=4)
    mix = known(answer.figures.mix)
    assert (answer.verdict, "stock-too-small" in codes(answer)) == (Verdict.NO_GO, True)
    most = 4.0 * known(answer.figures.co2.planned_total) / 0.9
    drawn_fast = delivered(6.3).low / known(delivered(6.3).high)
    assert most * drawn_fast < mix.shortfall + mix.usable < most


def test_the_mix_of_the_cylinder_in_use_agrees_with_the_count() -> None:
    """As many as are planned, of whatever size; one fewer in the stock is too few."""
    for kind, points, share, hours in (
        ("co2-34kg", 2, 1, 1.0), ("co2-6.3kg", 2, 1, 6.0), ("co2-9.1kg", 5, 2, 6.0),
        ("co2-6.3kg", 4, 4, 8.0),
    ):  # fmt: skip
        changes: dict[str, Any] = {
            "points": points, "jackets_per_cylinder": share, "hold": hours * 3600.0
        }  # fmt: skip
        stock = (Stock(id=kind, count=100),)
        found = answer_of(TWO_INCH, Cylinder(id=kind), stock=stock, **changes).figures
        planned = known(found.planned_count)
        assert sum(c.count for c in known(found.mix).cylinders) == planned
        few = (Stock(id=kind, count=planned - 1),)
        answer = answer_of(TWO_INCH, Cylinder(id=kind), stock=few, **changes)
        assert "stock-too-small" in codes(answer)
        assert not known(answer.figures.mix).enough


@pytest.mark.parametrize(("points", "share"), [(3, 2), (5, 4), (6, 4), (2, 20), (4, 2)])
def test_the_last_manifold_takes_cylinders_for_what_hangs_on_it(points: int, share: int) -> None:
    """As the job does: the count is the same, the mix too."""
    hours, stock = 4.0 * 3600.0, (Stock(id="co2-6.3kg", count=100),)
    changes: dict[str, Any] = {
        "cylinder": Cylinder(id="co2-6.3kg"), "points": points, "jackets_per_cylinder": share,
        "stock": stock,
    }  # fmt: skip
    found = cylinder_count(
        request_of(CylinderCountRequest, HALF_INCH, hold=hours, **changes)
    ).figures
    job = job_estimate(request_of(JobEstimateRequest, HALF_INCH, repair=hours, **changes)).figures
    assert found.planned_count == job.cylinders.planned_count
    assert found.count == job.cylinders.count
    assert found.mix == job.mix
    parts = [m.planned_count for m in job.cylinders.manifolds]
    assert (len(set(parts)) > 1) == (points % share > 0 and points > share)


def test_no_two_manifolds_share_a_cylinder() -> None:
    """34 kg at 20 C give 24.3 kg drawn slowly: enough for two that need 12, but it is one.

    9.1 kg give 6.5: two of them for one that needs 12, and the large one for the other.
    """
    large = (Stock(id="co2-34kg", count=1),)
    assert mix([24.0], large, T).enough
    assert not mix([12.0, 12.0], large, T).enough
    assert mix([12.0, 12.0], large, T).shortfall == pytest.approx(12.0)
    both = (*large, Stock(id="co2-9.1kg", count=3))
    found = mix([12.0, 12.0], both, T)
    assert (found.enough, {c.id: c.count for c in found.cylinders}) == (
        True, {"co2-34kg": 1, "co2-9.1kg": 2},
    )  # fmt: skip


@settings(max_examples=40, deadline=None, derandomize=True)
@given(
    st.lists(st.floats(1.0, 30.0), min_size=1, max_size=4),
    st.lists(st.integers(0, 4), min_size=3, max_size=3),
)
def test_a_mix_never_takes_more_than_there_is_and_adds_up(
    needs: list[float], counts: list[int]
) -> None:
    kinds = ("co2-6.3kg", "co2-9.1kg", "co2-34kg")
    stock = tuple(Stock(id=i, count=n) for i, n in zip(kinds, counts, strict=True))
    found = mix(needs, stock, T)
    taken = {c.id: c.count for c in found.cylinders}
    assert all(taken.get(s.id, 0) <= s.count for s in stock)
    each = {s.id: s.cylinder(T).usable.low for s in stock}
    assert found.usable == pytest.approx(sum(each[i] * n for i, n in taken.items()))
    assert found.enough == (found.shortfall == 0.0)
    if found.enough:
        assert found.usable >= sum(needs) * (1.0 - 1e-6)
        assert sum(taken.values()) >= len(needs)
