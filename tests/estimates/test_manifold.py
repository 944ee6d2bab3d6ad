"""Freeze points on the same cylinders, what is drawn of them when, and what each exchange means."""

from typing import Any

import numpy as np
import pytest

from estimates.jobs import (
    HALF_INCH,
    TWO_INCH,
    ZERO_C,
    high,
    known,
    likely,
    request_of,
    solution_of,
    water,
)
from stillpipe.estimates import cautions, co2_mass, manifold
from stillpipe.estimates.cylinder_count import CylinderCountFigures, alike, cylinder_count, too_many
from stillpipe.estimates.manifold import Exchange, Hung, Manifold
from stillpipe.estimates.plug_time import plug_time
from stillpipe.estimates.solution import Solution
from stillpipe.estimates.stock_mix import drawn_slowly
from stillpipe.model.cylinder import Cylinder, Stock
from stillpipe.model.figures import Amount, Answer, Range, Reason, Severity, Verdict
from stillpipe.model.observations import Frost, Seen
from stillpipe.model.requests import Co2MassRequest, CylinderCountRequest, PlugTimeRequest
from stillpipe.tables import pipes
from stillpipe.uncertainty import draws

LONG = 7200.0
WORSE = ["survived", "early-exchange", "exchange-not-survived"]


def hung(names: tuple[str, ...], pipe: pipes.Pipe, hold: float = LONG, **changes: Any) -> Hung:
    """Freeze points alike on ``pipe``."""
    request = request_of(CylinderCountRequest, pipe, hold=hold, **changes)
    solution = Solution(request, hold)
    return Hung(
        names=names, solution=solution, drawn=known(co2_mass.needed(request, solution).drawn)
    )


@pytest.fixture(scope="module")
def steel() -> Hung:
    return hung(("north", "south"), TWO_INCH)


@pytest.fixture(scope="module")
def both(steel: Hung) -> Manifold:
    """Two points on 2 in steel and one on 1/2 in copper."""
    return Manifold(name="M", hung=(steel, hung(("branch",), HALF_INCH)))


def drawn_by(part: Hung, whole: Manifold, time: np.ndarray) -> np.ndarray:
    """What its points have drawn by ``time`` [s] for each draw that all have in common [kg]."""
    own = whole.holds[part.solution.holds]
    freeze, rate = part.drawn.freeze[own], part.drawn.rate[own]
    until = np.minimum(time / part.drawn.ready, 1.0)
    return len(part.names) * (freeze * until + rate * np.maximum(time - part.drawn.ready, 0.0))


def test_what_hangs_together_needs_the_sum(both: Manifold) -> None:
    assert both.names == ("north", "south", "branch")
    assert list(both.holds) == list(both.hung[0].solution.holds & both.hung[1].solution.holds)
    end = np.full(int(both.holds.sum()), LONG)
    parts = [drawn_by(h, both, h.drawn.ready + end) for h in both.hung]
    assert both.total == pytest.approx(parts[0] + parts[1])


@pytest.mark.parametrize("share", [0.05, 0.3, 0.6, 0.95])
def test_a_mass_is_drawn_when_all_have_drawn_it_together(both: Manifold, share: float) -> None:
    """Each evenly until its ready and evenly from then on; the small plug is ready long before."""
    mass = share * both.total
    when = both.emptied(mass)
    assert np.all(np.isfinite(when))
    parts = [drawn_by(h, both, when) for h in both.hung]
    assert parts[0] + parts[1] == pytest.approx(mass)


def test_a_cylinder_that_holds_all_is_never_emptied(both: Manifold) -> None:
    assert np.all(np.isinf(both.emptied(both.total)))
    assert np.all(np.isinf(both.emptied(1.5 * both.total)))
    mixed = np.where(np.arange(len(both.total)) % 2 == 0, 0.5, 2.0) * both.total
    assert list(np.isinf(both.emptied(mixed))) == [i % 2 == 1 for i in range(len(mixed))]


