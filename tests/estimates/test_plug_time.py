"""Plug time: ordered ranges, verdicts with their reasons, figures that can be redone by hand."""

import math
from dataclasses import fields, replace

import pytest
from hypothesis import given, settings

from estimates.jobs import HALF_INCH, TWO_INCH, any_job, of
from stillpipe.errors import OutOfValidityError
from stillpipe.estimates import course, plug_time
from stillpipe.estimates.job import Freeze, Range
from stillpipe.estimates.outcomes import PlugTime
from stillpipe.tables import fluids, pipes

ZERO_C = 273.15


def codes(outcome: PlugTime) -> set[str]:
    return {n.code for n in outcome.reasons}


def ranges(outcome: object) -> list[Range]:
    values = [getattr(outcome, f.name) for f in fields(outcome)]  # type: ignore[arg-type]
    return [v for v in values if isinstance(v, Range)]


@settings(max_examples=40, deadline=None, derandomize=True)
@given(any_job())
def test_every_range_is_ordered_and_finite(job: Freeze) -> None:
    for found in ranges(plug_time.plug_time(job)):
        ends = [found.low, found.likely, *([] if found.high is None else [found.high])]
        assert ends == sorted(ends)
        assert all(math.isfinite(v) and v >= 0.0 for v in ends)


@pytest.mark.parametrize(
    ("standard", "size", "celsius", "room", "bar"),
    [("ASTM F441", "2-1/2", 19.05, 4.23, 7.32), ("ASTM D1785", "3-1/2", 31.45, 2.88, 0.0),
     ("ASTM F441", "3", 21.59, 6.38, 0.0), ("ASTM D1785", "4", 18.24, 7.83, 11.92)],
)  # fmt: skip
def test_frost_range_is_ordered_in_a_cold_room(
    standard: str, size: str, celsius: float, room: float, bar: float
) -> None:
    """There the room helps to cool a thick plastic pipe, so that the fast course frosts later."""
    job = of(pipes.find(standard, size, "80"), celsius, room, bar)
    frost = plug_time.plug_time(job).frost_by
    assert frost is not None
    assert frost.low <= frost.likely
    assert frost.high is None or frost.likely <= frost.high


@settings(max_examples=40, deadline=None, derandomize=True)
@given(any_job())
def test_a_verdict_follows_from_its_reasons(job: Freeze) -> None:
    outcome = plug_time.plug_time(job)
    levels = {n.severity for n in outcome.reasons}
    expected = "no-go" if "stop" in levels else "conditional" if "warn" in levels else "go"
    assert outcome.verdict == expected
    assert (outcome.ready is None) <= (outcome.verdict == "no-go")


@settings(max_examples=25, deadline=None, derandomize=True)
@given(any_job())
def test_frost_then_closure_then_ready(job: Freeze) -> None:
    outcome = plug_time.plug_time(job)
    if outcome.closure is None or outcome.ready is None:
        return
    assert outcome.closure.likely <= outcome.ready.likely
    if outcome.frost_by is not None:
        assert 0.0 < outcome.frost_by.likely <= outcome.ready.likely


@settings(max_examples=25, deadline=None, derandomize=True)
@given(any_job())
def test_a_history_is_a_course(job: Freeze) -> None:
    outcome = plug_time.plug_time(job)
    h = outcome.history
    series = [getattr(h, f.name) for f in fields(h)]
    assert len({len(s) for s in series}) == 1
    assert list(h.time) == sorted(set(h.time))
    assert list(h.plug_length) == sorted(h.plug_length)
    assert all(0.0 <= r <= 0.5 * job.bore * 1.000001 for r in h.front_radius)
    if outcome.ready is not None:
        assert h.time[-1] >= outcome.ready.likely
        assert min(h.plug_length[-1], h.bonded_length[-1]) >= 0.999 * course.needed_length(job)


def test_the_length_needed_by_hand() -> None:
    """p SF D / (4 tau) = 10 bar x 2 x 52.5 mm / (4 x 0.28 MPa) = 93.75 mm."""
    job = replace(TWO_INCH, line_pressure=1e6)
    bore = 60.325e-3 - 2.0 * 3.9116e-3
    assert job.bore == pytest.approx(bore, rel=1e-3)
    assert course.needed_length(job) == pytest.approx(1e6 * 2.0 * bore / (4.0 * 0.28e6), rel=1e-3)


def test_a_plug_is_at_least_one_bore_long_however_low_the_pressure() -> None:
    assert course.needed_length(replace(TWO_INCH, line_pressure=0.0)) == TWO_INCH.bore


def test_holding_pressure_by_hand() -> None:
    """4 tau L / (D SF) = 4 x 0.28 MPa x 100 mm / (52.5 mm x 2) = 1.067 MPa."""
    bore = TWO_INCH.bore
    expected = 4.0 * 0.28e6 * 0.1 / (bore * 2.0)
    assert plug_time.holding(TWO_INCH, 0.1) == pytest.approx(expected)
    assert expected == pytest.approx(1.067e6, rel=2e-3)


