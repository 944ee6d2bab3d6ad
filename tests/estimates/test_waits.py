"""Waits and prices of a job move evenly: by hand, and in steps of 0.1 K and 0.1 bar."""

import itertools
import math
from collections.abc import Callable
from decimal import Decimal

import pytest

from estimates.jobs import HALF_INCH, TWO_INCH, ZERO_C, known, likely
from estimates.test_job_estimate import DRAIN, RATES, codes, job, moment, quote_of
from stillpipe.estimates.job import quote_costed, quote_lines, waits
from stillpipe.estimates.job.job_estimate import JobFigures, job_estimate
from stillpipe.estimates.job.plan import Kind, Plan
from stillpipe.estimates.job.supply import supply
from stillpipe.estimates.solution import Solution
from stillpipe.model.freeze_point import Lining
from stillpipe.model.job import Cooling, CoolingMethod
from stillpipe.model.options import JobEstimateRequest
from stillpipe.tables import pipes

FOUR_INCH = pipes.find("ASTM B88", "4", "L")
PVC = pipes.find("ASTM D1785", "1", "40")
EVEN = 0.02
"""What a step of 0.1 K or 0.1 bar may move before rounding, relative."""


def charged(request: JobEstimateRequest) -> dict[str, float]:
    """What a job costs before anything is rounded, and what of it is charged: h, kg, EUR."""
    plan = Plan(request)
    mass = likely(supply(plan).co2.job_total)
    found = quote_costed.spent(plan, quote_costed.as_planned(plan), mass)
    shut = found.shut / 3600.0
    labour = (found.labour + (request.points - 1) * quote_lines.EACH_POINT) / 3600.0
    total = labour * float(RATES.labour_per_hour) + mass * float(RATES.co2_per_kg)
    total += shut * float(DRAIN.downtime_per_hour) + float(RATES.call_out)
    return {"labour": labour, "shut": shut, "co2": mass, "total": total}


ROOMS = [x / 10.0 for x in (*range(-6, 8), *range(15, 60))]
SWEEPS: dict[str, tuple[list[float], Callable[[pipes.Pipe, float], JobEstimateRequest]]] = {
    "cold room": (ROOMS, lambda pipe, x: job(pipe, 8.0, x)),
    "warm room": ([x / 10.0 for x in range(225, 262)], lambda pipe, x: job(pipe, 40.0, x)),
    "line": ([x / 10.0 for x in range(235, 270)], lambda pipe, x: job(pipe, x, 24.9)),
}


@pytest.mark.parametrize("pipe", [HALF_INCH, TWO_INCH, FOUR_INCH, PVC], ids=lambda p: p.id)
@pytest.mark.parametrize("sweep", SWEEPS)
def test_a_tenth_of_a_kelvin_moves_no_price_by_two_percent(pipe: pipes.Pipe, sweep: str) -> None:
    values, made = SWEEPS[sweep]
    found = [charged(made(pipe, x)) for x in values]
    for (x, one), (y, other) in itertools.pairwise(zip(values, found, strict=True)):
        if y - x < 0.15:
            assert other == pytest.approx(one, rel=EVEN), (x, y)


def test_a_tenth_of_a_bar_moves_no_price_by_two_percent() -> None:
    found = [charged(job(HALF_INCH, line_pressure=x * 1e4)) for x in range(100)]
    for one, other in itertools.pairwise(found):
        assert other == pytest.approx(one, rel=EVEN)


def total_of(request: JobEstimateRequest) -> Decimal:
    return quote_of(job_estimate(request).figures).total


def test_the_prices_that_jumped_no_longer_do() -> None:
    """2 in steel, line at 8 C: 156.33 in a room at 2 C, 1,240.33 at 5 C, as the thaw was billed.

    1/2 in copper, line at 40 C: 392.05 in a room at 24.4 C, 228.37 at 24.6 C.
    """
    cold = [total_of(job(TWO_INCH, 8.0, x, drain_down=None)) for x in (2.0, 5.0)]
    warm = [total_of(job(HALF_INCH, 40.0, x, drain_down=None)) for x in (24.4, 24.6)]
    for one, other in (cold, warm):
        assert float(other) == pytest.approx(float(one), rel=0.01)


def test_the_help_of_a_thaw_by_hand() -> None:
    """4 in type L copper: bore 99.5 mm, outside 104.8 mm, wall of no account.

    Ice 0.25 pi x 99.5^2 mm2 x 916.7 x 333.4 kJ/kg = 2.38 MJ/m through pi x 104.8 mm x 50 W/m2K x
    40 K = 658 W/m: 3,610 s after two hours.
    """
    ice = 0.25 * math.pi * FOUR_INCH.inside_diameter**2 * 916.72 * 333.43e3
    power = math.pi * FOUR_INCH.outside_diameter * 50.0 * 40.0
    found = waits.assisted_thaw(Solution(job(FOUR_INCH)))
    assert found == pytest.approx(7200.0 + ice / power, rel=2e-3)
    assert ice / power == pytest.approx(3610.0, rel=0.01)