def test_cylinders_of_a_manifold_are_counted_draw_by_draw(both: Manifold) -> None:
    """What each delivers, a tenth kept back, between its slow and its fast end as its draw says."""
    cylinder = Cylinder(net_mass=9.1).completed()
    request = request_of(CylinderCountRequest, cylinder=cylinder, hold=LONG)
    found = manifold.supplied(request, both, cylinder.usable)
    share = draws.uniform()[both.holds, draws.NAMES.index("usable")]
    span = high(cylinder.usable) - cylinder.usable.low
    needed = np.ceil(both.total / (0.9 * (cylinder.usable.low + share * span)))
    assert found.count[both.holds] == pytest.approx(needed)
    assert np.all(found.count[~both.holds] == 0.0)
    assert found.take == np.quantile(needed, 0.95, method="inverted_cdf")
    assert list(found.enough) == list(both.holds & (found.count <= known(found.take)))
    assert len(found.exchanges) == known(found.take) - 1
    told(found.exchanges, both)


def told(swaps: tuple[Exchange, ...], both: Manifold) -> None:
    """Hold exchanges against the survival at that very moment, the worst of all points told."""
    for number, swap in enumerate(swaps, start=1):
        assert (swap.manifold, swap.cylinder) == ("M", number)
        assert tuple(p.name for p in swap.points) == ("north", "south", "branch")
        for part in both.hung:
            if swap.at < part.drawn.ready:
                continue
            lasts = part.solution.lasting_at([swap.at])[0][part.solution.holds]
            point = next(p for p in swap.points if p.name == part.names[0])
            assert known(point.survival) == pytest.approx(np.quantile(lasts, 0.05), rel=0.03)
            assert known(point.margin) == pytest.approx(known(point.survival) - 120.0)
            assert known(point.chance) == pytest.approx(np.mean(lasts > 120.0), abs=2e-3)
        worst = min(p.survival for p in swap.points if p.survival is not None)
        assert swap.survival == worst
        assert swap.verdict == max((p.verdict for p in swap.points), key=WORSE.index)


def test_exchanges_that_all_plugs_outlive_are_so_in_nearly_all_draws(both: Manifold) -> None:
    cylinder = Cylinder(net_mass=34.0).completed()
    for duration, share in ((1.0, 0.94), (6000.0, 0.0)):
        request = request_of(
            CylinderCountRequest, cylinder=cylinder, hold=LONG, exchange_duration=duration
        )
        found = manifold.supplied(request, both, Cylinder(net_mass=9.1).completed().usable)
        assert found.survived.shape == both.holds.shape
        assert not np.any(found.survived & ~both.holds)
        assert bool(np.mean(found.survived) > share) is (share > 0.0)


def test_an_exchange_is_as_bad_as_for_the_worst_of_its_points(both: Manifold) -> None:
    """Before the steel is ready; the copper is long since, and a second unfed is nothing to it."""
    request = request_of(CylinderCountRequest, hold=LONG, exchange_duration=1.0)
    found = manifold.supplied(request, both, Range(0.9, 0.95, 1.0))
    mixed = [s for s in found.exchanges if len({p.verdict for p in s.points}) > 1]
    assert mixed
    for swap in mixed:
        assert {p.name: p.verdict for p in swap.points} == {
            "north": "early-exchange", "south": "early-exchange", "branch": "survived",
        }  # fmt: skip
        assert swap.verdict == "early-exchange"
        assert "before the plug is ready" in swap.advice


def test_who_bears_every_exchange_is_told_draw_by_draw(both: Manifold) -> None:
    """At no duration at all only those do that hold at that moment."""
    usable = Cylinder(net_mass=9.1).completed().usable
    for duration in (0.0, 60.0, 600.0):
        request = request_of(CylinderCountRequest, hold=LONG, exchange_duration=duration)
        found = manifold.supplied(request, both, usable)
        expected = both.holds.copy()
        for part in both.hung:
            moments = [s.at for s in found.exchanges if s.at >= part.drawn.ready]
            for lasts in part.solution.lasting_at(moments):
                expected &= lasts > duration
        assert list(found.survived) == list(expected)


@pytest.mark.parametrize("each", [0.01, 0.0])
def test_beyond_two_hundred_cylinders_none_is_planned(both: Manifold, each: float) -> None:
    """Nor where a cylinder gives nothing."""
    request = request_of(CylinderCountRequest, hold=LONG)
    with np.errstate(divide="ignore"):
        found = manifold.supplied(request, both, Range(each, each, each))
    assert (found.take, found.exchanges) == (None, ())
    assert not found.enough.any()