def test_half_an_hour_of_heat_by_hand() -> None:
    """Heat to ready is that of the water under the jacket and its share of wall and fin, roughly.

    1/2 in copper, 40.9 mm jacket: 6.1 g of water takes 84 + 333 + some 60 kJ/kg = 2.9 kJ; wall and
    the fin beside the jacket about as much again.
    """
    heat = plug_time.plug_time(HALF_INCH).heat_removed
    assert heat is not None
    water = math.pi / 4.0 * HALF_INCH.bore**2 * HALF_INCH.jacket_length * 1000.0 * 477e3
    assert 1.5 * water < heat.likely < 3.5 * water


def test_glycol_that_stays_slush_is_a_no_go() -> None:
    glycol = fluids.find("propylene_glycol")
    outcome = plug_time.plug_time(replace(HALF_INCH, fluid=glycol, concentration=0.30))
    assert (outcome.verdict, codes(outcome)) == ("no-go", {"slush"})
    assert outcome.closure is None
    assert outcome.history.time == ()


def test_a_little_glycol_closes_later_than_water() -> None:
    glycol = replace(HALF_INCH, fluid=fluids.find("propylene_glycol"), concentration=0.05)
    water, mixed = (course.solve(j).closure for j in (HALF_INCH, glycol))
    assert water is not None
    assert mixed is not None
    assert mixed != pytest.approx(water, rel=1e-3)


def test_a_flow_beyond_the_limit_is_a_no_go_and_near_it_conditional() -> None:
    limit = plug_time.flow_limit(HALF_INCH)
    assert limit.high is not None
    beyond = plug_time.plug_time(replace(HALF_INCH, flow=1.01 * limit.likely))
    near = plug_time.plug_time(replace(HALF_INCH, flow=0.99 * limit.likely))
    still = plug_time.plug_time(replace(HALF_INCH, flow=0.9 * limit.low))
    assert (beyond.verdict, "flowing" in codes(beyond)) == ("no-go", True)
    assert (near.verdict, "flow-near-limit" in codes(near)) == ("conditional", True)
    assert still.verdict == "go"


@pytest.mark.parametrize(
    ("celsius", "verdict", "code"),
    [(26.8, "go", None), (26.9, "conditional", "cylinder-near-critical"),
     (30.9, "conditional", "cylinder-near-critical"), (31.0, "no-go", "no-liquid-co2"),
     (45.0, "no-go", "no-liquid-co2")],
)  # fmt: skip
def test_a_warm_cylinder_is_conditional_and_a_hot_one_a_no_go(
    celsius: float, verdict: str, code: str | None
) -> None:
    """26.81 C at 68 % fill and 31.0 C critical: Span and Wagner 1996."""
    outcome = plug_time.plug_time(replace(HALF_INCH, cylinder_temperature=ZERO_C + celsius))
    assert outcome.verdict == verdict
    assert codes(outcome) == ({code} if code else set())


def test_too_high_a_pressure_is_told_as_never_ready_or_not_surely_ready() -> None:
    high = plug_time.plug_time(replace(TWO_INCH, line_pressure=4e6, adhesion=0.05e6))
    assert (high.verdict, codes(high)) == ("no-go", {"never-ready"})
    assert high.closure is not None
    assert high.ready is None


def test_a_jacket_too_weak_for_a_large_plastic_pipe_never_closes() -> None:
    wide = replace(
        TWO_INCH, outside_diameter=0.11, wall=0.002, jacket_conductance=50.0, jacket_length=0.02,
        fluid_temperature=ZERO_C + 38.0, ambient_temperature=ZERO_C + 40.0,
    )  # fmt: skip
    outcome = plug_time.plug_time(wide)
    assert (outcome.verdict, codes(outcome)) == ("no-go", {"never-closes"})


def test_drivers_bracket_the_likely_closure() -> None:
    outcome = plug_time.plug_time(TWO_INCH)
    assert outcome.closure is not None
    assert {d.name for d in outcome.drivers} == {"jacket_conductance", "convection", "room_film"}
    for driver in outcome.drivers:
        assert driver.closure_low is not None
        assert driver.closure_high is not None
        low, high = sorted((driver.closure_low, driver.closure_high))
        assert low * 0.97 <= outcome.closure.likely <= high * 1.03


def test_everything_outside_validity_is_named_at_once() -> None:
    bad = replace(HALF_INCH, wall=0.008, fluid_temperature=ZERO_C - 1.0)
    with pytest.raises(OutOfValidityError) as caught:
        plug_time.plug_time(bad)
    assert {f.path for f in caught.value.faults} == {("pipe", "wall"), ("fluid", "temperature")}