def test_plastic_and_scale_make_help_slower() -> None:
    """1 in PVC: ln(33.4 / 26.6) x 33.4 mm / 2 / 0.16 W/mK = 24 K m2/kW on top of 20."""
    inner = PVC.inside_diameter
    wall = 0.5 * PVC.outside_diameter * math.log(PVC.outside_diameter / inner) / 0.16
    ice = 916.72 * 333.43e3 * inner**2 / (4.0 * PVC.outside_diameter)
    expected = 7200.0 + ice * (1.0 / 50.0 + wall) / 40.0
    assert waits.assisted_thaw(Solution(job(PVC))) == pytest.approx(expected, rel=1e-3)
    scale = Lining(material="iron_oxide_scale", thickness=0.002)
    bare, lined = (Solution(job(TWO_INCH, lining=x)) for x in (None, scale))
    per_area = (waits.assisted_thaw(s) - 7200.0 for s in (bare, lined))
    plain, scaled = (h / s.point.bore**2 for h, s in zip(per_area, (bare, lined), strict=True))
    layer = 0.5 * TWO_INCH.outside_diameter * lined.point.lining_resistance
    wall = 1.0 / 50.0 + 0.5 * 60.325e-3 * math.log(60.325 / 52.5018) / 50.0
    assert scaled / plain == pytest.approx((wall + layer) / wall, rel=1e-3)


def events(found: JobFigures) -> dict[str, float]:
    return {e.code: e.at for e in found.timeline}


def test_a_thaw_that_takes_long_is_helped_and_one_that_does_not_is_left() -> None:
    for room, helped in ((20.0, False), (1.0, True), (-5.0, True)):
        answer = job_estimate(job(HALF_INCH, 8.0, room))
        found, at = answer.figures, events(answer.figures)
        assert ("help-thaw" in at) is helped
        planned = likely(found.planned_thaw)
        assert at["thawed"] == pytest.approx(at["stop"] + planned)
        natural = math.inf if found.thaw is None else found.thaw.likely
        assert (planned < natural) is helped
        if helped:
            assert at["help-thaw"] == pytest.approx(at["stop"] + 7200.0)
            text = next(e.text for e in found.timeline if e.code == "help-thaw")
            assert "never with a flame" in text
    assert "does-not-thaw" in codes(answer)


def test_labour_is_billed_until_the_plug_is_gone_as_promised() -> None:
    """At 50 and at 90 %, which where the thaw is helped is the same."""
    for room in (20.0, -5.0):
        found = job_estimate(job(HALF_INCH, 8.0, room)).figures
        bills = (quote_of(found).lines, known(quote_of(found).at_90).lines)
        for lines, promise in zip(bills, found.promises, strict=True):
            labour = next(x for x in lines if x.item == "labour")
            assert float(labour.quantity) == pytest.approx(promise.by / 3600.0, abs=0.006)
        assert found.promises[0].by == pytest.approx(moment(found, "thawed"), rel=0.02)


def flushed(celsius: float) -> float:
    """How long flushing takes by default [s] from a temperature [C]."""
    return waits.flushing(ZERO_C + celsius, Cooling())


def only(request: JobEstimateRequest) -> Kind:
    """The one kind of freeze point of a job."""
    (kind,) = Plan(request).kinds
    return kind


def test_flushing_by_hand() -> None:
    """40 to 25 C with water at 15 C and a time constant of an hour: ln(25 / 10) h = 3,299 s."""
    assert flushed(40.0) == pytest.approx(3299.0, abs=1.0)
    assert flushed(25.0) == flushed(10.0) == 0.0


def test_flushing_a_hot_line_by_hand() -> None:
    """95 C to 25 C with water at 15 C: ln(80 / 10) h = 7,486 s; with water at 20 C ln(75 / 5) h.

    Water that is no colder than 25 C never does it.
    """
    assert flushed(95.0) == pytest.approx(7486.0, abs=1.0)
    warmer = Cooling(water=ZERO_C + 20.0)
    assert waits.flushing(ZERO_C + 95.0, warmer) == pytest.approx(3600.0 * math.log(15.0))
    assert waits.flushing(ZERO_C + 95.0, Cooling(water=ZERO_C + 25.0)) == math.inf


def test_a_line_cools_by_itself_in_a_cool_room_and_is_flushed_in_a_warm_one() -> None:
    times = []
    for room, by_flush in ((10.0, False), (24.9, True), (25.0, True), (33.0, True)):
        request = job(HALF_INCH, 40.0, room)
        kind, answer = only(request), job_estimate(request)
        assert waits.is_flushed(kind.request, kind.solution) is by_flush
        (reason,) = [r for r in answer.reasons if r.code == "cool-first"]
        (cooled,) = [e for e in answer.figures.timeline if e.code == "cooled"]
        assert ("flush" in reason.action.lower()) is ("flush" in cooled.text) is by_flush
        assert cooled.earliest <= cooled.at <= known(cooled.latest)
        times.append(cooled.at)
    assert times[0] < times[1] == times[2] == times[3]
    assert times[3] == pytest.approx(flushed(40.0), rel=1e-3)
    cool = job_estimate(job(HALF_INCH, 20.0))
    assert "cooled" not in events(cool.figures)
    assert "cool-first" not in codes(cool)