def test_a_plug_that_lasts_for_ever_has_no_margin() -> None:
    """In a room of -5 C it never lets go."""
    answer = cylinder_count(
        request_of(
            CylinderCountRequest, TWO_INCH, 8.0, -5.0, hold=LONG, cylinder=Cylinder(net_mass=9.1)
        )
    )
    swap = answer.figures.exchanges[-1]
    assert (swap.survival, swap.margin, swap.verdict) == (None, None, "survived")
    assert known(swap.chance) > 0.95


def answer_of(**changes: Any) -> Answer[CylinderCountFigures]:
    """The answer for 2 in steel."""
    return cylinder_count(request_of(CylinderCountRequest, TWO_INCH, **changes))


def one(answer: Answer[CylinderCountFigures], code: str) -> Reason:
    (found,) = [r for r in answer.reasons if r.code == code]
    return found


def test_a_cylinder_that_ends_before_the_plug_is_ready_is_told_with_both_times() -> None:
    answer = answer_of(cylinder=Cylinder(net_mass=2.0))
    reason, swap = one(answer, "early-exchange"), answer.figures.exchanges[0]
    ready = known(plug_time(request_of(PlugTimeRequest, TWO_INCH)).figures.planned_ready)
    assert swap.at < ready
    assert (swap.survival, swap.margin, swap.chance) == (None, None, None)
    assert (reason.severity, reason.figure) == (Severity.WARN, "exchanges.0.at")
    assert (reason.value, reason.at) == (Amount(swap.at, "time"), swap.at)
    assert known(reason.limit).value == pytest.approx(ready)
    assert known(reason.limit).kind == "time"
    assert reason.chance is None
    assert "before the plug is ready" in reason.text
    assert "before the plug is ready" in swap.advice
    assert "larger cylinder" in reason.action


@pytest.mark.parametrize(
    ("share", "code", "severity", "twice"),
    [
        (0.8, "early-exchange", Severity.WARN, 2.0),
        (1.2, "exchange-not-survived", Severity.STOP, 1.0),
    ],
)
def test_an_exchange_that_is_hardly_or_not_survived_is_told_with_its_limit(
    share: float, code: str, severity: Severity, twice: float
) -> None:
    """Long enough twice over is good: the limit is twice the exchange, or the exchange itself."""
    changes: dict[str, Any] = {"hold": LONG, "cylinder": Cylinder(net_mass=9.1)}
    survival = known(answer_of(**changes).figures.exchanges[0].survival)
    duration = share * survival
    answer = answer_of(exchange_duration=duration, **changes)
    reason, swap = one(answer, code), answer.figures.exchanges[0]
    assert (reason.severity, reason.figure) == (severity, "exchanges.0.survival")
    assert reason.value == Amount(survival, "time")
    assert reason.limit == Amount(pytest.approx(twice * duration), "time")
    assert (reason.at, reason.chance) == (swap.at, swap.chance)
    assert 0.0 < known(reason.chance) < 1.0
    assert (f"{survival:.0f} s unfed" in swap.advice) is (severity is Severity.STOP)
    assert ("be quick" in swap.advice) is (code == "early-exchange")
    assert ("two cylinders on a manifold" in swap.advice) is (severity is Severity.STOP)


def test_a_plug_that_lasts_twice_as_long_is_good() -> None:
    """Unfed for 0.45 of what it lasts."""
    changes: dict[str, Any] = {"hold": LONG, "cylinder": Cylinder(net_mass=9.1)}
    survival = known(answer_of(**changes).figures.exchanges[0].survival)
    again = answer_of(exchange_duration=0.45 * survival, **changes).figures.exchanges[0]
    assert (again.verdict, again.survival) == ("survived", survival)


def test_exchanges_that_are_survived_are_no_reason() -> None:
    answer = answer_of(hold=LONG, cylinder=Cylinder(net_mass=9.1), exchange_duration=1.0)
    assert {e.verdict for e in answer.figures.exchanges} == {"survived"}
    assert {e.advice for e in answer.figures.exchanges} == {"The plug outlives the exchange."}
    assert answer.verdict is Verdict.GO


@pytest.mark.parametrize(
    ("points", "share", "hung"),
    [(5, 2, ["1 2", "3 4", "5"]), (4, 2, ["1 2", "3 4"]), (1, 4, ["1"]), (3, 3, ["1 2 3"])],
)
def test_points_alike_hang_on_as_few_manifolds_as_may_be(
    steel: Hung, points: int, share: int, hung: list[str]
) -> None:
    """The last holds those that are left, and takes cylinders for them."""
    request = request_of(
        CylinderCountRequest, TWO_INCH, points=points, jackets_per_cylinder=share, hold=LONG
    )
    found = alike(request, steel.solution, co2_mass.needed(request, steel.solution))
    assert [m.name for m in found] == [str(n + 1) for n in range(len(hung))]
    assert [" ".join(m.names) for m in found] == hung
    answer = cylinder_count(request).figures
    assert high(answer.count) == answer.planned_count


def test_a_cylinder_without_a_dip_tube_delivers_nothing() -> None:
    answer = answer_of(cylinder=Cylinder(net_mass=9.1, dip_tube=False))
    reason = one(answer, "no-dip-tube")
    assert (answer.figures.usable, answer.figures.count) == (None, None)
    assert (reason.severity, reason.figure) == (Severity.STOP, "inputs.cylinder.dip_tube")
    assert "dip tube" in reason.action
    assert "gives gas, not liquid" in reason.text


def test_many_manifolds_of_few_cylinders_may_be_too_many_together() -> None:
    """Twenty points take twenty times what one does."""
    changes: dict[str, Any] = {"hold": LONG, "cylinder": Cylinder(net_mass=1.0)}
    alone = known(answer_of(**changes).figures.planned_count)
    assert 10 < alone < 200
    reason = one(answer_of(points=20, **changes), "too-many-cylinders")
    assert reason.value == Amount(20.0 * alone, "factor")


def test_an_exchange_that_no_plug_survives_is_a_stop_alone() -> None:
    """Two hours unfed."""
    answer = answer_of(hold=LONG, cylinder=Cylinder(net_mass=9.1), exchange_duration=LONG)
    told = {r.code for r in answer.reasons} & set(WORSE)
    assert told == {"exchange-not-survived"}


def test_a_stock_of_the_cylinder_in_use_is_taken_as_planned() -> None:
    """And what was seen is told with it."""
    answer = answer_of(
        cylinder=Cylinder(id="co2-6.3kg"), stock=(Stock(id="co2-6.3kg", count=50),), points=2,
        observations=(Frost(kind=Seen.FROST, elapsed=700.0),),
    )  # fmt: skip
    found = answer.figures
    assert [c.count for c in known(found.mix).cylinders] == [found.planned_count]
    assert known(answer.learned).now == 700.0


def test_a_cylinder_that_is_all_gas_is_told_with_its_mass() -> None:
    cylinder = Cylinder(net_mass=9.1, fill_ratio=300.0, temperature=ZERO_C + 29.0)
    answer = answer_of(cylinder=cylinder)
    reason = one(answer, "no-liquid-co2")
    assert (reason.severity, reason.figure) == (Severity.STOP, "usable")
    assert (reason.value, reason.limit) == (Amount(0.0, "mass"), Amount(9.1, "mass"))
    assert "Cool the cylinder" in reason.action
    assert "At 29.0 degC" in reason.text
    assert known(answer.figures.usable).low <= 0.0
    assert answer.figures.planned_count is None


def test_too_many_cylinders_are_told_with_how_many() -> None:
    for take, value in ((250, Amount(250.0, "factor")), (None, None)):
        reason = too_many(take)
        assert (reason.code, reason.severity) == ("too-many-cylinders", Severity.STOP)
        assert (reason.figure, reason.value) == ("planned_count", value)
        assert reason.limit == Amount(200.0, "factor")
        assert "larger cylinders" in reason.action
        assert ("250" if take else "more than 200") in reason.text


def test_two_hundred_cylinders_are_planned_and_one_more_is_refused() -> None:
    """One point on each cylinder: as many points as cylinders, for a brief freeze."""
    for points, planned in ((20, True), (20, False)):
        mass = 34.0 if planned else 0.5
        answer = cylinder_count(
            request_of(
                CylinderCountRequest, TWO_INCH, cylinder=Cylinder(net_mass=mass), points=points,
                hold=0.0 if planned else LONG,
            )
        )  # fmt: skip
        assert (answer.figures.planned_count == 20) is planned
        assert ("too-many-cylinders" in {r.code for r in answer.reasons}) is not planned
        assert answer.figures.count is not None