def test_cooling_takes_longer_the_warmer_the_room() -> None:
    """Between the room's and the line's temperature, and never longer than flushing."""
    kinds = [only(job(HALF_INCH, 40.0, room)) for room in range(5, 40)]
    times = [known(waits.cooling(k.request, k.solution)).likely for k in kinds]
    assert times == sorted(times)
    assert times[-1] == pytest.approx(flushed(40.0), rel=1e-3)


def test_a_hot_line_is_frozen_at_the_temperature_it_has_cooled_to() -> None:
    """95 C on arrival: closure, CO2 and survival are those of a line at 25 C, later by the wait."""
    hot, cool = (job_estimate(job(HALF_INCH, t)).figures for t in (95.0, 25.0))
    for name in ("closure", "ready", "survival", "plug_length"):
        assert getattr(hot, name) == getattr(cool, name), name
    assert hot.co2 == cool.co2
    wait = next(e for e in hot.timeline if e.code == "cooled")
    assert moment(hot, "feed") == max(1800.0, wait.at)
    assert moment(hot, "closed") - moment(hot, "feed") == pytest.approx(likely(cool.closure))
    assert wait.earliest < wait.at < known(wait.latest)
    assert hot.promises[1].by - hot.promises[0].by > cool.promises[1].by - cool.promises[0].by


@pytest.mark.parametrize("to", [10.0, 25.0, 35.0])
def test_a_line_is_cooled_to_where_the_caller_says(to: float) -> None:
    """The colder it is fed, the longer it cools and the sooner it closes."""
    cooled = [
        job_estimate(job(HALF_INCH, 60.0, 5.0, cooling=Cooling(to=ZERO_C + t, water=ZERO_C + 5.0)))
        for t in (to, to + 3.0)
    ]
    one, other = (a.figures for a in cooled)
    assert moment(one, "cooled") > moment(other, "cooled")
    assert likely(one.closure) < likely(other.closure)


def test_a_line_that_never_cools_stops_the_job() -> None:
    """In a room at 30 C, left to stand; or flushed with water at 25 C."""
    for cooling in (
        Cooling(method=CoolingMethod.ROOM),
        Cooling(method=CoolingMethod.FLUSH, water=ZERO_C + 25.0),
        Cooling(water=ZERO_C + 30.0),
    ):
        answer = job_estimate(job(HALF_INCH, 60.0, 30.0, cooling=cooling))
        assert "never-cools" in codes(answer)
        found, (point,) = answer.figures, set(answer.figures.freeze_points[:1])
        assert {e.code for e in found.timeline} == {"arrive"}
        assert (found.quote, found.promises, found.chance, found.letting_go) == (
            None,
            (),
            0.0,
            None,
        )
        assert (found.planned_ready, found.co2.total, found.air) == (None, None, None)
        assert (point.planned_ready, point.cut_at, point.survival) == (None, None, None)
        assert "cool-first" not in codes(answer)


def test_half_of_the_flushed_lines_are_cool_by_the_time_told() -> None:
    """5 of 100 take less than half of it, 5 more than twice as long."""
    kind = only(job(HALF_INCH, 80.0, 30.0))
    span = known(waits.cooling(kind.request, kind.solution))
    assert span.low == pytest.approx(0.5 * flushed(80.0), rel=1e-3)
    assert span.likely == pytest.approx(flushed(80.0), rel=1e-3)
    assert span.high == pytest.approx(2.0 * flushed(80.0), rel=1e-3)


def test_further_freeze_points_cost_labour() -> None:
    """A quarter of an hour each: 7 x 0.25 h x 62.00 = 108.50."""
    one, eight = (job_estimate(job(points=n)).figures for n in (1, 8))
    lines = [{x.item: x.amount for x in quote_of(f).lines} for f in (one, eight)]
    assert "further-points" not in lines[0]
    assert lines[1]["further-points"] == Decimal("108.50")
    assert lines[0]["labour"] == lines[1]["labour"]


def test_lost_use_is_counted_alike_for_freezing_and_draining() -> None:
    """At the same rate, from the shutting of the line to its opening; nothing without a rate."""
    for celsius in (20.0, 35.0):
        found = job_estimate(job(HALF_INCH, celsius, 15.0)).figures
        quoted = quote_of(found)
        (lost,) = [x for x in quoted.lines if x.item == "downtime"]
        (drained,) = [x for x in quoted.drain_down if x.item == "downtime"]
        cooled = events(found).get("cooled", 0.0)
        shut = (found.promises[0].by - moment(found, "feed") + cooled) / 3600.0
        assert lost.rate == drained.rate == Decimal("30.00")
        assert float(lost.quantity) == pytest.approx(shut, abs=0.006)
    without = quote_of(job_estimate(job(drain_down=None)).figures)
    assert "downtime" not in {x.item for x in without.lines}