def test_the_answer_has_the_carbon_dioxide_and_what_it_takes() -> None:
    changes: dict[str, Any] = {"fluid": water(25.0), "hold": 600.0, "points": 3}
    answer = answer_of(**changes)
    alone = co2_mass.co2_mass(request_of(Co2MassRequest, TWO_INCH, **changes))
    assert answer.figures.co2 == alone.figures
    assert answer.cautions == alone.cautions
    assert answer.effort.freezes >= alone.effort.freezes > 0
    assert {r.code for r in alone.reasons} <= {r.code for r in answer.reasons}
    assert answer.learned is alone.learned is None


def test_masses_are_of_the_hold_and_of_all_points() -> None:
    request = request_of(Co2MassRequest, TWO_INCH, hold=600.0, points=3)
    answer = co2_mass.co2_mass(request)
    found = answer.figures
    assert likely(found.hold) == pytest.approx(600.0 * likely(found.hold_rate))
    assert known(found.job_total).low == pytest.approx(3.0 * known(found.total).low)
    assert found.planned_total == known(found.total).high
    assert found.pipe_heat == Solution(request, 600.0).heat_removed
    assert answer.cautions == cautions.of_feeding(request)
    brief = co2_mass.co2_mass(request_of(Co2MassRequest, TWO_INCH, hold=0.0)).figures
    minute = co2_mass.co2_mass(request_of(Co2MassRequest, TWO_INCH, hold=60.0)).figures
    assert high(brief.hold) == 0.0
    assert likely(brief.hold_rate) == pytest.approx(likely(minute.hold_rate), rel=1e-3)


def test_without_a_plug_only_the_jacket_is_told() -> None:
    """What stays slush takes no CO2; one kilogram still gives 166.7 kJ (CoolProp 8)."""
    answer = co2_mass.co2_mass(
        request_of(Co2MassRequest, fluid=solution_of("propylene_glycol", 0.30))
    )
    assert answer.figures.total is None
    assert answer.figures.freeze is None
    assert known(answer.figures.cooling) == pytest.approx(166.7e3, rel=1e-3)
    drop = 293.15 - 194.69
    jacket = (0.1 + 5.0 * 15.9e-3) * 1000.0 * drop
    assert known(answer.figures.jacket_heat) == pytest.approx(jacket, rel=2e-3)
    assert "slush" in {r.code for r in answer.reasons}


def test_what_stops_a_job_before_solving_is_told_with_what_lies_in_the_line() -> None:
    """No liquid CO2, and a line pressure above what the pipe is good for."""
    answer = co2_mass.co2_mass(
        request_of(Co2MassRequest, HALF_INCH, cylinder=Cylinder(temperature=ZERO_C + 32.0),
                   line_pressure=9e6)
    )  # fmt: skip
    codes = {r.code for r in answer.reasons}
    assert "no-liquid-co2" in codes
    assert len(codes) > 1
    assert answer.effort.freezes == 0


def test_a_stock_is_drawn_slowly_or_fast_as_its_draw_says(both: Manifold) -> None:
    """Of cylinders drawn slowly so much is needed that it is enough in 95 of 100 draws."""
    stock = (Stock(id="co2-9.1kg", count=9),)
    temperature = ZERO_C + 20.0
    usable = stock[0].cylinder(temperature).usable
    share = draws.uniform()[both.holds, draws.NAMES.index("usable")]
    slow = both.total / (1.0 + share * (high(usable) / usable.low - 1.0))
    expected = np.quantile(slow, 0.95, method="inverted_cdf")
    assert drawn_slowly(both, stock, temperature) == pytest.approx(expected)


def test_a_plug_that_is_never_ready_takes_no_carbon_dioxide() -> None:
    """It closes, and does not carry 400 bar."""
    request = request_of(Co2MassRequest, TWO_INCH, line_pressure=4e7)
    found = co2_mass.needed(request, Solution(request, request.hold))
    assert found.drawn is None
    assert (found.figures.total, found.figures.job_total) == (None, None)
    assert known(found.figures.cooling) == pytest.approx(166.7e3, rel=1e-3)


def test_what_was_seen_is_told_with_the_carbon_dioxide(steel: Hung) -> None:
    seen = (Frost(kind=Seen.FROST, elapsed=700.0),)
    answer = co2_mass.co2_mass(request_of(Co2MassRequest, TWO_INCH, observations=seen))
    assert known(answer.learned).now == 700.0
    assert (steel.drawn.hold_duration, steel.drawn.ready) == (LONG, steel.solution.planned_ready)
